// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress.h How a board's leads are dressed: what they pick up from leads beside them, and
/// what its joints are good for.
#ifndef TONELOAD_DRESS_H
#define TONELOAD_DRESS_H

#include "toneload/response.h"

#include <stdbool.h>
#include <stddef.h>

/// "buried" is so far under the rig's own noise; nearer it is "near", over it "above".
#define TL_DRESS_MARGIN_DB 10.0
/// A gig, for joints that open.
#define TL_DRESS_GIG_H 3.0
/// A lead is moved away no further than this, to find what spacing is enough.
#define TL_DRESS_FAR_M 1.0
/// A level under this is none.
#define TL_DRESS_NOTHING_V 1e-12
/// A buffer that helps by less is no advice.
#define TL_DRESS_BUFFER_HELPS_DB 3.0
/// Leads turned away from each other get no further apart at their ends, nor steeper.
#define TL_DRESS_ENDS_M 1.0
#define TL_DRESS_STEEP_DEG 75.0
/// A lead of the rig beside another one may lie there when so much loop gain is left before it
/// howls (from memory: what a pedal that is stepped on adds) ..
#define TL_DRESS_LOOP_DB 20.0
/// .. and when what it adds to the signal is not heard; moved, it adds no more than this (0.3 dB).
#define TL_DRESS_LEAK_DB (-30.0)

/// What a study of leads may be asked besides.
typedef struct {
    const char* const* fixes; ///< "NAME=yes" or "PATH=no": a pedal that stands otherwise
    size_t fix_count;
} tl_dress_options;

typedef enum { TL_DRESS_BURIED, TL_DRESS_NEAR, TL_DRESS_ABOVE } tl_dress_verdict;

/// What comes out at an amp.
typedef struct {
    double total_v;      ///< rms, 20 Hz to 20 kHz
    double a_weighted_v; ///< rms
    double above_v;      ///< rms, 20 to 100 kHz: nobody hears it
    double floor_db;     ///< A-weighted, against the rig's own noise
    double electric;     ///< share of the A-weighted power that came through the capacitance
    tl_dress_verdict verdict;
} tl_dress_level;

/// One frequency of it.
typedef struct {
    double hz;
    double volt; ///< rms
} tl_dress_line;

/// A run at one amp.
typedef struct {
    tl_dress_level as_is;
    tl_dress_level crossing; ///< the leads cross at 90 degrees
    tl_dress_level buffered; ///< a buffer drives the audio lead, against that rig's own noise
    double buffered_floor_v; ///< that noise
    double enough_m; ///< the spacing at which it is buried, whole millimetres; NAN: it is already,
                     ///< or never up to 1 m
    double enough_deg;    ///< the angle, the same, whole degrees; NAN: no angle is enough
    double ends_m;        ///< how far apart the leads' ends are then
    tl_dress_line* lines; ///< up to 20 kHz, ascending
    size_t line_count;
} tl_dress_amp;

/// What a lead of the rig passes on to another one, at one amp.
typedef struct {
    double leak_db; ///< the largest change, relative to the signal, 20 Hz to 20 kHz
    double leak_hz;
    tl_hearing hearing; ///< what it does to the tone
    bool unstable;      ///< it feeds back so much that the rig howls
    double unstable_hz;
} tl_dress_leak;

/// What all runs beside mains and dc come to at one amp.
typedef struct {
    tl_dress_level level;
    size_t first;      ///< the run to move first; as many as there are runs: none need be moved
    double enough_m;   ///< the spacing of that run that buries all of them; NAN: it is not enough
    double without_db; ///< against the noise, that run being gone
    size_t next;       ///< the run to move after it; as many as there are runs: none
} tl_dress_sum;

/// A run of leads beside each other.
typedef struct {
    char* name;
    char* lead;         ///< as the rig file says it
    const char* beside; ///< "mains", "dc" or "audio"
    char* source;       ///< what moves in the other lead, in words; the other lead's name
    bool in_path;       ///< false: the lead is in a loop that is off, nothing is said below
    double length_m;
    double spacing_m;
    double angle_deg;
    double height_m;               ///< over what is grounded; infinite: nothing is
    double farad;                  ///< to the audio lead's core
    double henry;                  ///< between the loops
    double impedance_ohm;          ///< what the audio lead's core sees there at 1 kHz
    double buffered_ohm;           ///< the same behind a buffer
    double unheard_hz;             ///< something lies above what was solved: its frequency; else 0
    bool buffered_floor_is_todays; ///< the noise with a buffer in front could not be solved
    bool from_guitar;     ///< no other lead comes before it: its buffer would sit in the guitar
    char* taken;          ///< how the run was read where it does not say, in words; may be empty
    tl_dress_amp* amps;   ///< beside mains and dc
    tl_dress_leak* leaks; ///< beside audio, by amp
    double loop_db;       ///< beside audio: loop gain that is left before it howls; negative: it
                          ///< does; infinite: it never would
    double loop_hz;       ///< where
    bool may_lie;         ///< beside audio: it need not be moved
    double apart_m;       ///< beside audio: the spacing from which it may; NAN: none up to 1 m
} tl_dress_run;

/// Joints that are alike.
typedef struct {
    char* name; ///< of the library, or "of its own"
    size_t count;
    double ohm;
    double leakage_ohm; ///< infinite: none
    double openings;    ///< of each in 1000 hours; NAN: not stated
    double a_gig;       ///< of all of them in a gig; NAN
    char* where;        ///< of the first: "lead 4, wah to compressor, at compressor"; may be empty
} tl_dress_joint;

typedef struct {
    tl_dress_joint* kinds; ///< those that open most first
    size_t kind_count;
    size_t count;
    double series_ohm;  ///< all of them
    double worst_ohm;   ///< the largest
    double plug_ohm;    ///< the largest of those good enough for a DC lead; 0: there is none
    size_t unsaid;      ///< how many do not state how often they open
    double leakage_ohm; ///< all of them side by side; infinite: none
    tl_hearing hearing; ///< the rig against the same without joints, at the amp with most of it
    size_t hearing_amp;
    double openings_a_gig; ///< of all that state it; 0 when none does
    double quiet_gig;      ///< the chance that a gig has none: Poisson
    size_t worst;          ///< the kind that opens most; kind_count: none states it
    size_t best;           ///< the kind that opens least
    double mended_gig;     ///< that chance when the worst kind is as good as the best
} tl_dress_joints;

typedef struct {
    char* rig; ///< its title
    char** amps;
    size_t amp_count;
    double* floor_v;    ///< the rig's own noise by amp, A-weighted, in the state it is written in
    size_t point_count; ///< of the noise's density
    double* hz;
    double* floor_v_rthz; ///< [amp * point_count + point]
    tl_dress_run* runs;
    size_t run_count;
    tl_dress_sum* together; ///< all runs beside mains and dc, by amp
    char* buffer;           ///< the library part that stands for "a buffer"
    char* fixed;        ///< pedals that stand otherwise than in the file, in words; may be empty
    char* example_lead; ///< the path of a lead, for those that have no runs yet; NULL: none
    double example_m;   ///< its length
    tl_dress_joints joints;
} tl_dress;

#endif

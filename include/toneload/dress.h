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
    tl_dress_level buffered; ///< a buffer drives the audio lead
    double enough_m; ///< the spacing at which it is buried; NAN: it is already, or never up to 1 m
    double enough_deg;    ///< the angle, the same; NAN: no angle is enough
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
    double height_m;      ///< over what is grounded; infinite: nothing is
    double farad;         ///< to the audio lead's core
    double henry;         ///< between the loops
    double impedance_ohm; ///< what the audio lead's core sees there at 1 kHz
    double buffered_ohm;  ///< the same behind a buffer
    double unheard_hz;    ///< something lies above what was solved: its frequency; else 0
    tl_dress_amp* amps;   ///< beside mains and dc
    tl_dress_leak* leaks; ///< beside audio, by amp
} tl_dress_run;

/// Joints that are alike.
typedef struct {
    char* name; ///< of the library, or "of its own"
    size_t count;
    double ohm;
    double leakage_ohm; ///< infinite: none
    double openings;    ///< of each in 1000 hours; NAN: not stated
    double a_gig;       ///< of all of them in a gig; NAN
} tl_dress_joint;

typedef struct {
    tl_dress_joint* kinds; ///< those that open most first
    size_t kind_count;
    size_t count;
    double series_ohm;  ///< all of them
    double worst_ohm;   ///< the largest
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
    tl_dress_level* together; ///< all runs beside mains and dc, by amp: powers added
    char* buffer;             ///< the library part that stands for "a buffer"
    tl_dress_joints joints;
} tl_dress;

#endif

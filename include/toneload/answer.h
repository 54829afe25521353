// SPDX-License-Identifier: GPL-3.0-or-later
/// @file answer.h What a rig was found to do: its responses, in every state of its pedals too, and
/// the values that they rest on.
#ifndef TONELOAD_ANSWER_H
#define TONELOAD_ANSWER_H

#include "toneload/response.h"

#include <stdbool.h>
#include <stddef.h>

/// One solved response.
typedef struct {
    const char* name; ///< "rig" or "direct"
    char* amp;        ///< name of the amp it is read at; "amp" when there is only one
    tl_response* response;
    tl_metrics metrics;
    double residual;    ///< largest held-out error of the fit, relative
    tl_hearing hearing; ///< of a rig that is followed by its direct: against that direct
} tl_solved;

/// All responses of one rig: for each amp the rig's, then its direct's.
typedef struct {
    tl_solved* solved;
    size_t count;
    size_t solves; ///< frequencies that were solved, for all of them together
} tl_answer;

/// One amp's response in one state of the pedals.
typedef struct {
    const char* amp; ///< owned by the study's direct
    tl_metrics metrics;
    tl_hearing hearing; ///< against direct
    double residual;
    double tone_db[TL_BAND_COUNT]; ///< band levels with the state's own level taken off
} tl_state_amp;

typedef struct {
    char* name;    ///< the scene's; NULL when every combination is gone through
    bool* engaged; ///< by pedal of the study
    tl_state_amp* amps;
    size_t solves;
} tl_state;

/// A difference between two tones: the band where it is largest.
typedef struct {
    double worst_db; ///< NAN when there is nothing to compare
    double worst_hz;
    size_t amp;
} tl_tone_gap;

typedef struct {
    char** pedals; ///< pedals and loops that change between the states: name, or path
    size_t pedal_count;
    tl_state* states;
    size_t count;
    size_t* ranking; ///< states, the one that differs most from direct first
    size_t amp_count;
    tl_answer* direct;    ///< the first state and the directs, with their responses
    size_t apart[2];      ///< the two states that differ most from each other
    tl_tone_gap spread;   ///< how far apart they are
    tl_tone_gap* effects; ///< by pedal: mean tone when it is on minus when it is off
    tl_answer* shown[2];  ///< those two states again, with their responses
    size_t point_count;   ///< of the envelopes
    double* hz;
    double*
        low_db; ///< lowest level of all states, [amp * point_count + point], own level taken off
    double* high_db;
} tl_states;

/// One value of a part and where it came from.
typedef struct {
    char* part;       ///< path in the rig ("chain[0].cable"), or name in the library
    char* about;      ///< what it is: kind, name, state
    char* field;      ///< "capacitance"
    char* value;      ///< "100 pF/m"
    char* origin;     ///< "rig.yaml:7", "library part standard-coax: common practice", "by formula"
    double tolerance; ///< a share either way: 0.1 for 10 %
    const char* distribution; ///< "normal" or "uniform" within it; NULL: no tolerance is known
    char* tolerance_source;   ///< where that is from, as `origin`; NULL when there is none
    int tolerance_by_default; ///< whether it is the library's for values of this kind
} tl_listing;

typedef struct {
    tl_listing* rows;
    size_t count;
    char** remarks; ///< what looks wrong, each with its path
    size_t remark_count;
    double cable_farad;        ///< of all cables in the rig's path, but for loops that are off
    double first_cable_farad;  ///< of those the pickup drives: up to the first stage that drives on
    double cable_m;            ///< their length together
    double direct_cable_farad; ///< of the direct line-up
} tl_inspection;

#endif

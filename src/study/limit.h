// SPDX-License-Identifier: GPL-3.0-or-later
/// @file limit.h Limits a builder states in words: "-1 dB at 5 kHz".
#ifndef TL_STUDY_LIMIT_H
#define TL_STUDY_LIMIT_H

#include "base/quantity.h"
#include "toneload/study.h"

typedef enum {
    TL_LIMIT_DIFFERENCE, ///< rig minus direct, matched, at a frequency
    TL_LIMIT_PEAK,       ///< peak not below a frequency
    TL_LIMIT_CUTOFF,     ///< -3 dB not below a frequency
    TL_LIMIT_VERDICT,    ///< to the ear not worse than
} tl_limit_kind;

typedef struct {
    tl_limit_kind kind;
    double db; ///< of a difference: not below it when negative, not above it when positive
    double hz;
    tl_verdict verdict;
} tl_limit;

/// Reads a limit. TL_BAD_INPUT with the forms that are known.
tl_status tl_limit_read(tl_units* units, const char* text, tl_limit* limit, tl_error* error);

/// How well a solved rig meets a limit: 0 just so, positive with room, negative not. In dB, in
/// octaves, or on the scale of the verdict.
double tl_limit_margin(const tl_limit* limit, const tl_solved* rig, const tl_solved* direct);

#endif

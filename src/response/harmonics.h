// SPDX-License-Identifier: GPL-3.0-or-later
/// @file harmonics.h What a sine came out as: its harmonics, and what is neither.
#ifndef TL_RESPONSE_HARMONICS_H
#define TL_RESPONSE_HARMONICS_H

#include "toneload/error.h"

#include <stddef.h>

enum {
    TL_HARMONICS = 20,       ///< counted in the distortion, the fundamental among them
    TL_PERIOD_SAMPLES = 256, ///< each period is resampled to so many
};

typedef struct {
    double fundamental_v;           ///< peak
    double share[TL_HARMONICS + 1]; ///< of harmonic n, relative to the fundamental; [1] is 1
    double thd_share;               ///< root sum square of harmonics 2 to 20 over the fundamental
    /// The largest component up to the 20th harmonic that is no harmonic, relative: what the
    /// numbers cannot tell from nothing.
    double floor_share;
} tl_harmonics;

/// Measures the last `periods` whole periods of `hz` before `end_s` in a signal known at uneven
/// times: resampled evenly by a cubic spline, freed of a slow drift (coupling capacitors that still
/// settle: a parabola through the periods' means), and transformed. TL_FAILURE when the signal is
/// too short or holds no fundamental.
tl_status tl_harmonics_measure(size_t count, const double* time_s, const double* volts, double hz,
                               double end_s, size_t periods, tl_harmonics* harmonics,
                               tl_error* error);

#endif

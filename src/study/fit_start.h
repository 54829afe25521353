// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit_start.h Where a search for a pickup's values may begin.
#ifndef TL_STUDY_FIT_START_H
#define TL_STUDY_FIT_START_H

#include "study/fit_solve.h"

enum { TL_FIT_STARTS = 9, TL_FIT_WIDE = 8 };

/// Guesses from the shape of the data: coordinates of inductance, resistance, capacitance and
/// scale, in a fixed order; how many.
size_t tl_fit_starts(const tl_fit_data* data, double starts[TL_FIT_STARTS][TL_FIT_TOTAL]);

/// The places that fit best of a net thrown over all coils that a plain problem may be about, each
/// better than all around it; best first, how many.
size_t tl_fit_wide_starts(const tl_fit_problem* plain, double starts[TL_FIT_WIDE][TL_FIT_TOTAL]);

#endif

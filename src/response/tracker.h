// SPDX-License-Identifier: GPL-3.0-or-later
/// @file tracker.h Fits of many sets of samples that are all but alike.
///
/// A response found with care serves as the pattern: another one of the same circuit with other
/// values keeps its support points, starts its weights' equations from its denominator and its
/// poles from where they were. What comes out is judged as any fit is, by held-out samples.
#ifndef TL_RESPONSE_TRACKER_H
#define TL_RESPONSE_TRACKER_H

#include "toneload/response.h"

/// A pattern with the memory of one fit: one thread at a time.
typedef struct tl_tracker tl_tracker;

/// Makes a tracker after a pattern that was fitted to samples at these frequencies. NULL when it
/// was not, or has no supports to keep.
tl_tracker* tl_tracker_new(const tl_response* pattern, size_t count, const double* hz);
void tl_tracker_free(tl_tracker* tracker);

/// Fits samples at the pattern's frequencies. The result depends on the pattern and the samples
/// alone, belongs to the tracker and is gone with the next. NULL when it misses a sample that it
/// was not told of by more than tl_response_fit() accepts: fit those with more care.
const tl_response* tl_tracker_fit(tl_tracker* tracker, const double _Complex* h, double* residual);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spline.h Values between points that lie unevenly: GSL's cubic splines, loaded when needed.
#ifndef TL_RESPONSE_SPLINE_H
#define TL_RESPONSE_SPLINE_H

#include "toneload/error.h"

#include <stddef.h>

/// The natural cubic spline through `count` points (x ascending) at `wanted` places within them.
/// TL_FAILURE when there are fewer than three points, one is not finite or not in order, a place
/// lies outside, or GSL cannot be loaded.
tl_status tl_spline(size_t count, const double* x, const double* y, size_t wanted,
                    const double* places, double* values, tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file least_squares.h The values for which a sum of squares is least.
#ifndef TL_BASE_LEAST_SQUARES_H
#define TL_BASE_LEAST_SQUARES_H

#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>

/// What is squared and summed up.
typedef struct {
    size_t values; ///< to be found
    size_t misses; ///< at least as many
    /// Works out the misses, and how each changes with each value (a row a miss), at some values.
    /// Either is NULL when not asked for. All must be finite wherever the values are.
    void (*miss)(const void* context, const double* at, double* misses, double* slopes);
    const void* context;
    size_t most_steps; ///< 0: 200
} tl_least_squares;

/// Loads GSL. TL_FAILURE when it cannot be; nothing below may be called then.
tl_status tl_least_squares_prepare(tl_error* error);

/// Moves `at` to where the sum of squares is least near it, and returns the sum; NAN when there is
/// no memory. Method: GSL's trust region with Levenberg and Marquardt's step.
double tl_least_squares_find(const tl_least_squares* of, double* at);

#endif

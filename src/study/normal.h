// SPDX-License-Identifier: GPL-3.0-or-later
/// @file normal.h Normal distributions of several numbers that go together.
#ifndef TL_STUDY_NORMAL_H
#define TL_STUDY_NORMAL_H

#include <stddef.h>

/// By the Cholesky factor of its covariance.
typedef struct {
    size_t count;
    double* factor; ///< lower triangle, [row * count + column]
    double log_det; ///< of the covariance
} tl_normal;

/// Takes a covariance over ([row * count + column]), which must be positive definite.
tl_normal tl_normal_of(double* covariance, size_t count);
void tl_normal_free(tl_normal* normal);

/// Solves factor x = `x` in place: what is left has unit covariance.
void tl_normal_whiten(const tl_normal* normal, double* x);
/// The squared length of what is left of `x`; `x` is overwritten.
double tl_normal_distance(const tl_normal* normal, double* x);
/// Logarithm of the density at a squared length.
double tl_normal_log_density(const tl_normal* normal, double distance);

#endif

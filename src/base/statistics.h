// SPDX-License-Identifier: GPL-3.0-or-later
/// @file statistics.h What of GSL's statistics is used, loaded when first asked for.
#ifndef TL_BASE_STATISTICS_H
#define TL_BASE_STATISTICS_H

#include "toneload/error.h"

#include <stddef.h>

/// Loads GSL. TL_FAILURE when it cannot be; nothing below may be called then.
tl_status tl_statistics_prepare(tl_error* error);

/// The value that a share `p` of a standard normal distribution lies below, 0 < p < 1.
double tl_normal_quantile(double p);
/// The share of a standard normal distribution below `x`.
double tl_normal_share(double x);
/// The value that a share `p` of Student's t distribution lies below, by its degrees of freedom.
double tl_student_quantile(double p, double freedom);
/// The quantile `p` (0 to 1) of ascending numbers, linear between them (definition 7 of Hyndman and
/// Fan, The American Statistician 50(4), 1996); NAN of none.
double tl_quantile_sorted(const double* numbers, size_t count, double p);

/// For qsort(): doubles, ascending.
int tl_compare_doubles(const void* a, const void* b);

#endif

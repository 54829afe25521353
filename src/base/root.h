// SPDX-License-Identifier: GPL-3.0-or-later
/// @file root.h The root of a function of one variable.
#ifndef TL_BASE_ROOT_H
#define TL_BASE_ROOT_H

/// A function; it may stop the search by returning NAN.
typedef double tl_root_function(void* context, double x);

/// The root between `low` and `high`, where the function has the values `at_low` and `at_high` of
/// opposite signs, to `tolerance` relative. NAN when the function returned NAN.
/// Method: C. Ridders, IEEE Trans. Circuits Syst. 26(11), 1979; it never leaves the bracket.
double tl_root_find(tl_root_function* of, void* context, double low, double at_low, double high,
                    double at_high, double tolerance);

#endif

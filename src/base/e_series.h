// SPDX-License-Identifier: GPL-3.0-or-later
/// @file e_series.h The series of preferred values of IEC 60063: E3 to E192.
#ifndef TL_BASE_E_SERIES_H
#define TL_BASE_E_SERIES_H

#include <stdbool.h>
#include <stddef.h>

/// A series is known by its steps a decade: 3, 6, 12, 24, 48, 96 or 192.
extern const char* const tl_e_series_names[]; ///< "E3", "E6", ..
extern const size_t tl_e_series_count;

/// Steps of a series by its name; 0 when there is no such series.
unsigned tl_e_series_find(const char* name);

/// The tolerance that goes with a series, as a share. Custom, not rule: the standard's edition of
/// 2015 leaves it open. E6 to E192: qsl.net/g4usp, "Preferred values" (seen; E192 on wikisum.wiki,
/// "E series of preferred numbers"). E3 is given as more than 20 % or as 40 % (seen, the latter on
/// the same page); 40 % here.
double tl_e_series_share(unsigned steps);

/// Value `index` of a series, as the whole number 100 to 999 that its figures make.
unsigned tl_e_series_figures(unsigned steps, unsigned index);

/// Whether a value, in whatever unit, is one of a series.
bool tl_e_series_has(unsigned steps, double value);

/// The values of a series on either side of a positive value; both are the value when it is in it.
void tl_e_series_nearest(unsigned steps, double value, double* below, double* above);

/// The steps of the coarsest series of E6, E12, E24 and E96 that has the value; 0 when none has.
unsigned tl_e_series_coarsest(double value);

#endif

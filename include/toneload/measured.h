// SPDX-License-Identifier: GPL-3.0-or-later
/// @file measured.h What was measured: a table of frequencies read from CSV or Touchstone.
#ifndef TONELOAD_MEASURED_H
#define TONELOAD_MEASURED_H

#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum {
    TL_MEASURED_IMPEDANCE, ///< ohm
    TL_MEASURED_RESPONSE,  ///< a ratio of volts (or a level in dB, made a ratio)
} tl_measured_kind;

/// A sweep, in the order of its file, which is that of rising frequency.
typedef struct {
    tl_measured_kind kind;
    size_t count;
    double* hz;
    double* size;      ///< |Z| in ohm, or |H|
    double* phase_rad; ///< NULL: the file has none
    size_t* line;      ///< of the file, from 1, for errors and tables
    bool relative;     ///< a response in dB or volts whose zero is nobody's: level_db, level_v; not
                       ///< gain_db and ratio
    char* state;       ///< what its column `state` says first, without blanks around; NULL: nothing
    size_t state_line; ///< where
    size_t state_column;
    char* other_state; ///< the first that differs from it; NULL: none
    size_t other_line;
    size_t other_column;
} tl_measured;

/// Reads a sweep: Touchstone 1.1 when the name ends in .s1p, .z1p or .y1p (any case), else RFC 4180
/// CSV with a header line of named columns, units in the names: frequency_hz or _khz; impedance_ohm
/// or _kohm, or real_ohm and imaginary_ohm, or level_db, level_v, gain_db or ratio; maybe phase_deg
/// or _rad. Of what is told twice, size and phase are taken rather than parts, parts rather than
/// size alone. Columns that begin with note, expected, limit and their like are passed over; what
/// one called state says is kept.
/// TL_BAD_INPUT with file, line, column and caret: an unknown column (with the nearest name), a
/// unit missing, a frequency twice or out of order, a field that is no finite number, fewer than 4
/// points.
TL_API tl_status tl_measured_read(const char* path, tl_measured** measured, tl_error* error);
TL_API void tl_measured_free(tl_measured* measured);

#endif

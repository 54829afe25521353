// SPDX-License-Identifier: GPL-3.0-or-later
/// @file measured_columns.h What the columns of a measured sweep are, by their names.
#ifndef TL_BASE_MEASURED_COLUMNS_H
#define TL_BASE_MEASURED_COLUMNS_H

#include "base/csv.h"

typedef enum {
    TL_COLUMN_FREQUENCY, ///< in Hz, once times its factor; the others in their SI unit likewise
    TL_COLUMN_IMPEDANCE,
    TL_COLUMN_PHASE,
    TL_COLUMN_REAL,
    TL_COLUMN_IMAGINARY,
    TL_COLUMN_LEVEL, ///< in dB, whose zero is nobody's
    TL_COLUMN_GAIN,  ///< in dB: output over input
    TL_COLUMN_RATIO, ///< output over input
    TL_COLUMN_VOLT,  ///< at the output; of what input is not said
    TL_COLUMN_STATE, ///< words: which pedals were on
    TL_COLUMN_TOTAL,
    TL_COLUMN_IGNORED,
} tl_column_role;

/// What a column of a role holds, in words: "a frequency".
const char* tl_column_words(tl_column_role role);

/// Reads what a column is called. TL_BAD_INPUT at the name for one that is not known (with the
/// nearest), or whose unit is missing or does not fit (with those that do).
tl_status tl_column_read(const tl_csv_field* name, tl_column_role* role, double* factor,
                         tl_error* error);

#endif

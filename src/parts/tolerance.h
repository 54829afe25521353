// SPDX-License-Identifier: GPL-3.0-or-later
/// @file tolerance.h How far a value may be off, as a builder writes it: `6 kohm +-10 % uniform`.
#ifndef TL_PARTS_TOLERANCE_H
#define TL_PARTS_TOLERANCE_H

#include "base/text.h"
#include "parts/part.h"

/// The mark between a value and its tolerance (+-, ±, +/-), or NULL when there is none; `after` is
/// what follows it.
const char* tl_tolerance_mark(const char* text, const char** after);

/// What a tolerance is read for.
typedef struct {
    tl_units* units;
    const tl_field* field;
    const double* number; ///< the value; NULL: a default for values to come, which is a share
    const tl_place* place;
    bool distribution_said; ///< set when the text ends in its distribution
} tl_tolerance_reading;

/// Reads what follows the mark: a share, a difference in the value's unit or an E series, and maybe
/// a distribution. TL_BAD_INPUT at the place when it is none, or as large as the value.
tl_status tl_tolerance_read(tl_tolerance_reading* r, const char* text,
                            tl_value_tolerance* tolerance, tl_error* error);

/// Reads `normal` or `uniform`.
tl_status tl_distribution_read(const char* word, const tl_place* place,
                               tl_distribution* distribution, tl_error* error);
const char* tl_distribution_word(tl_distribution distribution);

/// TL_BAD_INPUT when either end of the tolerance leaves what is plausible for the field.
tl_status tl_tolerance_check(const tl_field* field, double number,
                             const tl_value_tolerance* tolerance, tl_error* error);

/// Adds a tolerance as people write it: "+-10 %", "+-10 % uniform".
void tl_tolerance_add(tl_text* text, double share, tl_distribution distribution);

#endif

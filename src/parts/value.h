// SPDX-License-Identifier: GPL-3.0-or-later
/// @file value.h Reading one value of a part: a quantity or a word, with what is said beside it.
#ifndef TL_PARTS_VALUE_H
#define TL_PARTS_VALUE_H

#include "base/yaml.h"
#include "parts/part.h"

/// Reads "6 kohm", "6 kohm +-10 %", or {value, tolerance, distribution}; `shelved`: in a library,
/// where a source may stand in the mapping too. TL_BAD_INPUT with a place when it is none, or not
/// plausible for the field.
tl_status tl_value_read(tl_units* units, const tl_field* field, const tl_yaml* node, bool shelved,
                        tl_value* value, tl_error* error);

#endif

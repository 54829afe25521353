// SPDX-License-Identifier: GPL-3.0-or-later
/// @file defaults.h The tolerances that a library file gives values which state none themselves.
#ifndef TL_PARTS_DEFAULTS_H
#define TL_PARTS_DEFAULTS_H

#include "base/yaml.h"
#include "parts/part.h"

/// One field's default.
typedef struct {
    char* field;
    bool by_series;               ///< that of the coarsest usual E series which has the value
    tl_value_tolerance tolerance; ///< its source belongs to the tree it was read from
} tl_default;

typedef struct {
    tl_default* rows;
    size_t count;
} tl_defaults;

/// Reads `tolerances: {FIELD: {tolerance, distribution, source}, ..}` of the library of that name.
/// TL_BAD_INPUT with a place. Free with tl_defaults_free() in any case.
tl_status tl_defaults_read(tl_units* units, const char* library, const tl_yaml* node,
                           tl_defaults* defaults, tl_error* error);
void tl_defaults_free(tl_defaults* defaults);

/// The default for a field that has the value; false when there is none.
bool tl_defaults_find(const tl_defaults* defaults, const char* field, double number,
                      tl_value_tolerance* tolerance);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file names.h Names users give and mistype.
#ifndef TL_BASE_NAMES_H
#define TL_BASE_NAMES_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

/// Steps between two words: letters put in, left out, changed or swapped with their neighbour
/// (optimal string alignment; Damerau, Comm. ACM 7(3), 1964).
size_t tl_name_distance(const char* a, const char* b);

/// The known name nearest to a mistyped one, or NULL when none is near enough to be meant.
const char* tl_name_nearest(const char* word, const char* const* names, size_t count);

/// Adds ", did you mean NAME?" when a name is near, else the list of names when it is short.
void tl_name_hint(tl_text* text, const char* word, const char* const* names, size_t count);

/// Whether it is a name as paths can hold it: letters, digits, blank, '-' and '_', not empty,
/// no blank at either end, at least one letter.
bool tl_name_is_good(const char* name);

#endif

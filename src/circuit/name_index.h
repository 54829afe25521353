// SPDX-License-Identifier: GPL-3.0-or-later
/// @file name_index.h Names of a text and a number for each, found quickly however many there are.
#ifndef TL_CIRCUIT_NAME_INDEX_H
#define TL_CIRCUIT_NAME_INDEX_H

#include "circuit/spice_line.h"

/// Starts as {0}; free with tl_name_index_free().
typedef struct {
    tl_piece* names; ///< by slot; size 0: empty
    size_t* numbers;
    size_t slots; ///< a power of two
    size_t count;
} tl_name_index;

void tl_name_index_free(tl_name_index* index);
/// Whether a name is there, and its number.
bool tl_name_index_get(const tl_name_index* index, tl_piece name, size_t* number);
/// Adds a name that is not there yet.
void tl_name_index_add(tl_name_index* index, tl_piece name, size_t number);

#endif

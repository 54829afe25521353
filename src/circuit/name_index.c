// SPDX-License-Identifier: GPL-3.0-or-later
#include "circuit/name_index.h"

#include "base/text.h"

#include <stdlib.h>

void tl_name_index_free(tl_name_index* index) {
    free(index->names);
    free(index->numbers);
    *index = (tl_name_index){0};
}

/// FNV-1a, 32 bits: offset basis 2166136261, prime 16777619 (from memory).
static size_t hash_of(tl_piece name) {
    unsigned hash = 2166136261U;
    for (size_t i = 0; i < name.size; ++i)
        hash = (hash ^ (unsigned char)name.line->text[name.at + i]) * 16777619U;
    return hash;
}

/// The slot a name stands in, or the empty one where it would.
static size_t find_slot(const tl_name_index* index, tl_piece name) {
    size_t slot = hash_of(name) & (index->slots - 1);
    while (index->names[slot].size && !tl_piece_same(index->names[slot], name))
        slot = (slot + 1) & (index->slots - 1);
    return slot;
}

bool tl_name_index_get(const tl_name_index* index, tl_piece name, size_t* number) {
    if (!index->slots)
        return false;
    size_t slot = find_slot(index, name);
    *number = index->numbers[slot];
    return index->names[slot].size > 0;
}

static void widen(tl_name_index* index) {
    tl_name_index wide = {.slots = index->slots ? 2 * index->slots : 16};
    wide.names = tl_new(wide.slots, sizeof *wide.names);
    wide.numbers = tl_new(wide.slots, sizeof *wide.numbers);
    for (size_t i = 0; i < index->slots; ++i)
        if (index->names[i].size)
            tl_name_index_add(&wide, index->names[i], index->numbers[i]);
    tl_name_index_free(index);
    *index = wide;
}

void tl_name_index_add(tl_name_index* index, tl_piece name, size_t number) {
    if (2 * index->count >= index->slots)
        widen(index);
    size_t slot = find_slot(index, name);
    index->names[slot] = name;
    index->numbers[slot] = number;
    ++index->count;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/alike.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

/// FNV-1a over all elements (Fowler, Noll and Vo; constants from memory).
static uint64_t hash_circuit(const tl_circuit* circuit, bool whose) {
    uint64_t hash = 14695981039346656037u;
    for (size_t i = 0; i < circuit->element_count; ++i) {
        const tl_element* element = &circuit->elements[i];
        uint64_t bits = 0;
        memcpy(&bits, &element->value, sizeof bits);
        uint64_t words[] = {(uint64_t)(unsigned char)element->kind,
                            element->a,
                            element->b,
                            element->control,
                            bits,
                            whose ? (uint64_t)(uintptr_t)element->part : 0};
        for (size_t j = 0; j < sizeof words / sizeof *words; ++j)
            for (int shift = 0; shift < 64; shift += 8) {
                hash ^= words[j] >> shift & 0xff;
                hash *= 1099511628211u;
            }
    }
    return hash;
}

/// Whether two circuits are one.
static bool is_same(const tl_circuit* a, const tl_circuit* b, bool whose) {
    if (!tl_circuit_same_shape(a, b))
        return false;
    for (size_t i = 0; i < a->element_count; ++i) {
        const tl_element* one = &a->elements[i];
        const tl_element* two = &b->elements[i];
        if (one->value != two->value || one->makes != two->makes ||
            (whose && one->part != two->part))
            return false;
    }
    return true;
}

/// Where hashes agree the circuits are compared.
tl_alike tl_alike_find(size_t cases, bool whose, tl_circuit* (*build)(void* context, size_t index),
                       void* context) {
    tl_alike alike = {.solve_of = tl_new(cases, sizeof(size_t)),
                      .next = tl_new(cases, sizeof(size_t)),
                      .first = tl_new(cases, sizeof(size_t))};
    size_t room = 1;
    while (room < 2 * cases)
        room *= 2;
    size_t* table = tl_new(room, sizeof *table); // a circuit, plus one
    size_t* last = tl_new(cases, sizeof *last);  // by circuit: its last case so far
    uint64_t* hashes = tl_new(cases, sizeof *hashes);
    for (size_t i = 0; i < cases; ++i) {
        tl_circuit* circuit = build(context, i);
        uint64_t hash = hash_circuit(circuit, whose);
        size_t at = (size_t)hash & (room - 1);
        for (; table[at]; at = (at + 1) & (room - 1)) {
            if (hashes[table[at] - 1] != hash)
                continue;
            tl_circuit* other = build(context, alike.first[table[at] - 1]);
            bool same = is_same(circuit, other, whose);
            tl_circuit_free(other);
            if (same)
                break;
        }
        if (!table[at]) {
            hashes[alike.count] = hash;
            alike.first[alike.count] = i;
            table[at] = ++alike.count;
        } else {
            alike.next[last[table[at] - 1]] = i;
        }
        alike.solve_of[i] = table[at] - 1;
        alike.next[i] = SIZE_MAX;
        last[table[at] - 1] = i;
        tl_circuit_free(circuit);
    }
    free(table);
    free(last);
    free(hashes);
    return alike;
}

void tl_alike_free(tl_alike* alike) {
    free(alike->solve_of);
    free(alike->next);
    free(alike->first);
    *alike = (tl_alike){0};
}

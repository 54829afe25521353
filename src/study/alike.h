// SPDX-License-Identifier: GPL-3.0-or-later
/// @file alike.h Circuits that come to the same, so that each of them is solved once.
#ifndef TL_STUDY_ALIKE_H
#define TL_STUDY_ALIKE_H

#include "circuit/circuit.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// Cases (a state of the pedals, a buffer in a gap) and the circuits they come to.
typedef struct {
    size_t* solve_of; ///< by case: its circuit among those to be solved
    size_t* next;     ///< by case: the next one of the same circuit; SIZE_MAX: none
    size_t* first;    ///< by circuit: its first case
    size_t count;     ///< circuits
} tl_alike;

/// Finds which of `cases` come to the same circuit. `whose`: elements that are equal but belong to
/// other parts make another circuit. Free with tl_alike_free().
tl_alike tl_alike_find(size_t cases, bool whose, tl_circuit* (*build)(void* context, size_t index),
                       void* context);
void tl_alike_free(tl_alike* alike);

#endif

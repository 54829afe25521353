// SPDX-License-Identifier: GPL-3.0-or-later
/// @file deck.h A circuit as the solver takes it: numbers only, no word of the user's.
#ifndef TL_CIRCUIT_DECK_H
#define TL_CIRCUIT_DECK_H

#include <stddef.h>

/// An element of a deck by its letter (one of "rlcev") and number: `r12`.
typedef struct {
    char kind;
    unsigned number;
} tl_element_id;

/// What a worker loads, once, and which values change from request to request.
typedef struct {
    unsigned long id;      ///< differs between any two decks of a process
    char* text;            ///< a whole SPICE deck without analysis lines, title to .end
    size_t varied_count;   ///< elements that every request on this deck sets
    tl_element_id* varied; ///< in the order of a request's values
    size_t output_count;   ///< nodes to read
    unsigned* outputs;     ///< their numbers (0 is ground and never an output)
} tl_deck;

void tl_deck_free(tl_deck* deck);

#endif

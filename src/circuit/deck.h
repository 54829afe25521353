// SPDX-License-Identifier: GPL-3.0-or-later
/// @file deck.h A circuit as the solver takes it: numbers only, no word of the user's.
#ifndef TL_CIRCUIT_DECK_H
#define TL_CIRCUIT_DECK_H

#include <stddef.h>

/// What can be set in a deck: an element by its letter (one of "rlcegv") and number, `r12`; or, by
/// a capital letter (one of "RLC"), all elements that share the value of the one of that number.
typedef struct {
    char kind;
    unsigned number;
} tl_element_id;

/// What can be worked out of a deck.
typedef enum {
    TL_SWEEP,     ///< small-signal response at many frequencies
    TL_POINT,     ///< the operating point
    TL_TRANSIENT, ///< how it goes on from there in time
    TL_NOISE,     ///< what its elements add at one node, at many frequencies
} tl_analysis;

/// A quantity to read. All analyses but noise: 'n' the voltage of node `number`; 'v' the current
/// through voltage source `number`, in ampere from its first node to its second (a supply that
/// feeds a circuit has a negative one). Noise only, in V/sqrt(Hz): 'o' all of it at the output; 'i'
/// the same as a voltage at the input; an element's letter (one of "rdqjm") and number its share
/// at the output (shares add up as squares). 'o' and 'i' have no number.
typedef struct {
    char kind;
    unsigned number;
} tl_probe;

/// What a worker loads, once, and which values change from request to request.
typedef struct {
    unsigned long id;      ///< differs between any two decks of a process
    char* text;            ///< a whole SPICE deck without analysis lines, title to .end
    size_t varied_count;   ///< elements that every request on this deck sets
    tl_element_id* varied; ///< in the order of a request's values
    size_t output_count;   ///< what to read
    tl_probe* outputs;     ///< (0 is ground and never an output)
} tl_deck;

/// Tight enough for an operating point whose small-signal values do not depend on how it was found.
#define TL_DECK_OPTIONS ".options reltol=1e-7 abstol=1e-13 vntol=1e-9 itl1=300"
/// For edges in time, where ngspice finds no step short enough for the tight ones: at picoseconds a
/// junction's capacitance turns rounding into more current than `abstol`.
#define TL_DECK_LOOSE_OPTIONS ".options reltol=1e-5 abstol=1e-9 vntol=1e-7 itl1=300"

/// An id that no other deck of the process has.
unsigned long tl_deck_next_id(void);
void tl_deck_free(tl_deck* deck);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file netlist.h A user's SPICE subcircuit, read by a list of what is allowed, and made flat.
///
/// What comes out holds numbers, numbered nodes and expressions of known tokens: no word of the
/// user's reaches a deck. Comments are gone before anything is read; parameters and braces are
/// worked out here; subcircuits within are put in place with numbers of their own.
#ifndef TL_CIRCUIT_NETLIST_H
#define TL_CIRCUIT_NETLIST_H

#include "base/place.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

/// A flat subcircuit. Node 0 is ground; nodes 1 to tl_netlist_port_count() are its ports in the
/// order of its `.subckt` line.
typedef struct tl_netlist tl_netlist;

enum { TL_CARD_NODES = 8 };

/// An element as others see it.
typedef struct {
    char kind; ///< one of "rlckviefghbdqjms": no 'x' is left
    size_t node_count;
    unsigned nodes[TL_CARD_NODES]; ///< as on its line: + and -; collector, base, emitter; drain,
                                   ///< gate, source; controlling nodes after those
    const char* name;              ///< as the user wrote it, with the calls it lies in: "x1.r3"
    tl_place place;
} tl_card;

/// Reads SPICE text and makes subcircuit `name` flat; `name_place` is where that name was written,
/// for an error about it. The input must outlive the netlist. TL_BAD_INPUT with a place for all
/// that is not on the list, for sizes, depths and counts past their limits, for a subcircuit that
/// calls itself, a missing model or subcircuit, a node or pin named twice.
tl_status tl_netlist_read(const tl_input* input, const char* name, const tl_place* name_place,
                          tl_netlist** netlist, tl_error* error);
tl_netlist* tl_netlist_clone(const tl_netlist* netlist);
void tl_netlist_free(tl_netlist* netlist);

size_t tl_netlist_port_count(const tl_netlist* netlist);
/// Name of port `index` (its node is index + 1), in lower case.
const char* tl_netlist_port_name(const tl_netlist* netlist, size_t index);
/// What looks wrong though it can be read, a line each with its place; owned by the netlist.
const char* const* tl_netlist_remarks(const tl_netlist* netlist, size_t* count);

/// All nodes, ground included.
size_t tl_netlist_node_count(const tl_netlist* netlist);
/// For people: "mid", "x1.out".
const char* tl_netlist_node_name(const tl_netlist* netlist, unsigned node);

size_t tl_netlist_card_count(const tl_netlist* netlist);
tl_card tl_netlist_card(const tl_netlist* netlist, size_t index);

/// Pairs of nodes of a card that direct current can pass between (none for a capacitor, a gate, or
/// controlling nodes). Returns how many of `pairs`, at most TL_CARD_NODES.
size_t tl_netlist_links(const tl_netlist* netlist, size_t card, unsigned pairs[TL_CARD_NODES][2]);

/// A value that can be changed: `r1` (an element's value), `q1.bf` (a parameter of the model that
/// element uses, which becomes its own), `x1.r3`. False when there is none of that name.
bool tl_netlist_get(const tl_netlist* netlist, const char* path, double* value);
bool tl_netlist_set(tl_netlist* netlist, const char* path, double value);
/// All paths that tl_netlist_get() knows, for hints; owned by the netlist.
const char* const* tl_netlist_paths(const tl_netlist* netlist, size_t* count);

/// Writes the cards and models as deck lines. Card i becomes element number `first + i`, models are
/// named by numbers from `first` too, and node n becomes nodes[n] (nodes[0] must be 0). Initial
/// conditions and node sets of the text come along.
void tl_netlist_write(const tl_netlist* netlist, tl_text* text, const unsigned* nodes,
                      unsigned first);

#endif

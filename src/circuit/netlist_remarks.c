// SPDX-License-Identifier: GPL-3.0-or-later
// What looks wrong in a subcircuit that can be read: it is said, and measured all the same.
#include "circuit/netlist_internal.h"

#include "base/file.h"

#include <stdarg.h>
#include <stdlib.h>

enum { MOST_REMARKS = 20 };
static const double small_ohm = 0.1;
static const double small_farad = 0.05e-12;
static const double large_farad = 0.1;

void tl_netlist_remark(tl_netlist* netlist, const tl_place* place, const char* format, ...) {
    if (netlist->remark_count == MOST_REMARKS)
        return;
    tl_text text = {0};
    if (place->in)
        tl_text_addf(&text, "%s:%zu: ", tl_file_name(place->in->name), place->line);
    va_list args;
    va_start(args, format);
    tl_text_addv(&text, format, args);
    va_end(args);
    netlist->remarks =
        tl_grow_one(netlist->remarks, netlist->remark_count, sizeof *netlist->remarks);
    netlist->remarks[netlist->remark_count++] = tl_text_take(&text);
}

/// Suffixes of SPICE that are taken for others: m and M are both milli, f and F both femto.
static void remark_value(tl_netlist* netlist, const tl_flat_card* card) {
    const tl_place* place = &card->card.place;
    double value = card->value;
    if (card->card.kind == 'r' && value > 0 && value < small_ohm)
        tl_netlist_remark(netlist, place,
                          "%s is %g ohm: 'M' and 'm' are milli in SPICE, a megohm is 1meg",
                          card->card.name, value);
    if (card->card.kind == 'c' && value > 0 && value < small_farad)
        tl_netlist_remark(netlist, place,
                          "%s is %g F: 'F' is femto in SPICE, 1 farad is 1 and a microfarad 1u",
                          card->card.name, value);
    if (card->card.kind == 'c' && value > large_farad)
        tl_netlist_remark(netlist, place, "%s is %g F: is a suffix such as u, n or p missing?",
                          card->card.name, value);
}

/// A node that a single element reaches, and no pin, is mostly a name mistyped.
static void remark_nodes(tl_netlist* netlist) {
    size_t* reached = tl_new(netlist->node_count, sizeof *reached);
    const tl_flat_card** by = tl_new(netlist->node_count, sizeof(const tl_flat_card*));
    for (size_t i = 0; i < netlist->card_count; ++i) {
        const tl_card* card = &netlist->cards[i].card;
        for (size_t j = 0; j < card->node_count; ++j) {
            ++reached[card->nodes[j]];
            by[card->nodes[j]] = &netlist->cards[i];
        }
        if (card->kind == 'b') // what its expression looks at is not counted: say nothing then
            for (size_t j = 0; j < netlist->node_count; ++j)
                reached[j] += reached[j] > 0;
    }
    for (size_t i = netlist->port_count + 1; i < netlist->node_count; ++i)
        if (reached[i] == 1)
            tl_netlist_remark(netlist, &by[i]->card.place,
                              "node '%s' is reached by %s alone: is its name mistyped?",
                              netlist->nodes[i], by[i]->card.name);
    free(reached);
    free(by);
}

void tl_netlist_find_remarks(tl_netlist* netlist) {
    for (size_t i = 0; i < netlist->card_count; ++i)
        remark_value(netlist, &netlist->cards[i]);
    remark_nodes(netlist);
}

const char* const* tl_netlist_remarks(const tl_netlist* netlist, size_t* count) {
    *count = netlist->remark_count;
    return (const char* const*)netlist->remarks;
}

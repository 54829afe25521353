// SPDX-License-Identifier: GPL-3.0-or-later
// A flat netlist as deck lines: numbers, and words of our own.
#include "circuit/netlist_internal.h"

#include <string.h>

/// What writing needs to know.
typedef struct {
    const tl_netlist* netlist;
    tl_text* text;
    const unsigned* nodes;
    unsigned first;
} writer;

static void write_settings(const writer* w, const tl_flat_setting* settings, size_t count) {
    for (size_t i = 0; i < count; ++i)
        tl_text_addf(w->text, " %s=%.17g", settings[i].name, settings[i].value);
}

static void write_model(const writer* w, size_t index) {
    const tl_flat_model* model = &w->netlist->models[index];
    tl_text_addf(w->text, ".model m%zu %s", w->first + index, model->type->name);
    if (model->count) {
        tl_text_add(w->text, " (");
        write_settings(w, model->settings, model->count);
        tl_text_add(w->text, " )");
    }
    tl_text_add(w->text, "\n");
}

static void write_value(const writer* w, const tl_flat_card* card) {
    char kind = card->card.kind;
    if (kind == 'b') {
        tl_text_add(w->text, card->is_current ? " i=" : " v=");
        tl_formula_write(&card->formula, w->nodes, w->first, w->text);
        return;
    }
    if (kind == 'k')
        tl_text_addf(w->text, " l%zu l%zu", w->first + card->refs[0], w->first + card->refs[1]);
    if (kind == 'f' || kind == 'h')
        tl_text_addf(w->text, " v%zu", w->first + card->refs[0]);
    if (kind == 'v' || kind == 'i')
        tl_text_add(w->text, " dc");
    if (card->has_value && !strchr("djqms", kind))
        tl_text_addf(w->text, " %.17g", card->value);
}

static void write_card(const writer* w, size_t index) {
    const tl_flat_card* card = &w->netlist->cards[index];
    char kind = card->card.kind;
    tl_text_addf(w->text, "%c%zu", kind, w->first + index);
    for (size_t i = 0; i < card->card.node_count; ++i)
        tl_text_addf(w->text, " %u", w->nodes[card->card.nodes[i]]);
    if (card->model != TL_NO_MODEL) // ngspice takes no model after the value of a c or l
        tl_text_addf(w->text, " m%zu", w->first + (size_t)card->model);
    write_value(w, card);
    if (card->has_value && strchr("djq", kind))
        tl_text_addf(w->text, " area=%.17g", card->value);
    if (card->flag)
        tl_text_addf(w->text, " %s", card->flag);
    write_settings(w, card->settings, card->setting_count);
    tl_text_add(w->text, "\n");
}

static void write_level(const writer* w, const tl_flat_level* level) {
    tl_text_addf(w->text, "%s v(%u)=%.17g\n", level->initial ? ".ic" : ".nodeset",
                 w->nodes[level->node], level->volt);
}

void tl_netlist_write(const tl_netlist* netlist, tl_text* text, const unsigned* nodes,
                      unsigned first) {
    const writer w = {netlist, text, nodes, first};
    for (size_t i = 0; i < netlist->model_count; ++i)
        if (netlist->models[i].users)
            write_model(&w, i);
    for (size_t i = 0; i < netlist->card_count; ++i)
        write_card(&w, i);
    for (size_t i = 0; i < netlist->level_count; ++i)
        write_level(&w, &netlist->levels[i]);
}

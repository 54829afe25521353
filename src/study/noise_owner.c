// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/noise_owner.h"

#include "base/quantity.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "study/leads.h"

#include <stdlib.h>
#include <string.h>

static void collect_name(void* context, tl_part* part, const tl_item* item, const char* path) {
    tl_noise_names* names = context;
    names->names = tl_grow_one(names->names, names->count, sizeof *names->names);
    names->names[names->count++] =
        (tl_noise_name){part, tl_copy(path), NULL, item && item->name ? tl_copy(item->name) : NULL};
}

void tl_noise_collect_names(tl_rig* rig, tl_noise_names* names) {
    *names = (tl_noise_names){0};
    tl_rig_each_part(rig, collect_name, names);
    tl_lead_list leads;
    tl_leads_list(rig, &leads);
    for (size_t i = 0; i < names->count; ++i)
        names->names[i].where = tl_leads_where(&leads, names->names[i].path);
    tl_leads_free(&leads);
}

void tl_noise_free_names(tl_noise_names* names) {
    for (size_t i = 0; i < names->count; ++i) {
        free(names->names[i].path);
        free(names->names[i].where);
        free(names->names[i].name);
    }
    free(names->names);
}

const tl_noise_name* tl_noise_name_of(const tl_noise_names* names, const tl_part* part) {
    for (size_t i = 0; i < names->count; ++i)
        if (names->names[i].part == part)
            return &names->names[i];
    return NULL;
}

/// "volume pot at 50 %".
static void add_pot(tl_text* text, const char* what, const tl_part* pot) {
    tl_text_addf(text, "%s at ", what);
    tl_quantity_add(text, TL_UNIT_FRACTION, tl_part_number(pot, "position", 1));
}

/// "6 m of standard-coax".
static void add_cable(tl_text* text, const tl_part* cable) {
    tl_quantity_add(text, TL_UNIT_METRE, tl_part_number(cable, "length", 0));
    tl_text_addf(text, " of %s", cable->library ? cable->library : "cable");
}

char* tl_noise_words(const tl_noise_name* who, tl_noise_slot which) {
    const tl_part* part = who->part;
    tl_text text = {0};
    if (who->name)
        tl_text_addf(&text, "%s", who->name);
    else if (part->kind == &tl_kind_volume)
        add_pot(&text, "volume pot", part);
    else if (part->kind == &tl_kind_pot)
        add_pot(&text, "volume pedal", part);
    else if (part->kind == &tl_kind_tone)
        add_pot(&text, "tone pot", part);
    else if (part->kind == &tl_kind_cable)
        add_cable(&text, part);
    else if (part->kind == &tl_kind_amp)
        tl_text_add(&text, which == TL_NOISE_SLOT_STOPPER  ? "amp's stopper"
                           : which == TL_NOISE_SLOT_STATED ? "amp's own noise"
                                                           : "amp's input resistance");
    else if (part->kind == &tl_kind_end)
        tl_text_add(&text, "what the branch ends in");
    else if (part->kind == &tl_kind_pickup || part->kind == &tl_kind_source)
        tl_text_addf(&text, "%s%s%s", part->kind->name, part->library ? " " : "",
                     part->library ? part->library : "");
    else if (part->library)
        tl_text_addf(&text, "%s %s", part->kind->name, part->library);
    else
        tl_text_add(&text, part->kind->name);
    return tl_text_take(&text);
}

tl_noise_slot tl_noise_slot_of(const tl_element* element) {
    if (!element->part || element->part->kind != &tl_kind_amp)
        return TL_NOISE_SLOT_WHOLE;
    if (element->makes == TL_MAKES_VOLTAGE || element->makes == TL_MAKES_CURRENT)
        return TL_NOISE_SLOT_STATED;
    return element->b == TL_GROUND ? TL_NOISE_SLOT_WHOLE : TL_NOISE_SLOT_STOPPER;
}

char tl_noise_letter(const tl_circuit* circuit, const tl_element* element) {
    if (element->kind == 'r')
        return element->makes == TL_MAKES_NONE ? '\0' : 'r';
    if (element->kind != 'x')
        return '\0';
    const tl_embedded* in = &circuit->embedded[element->a];
    char kind = tl_netlist_card(in->design->netlist, element->b).kind;
    bool noisy = strchr("rdqjm", kind) != NULL;
    return (char)(noisy ? kind : '\0');
}

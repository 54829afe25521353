// SPDX-License-Identifier: GPL-3.0-or-later
// What the bill of a rig's board goes by: the makes of its leads, its joints, the board's terms.
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "study/build.h"
#include "study/build_bill.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// What a contact of the chain says of the joint in it, by its library name.
static tl_joint_kind joint_of(const tl_part* contact) {
    const char* name = contact && contact->library ? contact->library : "";
    return strncmp(name, "soldered", 8) == 0  ? TL_JOINT_SOLDERED
           : strncmp(name, "clamped", 7) == 0 ? TL_JOINT_CLAMPED
                                              : TL_JOINT_UNKNOWN;
}

/// The joint at one end of the item at `at`: of the contacts that follow it in one direction, the
/// first that says.
static tl_joint_kind joint_beside(const tl_chain* chain, size_t at, bool before) {
    size_t left = before ? at : chain->count - 1 - at;
    for (size_t i = 1; i <= left; ++i) {
        const tl_part* part = chain->items[before ? at - i : at + i].part;
        if (!part || part->kind != &tl_kind_contact)
            break;
        if (joint_of(part) != TL_JOINT_UNKNOWN)
            return joint_of(part);
    }
    return TL_JOINT_UNKNOWN;
}

/// Finds a cable in a chain, its loops and branches; takes the joints at its ends.
static bool find_joints(const tl_chain* chain, const tl_part* cable, tl_bill_lead* lead) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        if (item->part == cable) {
            lead->from = joint_beside(chain, i, true);
            lead->to = joint_beside(chain, i, false);
            return true;
        }
        bool found = find_joints(&item->loop, cable, lead);
        for (size_t j = 0; !found && j < item->branch_count; ++j)
            found = find_joints(&item->branches[j].chain, cable, lead);
        if (found)
            return true;
    }
    return false;
}

/// Whether two cables are off the same reel: the same name and values, but for their lengths.
static bool same_cable(const tl_part* one, const tl_part* other) {
    if (!one->library != !other->library ||
        (one->library && strcmp(one->library, other->library) != 0))
        return false;
    for (size_t i = 0; i < one->kind->field_count; ++i) {
        const tl_value* a = &one->values[i];
        const tl_value* b = &other->values[i];
        if (one->kind->fields[i].flags & TL_FIELD_BESIDE)
            continue;
        if (a->given != b->given || (a->given && a->number != b->number))
            return false;
    }
    return true;
}

static bool same_make(const tl_build_work* w, size_t one, size_t other) {
    const tl_part* a = w->layout.leads[one].cable;
    const tl_part* b = w->layout.leads[other].cable;
    if (!a || !b)
        return !a && !b && strcmp(w->build->leads[one].type, w->build->leads[other].type) == 0;
    return same_cable(a, b);
}

static tl_bill_lead* list_makes(const tl_build_work* w) {
    size_t count = w->build->lead_count;
    tl_bill_lead* leads = tl_new(count + 1, sizeof *leads);
    const tl_power* power = w->rig->power;
    for (size_t i = 0; i < count; ++i) {
        while (leads[i].make < i && !same_make(w, i, leads[i].make))
            ++leads[i].make;
        const tl_part* cable = w->layout.leads[i].cable;
        if (cable) {
            find_joints(&w->rig->main.chain, cable, &leads[i]);
            continue;
        }
        const tl_dc_lead* own = &power->consumers[tl_build_consumer(w, i)].lead;
        leads[i].from = leads[i].to = joint_of((own->wire ? own : &power->lead)->joint);
    }
    return leads;
}

/// Names that price files may have, of whatever a board can need.
typedef struct {
    tl_price_item* items;
    size_t count;
    char** made; ///< their names that are ours
    size_t made_count;
} names;

static void add_name(names* n, const char* name, const char* alias, tl_unit unit) {
    n->items = tl_grow_one(n->items, n->count, sizeof *n->items);
    n->items[n->count++] = (tl_price_item){name, alias, unit, false};
}

static char* add_made(names* n, char* name) {
    n->made = tl_grow_one(n->made, n->made_count, sizeof *n->made);
    n->made[n->made_count++] = name;
    return name;
}

static tl_status add_library(names* n, tl_library* library, const tl_part_kind* kind, tl_unit unit,
                             tl_error* error) {
    const char* const* list = NULL;
    size_t count = 0;
    tl_status status = tl_library_names(library, kind, &list, &count, error);
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        bool plug = kind == &tl_kind_plug;
        add_name(n, plug ? add_made(n, tl_printf("%s plug", list[i])) : list[i],
                 plug ? list[i] : NULL, unit);
    }
    return status;
}

static tl_status list_names(names* n, tl_library* library, tl_error* error) {
    add_name(n, "soldered joint", NULL, TL_UNIT_COUNT);
    add_name(n, "clamped joint", NULL, TL_UNIT_COUNT);
    add_name(n, "tie mount", NULL, TL_UNIT_COUNT);
    add_name(n, "cable tie", NULL, TL_UNIT_COUNT);
    for (int ways = 2; ways <= 12; ++ways)
        add_name(n, add_made(n, tl_printf("splitter for %d", ways)), NULL, TL_UNIT_COUNT);
    for (int awg = 10; awg <= 32; ++awg) {
        const char* alias = add_made(n, tl_printf("%d AWG", awg));
        add_name(n, add_made(n, tl_printf("%d AWG DC lead", awg)), alias, TL_UNIT_METRE);
    }
    tl_status status = add_library(n, library, &tl_kind_cable, TL_UNIT_METRE, error);
    if (status == TL_OK)
        status = add_library(n, library, &tl_kind_plug, TL_UNIT_COUNT, error);
    if (status == TL_OK)
        status = add_library(n, library, &tl_kind_fastener, TL_UNIT_SQUARE_METRE, error);
    return status;
}

/// Leads that cannot be bought, since nobody knows how long they are.
static void assume_lengths(tl_build* build) {
    tl_text numbers = {0};
    size_t count = 0;
    for (size_t i = 0; i < build->lead_count; ++i)
        if (isnan(build->leads[i].cut_m))
            tl_text_addf(&numbers, "%s%zu", count++ ? ", " : "", build->leads[i].number);
    if (count)
        tl_build_take(build, tl_printf("No length is known of lead%s %s: what is cut for %s is not "
                                       "in the bill, plugs and joints are.",
                                       count > 1 ? "s" : "", tl_text_get(&numbers),
                                       count > 1 ? "them" : "it"));
    tl_text_free(&numbers);
}

/// Leads of which no reel is known, or none that is long enough.
static void assume_pieces(tl_build* build, bool too_short) {
    tl_text names = {0};
    for (size_t i = 0; i < build->line_count; ++i)
        if (strcmp(build->lines[i].group, "lead") == 0 && !build->lines[i].purchase_count &&
            build->lines[i].too_short == too_short)
            tl_text_addf(&names, "%s%s", names.size ? ", " : "", build->lines[i].item);
    if (names.size)
        tl_build_take(build, tl_printf("%s: %s, so each kind is one piece.", tl_text_get(&names),
                                       too_short ? "no reel that is known is long enough for the "
                                                   "longest of them"
                                                 : "no reel is known ('reel' in 'board', or a "
                                                   "price file)"));
    tl_text_free(&names);
}

/// Says what was taken where the rig does not say.
static void assume_terms(const tl_build_work* w, const tl_bill_terms* terms) {
    const tl_part* part = w->board->part;
    tl_build* build = w->build;
    if (!tl_part_has(part, "mounts"))
        tl_build_take(build, tl_printf("A tie mount every %.3g mm along each lead's route (common "
                                       "practice: every 100 to 150 mm); leads that run together "
                                       "may share theirs.",
                                       1e3 * terms->spacing_m));
    if (!tl_part_has(part, "spares"))
        tl_build_take(build, tl_printf("%.3g %% more plugs, tie mounts and ties than are needed "
                                       "(from memory: some are lost or spoilt).",
                                       100 * terms->spares));
    if (build->hold_count && !tl_part_has(part, "waste"))
        tl_build_take(build, tl_printf("%.3g %% more fastener than its area (from memory: "
                                       "offcuts).",
                                       100 * terms->waste));
    if (build->hold_count)
        tl_build_take(build, tl_copy("Of fastener the area of one side is counted: a sheet is "
                                     "reckoned to come with both."));
    assume_lengths(build);
    assume_pieces(build, false);
    assume_pieces(build, true);
}

tl_status tl_build_bill(tl_build_work* w, const char* prices, tl_error* error) {
    const tl_part* part = w->board->part;
    names n = {0};
    tl_status status = prices ? list_names(&n, w->rig->library, error) : TL_OK;
    tl_bill_lead* leads = list_makes(w);
    tl_bill_terms terms = {.spacing_m = tl_part_number(part, "mounts", TL_BILL_SPACING_M),
                           .spares = tl_part_number(part, "spares", TL_BILL_SPARES),
                           .waste = tl_part_number(part, "waste", TL_BILL_WASTE),
                           .reel_m = tl_part_number(part, "reel", NAN),
                           .leads = leads,
                           .known = n.items,
                           .known_count = n.count};
    if (status == TL_OK)
        status = tl_bill_fill(w->build, &terms, prices, error);
    if (status == TL_OK)
        assume_terms(w, &terms);
    for (size_t i = 0; i < n.made_count; ++i)
        free(n.made[i]);
    free(n.made);
    free(n.items);
    free(leads);
    return status;
}

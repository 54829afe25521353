// SPDX-License-Identifier: GPL-3.0-or-later
// What a meter must read of the audio leads: capacitance, loop resistance, insulation.
#include "study/card_work.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "rig/follow.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char* const jack_contacts[] = {"tip", "sleeve"};

/// A cable of the rig and what stands around it.
typedef struct {
    tl_part* part;
    const tl_part* joints[2]; ///< before and behind it; NULL: none stated
    char* path;
    char* from;
    char* to;
} found_lead;

typedef struct {
    found_lead* leads;
    size_t count;
} lead_list;

// ---- finding them

/// A joint of the lead itself. A socket's, a relay's or a switch's contact stays with its box.
static const tl_part* joint_of(const tl_item* item) {
    static const char* const fixed[] = {"socket", "relay", "foot-switch"};
    const tl_part* part = item->part;
    if (!part || part->kind != &tl_kind_contact)
        return NULL;
    for (size_t i = 0; part->library && i < sizeof fixed / sizeof *fixed; ++i)
        if (strncmp(part->library, fixed[i], strlen(fixed[i])) == 0)
            return NULL;
    return part;
}

/// Whether a lead's plug can go into it: not into another lead or a bare contact.
static bool is_box(const tl_item* item) {
    return !item->part ||
           (item->part->kind != &tl_kind_cable && item->part->kind != &tl_kind_contact);
}

static char* box_words(const tl_item* item, const char* path) {
    if (item->name)
        return tl_copy(item->name);
    if (tl_item_is_split(item))
        return tl_copy("split");
    return tl_printf("%s %s", item->part->kind->name, path);
}

static void walk_branch(lead_list* list, const tl_branch* branch, const char* path,
                        const char* from, const char* to);
static void walk_chain(lead_list* list, const tl_chain* chain, const char* path, const char* from,
                       const char* to);

/// The nearest box of a chain on one side of an item, else what its chain hangs on.
static char* neighbour(const tl_chain* chain, const char* path, size_t index, int side,
                       const char* otherwise) {
    for (size_t i = index + (size_t)side; i < chain->count; i += (size_t)side) {
        const tl_item* item = &chain->items[i];
        char* at = tl_printf("%s[%zu]", path, i);
        char* words = is_box(item) ? box_words(item, at) : tl_copy("another lead");
        bool passes = !is_box(item) && item->part->kind == &tl_kind_contact;
        free(at);
        if (!passes)
            return words;
        free(words);
    }
    return tl_copy(otherwise);
}

static void add_lead(lead_list* list, const tl_chain* chain, const char* path, size_t index,
                     const char* from, const char* to) {
    list->leads = tl_grow_one(list->leads, list->count, sizeof *list->leads);
    list->leads[list->count++] = (found_lead){
        .part = chain->items[index].part,
        .joints = {index ? joint_of(&chain->items[index - 1]) : NULL,
                   index + 1 < chain->count ? joint_of(&chain->items[index + 1]) : NULL},
        .path = tl_printf("%s[%zu]", path, index),
        .from = neighbour(chain, path, index, -1, from),
        .to = neighbour(chain, path, index, 1, to)};
}

/// A loop's leads, or those of branches.
static void walk_inside(lead_list* list, const tl_item* item, const char* path) {
    char* box = box_words(item, path);
    if (item->loop.count) {
        char* inner = tl_printf("%s.chain", path);
        char* send = tl_printf("%s send", box);
        char* back = tl_printf("%s return", box);
        walk_chain(list, &item->loop, inner, send, back);
        free(inner);
        free(send);
        free(back);
    }
    for (size_t i = 0; i < item->branch_count; ++i) {
        const tl_branch* branch = &item->branches[i];
        char* inner = item->part ? tl_printf("%s.tuner-out", path)
                                 : tl_printf("%s.split[%s]", path, branch->name);
        char* from = item->part ? tl_printf("%s side", box) : tl_printf("%s %s", box, branch->name);
        char* to = item->part ? tl_copy("tuner")
                              : tl_printf("%s %s", branch->amp ? "amp" : "end", branch->name);
        walk_branch(list, branch, inner, from, to);
        free(inner);
        free(from);
        free(to);
    }
    free(box);
}

static void walk_chain(lead_list* list, const tl_chain* chain, const char* path, const char* from,
                       const char* to) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        char* at = tl_printf("%s[%zu]", path, i);
        if (item->part && item->part->kind == &tl_kind_cable)
            add_lead(list, chain, path, i, from, to);
        else
            walk_inside(list, item, at);
        free(at);
    }
}

static void walk_branch(lead_list* list, const tl_branch* branch, const char* path,
                        const char* from, const char* to) {
    char* chain = *path ? tl_printf("%s.chain", path) : tl_copy("chain");
    walk_chain(list, &branch->chain, chain, from, to);
    free(chain);
}

// ---- what the meter reads

/// What of a cable is measured, for its whole length.
typedef struct {
    double farad;
    double ohm;
} whole;

static whole whole_of(const tl_part* cable, double length_m) {
    tl_cable_line line = tl_cable_per_metre(cable);
    return (whole){line.farad * length_m, line.ohm * length_m};
}

static void widen(whole* low, whole* high, const whole* mid, const whole* one) {
    low->farad += fmin(one->farad - mid->farad, 0);
    high->farad += fmax(one->farad - mid->farad, 0);
    low->ohm += fmin(one->ohm - mid->ohm, 0);
    high->ohm += fmax(one->ohm - mid->ohm, 0);
}

/// Every value of the cable at either end of its tolerance, its length too; what each does adds up,
/// so that no good lead is outside.
static tl_status find_ends(const tl_card_work* work, const tl_part* cable, tl_meter_lead* lead,
                           whole* low, whole* high, tl_error* error) {
    tl_part* copy = tl_part_clone(cable);
    size_t length = (size_t)tl_part_field(&tl_kind_cable, "length");
    const whole mid = whole_of(cable, lead->length_m);
    tl_status status = TL_OK;
    *low = *high = mid;
    for (size_t i = 0; status == TL_OK && i < cable->kind->field_count; ++i) {
        const tl_value* value = &cable->values[i];
        tl_value_tolerance tolerance = {0};
        if (!value->given || cable->kind->fields[i].choices || i == length)
            continue;
        status = tl_rig_tolerance(work->rig, (tl_part*)cable, i, false, &tolerance, NULL, error);
        for (int side = -1; status == TL_OK && tolerance.given && side <= 1; side += 2) {
            copy->values[i].number = value->number * (1 + side * tolerance.share);
            whole one = whole_of(copy, lead->length_m);
            widen(low, high, &mid, &one);
        }
        copy->values[i].number = value->number;
    }
    for (int side = -1; side <= 1; side += 2) {
        whole one = whole_of(cable, lead->length_m + side * lead->length_off_m);
        widen(low, high, &mid, &one);
    }
    tl_part_free(copy);
    return status;
}

static double joint_ohm(const tl_part* joint) {
    return joint ? tl_part_number(joint, "resistance", 0) : 0;
}

/// Joints that the rig states to be so bad that a meter can tell them from sound ones: a limit that
/// holds them lets through what is to be mended.
static void set_worn(tl_meter_lead* lead, const found_lead* found) {
    tl_text words = {0};
    for (int i = 0; i < 2; ++i) {
        double ohm = joint_ohm(found->joints[i]);
        if (ohm < TL_CARD_OHM)
            continue;
        lead->worn_ohm += ohm;
        tl_text_addf(&words, "%s%s", words.size ? ", " : "",
                     found->joints[i]->library ? found->joints[i]->library : "contact");
    }
    lead->mended_ohm = lead->ohm.high - 2 * lead->worn_ohm;
    lead->worn = tl_text_take(&words);
}

/// What leaks from core to shield: the cable's insulation and the joints, as far as it is stated.
static void set_insulation(tl_meter_lead* lead, const found_lead* found) {
    double siemens = tl_cable_per_metre(found->part).siemens * lead->length_m;
    for (int i = 0; i < 2; ++i)
        if (found->joints[i] && tl_part_has(found->joints[i], "leakage"))
            siemens += 1 / tl_part_number(found->joints[i], "leakage", INFINITY);
    lead->leaky = siemens > 1 / TL_CARD_INSULATION_OHM;
    lead->least_insulation_ohm = lead->leaky ? 1 / siemens : TL_CARD_INSULATION_OHM;
}

static tl_status read_lead(const tl_card_work* work, const found_lead* found, tl_meter_lead* lead,
                           tl_error* error) {
    const tl_value* length = tl_part_value(found->part, "length");
    whole low;
    whole high;
    lead->length_m = length->number;
    lead->length_off_m =
        length->tolerance.given
            ? length->number * length->tolerance.share
            : fmin(fmax(TL_CARD_CUT_M, TL_CARD_LENGTH_SHARE * length->number), length->number);
    tl_status status = find_ends(work, found->part, lead, &low, &high, error);
    if (status != TL_OK)
        return status;
    const whole mid = whole_of(found->part, lead->length_m);
    double plugs_most = lead->plugs_stated ? lead->plug_farad : 2 * TL_CARD_PLUG_FARAD;
    double plugs_least = lead->plugs_stated ? lead->plug_farad : 0;
    lead->farad.expected = mid.farad + plugs_least;
    lead->farad.low =
        fmax((low.farad + plugs_least) * (1 - TL_CARD_FARAD_SHARE) - TL_CARD_FARAD, 0);
    lead->farad.high = (high.farad + plugs_most) * (1 + TL_CARD_FARAD_SHARE) + TL_CARD_FARAD;
    lead->joint_ohm = joint_ohm(found->joints[0]) + joint_ohm(found->joints[1]);
    lead->ohm.expected = mid.ohm + lead->joint_ohm;
    lead->ohm.low = NAN; // none that a hand-held meter could tell from none
    lead->ohm.high = high.ohm * (1 + TL_CARD_OHM_SHARE) + 2 * lead->joint_ohm + TL_CARD_OHM;
    set_worn(lead, found);
    set_insulation(lead, found);
    return TL_OK;
}

// ---- all of them

/// The lead of the cut list that a cable is; NULL: there is no board, or it is not on the list.
static const tl_build_lead* listed(const tl_card_work* work, const char* path) {
    for (size_t i = 0; work->build && i < work->build->lead_count; ++i)
        if (strcmp(work->build->leads[i].path, path) == 0)
            return &work->build->leads[i];
    return NULL;
}

static int by_number(const void* a, const void* b) {
    const tl_meter_lead* one = a;
    const tl_meter_lead* two = b;
    return (one->number > two->number) - (one->number < two->number);
}

/// What the cut list knows of a lead.
static void take_listed(const tl_build_lead* from, tl_meter_lead* lead) {
    lead->number = from->number;
    lead->plugs[0] = tl_copy(from->from.plug);
    lead->plugs[1] = tl_copy(from->to.plug);
    lead->plugs_stated = !isnan(from->from.farad) && !isnan(from->to.farad);
    lead->plug_farad = lead->plugs_stated ? from->from.farad + from->to.farad : NAN;
}

static tl_status add_leads(tl_card_work* work, const lead_list* list, tl_error* error) {
    tl_meter_card* card = work->card;
    tl_status status = TL_OK;
    card->leads = tl_new(list->count, sizeof *card->leads);
    for (size_t i = 0; status == TL_OK && i < list->count; ++i) {
        const found_lead* found = &list->leads[i];
        tl_meter_lead* lead = &card->leads[card->lead_count++];
        *lead = (tl_meter_lead){
            .number = i + 1,
            .kind = "audio",
            .path = tl_copy(found->path),
            .type = tl_copy(found->part->library ? found->part->library : ""),
            .from = tl_copy(found->from),
            .to = tl_copy(found->to),
            .contacts = {jack_contacts[0], jack_contacts[1]},
            .far_contacts = {jack_contacts[0], jack_contacts[1]},
        };
        const tl_build_lead* from = listed(work, found->path);
        if (from) {
            take_listed(from, lead);
        } else {
            lead->plugs[0] = tl_copy("");
            lead->plugs[1] = tl_copy("");
        }
        status = read_lead(work, found, lead, error);
    }
    qsort(card->leads, card->lead_count, sizeof *card->leads, by_number);
    return status;
}

static void assume(tl_meter_card* card) {
    tl_card_assume(card,
                   "A lead's length: within %g mm, or %g %% of a long one, where the rig states no "
                   "tolerance (common practice: cut by hand).",
                   1e3 * TL_CARD_CUT_M, 100 * TL_CARD_LENGTH_SHARE);
    tl_card_assume(card,
                   "Capacitance: the meter is within %g %% and %g pF with its open leads zeroed; a "
                   "pair of plugs of which nothing is stated adds up to %g pF (all from memory).",
                   100 * TL_CARD_FARAD_SHARE, 1e12 * TL_CARD_FARAD, 2e12 * TL_CARD_PLUG_FARAD);
    tl_card_assume(
        card,
        "Resistance: %g ohm are the meter's own, its leads shorted and taken off (common "
        "practice: less it cannot tell); copper within %g %% (from memory); joints of the "
        "shield no worse than those stated of the core.",
        TL_CARD_OHM, 100 * TL_CARD_OHM_SHARE);
    tl_card_assume(
        card,
        "Insulation: %g Mohm where no leakage is stated (common practice; a sound lead is "
        "far above, most meters show no more than 40 Mohm).",
        1e-6 * TL_CARD_INSULATION_OHM);
}

tl_status tl_card_leads(tl_card_work* work, tl_error* error) {
    lead_list list = {0};
    const tl_build_options nothing = {0};
    tl_status status = TL_OK;
    if (work->rig->board)
        status = tl_study_build(work->session, work->rig, &nothing, &work->build, error);
    walk_branch(&list, &work->rig->main, "", "guitar", "amp");
    if (status == TL_OK)
        status = add_leads(work, &list, error);
    for (size_t i = 0; i < list.count; ++i) {
        free(list.leads[i].path);
        free(list.leads[i].from);
        free(list.leads[i].to);
    }
    free(list.leads);
    if (status == TL_OK)
        assume(work->card);
    return status;
}

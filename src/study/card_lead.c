// SPDX-License-Identifier: GPL-3.0-or-later
// What a meter must read of the audio leads: capacitance, loop resistance, insulation.
#include "study/card_work.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "rig/follow.h"
#include "study/leads.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char* const jack_contacts[] = {"tip", "sleeve"};

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
static void set_worn(tl_meter_lead* lead, const tl_found_lead* found) {
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
static void set_insulation(tl_meter_lead* lead, const tl_found_lead* found) {
    double siemens = tl_cable_per_metre(found->part).siemens * lead->length_m;
    for (int i = 0; i < 2; ++i)
        if (found->joints[i] && tl_part_has(found->joints[i], "leakage"))
            siemens += 1 / tl_part_number(found->joints[i], "leakage", INFINITY);
    lead->leaky = siemens > 1 / TL_CARD_INSULATION_OHM;
    lead->least_insulation_ohm = lead->leaky ? 1 / siemens : TL_CARD_INSULATION_OHM;
}

static tl_status read_lead(const tl_card_work* work, const tl_found_lead* found,
                           tl_meter_lead* lead, tl_error* error) {
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

static tl_status add_leads(tl_card_work* work, const tl_lead_list* list, tl_error* error) {
    tl_meter_card* card = work->card;
    tl_status status = TL_OK;
    card->leads = tl_new(list->count, sizeof *card->leads);
    for (size_t i = 0; status == TL_OK && i < list->count; ++i) {
        const tl_found_lead* found = &list->leads[i];
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
    tl_lead_list list = {0};
    const tl_build_options nothing = {0};
    tl_status status = TL_OK;
    if (work->rig->board)
        status = tl_study_build(work->session, work->rig, &nothing, &work->build, error);
    tl_leads_list(work->rig, &list);
    if (status == TL_OK)
        status = add_leads(work, &list, error);
    tl_leads_free(&list);
    if (status == TL_OK)
        assume(work->card);
    return status;
}

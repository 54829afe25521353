// SPDX-License-Identifier: GPL-3.0-or-later
// What a meter must read at the DC plugs, and of the DC leads themselves.
#include "study/card_work.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "study/power_work.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// What a DC plug's two contacts are called, by connector. The first is what "centre" means.
static const struct {
    const char* connector;
    const char* contacts[2];
} connectors[] = {
    {"jack-3.5", {"tip", "sleeve"}},
    {"battery-snap", {"small stud", "large stud"}},
    {"usb-c", {"VBUS", "GND"}},
};

/// A barrel's when nothing is said: what pedals have (common practice).
static const char* const* contacts_of(const tl_part* part) {
    static const char* const barrel[] = {"centre", "sleeve"};
    const char* connector = tl_part_choice(part, "connector");
    for (size_t i = 0; connector && i < sizeof connectors / sizeof *connectors; ++i)
        if (strcmp(connectors[i].connector, connector) == 0)
            return connectors[i].contacts;
    return barrel;
}

/// The output that a name of the plan is of.
static const tl_part* output_part(const tl_power* power, size_t index) {
    for (size_t i = 0; i < power->supply_count; ++i) {
        if (index < power->supplies[i].output_count)
            return power->supplies[i].outputs[index].part;
        index -= power->supplies[i].output_count;
    }
    return NULL;
}

static char* gauge_words(const tl_power* power, const tl_consumer* consumer) {
    const tl_dc_lead* lead = consumer->lead.wire ? &consumer->lead : &power->lead;
    return lead->wire ? tl_gauge_words(tl_part_number(lead->wire, "gauge", 0)) : tl_copy("");
}

/// The lead of the cut list that feeds a pedal; NULL: there is no board, or it is not on the list.
static const tl_build_lead* listed(const tl_card_work* work, const char* pedal) {
    char* jack = tl_printf("%s power", pedal);
    const tl_build_lead* found = NULL;
    for (size_t i = 0; work->build && i < work->build->lead_count; ++i) {
        const tl_build_lead* lead = &work->build->leads[i];
        if (strcmp(lead->kind, "dc") == 0 && strcmp(lead->to.name, jack) == 0)
            found = lead;
    }
    free(jack);
    return found;
}

/// A DC lead, as long as the board has it, else as the power says.
static tl_meter_lead* add_lead(const tl_card_work* work, size_t pedal, const tl_power_plan* plan) {
    tl_meter_card* card = work->card;
    const tl_power* power = work->rig->power;
    const tl_consumer* consumer = &power->consumers[pedal];
    const tl_power_pedal* at = &plan->pedals[pedal];
    const tl_power_output* output = &plan->outputs[at->output];
    const char* const* near = contacts_of(output_part(power, at->output));
    const char* const* far = contacts_of(consumer->part);
    const tl_build_lead* from = listed(work, at->name);
    tl_power_lead wire = tl_power_lead_of(power, consumer);
    double length_m = from ? from->length_m : wire.length_m;
    double off_m = fmin(fmax(TL_CARD_CUT_M, TL_CARD_LENGTH_SHARE * length_m), length_m);
    double joints_ohm = 4 * wire.joint_ohm;
    card->leads = tl_grow(card->leads, card->lead_count + 1, sizeof *card->leads);
    tl_meter_lead* lead = &card->leads[card->lead_count++];
    *lead = (tl_meter_lead){
        .number = from ? from->number : card->lead_count,
        .kind = "dc",
        .path = tl_copy(""),
        .type = gauge_words(power, consumer),
        .from = tl_copy(output->name),
        .to = tl_copy(at->name),
        .plugs = {tl_copy(from ? from->from.plug : ""), tl_copy(from ? from->to.plug : "")},
        .contacts = {near[0], near[1]},
        .far_contacts = {far[0], far[1]},
        .crossed = strcmp(output->polarity, at->polarity) != 0,
        .length_m = length_m,
        .length_off_m = off_m,
        .farad = {NAN, NAN, NAN},
        .ohm = {2 * wire.ohm_per_m * length_m + joints_ohm, NAN, NAN},
        .joint_ohm = joints_ohm,
        .least_insulation_ohm = TL_CARD_INSULATION_OHM};
    lead->ohm.high = 2 * wire.ohm_per_m * (length_m + off_m) * (1 + TL_CARD_OHM_SHARE) +
                     joints_ohm + TL_CARD_OHM;
    return lead;
}

/// What arrives: the output's volts within what a regulated one holds, less what the pedal's
/// current loses in the lead.
static void add_supply(tl_meter_card* card, const tl_power_plan* plan, size_t pedal,
                       const tl_meter_lead* lead) {
    const tl_power_pedal* at = &plan->pedals[pedal];
    const tl_power_output* output = &plan->outputs[at->output];
    bool ac = strcmp(at->polarity, "ac") == 0;
    bool negative = strcmp(at->polarity, "centre-negative") == 0;
    double volts_v = output->volts_v;
    double most_ohm = lead->ohm.high - TL_CARD_OHM;
    card->supplies = tl_grow(card->supplies, card->supply_count + 1, sizeof *card->supplies);
    card->supplies[card->supply_count++] = (tl_meter_supply){
        .lead = card->lead_count - 1,
        .pedal = tl_copy(at->name),
        .output = tl_copy(output->name),
        .polarity = at->polarity,
        .probes = {lead->far_contacts[negative ? 1 : 0], lead->far_contacts[negative ? 0 : 1]},
        .current_a = at->current_a,
        .open_v = {volts_v, volts_v * (1 - TL_CARD_OUTPUT_SHARE),
                   volts_v * (1 + TL_CARD_OUTPUT_SHARE)},
        .loaded_v = {volts_v - at->current_a * lead->ohm.expected,
                     volts_v * (1 - TL_CARD_OUTPUT_SHARE) - at->current_a * most_ohm,
                     volts_v * (1 + TL_CARD_OUTPUT_SHARE)},
        .ripple_v = ac ? NAN : TL_CARD_RIPPLE_V};
}

static bool has_linear(const tl_power_plan* plan) {
    for (size_t i = 0; i < plan->supply_count; ++i)
        if (strcmp(plan->supplies[i].make, "linear") == 0)
            return true;
    return false;
}

static void assume(tl_meter_card* card, const tl_power_plan* plan) {
    tl_card_assume(card,
                   "An output holds its volts within %g %% from no load to full load (common "
                   "practice: a regulated one); more than %g mV of ripple on the meter's AC range "
                   "is heard (common practice).",
                   100 * TL_CARD_OUTPUT_SHARE, 1e3 * TL_CARD_RIPPLE_V);
    if (has_linear(plan))
        tl_card_assume(card, "A linear supply that does not regulate reads up to 1.4 times its "
                             "volts with nothing on it (from memory): judge it loaded.");
    if (plan->terms.lead_assumed)
        tl_card_assume(card, "DC leads of which the rig says nothing: 24 AWG, 50 cm (from memory: "
                             "what usually comes with a supply).");
}

static void add_all(tl_card_work* work, const tl_power_plan* plan) {
    tl_meter_card* card = work->card;
    size_t left = 0;
    for (size_t i = 0; i < plan->pedal_count; ++i) {
        if (plan->pedals[i].output == TL_POWER_NONE) {
            ++left;
            continue;
        }
        add_supply(card, plan, i, add_lead(work, i, plan));
    }
    if (left)
        card->no_dc = tl_printf("%zu of %zu pedals have no output: see 'toneload power'", left,
                                plan->pedal_count);
    if (card->supply_count)
        assume(card, plan);
}

tl_status tl_card_supplies(tl_card_work* work, tl_error* error) {
    if (!work->rig->power) {
        work->card->no_dc = tl_copy("the rig file says nothing of 'power'");
        return TL_OK;
    }
    tl_power_plan* plan = NULL;
    tl_status status = tl_study_power(work->session, work->rig, &plan, error);
    if (status == TL_OK)
        add_all(work, plan);
    tl_power_plan_free(plan);
    return status;
}

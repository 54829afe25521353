// SPDX-License-Identifier: GPL-3.0-or-later
// The DC leads of a board: who hangs on which output, and where both are.
#include "base/text.h"
#include "study/build.h"
#include "study/power_work.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const tl_placed* find_supply(const tl_pedalboard* board, size_t supply) {
    for (size_t i = 0; i < board->count; ++i)
        if (board->placed[i].supply == supply)
            return &board->placed[i];
    return NULL;
}

/// Where a consumer stands: a pedal by its item, a device by its name.
static const tl_placed* find_consumer(const tl_build_work* w, const tl_consumer* consumer) {
    for (size_t i = 0; i < w->board->count; ++i) {
        const tl_placed* placed = &w->board->placed[i];
        if (placed->supply == TL_BUILD_NONE && strcmp(placed->name, consumer->name) == 0)
            return placed;
    }
    size_t order = 0;
    bool found =
        consumer->item && tl_chain_order(&w->rig->main.chain, consumer->item->part, &order);
    return found ? tl_pedalboard_find(w->board, order) : NULL;
}

static tl_status add_lead(tl_build_work* w, size_t who, const tl_power_plan* plan,
                          tl_error* error) {
    const tl_power* power = w->rig->power;
    const tl_consumer* consumer = &power->consumers[who];
    size_t output = plan->pedals[who].output;
    size_t number = plan->outputs[output].supply;
    size_t within = output;
    for (size_t i = 0; i < number; ++i)
        within -= power->supplies[i].output_count;
    w->consumers[w->layout.count - w->first_dc] = who;
    w->outputs[w->layout.count - w->first_dc] = output;
    char* to = tl_printf("%s power", consumer->name);
    tl_layout_feed feed = {.supply = find_supply(w->board, number),
                           .output = within,
                           .output_count = power->supplies[number].output_count,
                           .from_name = plan->outputs[output].name,
                           .pedal = find_consumer(w, consumer),
                           .to_name = to,
                           .wire = consumer->lead.wire ? consumer->lead.wire : power->lead.wire};
    tl_status status = tl_layout_add_dc(&w->layout, &feed, error);
    free(to);
    return status;
}

static tl_build_finding about_power(tl_build_gravity gravity) {
    return (tl_build_finding){.gravity = gravity,
                              .kind = "power",
                              .box = TL_BUILD_NONE,
                              .other = TL_BUILD_NONE,
                              .lead = TL_BUILD_NONE,
                              .other_lead = TL_BUILD_NONE};
}

/// The box of a pedal that a finding of `power` is about.
static size_t box_of_pedal(const tl_build_work* w, size_t pedal) {
    if (pedal == TL_POWER_NONE)
        return TL_BUILD_NONE;
    const tl_placed* placed = find_consumer(w, &w->rig->power->consumers[pedal]);
    if (!placed)
        return TL_BUILD_NONE;
    return w->boxes[placed->part ? (size_t)(placed - w->board->placed) : placed->within];
}

/// What is wrong with the assignment: a board that lies well and is fed badly is not ready.
static void find_wrong_power(tl_build_work* w) {
    const tl_power_plan* plan = w->plan;
    size_t errors = 0;
    for (size_t i = 0; plan && i < plan->finding_count; ++i)
        errors += plan->findings[i].gravity == TL_POWER_ERROR;
    if (!plan || (plan->feasible && !errors))
        return;
    tl_build_gravity gravity = errors ? TL_BUILD_ERROR : TL_BUILD_WARNING;
    tl_build_find(w->build, about_power(gravity),
                  "%s: 'toneload power' says what stands in the way and what would do.",
                  errors ? "There is no power for all of it by the rules"
                         : "All of it is fed, but not by the rules");
    for (size_t i = 0; i < plan->finding_count; ++i) {
        if (plan->findings[i].gravity != TL_POWER_ERROR)
            continue;
        tl_build_finding about = about_power(TL_BUILD_ERROR);
        about.box = box_of_pedal(w, plan->findings[i].pedal);
        bool unfed = strcmp(plan->findings[i].kind, "unpowered") == 0;
        tl_build_find(w->build, about, "%s%s", plan->findings[i].words,
                      unfed ? " It has no DC lead here, and the bill has none for it." : "");
    }
}

/// Names of the leads that begin at one output, first the number of the first.
static size_t list_leads_at(const tl_build_work* w, size_t output, tl_text* words, size_t* first) {
    size_t count = 0;
    for (size_t i = w->first_dc; i < w->build->lead_count; ++i) {
        if (w->outputs[i - w->first_dc] != output)
            continue;
        *first = count ? *first : i;
        tl_text_addf(words, "%s%zu", count++ ? ", " : "", w->build->leads[i].number);
    }
    return count;
}

/// One jack takes one plug: what hangs on it together is said, once for each output.
static void find_splitters(tl_build_work* w) {
    for (size_t output = 0; w->plan && output < w->plan->output_count; ++output) {
        tl_text numbers = {0};
        size_t first = TL_BUILD_NONE;
        size_t count = list_leads_at(w, output, &numbers, &first);
        tl_build_finding about = about_power(TL_BUILD_WARNING);
        about.kind = "splitter";
        about.lead = first;
        if (count > 1)
            about.box = w->build->leads[first].from.box;
        if (count > 1)
            tl_build_find(w->build, about,
                          "Leads %s all begin at %s, and one plug goes in there: behind the plug "
                          "of lead %zu they need a splitter for %zu, which the bill has; a daisy "
                          "chain lead, bought made, does the same.",
                          tl_text_get(&numbers), w->plan->outputs[output].name,
                          w->build->leads[first].number, count);
        tl_text_free(&numbers);
    }
}

void tl_build_look_at_power(tl_build_work* w) {
    find_wrong_power(w);
    find_splitters(w);
}

tl_status tl_build_add_dc(tl_build_work* w, tl_error* error) {
    const tl_power* power = w->rig->power;
    w->first_dc = w->layout.count;
    if (!power) {
        w->build->no_dc = tl_copy("this rig says nothing of 'power'");
        return TL_OK;
    }
    tl_status status = tl_power_assignment(w->rig, &w->plan, error);
    if (status != TL_OK)
        return status;
    w->consumers = tl_new(power->consumer_count, sizeof *w->consumers);
    w->outputs = tl_new(power->consumer_count, sizeof *w->outputs);
    for (size_t i = 0; status == TL_OK && i < w->plan->pedal_count; ++i)
        if (w->plan->pedals[i].output != TL_POWER_NONE)
            status = add_lead(w, i, w->plan, error);
    if (w->layout.count == w->first_dc)
        w->build->no_dc = tl_copy("no output can feed any of the pedals; toneload power says what "
                                  "stands in the way");
    if (status == TL_OK)
        tl_layout_route(&w->layout, w->first_dc);
    return status;
}

size_t tl_build_consumer(const tl_build_work* w, size_t lead) {
    return w->consumers[lead - w->first_dc];
}

bool tl_build_is_joined(const tl_build_work* w, size_t lead) {
    for (size_t i = w->first_dc; i < lead; ++i)
        if (w->outputs[i - w->first_dc] == w->outputs[lead - w->first_dc])
            return true;
    return false;
}

double tl_build_stated_dc(const tl_build_work* w, size_t lead) {
    const tl_power* power = w->rig->power;
    const tl_consumer* consumer = &power->consumers[tl_build_consumer(w, lead)];
    const tl_part* wire = consumer->lead.wire ? consumer->lead.wire : power->lead.wire;
    return wire ? tl_part_number(wire, "length", NAN) : NAN;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Is there power for all of it: assignment, volts that arrive, mains and heat.
#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "study/power_work.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// When a supply says nothing, by kind: what of the mains reaches the outputs, and its power
/// factor. From memory: small switching supplies 75 to 88 %, linear ones 40 to 60 %; 0.5 to 0.7 for
/// either without correction.
static const double default_efficiency[] = {0.8, 0.5};
static const double default_power_factor = 0.6;

const char* tl_power_gravity_word(tl_power_gravity gravity) {
    static const char* const words[] = {"error", "warning", "note"};
    return words[gravity];
}

static const char* polarity_word(int polarity) {
    const int field = tl_part_field(&tl_kind_output, "polarity");
    return tl_kind_output.fields[(size_t)field].choices[polarity];
}

/// "9, 12 or 18 V".
static char* choice_words(const tl_board_output* output) {
    tl_text text = {0};
    for (size_t i = 0; output->volt_count > 1 && i < output->volt_count; ++i)
        tl_text_addf(&text, "%s%.6g%s",
                     i == 0                        ? ""
                     : i + 1 == output->volt_count ? " or "
                                                   : ", ",
                     output->volts_v[i], i + 1 == output->volt_count ? " V" : "");
    return tl_text_take(&text);
}

static void list_outputs(tl_power_work* w) {
    tl_power_plan* plan = w->plan;
    plan->output_count = w->board->output_count;
    plan->group_count = w->board->group_count;
    plan->outputs = tl_new(plan->output_count, sizeof *plan->outputs);
    size_t at = 0;
    for (size_t i = 0; i < w->power->supply_count; ++i)
        for (size_t j = 0; j < w->power->supplies[i].output_count; ++j, ++at) {
            const tl_board_output* output = &w->board->outputs[at];
            plan->outputs[at] =
                (tl_power_output){.name = tl_printf("%s/%s", w->power->supplies[i].name,
                                                    w->power->supplies[i].outputs[j].name),
                                  .supply = i,
                                  .group = output->group,
                                  .volts_v = output->volt_count == 1 ? output->volts_v[0] : NAN,
                                  .choices = choice_words(output),
                                  .polarity = polarity_word(output->polarity),
                                  .isolated = output->isolated,
                                  .limit_a = output->limit_ma / 1e3,
                                  .peak_a = output->peak_ma / 1e3};
        }
}

static void list_pedals(tl_power_work* w) {
    tl_power_plan* plan = w->plan;
    plan->pedal_count = w->board->pedal_count;
    plan->pedals = tl_new(plan->pedal_count, sizeof *plan->pedals);
    plan->leads_known = w->power->lead.wire != NULL;
    for (size_t i = 0; i < plan->pedal_count; ++i) {
        const tl_consumer* consumer = &w->power->consumers[i];
        const tl_board_pedal* pedal = &w->board->pedals[i];
        tl_power_lead lead = tl_power_lead_of(w->power, consumer);
        plan->terms.lead_assumed = plan->terms.lead_assumed || lead.assumed;
        plan->terms.joints_stated = plan->terms.joints_stated || lead.jointed;
        plan->terms.joints_missing = plan->terms.joints_missing || !lead.jointed;
        plan->pedals[i] =
            (tl_power_pedal){.name = tl_copy(consumer->name),
                             .in_chain = consumer->item != NULL,
                             .digital = pedal->digital,
                             .pulses = tl_part_has(consumer->part, "pulse.current"),
                             .output = TL_POWER_NONE,
                             .given = consumer->given,
                             .volts_v = pedal->volts_v,
                             .polarity = polarity_word(pedal->polarity),
                             .current_a = pedal->current_ma / 1e3,
                             .inrush_a = pedal->inrush_ma / 1e3,
                             .lead_m = lead.length_m,
                             .lead_ohm = 2 * lead.ohm_per_m * lead.length_m + 4 * lead.joint_ohm,
                             .arrives_v = NAN,
                             .starts_v = NAN};
    }
}

/// The volts an output is set to for those on it: theirs when it has them, else its first.
static double set_volts(const tl_power_work* w, size_t output) {
    const tl_board_output* about = &w->board->outputs[output];
    for (size_t i = 0; i < w->board->pedal_count; ++i)
        for (size_t k = 0; w->at[i] == output && k < about->volt_count; ++k)
            if (fabs(about->volts_v[k] - w->board->pedals[i].volts_v) < 5e-3)
                return about->volts_v[k];
    return about->volts_v[0];
}

/// What the assignment comes to: loads, surges, and the volts that arrive.
static void fill_loads(tl_power_work* w) {
    tl_power_plan* plan = w->plan;
    for (size_t i = 0; i < plan->output_count; ++i) {
        tl_power_output* output = &plan->outputs[i];
        size_t who = 0;
        output->load_a = tl_board_load_ma(w->board, w->at, i) / 1e3;
        output->surge_a = tl_board_surge_ma(w->board, w->at, i, &who) / 1e3;
        for (size_t j = 0; j < plan->pedal_count; ++j)
            output->pedals += w->at[j] == i;
        if (output->pedals)
            output->volts_v = set_volts(w, i);
    }
    for (size_t i = 0; i < plan->pedal_count; ++i) {
        tl_power_pedal* pedal = &plan->pedals[i];
        pedal->output = w->at[i];
        if (pedal->output == TL_POWER_NONE)
            continue;
        double volts_v = plan->outputs[pedal->output].volts_v;
        if (fabs(volts_v - pedal->volts_v) > 5e-3 ||
            strcmp(pedal->polarity, plan->outputs[pedal->output].polarity) != 0)
            continue; // what it does not need does not arrive either
        pedal->arrives_v = volts_v - pedal->current_a * pedal->lead_ohm;
        pedal->starts_v = volts_v - pedal->inrush_a * pedal->lead_ohm;
    }
}

static void list_supplies(tl_power_work* w) {
    tl_power_plan* plan = w->plan;
    plan->supply_count = w->power->supply_count;
    plan->supplies = tl_new(plan->supply_count, sizeof *plan->supplies);
    for (size_t i = 0; i < plan->supply_count; ++i) {
        const tl_part* part = w->power->supplies[i].part;
        tl_power_supply* supply = &plan->supplies[i];
        size_t make = (size_t)tl_part_number(part, "kind", 0);
        *supply = (tl_power_supply){
            .name = tl_copy(w->power->supplies[i].name),
            .make = tl_part_choice(part, "kind"),
            .limit_w = tl_part_number(part, "power", NAN),
            .efficiency = tl_part_number(part, "efficiency", default_efficiency[make]),
            .efficiency_assumed = !tl_part_has(part, "efficiency"),
            .power_factor = tl_part_number(part, "power_factor", default_power_factor),
            .power_factor_assumed = !tl_part_has(part, "power_factor")};
        for (size_t j = 0; j < plan->output_count; ++j)
            if (plan->outputs[j].supply == i && plan->outputs[j].pedals)
                supply->load_w += plan->outputs[j].volts_v * plan->outputs[j].load_a;
        supply->mains_w = supply->load_w / supply->efficiency;
        supply->heat_w = supply->mains_w - supply->load_w;
    }
}

/// Whether a number lies in a part's range; a tenth of a per cent is no difference.
static bool is_within(const tl_part* part, const char* low, const char* high, double number) {
    return number >= tl_part_number(part, low, number) * 0.999 &&
           number <= tl_part_number(part, high, number) * 1.001;
}

static tl_mains takes_mains(const tl_part* supply, double volts_v, double hz) {
    if (!tl_part_has(supply, "mains.low"))
        return TL_MAINS_UNSTATED;
    if (!is_within(supply, "mains.frequency_low", "mains.frequency_high", hz))
        return TL_MAINS_REFUSED;
    if (is_within(supply, "mains.low", "mains.high", volts_v))
        return TL_MAINS_TAKEN;
    return tl_part_has(supply, "selector.low") &&
                   is_within(supply, "selector.low", "selector.high", volts_v)
               ? TL_MAINS_SELECTOR
               : TL_MAINS_REFUSED;
}

static void add_mains(tl_power_work* w, const tl_part* part, bool tour) {
    tl_power_plan* plan = w->plan;
    tl_power_mains* mains = &plan->mains[plan->mains_count++];
    *mains = (tl_power_mains){.volts_v = tl_part_number(part, "voltage", 0),
                              .hz = tl_part_number(part, "frequency", 0),
                              .tour = tour,
                              .takes = tl_new(plan->supply_count, sizeof *mains->takes)};
    for (size_t i = 0; i < plan->supply_count; ++i) {
        const tl_power_supply* supply = &plan->supplies[i];
        mains->mains_w += supply->mains_w;
        mains->current_a += supply->mains_w / (mains->volts_v * supply->power_factor);
        mains->takes[i] = takes_mains(w->power->supplies[i].part, mains->volts_v, mains->hz);
    }
}

static void list_mains(tl_power_work* w) {
    w->plan->mains = tl_new(w->power->tour_count + 1, sizeof *w->plan->mains);
    if (w->power->mains)
        add_mains(w, w->power->mains, false);
    for (size_t i = 0; i < w->power->tour_count; ++i)
        add_mains(w, w->power->tour[i], true);
}

static void set_terms(tl_power_work* w) {
    tl_power_plan* plan = w->plan;
    const tl_part* settings = w->power->settings;
    plan->headroom = w->board->headroom;
    plan->headroom_assumed = !tl_part_has(settings, "headroom");
    plan->terms.shield_share = tl_part_number(settings, "shields", 0.5);
    plan->terms.shield_assumed = !tl_part_has(settings, "shields");
    // From memory: between two windings of a small supply, 50 pF to 1 nF.
    plan->terms.stray_farad = tl_part_number(settings, "stray", 200e-12);
    plan->terms.stray_assumed = !tl_part_has(settings, "stray");
    plan->terms.lead_henry_per_m = 1e-6; // from memory: a wire some centimetres from its return
    plan->terms.shield_ohm_per_m = NAN;
}

/// A loop that cannot be solved takes nothing else of the plan with it: the reason stands there.
static void find_loops(tl_power_work* w) {
    tl_error* trouble = tl_error_new();
    if (tl_power_loops(w, trouble) != TL_OK)
        w->plan->loop_trouble = tl_copy(tl_error_text(trouble));
    tl_error_free(trouble);
}

static tl_status make_plan(tl_power_work* w, tl_error* error) {
    set_terms(w);
    list_outputs(w);
    list_pedals(w);
    tl_status status =
        tl_board_assign(w->board, w->at, &w->plan->feasible, &w->plan->settled, error);
    if (status == TL_OK && !w->plan->feasible)
        status = tl_power_changes(w, error);
    if (status != TL_OK)
        return status;
    fill_loads(w);
    list_supplies(w);
    list_mains(w);
    w->route = tl_route_make(w->rig, w->plan->terms.shield_share);
    if (w->route.assumed)
        w->plan->terms.shield_ohm_per_m = TL_ROUTE_OHM_PER_M;
    for (size_t i = 0; i < w->plan->pedal_count; ++i)
        w->plan->pedals[i].in_path = tl_route_meets(&w->route, i);
    tl_power_findings(w);
    tl_power_faults(w);
    find_loops(w);
    return TL_OK;
}

/// Whether all of them say where they are plugged in; then there is nothing to solve.
static bool take_given(tl_power_work* w) {
    for (size_t i = 0; i < w->board->pedal_count; ++i) {
        w->at[i] = w->board->pedals[i].given;
        if (w->at[i] == TL_NOWHERE)
            return false;
    }
    w->plan->feasible = tl_board_holds(w->board, w->at);
    return true;
}

static tl_status make_assignment(tl_power_work* w, tl_error* error) {
    set_terms(w);
    list_outputs(w);
    list_pedals(w);
    tl_status status = TL_OK;
    if (!take_given(w)) {
        status = tl_board_assign(w->board, w->at, &w->plan->feasible, &w->plan->settled, error);
        if (status == TL_OK && !w->plan->feasible)
            status = tl_power_feed_most(w, error);
    }
    if (status != TL_OK)
        return status;
    fill_loads(w);
    list_supplies(w);
    tl_power_findings(w);
    return TL_OK;
}

tl_status tl_power_assignment(tl_rig* rig, tl_power_plan** plan, tl_error* error) {
    tl_power_work w = {.rig = rig, .power = rig->power};
    w.plan = tl_new(1, sizeof *w.plan);
    w.plan->rig = tl_copy(tl_rig_title(rig));
    w.board = tl_board_new(rig->power);
    w.at = tl_new(w.board->pedal_count, sizeof *w.at);
    tl_status status = make_assignment(&w, error);
    tl_board_free(w.board);
    free(w.at);
    *plan = w.plan;
    if (status == TL_OK)
        return TL_OK;
    tl_power_plan_free(w.plan);
    *plan = NULL;
    return status;
}

static tl_status study_power(tl_session* session, tl_rig* rig, tl_power_plan** plan,
                             tl_error* error) {
    *plan = NULL;
    if (!rig->power)
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: no 'power' in this rig: expected 'power: {supplies: [..], "
                            "pedals: [..]}'",
                            tl_rig_path(rig));
    tl_power_work w = {.session = session, .rig = rig, .power = rig->power};
    w.plan = tl_new(1, sizeof *w.plan);
    w.plan->rig = tl_copy(tl_rig_title(rig));
    w.board = tl_board_new(rig->power);
    w.at = tl_new(w.board->pedal_count, sizeof *w.at);
    tl_status status = make_plan(&w, error);
    tl_board_free(w.board);
    tl_route_free(&w.route);
    free(w.at);
    if (status == TL_OK)
        *plan = w.plan;
    else
        tl_power_plan_free(w.plan);
    return status;
}

tl_status tl_study_power(tl_session* session, tl_rig* rig, tl_power_plan** plan, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status status = study_power(session, rig, plan, error);
    tl_locale_restore(locale);
    return status;
}

static void free_loops(tl_power_plan* plan) {
    for (size_t i = 0; i < plan->loop_count; ++i) {
        for (size_t j = 0; j < plan->amp_count; ++j) {
            free(plan->loops[i].amps[j].hz);
            free(plan->loops[i].amps[j].level_v);
        }
        free(plan->loops[i].amps);
    }
    for (size_t i = 0; i < plan->amp_count; ++i)
        free(plan->amps[i]);
    free(plan->amps);
    free(plan->loops);
    free(plan->noise_v);
    free(plan->noise_band_v);
}

static void free_outcomes(tl_power_plan* plan) {
    for (size_t i = 0; i < plan->finding_count; ++i)
        free(plan->findings[i].words);
    for (size_t i = 0; i < plan->change_count; ++i) {
        free(plan->changes[i].words);
        free(plan->changes[i].pedals);
    }
    for (size_t i = 0; i < plan->fault_count; ++i) {
        free(plan->faults[i].name);
        free(plan->faults[i].dead);
        free(plan->faults[i].blocking);
        free(plan->faults[i].stuck);
        free(plan->faults[i].unknown);
        free(plan->faults[i].amps);
        free(plan->faults[i].words);
    }
    free(plan->findings);
    free(plan->changes);
    free(plan->faults);
    free(plan->conflict);
    free(plan->conflict_pedals);
    free(plan->unstated);
    free(plan->loop_trouble);
}

void tl_power_plan_free(tl_power_plan* plan) {
    if (!plan)
        return;
    free_outcomes(plan);
    free_loops(plan);
    for (size_t i = 0; i < plan->pedal_count; ++i)
        free(plan->pedals[i].name);
    for (size_t i = 0; i < plan->output_count; ++i) {
        free(plan->outputs[i].name);
        free(plan->outputs[i].choices);
    }
    for (size_t i = 0; i < plan->supply_count; ++i)
        free(plan->supplies[i].name);
    for (size_t i = 0; i < plan->mains_count; ++i)
        free(plan->mains[i].takes);
    free(plan->pedals);
    free(plan->outputs);
    free(plan->supplies);
    free(plan->mains);
    free(plan->rig);
    free(plan);
}

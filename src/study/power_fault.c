// SPDX-License-Identifier: GPL-3.0-or-later
// One fault at a time: an output, a return that several outputs share, or a whole supply is gone.
// Who dies with it, and what that does to the signal in the state the rig is in.
#include "base/text.h"
#include "parts/kinds.h"
#include "study/power_work.h"

#include <stdlib.h>

/// What a pedal without power does to the signal: a buffer, a buffered bypass or an engaged pedal
/// stops it; a true bypass or a loaded one that is off lets it pass.
typedef enum { PASSES, BLOCKS_UNTIL_OFF, BLOCKS } death;

static death death_of(const tl_consumer* consumer) {
    if (!consumer->item)
        return PASSES;
    const tl_part* part = consumer->item->part;
    if (part->kind == &tl_kind_buffer || tl_part_chosen(part, "bypass", "buffered-bypass"))
        return BLOCKS;
    return tl_part_chosen(part, "engaged", "yes") ? BLOCKS_UNTIL_OFF : PASSES;
}

static bool leads_to_amp(const tl_power_work* w, size_t pedal) {
    for (size_t i = 0; i < w->route.amp_count; ++i)
        if (tl_route_leads(&w->route, i, pedal))
            return true;
    return false;
}

/// Dead devices, of which only the rig's owner knows what they do to the signal.
static void find_unknown(const tl_power_work* w, tl_power_fault* fault) {
    fault->unknown = tl_new(fault->dead_count, sizeof *fault->unknown);
    for (size_t i = 0; i < fault->dead_count; ++i)
        if (!w->power->consumers[fault->dead[i]].item)
            fault->unknown[fault->unknown_count++] = fault->dead[i];
}

/// Who of the dead stops the signal, and at which amps.
static void find_blocking(const tl_power_work* w, tl_power_fault* fault) {
    fault->steps_off = true;
    fault->blocking = tl_new(fault->dead_count, sizeof *fault->blocking);
    fault->stuck = tl_new(fault->dead_count, sizeof *fault->stuck);
    fault->amps = tl_new(w->route.amp_count, sizeof *fault->amps);
    for (size_t i = 0; i < fault->dead_count; ++i) {
        death death = death_of(&w->power->consumers[fault->dead[i]]);
        if (death == PASSES || !leads_to_amp(w, fault->dead[i]))
            continue;
        fault->blocking[fault->blocking_count++] = fault->dead[i];
        if (death == BLOCKS)
            fault->stuck[fault->stuck_count++] = fault->dead[i];
        fault->steps_off = fault->steps_off && death == BLOCKS_UNTIL_OFF;
    }
    for (size_t amp = 0; amp < w->route.amp_count; ++amp)
        for (size_t i = 0; i < fault->blocking_count; ++i)
            if (tl_route_leads(&w->route, amp, fault->blocking[i])) {
                fault->amps[fault->amp_count++] = amp;
                break;
            }
}

/// Whether a pedal is among some.
static bool is_among(const size_t* pedals, size_t count, size_t pedal) {
    for (size_t i = 0; i < count; ++i)
        if (pedals[i] == pedal)
            return true;
    return false;
}

/// "'drive'", or "3 of them" where names would be too many.
static char* few_names(const tl_power_plan* plan, const size_t* pedals, size_t count,
                       const char* others) {
    enum { MOST_NAMES = 3 };
    return count > MOST_NAMES ? tl_printf("%zu%s", count, others)
                              : tl_power_names(plan, pedals, count);
}

/// "stops at 'delay' on or off, and at 'drive' until it is stepped off".
static void add_blocking(tl_text* text, const tl_power_work* w, const tl_power_fault* fault) {
    size_t* until_off = tl_new(fault->blocking_count, sizeof *until_off);
    size_t count = 0;
    for (size_t i = 0; i < fault->blocking_count; ++i)
        if (!is_among(fault->stuck, fault->stuck_count, fault->blocking[i]))
            until_off[count++] = fault->blocking[i];
    char* stuck = few_names(w->plan, fault->stuck, fault->stuck_count, " of them");
    char* others = few_names(w->plan, until_off, count, fault->stuck_count ? "" : " of them");
    if (fault->stuck_count)
        tl_text_addf(text, "stops at %s on or off", stuck);
    if (count)
        tl_text_addf(text, "%s %s until %s stepped off",
                     fault->stuck_count ? ", and at" : "stops at", others,
                     count == 1 ? "it is" : "they are");
    free(stuck);
    free(others);
    free(until_off);
}

/// What happens to the signal: where it stops, at which amps if not at all, and what is not known.
static char* fault_words(const tl_power_work* w, const tl_power_fault* fault) {
    tl_text text = {0};
    if (fault->amp_count)
        add_blocking(&text, w, fault);
    else if (fault->unknown_count < fault->dead_count)
        tl_text_add(&text, "passes");
    for (size_t i = 0; fault->amp_count < w->route.amp_count && i < fault->amp_count; ++i)
        tl_text_addf(&text, "%s'%s'", i ? ", " : "; silent: amp ",
                     w->route.amps[fault->amps[i]].name);
    if (fault->unknown_count) {
        char* names = few_names(w->plan, fault->unknown, fault->unknown_count, " devices");
        tl_text_addf(&text, "%swhat %s does to it is not known", text.size ? "; " : "", names);
        free(names);
    }
    return tl_text_take(&text);
}

/// Keeps a fault that kills anybody; takes over `name`.
static void add_fault(tl_power_work* w, const char* kind, char* name, size_t* dead, size_t count) {
    tl_power_plan* plan = w->plan;
    if (!count) {
        free(name);
        free(dead);
        return;
    }
    tl_power_fault fault = {.kind = kind, .name = name, .dead = dead, .dead_count = count};
    find_blocking(w, &fault);
    find_unknown(w, &fault);
    fault.words = fault_words(w, &fault);
    plan->faults = tl_grow_one(plan->faults, plan->fault_count, sizeof *plan->faults);
    plan->faults[plan->fault_count++] = fault;
}

/// What a pedal hangs on, by the number of the thing: output, return or supply.
typedef enum { BY_OUTPUT, BY_GROUP, BY_SUPPLY } hanging;

static size_t hangs_on(const tl_power_work* w, size_t pedal, hanging by) {
    if (w->at[pedal] == TL_NOWHERE)
        return TL_NOWHERE;
    const tl_board_output* output = &w->board->outputs[w->at[pedal]];
    return by == BY_OUTPUT ? w->at[pedal] : by == BY_GROUP ? output->group : output->supply;
}

static size_t* list_dead(const tl_power_work* w, hanging by, size_t which, size_t* count) {
    size_t* dead = tl_new(w->plan->pedal_count, sizeof *dead);
    *count = 0;
    for (size_t i = 0; i < w->plan->pedal_count; ++i)
        if (hangs_on(w, i, by) == which)
            dead[(*count)++] = i;
    return dead;
}

/// "brick/5 and brick/6": the outputs that share a return, when there are several.
static char* group_name(const tl_power_work* w, size_t group, size_t* outputs) {
    tl_text text = {0};
    *outputs = 0;
    for (size_t i = 0; i < w->plan->output_count; ++i)
        if (w->board->outputs[i].group == group)
            tl_text_addf(&text, "%s%s", (*outputs)++ ? ", " : "", w->plan->outputs[i].name);
    return tl_text_take(&text);
}

void tl_power_faults(tl_power_work* w) {
    tl_power_plan* plan = w->plan;
    size_t count = 0;
    plan->amp_count = w->route.amp_count;
    plan->amps = tl_new(plan->amp_count, sizeof *plan->amps);
    for (size_t i = 0; i < plan->amp_count; ++i)
        plan->amps[i] = tl_copy(w->route.amps[i].name);
    for (size_t i = 0; i < plan->output_count; ++i) {
        if (!plan->outputs[i].isolated)
            continue; // a short of one of these takes its return's others with it: below
        size_t* dead = list_dead(w, BY_OUTPUT, i, &count);
        add_fault(w, "output", tl_copy(plan->outputs[i].name), dead, count);
    }
    for (size_t i = 0; i < plan->group_count; ++i) {
        size_t outputs = 0;
        char* name = group_name(w, i, &outputs);
        size_t* dead = list_dead(w, BY_GROUP, i, &count);
        bool shared = false;
        for (size_t j = 0; j < plan->output_count; ++j)
            shared = shared || (w->board->outputs[j].group == i && !plan->outputs[j].isolated);
        add_fault(w, "return", name, dead, shared ? count : 0);
    }
    for (size_t i = 0; i < plan->supply_count; ++i) {
        size_t* dead = list_dead(w, BY_SUPPLY, i, &count);
        add_fault(w, "supply", tl_copy(plan->supplies[i].name), dead, count);
    }
}

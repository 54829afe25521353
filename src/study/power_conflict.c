// SPDX-License-Identifier: GPL-3.0-or-later
// What stands in the way of a board that cannot be: a deletion filter (J. Chinneck, Feasibility and
// Infeasibility in Optimization, 2008, ch. 6; from memory).
#include "base/text.h"
#include "study/power_work.h"

#include <math.h>
#include <stdlib.h>

/// A board from which one rule after the other is taken, and which of them matter.
typedef struct {
    tl_board* board;
    bool* pedals;   ///< by pedal
    bool* given;    ///< by pedal: that it stays where it was given
    bool* outputs;  ///< by output: its limit
    bool* supplies; ///< by supply: its limit
    bool hum;
    bool ground;
} conflict;

static tl_status is_feasible(const tl_board* board, bool* feasible, tl_error* error) {
    tl_board_model* model = tl_board_model_new(board, TL_BEND_NOTHING);
    tl_status status = tl_milp_solve(model->milp, feasible, error);
    tl_board_model_free(model);
    return status;
}

/// Takes a number away; if that makes the board possible it is put back, and mattered.
static tl_status try_without(conflict* c, double* number, double without, bool* matters,
                             tl_error* error) {
    double kept = *number;
    bool feasible = false;
    *number = without;
    tl_status status = is_feasible(c->board, &feasible, error);
    *matters = feasible;
    if (feasible)
        *number = kept;
    return status;
}

static tl_status try_without_rule(conflict* c, bool* rule, bool without, bool* matters,
                                  tl_error* error) {
    bool kept = *rule;
    bool feasible = false;
    *rule = without;
    tl_status status = is_feasible(c->board, &feasible, error);
    *matters = feasible;
    if (feasible)
        *rule = kept;
    return status;
}

static tl_status try_given(conflict* c, size_t pedal, tl_error* error) {
    size_t kept = c->board->pedals[pedal].given;
    bool feasible = false;
    if (kept == TL_NOWHERE)
        return TL_OK;
    c->board->pedals[pedal].given = TL_NOWHERE;
    tl_status status = is_feasible(c->board, &feasible, error);
    c->given[pedal] = feasible;
    if (feasible)
        c->board->pedals[pedal].given = kept;
    return status;
}

/// Pedals of positive ground, all at once: their rule is one.
static tl_status try_ground(conflict* c, tl_error* error) {
    tl_board* copy = tl_board_copy(c->board);
    bool feasible = false;
    bool any = false;
    for (size_t i = 0; i < copy->pedal_count; ++i) {
        any = any || copy->pedals[i].positive_ground;
        copy->pedals[i].positive_ground = false;
    }
    tl_status status = any ? is_feasible(copy, &feasible, error) : TL_OK;
    c->ground = any && feasible;
    if (any && !feasible)
        for (size_t i = 0; i < copy->pedal_count; ++i)
            c->board->pedals[i].positive_ground = false;
    tl_board_free(copy);
    return status;
}

/// What is left in the end is a set of rules of which each is needed to make the board impossible.
static tl_status filter(conflict* c, tl_error* error) {
    tl_board* board = c->board;
    tl_status status = TL_OK;
    double boundless_ma = 1;
    for (size_t i = 0; i < board->pedal_count; ++i)
        boundless_ma += 2 * board->pedals[i].current_ma / (1 - board->headroom);
    for (size_t i = board->pedal_count; status == TL_OK && i-- > 0;)
        status = try_without_rule(c, &board->pedals[i].out, true, &c->pedals[i], error);
    for (size_t i = 0; status == TL_OK && i < board->pedal_count; ++i)
        status = try_given(c, i, error);
    for (size_t i = 0; status == TL_OK && i < board->supply_count; ++i)
        status = try_without(c, &board->supply_mw[i], INFINITY, &c->supplies[i], error);
    if (status == TL_OK)
        status = try_without_rule(c, &board->hum_allowed, true, &c->hum, error);
    if (status == TL_OK)
        status = try_ground(c, error);
    for (size_t i = 0; status == TL_OK && i < board->output_count; ++i)
        status = try_without(c, &board->outputs[i].limit_ma, boundless_ma, &c->outputs[i], error);
    return status;
}

/// Whether an output's limit is worth a name: the largest of those in the way, or one that would
/// do for some pedal of the group.
static bool is_near(const tl_power_work* w, const conflict* c, size_t output) {
    const tl_board_output* about = &w->board->outputs[output];
    double most_ma = 0;
    for (size_t i = 0; i < w->board->output_count; ++i)
        if (c->outputs[i])
            most_ma = fmax(most_ma, w->board->outputs[i].limit_ma);
    for (size_t i = 0; i < w->plan->conflict_pedal_count; ++i) {
        size_t pedal = w->plan->conflict_pedals[i];
        if (tl_board_fits(w->board, pedal, output) &&
            w->board->pedals[pedal].current_ma <= about->limit_ma * (1 - w->board->headroom))
            return true;
    }
    return about->limit_ma >= most_ma;
}

/// "the limit of brick/5 (300 mA, of which 240 mA may be used) and of 6 smaller outputs".
static void add_limits(tl_text* text, const tl_power_work* w, const conflict* c) {
    size_t count = 0;
    size_t smaller = 0;
    for (size_t i = 0; i < w->plan->output_count; ++i) {
        if (!c->outputs[i])
            continue;
        if (!is_near(w, c, i)) {
            ++smaller;
            continue;
        }
        const double limit_ma = w->board->outputs[i].limit_ma;
        tl_text_addf(text, "%s%s (%.6g mA, of which %.6g mA may be used)",
                     count++ ? ", of " : "the limit of ", w->plan->outputs[i].name, limit_ma,
                     limit_ma * (1 - w->board->headroom));
    }
    if (smaller)
        tl_text_addf(text, " and of %zu smaller %s", smaller, smaller > 1 ? "outputs" : "output");
}

/// Whether some output has a pedal's volts; and its polarity too.
static void look_for_outputs(const tl_power_work* w, size_t pedal, bool* volts, bool* both) {
    *volts = *both = false;
    for (size_t i = 0; i < w->board->output_count; ++i) {
        tl_board one = *w->board;
        tl_board_pedal turned = w->board->pedals[pedal];
        one.pedals = &turned;
        *both = *both || tl_board_fits(&one, 0, i);
        for (int polarity = 0; polarity < 3; ++polarity) {
            turned.polarity = polarity;
            *volts = *volts || tl_board_fits(&one, 0, i);
        }
    }
}

const char* tl_power_misfit(const tl_power_work* w, size_t pedal) {
    bool volts = false;
    bool both = false;
    look_for_outputs(w, pedal, &volts, &both);
    return both    ? NULL
           : volts ? "there are outputs of its volts, but none of its polarity"
                   : "no output gives its volts";
}

/// Begins one more thing that is in the way.
static void begin_obstacle(tl_text* text, size_t* count) {
    tl_text_add(text, (*count)++ ? "; " : " In the way: ");
}

/// The limits and rules in the way, in one sentence; the number of them that are no given output.
static size_t add_obstacles(tl_text* text, const tl_power_work* w, const conflict* c) {
    const tl_power_plan* plan = w->plan;
    size_t count = 0;
    bool limits = false;
    for (size_t i = 0; i < plan->output_count; ++i)
        limits = limits || c->outputs[i];
    if (limits) {
        begin_obstacle(text, &count);
        add_limits(text, w, c);
    }
    for (size_t i = 0; i < w->board->supply_count; ++i) {
        if (!c->supplies[i])
            continue;
        begin_obstacle(text, &count);
        tl_text_addf(text, "'%s' gives %.6g W in all, of which %.6g W may be used",
                     w->power->supplies[i].name, w->board->supply_mw[i] / 1e3,
                     w->board->supply_mw[i] / 1e3 * (1 - w->board->headroom));
    }
    if (c->hum) {
        begin_obstacle(text, &count);
        tl_text_add(text, "digital pedals must not share a return with high-gain ones");
    }
    if (c->ground) {
        begin_obstacle(text, &count);
        tl_text_add(text, "a pedal of positive ground must not share a return");
    }
    size_t rules = count;
    for (size_t i = 0; i < plan->pedal_count; ++i) {
        if (!c->given[i])
            continue;
        begin_obstacle(text, &count);
        tl_text_addf(text, "'%s' was given %s", plan->pedals[i].name,
                     plan->outputs[w->board->pedals[i].given].name);
    }
    if (count)
        tl_text_add(text, ".");
    return rules;
}

/// What makes a group of pedals impossible, as one or a few sentences.
static char* conflict_words(tl_power_work* w, const conflict* c) {
    tl_power_plan* plan = w->plan;
    tl_text text = {0};
    size_t count = plan->conflict_pedal_count;
    const char* misfit = count == 1 ? tl_power_misfit(w, plan->conflict_pedals[0]) : NULL;
    if (misfit) {
        const tl_power_pedal* about = &plan->pedals[plan->conflict_pedals[0]];
        return tl_printf("'%s' needs %.6g V %s: %s.", about->name, about->volts_v, about->polarity,
                         misfit);
    }
    char* names = tl_power_names(plan, plan->conflict_pedals, count);
    double sum_ma = 0;
    for (size_t i = 0; i < count; ++i)
        sum_ma += w->board->pedals[plan->conflict_pedals[i]].current_ma;
    tl_text_addf(&text,
                 count > 1 ? "%s (%.6g mA together) do not go together by the rules."
                           : "%s (%.6g mA) cannot be fed by the rules.",
                 names, sum_ma);
    if (!add_obstacles(&text, w, c) && count > 1)
        tl_text_add(&text, " There are too few outputs of their volts and polarity.");
    free(names);
    return tl_text_take(&text);
}

tl_status tl_power_conflict(tl_power_work* w, tl_error* error) {
    tl_power_plan* plan = w->plan;
    conflict c = {.board = tl_board_copy(w->board),
                  .pedals = tl_new(w->board->pedal_count, sizeof(bool)),
                  .given = tl_new(w->board->pedal_count, sizeof(bool)),
                  .outputs = tl_new(w->board->output_count, sizeof(bool)),
                  .supplies = tl_new(w->board->supply_count, sizeof(bool))};
    tl_status status = filter(&c, error);
    plan->conflict_pedals = tl_new(w->board->pedal_count, sizeof *plan->conflict_pedals);
    for (size_t i = 0; i < w->board->pedal_count; ++i)
        if (c.pedals[i])
            plan->conflict_pedals[plan->conflict_pedal_count++] = i;
    if (status == TL_OK)
        plan->conflict = conflict_words(w, &c);
    tl_board_free(c.board);
    free(c.pedals);
    free(c.given);
    free(c.outputs);
    free(c.supplies);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A board that cannot be: who can be fed all the same, and what would have to be bought for the
// others.
#include "study/power_buy.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A board on which what was given stands as it is, right or wrong, and only takes its share of
/// the limits; so that the others can be led around it.
static tl_board* around_given(const tl_board* board) {
    tl_board* copy = tl_board_copy(board);
    double share = 1 - board->headroom;
    for (size_t i = 0; i < copy->pedal_count; ++i) {
        tl_board_pedal* pedal = &copy->pedals[i];
        if (pedal->given == TL_NOWHERE)
            continue;
        tl_board_output* output = &copy->outputs[pedal->given];
        output->limit_ma = fmax(0, output->limit_ma - pedal->current_ma / share);
        copy->supply_mw[output->supply] =
            fmax(0, copy->supply_mw[output->supply] - pedal->current_ma * pedal->volts_v / share);
        for (size_t k = 0; output->volt_count > 1 && k < output->volt_count; ++k)
            if (fabs(output->volts_v[k] - pedal->volts_v) < 5e-3)
                output->volts_v[0] = pedal->volts_v;
        output->volt_count = 1;
        pedal->current_ma = pedal->inrush_ma = 0;
        pedal->polarity = output->polarity;
        pedal->excused = true;
    }
    for (size_t i = 0; i < copy->pedal_count; ++i)
        if (copy->pedals[i].excused)
            copy->pedals[i].volts_v = copy->outputs[copy->pedals[i].given].volts_v[0];
    return copy;
}

/// What each pedal left out costs: one, or its current.
static void cost_leaving(tl_board_model* m, bool by_current) {
    for (size_t i = 0; i < m->board->pedal_count; ++i)
        if (m->left[i] != TL_NOWHERE)
            tl_milp_cost(m->milp, m->left[i], by_current ? m->board->pedals[i].current_ma : 1);
}

tl_status tl_power_feed_most(tl_power_work* w, tl_error* error) {
    tl_board* around = around_given(w->board);
    tl_board_model* model = tl_board_model_new(around, TL_BEND_LEAVE);
    bool feasible = false;
    cost_leaving(model, false);
    for (size_t i = 0; i < around->pedal_count; ++i)
        if (around->pedals[i].excused)
            tl_milp_hold(model->milp, model->left[i], 0); // it is plugged in already
    tl_status status = tl_milp_solve(model->milp, &feasible, error);
    if (status == TL_OK) {
        tl_milp_keep_cost(model->milp, tl_milp_total(model->milp) + 0.5);
        tl_milp_no_cost(model->milp);
        cost_leaving(model, true);
        status = tl_milp_solve(model->milp, &feasible, error);
    }
    for (size_t i = 0; status == TL_OK && i < around->pedal_count; ++i)
        around->pedals[i].out = tl_milp_value(model->milp, model->left[i]) > 0.5;
    if (status == TL_OK)
        status = tl_board_assign(around, w->at, &feasible, &w->plan->settled, error);
    if (status == TL_OK && !feasible)
        status = tl_error_set(error, TL_FAILURE, "those that can be fed cannot be fed");
    tl_board_model_free(model);
    tl_board_free(around);
    return status;
}

// ---- what would feed all that are left without

static bool has_change(const tl_power_plan* plan, const char* kind) {
    for (size_t i = 0; i < plan->change_count; ++i)
        if (strcmp(plan->changes[i].kind, kind) == 0)
            return true;
    return false;
}

/// Gives a pedal an isolated output of its own, of a supply of its own.
static void add_own_output(const tl_power_work* w, tl_board* board, size_t pedal, tl_text* words) {
    tl_board_pedal* about = &board->pedals[pedal];
    double limit_ma = tl_power_buy_ma(about->current_ma / (1 - board->headroom));
    board->outputs = tl_grow(board->outputs, board->output_count + 1, sizeof *board->outputs);
    board->supply_mw = tl_grow(board->supply_mw, board->supply_count + 1, sizeof *board->supply_mw);
    about->given = board->output_count;
    board->outputs[board->output_count++] = (tl_board_output){.limit_ma = limit_ma,
                                                              .peak_ma = limit_ma,
                                                              .volts_v = {about->volts_v},
                                                              .volt_count = 1,
                                                              .polarity = about->polarity,
                                                              .isolated = true,
                                                              .group = board->group_count++,
                                                              .supply = board->supply_count};
    board->supply_mw[board->supply_count++] = INFINITY;
    const tl_power_pedal* named = &w->plan->pedals[pedal];
    tl_text_addf(words, " %.6g V %s, at least %.6g mA", named->volts_v, named->polarity, limit_ma);
    tl_power_add_start(words, w, &pedal, 1, limit_ma);
    tl_text_addf(words, ", for '%s'", named->name);
}

/// The list in words, with the board as it would be.
static tl_power_change list_to_buy(const tl_power_work* w, tl_board* board) {
    tl_power_change change = tl_power_no_change();
    tl_text words = {0};
    tl_text_add(&words, "All of these together, each an isolated output of another supply:");
    for (size_t i = 0; i < w->board->pedal_count; ++i) {
        if (w->at[i] != TL_NOWHERE)
            continue;
        tl_text_add(&words, change.pedal_count ? ";" : "");
        add_own_output(w, board, i, &words);
        change.pedals = tl_grow_one(change.pedals, change.pedal_count, sizeof(size_t));
        change.pedals[change.pedal_count++] = i;
    }
    tl_text_add(&words, ".");
    change.kind = "outputs";
    change.words = tl_text_take(&words);
    return change;
}

/// A board with several faults: no single change does, but a shopping list may.
static tl_status shop(tl_power_work* w, tl_error* error) {
    tl_board* board = tl_board_copy(w->board);
    tl_power_change change = list_to_buy(w, board);
    size_t* at = tl_new(board->pedal_count, sizeof *at);
    bool feasible = false;
    tl_status status = TL_OK;
    if (change.pedal_count > 1 && !has_change(w->plan, "output"))
        status = tl_board_assign(board, at, &feasible, NULL, error);
    if (status == TL_OK && feasible)
        tl_power_keep_change(w->plan, &change);
    else
        free(change.words), free(change.pedals);
    free(at);
    tl_board_free(board);
    return status;
}

tl_status tl_power_feed_rest(tl_power_work* w, tl_error* error) {
    tl_status status = tl_power_feed_most(w, error);
    return status == TL_OK ? shop(w, error) : status;
}

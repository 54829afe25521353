// SPDX-License-Identifier: GPL-3.0-or-later
// The best assignment: one goal after the other, each held while the next is sought.
#include "study/power_board.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>

/// Nodes of the search for a goal that only orders what is as good as the rest: a board of 20
/// pedals needs some hundred.
enum { MOST_NODES = 500 };

static size_t place_of(const tl_board_model* m, size_t pedal, size_t output) {
    return m->on[pedal * m->board->output_count + output];
}

static void term_of(tl_board_model* m, size_t pedal, size_t output, double factor) {
    size_t column = place_of(m, pedal, output);
    if (column != TL_NOWHERE)
        tl_milp_term(m->milp, column, factor);
}

/// Columns of whether the start of some pedal may overload an output.
static void add_surges(tl_board_model* m) {
    const tl_board* board = m->board;
    for (size_t j = 0; j < board->output_count; ++j) {
        size_t over = tl_milp_binary(m->milp);
        tl_milp_cost(m->milp, over, 1);
        for (size_t i = 0; i < board->pedal_count; ++i) {
            const tl_board_pedal* pedal = &board->pedals[i];
            if (pedal->inrush_ma <= pedal->current_ma || place_of(m, i, j) == TL_NOWHERE)
                continue;
            // When it stands here: its start and the others' draw within the peak, or `over`.
            double most_ma = board->outputs[j].limit_ma + pedal->inrush_ma;
            tl_milp_row(m->milp, -INFINITY, board->outputs[j].peak_ma + most_ma);
            for (size_t k = 0; k < board->pedal_count; ++k)
                term_of(m, k, j, k == i ? pedal->inrush_ma + most_ma : board->pedals[k].current_ma);
            tl_milp_term(m->milp, over, -most_ma);
        }
    }
}

/// The largest current of which all limits are multiples, mA: in its units the cost is whole, which
/// lets the solver round what it still hopes for.
static double common_ma(const tl_board* board) {
    double common_ua = 0;
    for (size_t j = 0; j < board->output_count; ++j)
        for (double ua = floor(board->outputs[j].limit_ma * 1e3 + 0.5); ua > 0;) {
            double rest = fmod(common_ua, ua);
            common_ua = ua;
            ua = rest;
        }
    return common_ua / 1e3;
}

/// The cost is the limits of the outputs that the pedals hang on: none on a stronger one than need
/// be.
static void add_strength(tl_board_model* m) {
    const tl_board* board = m->board;
    double unit_ma = common_ma(board);
    for (size_t j = 0; j < board->output_count; ++j)
        for (size_t i = 0; i < board->pedal_count; ++i)
            if (place_of(m, i, j) != TL_NOWHERE)
                tl_milp_cost(m->milp, place_of(m, i, j),
                             floor(board->outputs[j].limit_ma / unit_ma + 0.5));
}

/// Solves for a goal and keeps what it came to.
static tl_status reach(tl_board_model* m, bool* feasible, tl_error* error) {
    tl_status status = tl_milp_solve(m->milp, feasible, error);
    if (status == TL_OK && *feasible)
        tl_milp_keep_cost(m->milp, tl_milp_total(m->milp) + 0.5); // costs are whole
    tl_milp_no_cost(m->milp);
    return status;
}

/// The same for a goal that may be missed: what was found already stays good.
static tl_status approach(tl_board_model* m, bool* proven, tl_error* error) {
    tl_status status = tl_milp_improve(m->milp, MOST_NODES, proven, error);
    if (status == TL_OK && *proven)
        tl_milp_keep_cost(m->milp, tl_milp_total(m->milp) + 0.5);
    tl_milp_no_cost(m->milp);
    return status;
}

static void read_places(const tl_board_model* m, size_t* at) {
    for (size_t i = 0; i < m->board->pedal_count; ++i) {
        at[i] = TL_NOWHERE;
        for (size_t j = 0; j < m->board->output_count; ++j) {
            size_t column = place_of(m, i, j);
            if (column != TL_NOWHERE && tl_milp_value(m->milp, column) > 0.5)
                at[i] = j;
        }
    }
}

/// Pedal by pedal, the first output that the best allows; held before the next one chooses.
static tl_status settle(tl_board_model* m, size_t* at, bool* proven, tl_error* error) {
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && *proven && i < m->board->pedal_count; ++i) {
        if (at[i] == TL_NOWHERE)
            continue;
        bool first = true; // nothing before its place now: no need to ask
        for (size_t j = 0; j < m->board->output_count; ++j) {
            if (place_of(m, i, j) == TL_NOWHERE)
                continue;
            tl_milp_cost(m->milp, place_of(m, i, j), (double)j);
            first = first && j >= at[i];
        }
        if (!first)
            status = tl_milp_improve(m->milp, MOST_NODES, proven, error);
        read_places(m, at);
        tl_milp_no_cost(m->milp);
        tl_milp_hold(m->milp, place_of(m, i, at[i]), 1);
    }
    return status;
}

tl_status tl_board_assign(const tl_board* board, size_t* at, bool* feasible, bool* proven,
                          tl_error* error) {
    tl_board_model* m = tl_board_model_new(board, TL_BEND_NOTHING);
    bool settled = false;
    tl_board_model_add_sharing(m, 1);
    tl_status status = reach(m, feasible, error);
    if (status == TL_OK && *feasible) {
        read_places(m, at);
        add_surges(m);
        if (tl_board_surges(board, at) == 0) // none is the best there is
            tl_milp_keep_cost(m->milp, 0.5), tl_milp_no_cost(m->milp);
        else
            status = reach(m, feasible, error);
    }
    if (status == TL_OK && *feasible) {
        add_strength(m);
        status = approach(m, &settled, error);
    }
    if (status == TL_OK && *feasible) {
        read_places(m, at);
        status = settle(m, at, &settled, error);
    }
    if (status == TL_OK && *feasible && !tl_board_holds(board, at))
        status = tl_error_set(error, TL_FAILURE, "the solver's assignment breaks a rule");
    if (proven)
        *proven = settled;
    tl_board_model_free(m);
    return status;
}

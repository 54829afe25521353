// SPDX-License-Identifier: GPL-3.0-or-later
// The rules of a board as rows for the solver, and what each kind of bending puts into them.
#include "study/power_board.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>

static size_t* new_numbers(size_t count) {
    size_t* numbers = tl_new(count + 1, sizeof *numbers);
    for (size_t i = 0; i <= count; ++i)
        numbers[i] = TL_NOWHERE;
    return numbers;
}

static size_t cell(const tl_board_model* m, size_t pedal, size_t output) {
    return pedal * m->board->output_count + output;
}

/// Adds a column's term to the row begun last, if there is such a column.
static void add_term(tl_board_model* m, size_t column, double factor) {
    if (column != TL_NOWHERE)
        tl_milp_term(m->milp, column, factor);
}

/// The terms of a pedal at an output, with or without an adapter.
static void add_terms(tl_board_model* m, size_t pedal, size_t output, double factor) {
    add_term(m, m->on[cell(m, pedal, output)], factor);
    add_term(m, m->adapted[cell(m, pedal, output)], factor);
}

/// Whether a pedal may go to an output at all: one that was given an output stays there.
static bool may_go(const tl_board_model* m, size_t pedal, size_t output) {
    size_t given = m->board->pedals[pedal].given;
    return given == TL_NOWHERE || given == output || m->bend == TL_BEND_MOVE;
}

static void add_places(tl_board_model* m) {
    const tl_board* board = m->board;
    for (size_t i = 0; i < board->pedal_count; ++i)
        for (size_t j = 0; j < board->output_count; ++j) {
            if (board->pedals[i].out || !may_go(m, i, j))
                continue;
            if (tl_board_fits(board, i, j)) {
                m->on[cell(m, i, j)] = tl_milp_binary(m->milp);
            } else if (m->bend == TL_BEND_ADAPTER) {
                tl_board_pedal turned = board->pedals[i];
                turned.adapted = true;
                tl_board one = *board;
                one.pedals = &turned;
                if (tl_board_fits(&one, 0, j))
                    m->adapted[cell(m, i, j)] = tl_milp_binary(m->milp);
            }
        }
}

/// Every pedal has one output, or its place among those left out, or on the one more output.
static void add_pedals(tl_board_model* m) {
    for (size_t i = 0; i < m->board->pedal_count; ++i) {
        const tl_board_pedal* pedal = &m->board->pedals[i];
        if (pedal->out)
            continue;
        bool leaves = m->bend == TL_BEND_LEAVE;
        bool moves = m->bend == TL_BEND_MOVE && pedal->given != TL_NOWHERE;
        if (leaves || moves)
            m->left[i] = tl_milp_binary(m->milp);
        if (m->bend == TL_BEND_OUTPUT)
            m->fresh[i] = tl_milp_binary(m->milp);
        tl_milp_row(m->milp, 1, 1);
        for (size_t j = 0; j < m->board->output_count; ++j)
            add_terms(m, i, j, 1);
        if (leaves)
            add_term(m, m->left[i], 1);
        add_term(m, m->fresh[i], 1);
        if (!moves)
            continue;
        tl_milp_row(m->milp, 1, 1); // moved, or where it was given
        add_term(m, m->left[i], 1);
        add_term(m, m->on[cell(m, i, pedal->given)], 1);
    }
}

/// A column of what an output or supply gives more, of one of them only.
static void add_more(tl_board_model* m, size_t count, double most) {
    for (size_t i = 0; i < count; ++i) {
        m->more[i] = tl_milp_column(m->milp, 0, most);
        m->more_of[i] = tl_milp_binary(m->milp);
        tl_milp_row(m->milp, -INFINITY, 0);
        tl_milp_term(m->milp, m->more[i], 1);
        tl_milp_term(m->milp, m->more_of[i], -most);
    }
    tl_milp_row(m->milp, 0, 1);
    for (size_t i = 0; i < count; ++i)
        tl_milp_term(m->milp, m->more_of[i], 1);
}

static double all_ma(const tl_board* board) {
    double sum_ma = 0;
    for (size_t i = 0; i < board->pedal_count; ++i)
        sum_ma += board->pedals[i].current_ma;
    return sum_ma;
}

static double all_mw(const tl_board* board) {
    double sum_mw = 0;
    for (size_t i = 0; i < board->pedal_count; ++i)
        sum_mw += board->pedals[i].current_ma * board->pedals[i].volts_v;
    return sum_mw;
}

/// The limit of a row: less the headroom, which may be a column.
static void begin_limit(tl_board_model* m, double limit) {
    bool bends = m->bend == TL_BEND_HEADROOM;
    tl_milp_row(m->milp, -INFINITY, limit * (bends ? 1 : 1 - m->board->headroom));
    if (bends)
        add_term(m, m->spare, limit);
}

/// No more than so many pedals that each take over a share of a limit fit below it. The sums say
/// the same; these rows say it sooner to the solver, which else tries them all.
static void add_counts(tl_board_model* m, size_t output) {
    double room_ma = m->board->outputs[output].limit_ma * (1 - m->board->headroom);
    if (m->bend == TL_BEND_CURRENT || m->bend == TL_BEND_HEADROOM)
        return;
    for (int most = 1; most <= 3; ++most) {
        tl_milp_row(m->milp, -INFINITY, most);
        for (size_t i = 0; i < m->board->pedal_count; ++i)
            if (m->board->pedals[i].current_ma > room_ma / (most + 1) + 1e-4)
                add_terms(m, i, output, 1);
    }
}

static void add_limits(tl_board_model* m) {
    const tl_board* board = m->board;
    for (size_t j = 0; j < board->output_count; ++j) {
        begin_limit(m, board->outputs[j].limit_ma);
        for (size_t i = 0; i < board->pedal_count; ++i)
            add_terms(m, i, j, board->pedals[i].current_ma);
        if (m->bend == TL_BEND_CURRENT)
            add_term(m, m->more[j], board->headroom - 1);
        add_counts(m, j);
    }
    for (size_t supply = 0; supply < board->supply_count; ++supply) {
        if (isinf(board->supply_mw[supply]))
            continue;
        begin_limit(m, board->supply_mw[supply]);
        for (size_t j = 0; j < board->output_count; ++j)
            for (size_t i = 0; board->outputs[j].supply == supply && i < board->pedal_count; ++i)
                add_terms(m, i, j, board->pedals[i].current_ma * board->pedals[i].volts_v);
        if (m->bend == TL_BEND_SUPPLY)
            add_term(m, m->more[supply], board->headroom - 1);
    }
}

/// An output with a choice of volts is set to one of them.
static void add_volts(tl_board_model* m, size_t output) {
    const tl_board_output* about = &m->board->outputs[output];
    if (about->volt_count < 2)
        return;
    size_t* set = m->volts + output * TL_OUTPUT_VOLTS;
    for (size_t k = 0; k < about->volt_count; ++k)
        set[k] = tl_milp_binary(m->milp);
    tl_milp_row(m->milp, 0, 1);
    for (size_t k = 0; k < about->volt_count; ++k)
        tl_milp_term(m->milp, set[k], 1);
    for (size_t i = 0; i < m->board->pedal_count; ++i) {
        size_t at = m->on[cell(m, i, output)];
        size_t turned = m->adapted[cell(m, i, output)];
        if (at == TL_NOWHERE && turned == TL_NOWHERE)
            continue;
        tl_milp_row(m->milp, -INFINITY, 0);
        add_terms(m, i, output, 1);
        for (size_t k = 0; k < about->volt_count; ++k)
            if (fabs(about->volts_v[k] - m->board->pedals[i].volts_v) < 5e-3)
                tl_milp_term(m->milp, set[k], -1);
    }
}

/// Two pedals that must not meet: not on one return, nor on the one more output.
static void add_pair(tl_board_model* m, size_t one, size_t other, tl_apart why) {
    size_t excuse = TL_NOWHERE;
    if (m->bend == TL_BEND_HUM && why == TL_APART_HUM)
        excuse = m->pairs[one * m->board->pedal_count + other] = tl_milp_binary(m->milp);
    for (size_t group = 0; group < m->board->group_count; ++group) {
        tl_milp_row(m->milp, -INFINITY, 1);
        for (size_t j = 0; j < m->board->output_count; ++j) {
            if (m->board->outputs[j].group != group)
                continue;
            add_terms(m, one, j, 1);
            add_terms(m, other, j, 1);
        }
        add_term(m, excuse, -1);
    }
    if (m->fresh[one] != TL_NOWHERE && m->fresh[other] != TL_NOWHERE) {
        tl_milp_row(m->milp, -INFINITY, 1);
        add_term(m, m->fresh[one], 1);
        add_term(m, m->fresh[other], 1);
    }
}

static void add_pairs(tl_board_model* m) {
    const tl_board* board = m->board;
    for (size_t i = 0; i < board->pedal_count; ++i)
        for (size_t j = i + 1; j < board->pedal_count; ++j) {
            tl_apart why = tl_board_apart(board, i, j);
            if (why != TL_APART_NOT && !board->pedals[i].out && !board->pedals[j].out)
                add_pair(m, i, j, why);
        }
}

/// Who goes through an adapter has the output for itself.
static void add_alone(tl_board_model* m) {
    size_t pedals = m->board->pedal_count;
    for (size_t i = 0; i < pedals; ++i)
        for (size_t j = 0; j < m->board->output_count; ++j) {
            if (m->adapted[cell(m, i, j)] == TL_NOWHERE)
                continue;
            tl_milp_row(m->milp, -INFINITY, (double)pedals);
            tl_milp_term(m->milp, m->adapted[cell(m, i, j)], (double)pedals);
            for (size_t k = 0; k < pedals; ++k)
                if (k != i)
                    add_terms(m, k, j, 1);
        }
}

/// The one more output: it has the volts and polarity of those on it, and gives `spare`.
static void add_fresh(tl_board_model* m) {
    const tl_board* board = m->board;
    m->spare = tl_milp_column(m->milp, 0, all_ma(board) / (1 - board->headroom));
    tl_milp_row(m->milp, -INFINITY, 0);
    for (size_t i = 0; i < board->pedal_count; ++i)
        add_term(m, m->fresh[i], board->pedals[i].current_ma);
    add_term(m, m->spare, board->headroom - 1);
    for (size_t i = 0; i < board->pedal_count; ++i)
        for (size_t j = i + 1; j < board->pedal_count; ++j) {
            const tl_board_pedal* a = &board->pedals[i];
            const tl_board_pedal* b = &board->pedals[j];
            if (fabs(a->volts_v - b->volts_v) < 5e-3 && a->polarity == b->polarity)
                continue;
            tl_milp_row(m->milp, -INFINITY, 1);
            add_term(m, m->fresh[i], 1);
            add_term(m, m->fresh[j], 1);
        }
}

/// Whether two outputs may change places without anything changing: alike, and nobody was given
/// either of them.
static bool are_alike(const tl_board* board, size_t one, size_t other) {
    const tl_board_output* a = &board->outputs[one];
    const tl_board_output* b = &board->outputs[other];
    bool bound = !isinf(board->supply_mw[a->supply]) || !isinf(board->supply_mw[b->supply]);
    bool same = a->limit_ma == b->limit_ma && a->peak_ma == b->peak_ma &&
                a->volt_count == b->volt_count && a->polarity == b->polarity &&
                a->isolated == b->isolated && (a->isolated || a->group == b->group) &&
                (!bound || a->supply == b->supply);
    for (size_t k = 0; same && k < a->volt_count; ++k)
        same = a->volts_v[k] == b->volts_v[k];
    for (size_t i = 0; same && i < board->pedal_count; ++i)
        same = board->pedals[i].given != one && board->pedals[i].given != other;
    return same;
}

/// Outputs alike are taken in order: a pedal goes to the second only if one before it went to the
/// first. What is lost is only the same again with two of them exchanged, which the solver would
/// go through one by one.
static void add_order(tl_board_model* m) {
    const tl_board* board = m->board;
    if (m->bend == TL_BEND_CURRENT)
        return; // one of them may give more
    for (size_t j = 1; j < board->output_count; ++j) {
        size_t before = j;
        while (before-- > 0)
            if (are_alike(board, before, j))
                break;
        for (size_t i = 0; before != SIZE_MAX && i < board->pedal_count; ++i) {
            if (m->on[cell(m, i, j)] == TL_NOWHERE && m->adapted[cell(m, i, j)] == TL_NOWHERE)
                continue;
            tl_milp_row(m->milp, -INFINITY, 0);
            add_terms(m, i, j, 1);
            for (size_t k = 0; k < i; ++k)
                add_terms(m, k, before, -1);
        }
    }
}

tl_board_model* tl_board_model_new(const tl_board* board, tl_bend bend) {
    tl_board_model* m = tl_new(1, sizeof *m);
    size_t cells = board->pedal_count * board->output_count;
    *m = (tl_board_model){.board = board, .bend = bend, .milp = tl_milp_new()};
    m->on = new_numbers(cells);
    m->adapted = new_numbers(cells);
    m->volts = new_numbers(board->output_count * TL_OUTPUT_VOLTS);
    m->more = new_numbers(board->output_count + board->supply_count);
    m->more_of = new_numbers(board->output_count + board->supply_count);
    m->left = new_numbers(board->pedal_count);
    m->fresh = new_numbers(board->pedal_count);
    m->pairs = new_numbers(board->pedal_count * board->pedal_count);
    m->spare = TL_NOWHERE;
    if (bend == TL_BEND_HEADROOM)
        m->spare = tl_milp_column(m->milp, 0, board->headroom);
    if (bend == TL_BEND_CURRENT)
        add_more(m, board->output_count, all_ma(board) / (1 - board->headroom));
    if (bend == TL_BEND_SUPPLY)
        add_more(m, board->supply_count, all_mw(board) / (1 - board->headroom));
    add_places(m);
    add_pedals(m);
    add_limits(m);
    for (size_t j = 0; j < board->output_count; ++j)
        add_volts(m, j);
    add_pairs(m);
    add_alone(m);
    add_order(m);
    if (bend == TL_BEND_OUTPUT)
        add_fresh(m);
    return m;
}

void tl_board_model_add_sharing(tl_board_model* m, double cost) {
    const tl_board* board = m->board;
    size_t fresh = m->bend == TL_BEND_OUTPUT; // the one more output is a return too
    for (size_t group = 0; group < board->group_count + fresh; ++group) {
        size_t beyond = tl_milp_whole(m->milp, 0, (double)board->pedal_count);
        tl_milp_row(m->milp, -INFINITY, 1);
        for (size_t j = 0; j < board->output_count; ++j)
            for (size_t i = 0; board->outputs[j].group == group && i < board->pedal_count; ++i)
                add_term(m, m->on[cell(m, i, j)], 1);
        for (size_t i = 0; group == board->group_count && i < board->pedal_count; ++i)
            add_term(m, m->fresh[i], 1);
        tl_milp_term(m->milp, beyond, -1);
        tl_milp_cost(m->milp, beyond, cost);
    }
}

void tl_board_model_free(tl_board_model* m) {
    tl_milp_free(m->milp);
    free(m->on);
    free(m->adapted);
    free(m->volts);
    free(m->more);
    free(m->more_of);
    free(m->left);
    free(m->fresh);
    free(m->pairs);
    free(m);
}

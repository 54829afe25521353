// SPDX-License-Identifier: GPL-3.0-or-later
// A board that cannot be: the smallest change of each kind that would do (elastic programs), each
// tried by solving the changed board again.
#include "base/text.h"
#include "study/power_buy.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// ---- the smallest change

/// One kind of change on its way: what the solver found, and the board with it.
typedef struct {
    tl_power_work* work;
    tl_board_model* model;
    tl_board* changed;
    tl_power_change change;
} trying;

static double value_of(const trying* t, size_t column) {
    return column == TL_NOWHERE ? 0 : tl_milp_value(t->model->milp, column);
}

static void add_pedal(trying* t, size_t pedal) {
    t->change.pedals = tl_grow_one(t->change.pedals, t->change.pedal_count, sizeof(size_t));
    t->change.pedals[t->change.pedal_count++] = pedal;
}

static void cost_all(tl_milp* milp, const size_t* columns, size_t count) {
    for (size_t i = 0; i < count; ++i)
        if (columns[i] != TL_NOWHERE)
            tl_milp_cost(milp, columns[i], 1);
}

/// What a bend costs: the least of it is the smallest change of its kind.
static void set_cost(tl_board_model* m, tl_bend bend) {
    const tl_board* board = m->board;
    if (bend == TL_BEND_HEADROOM)
        tl_milp_cost(m->milp, m->spare, -1); // as much as can be kept
    if (bend == TL_BEND_OUTPUT)
        tl_milp_cost(m->milp, m->spare, 1);
    if (bend == TL_BEND_ADAPTER)
        cost_all(m->milp, m->adapted, board->pedal_count * board->output_count);
    if (bend == TL_BEND_MOVE || bend == TL_BEND_LEAVE)
        cost_all(m->milp, m->left, board->pedal_count);
    if (bend == TL_BEND_CURRENT)
        cost_all(m->milp, m->more, board->output_count);
    if (bend == TL_BEND_SUPPLY)
        cost_all(m->milp, m->more, board->supply_count);
    if (bend == TL_BEND_HUM)
        cost_all(m->milp, m->pairs, board->pedal_count * board->pedal_count);
}

/// Nodes of the search for the best among changes of one size.
enum { MOST_NODES = 500 };

/// Among changes of one size: fewest that share a return, then the first output or supply; the
/// least current left out.
static void set_second_cost(tl_board_model* m, tl_bend bend) {
    const tl_board* board = m->board;
    bool more = bend == TL_BEND_CURRENT || bend == TL_BEND_SUPPLY;
    size_t count = bend == TL_BEND_CURRENT ? board->output_count : board->supply_count;
    for (size_t i = 0; more && i < count; ++i)
        tl_milp_cost(m->milp, m->more_of[i], (double)i);
    if (bend == TL_BEND_CURRENT || bend == TL_BEND_OUTPUT)
        tl_board_model_add_sharing(m, (double)board->output_count + 1);
    for (size_t i = 0; bend == TL_BEND_LEAVE && i < board->pedal_count; ++i)
        if (m->left[i] != TL_NOWHERE)
            tl_milp_cost(m->milp, m->left[i], board->pedals[i].current_ma);
}

/// Where the solver put everybody. Amounts are worked out from this: its own are only as exact as
/// its tolerance.
static size_t* find_places(const trying* t) {
    const tl_board* board = t->work->board;
    size_t* at = tl_new(board->pedal_count, sizeof *at);
    for (size_t i = 0; i < board->pedal_count; ++i) {
        at[i] = TL_NOWHERE;
        for (size_t j = 0; j < board->output_count; ++j)
            if (value_of(t, t->model->on[i * board->output_count + j]) > 0.5)
                at[i] = j;
    }
    return at;
}

/// The largest share of its limit that an output or supply is asked for.
static double largest_share(const tl_board* board, const size_t* at) {
    double share = 0;
    for (size_t i = 0; i < board->output_count; ++i)
        share = fmax(share, tl_board_load_ma(board, at, i) / board->outputs[i].limit_ma);
    for (size_t i = 0; i < board->supply_count; ++i)
        share = fmax(share, tl_board_supply_mw(board, at, i) / board->supply_mw[i]);
    return share;
}

static void take_headroom(trying* t) {
    size_t* at = find_places(t);
    double kept = 1 - largest_share(t->work->board, at);
    kept = fmax(0, floor(kept * 1e4 + 1e-6) / 1e4); // whole hundredths of a per cent
    free(at);
    t->changed->headroom = t->change.headroom = kept;
    t->change.kind = "headroom";
    t->change.words = tl_printf("Keep %.0f %% of the limits free instead of %.4g %%.",
                                floor(100 * kept + 1e-6), 100 * t->work->board->headroom);
}

static void take_adapter(trying* t) {
    const tl_board* board = t->work->board;
    for (size_t i = 0; i < board->pedal_count; ++i)
        for (size_t j = 0; j < board->output_count; ++j)
            if (value_of(t, t->model->adapted[i * board->output_count + j]) > 0.5) {
                add_pedal(t, i);
                t->changed->pedals[i].adapted = true;
            }
    char* names = tl_power_names(t->work->plan, t->change.pedals, t->change.pedal_count);
    t->change.kind = "adapter";
    t->change.words = tl_printf("An adapter lead that turns the polarity for %s, alone on an "
                                "isolated output.",
                                names);
    free(names);
}

static void take_moves(trying* t) {
    const tl_board* board = t->work->board;
    tl_text text = {0};
    for (size_t i = 0; i < board->pedal_count; ++i) {
        if (value_of(t, t->model->left[i]) < 0.5)
            continue;
        add_pedal(t, i);
        t->changed->pedals[i].given = TL_NOWHERE;
    }
    char* names = tl_power_names(t->work->plan, t->change.pedals, t->change.pedal_count);
    tl_text_addf(&text, "Plug %s in elsewhere.", names);
    free(names);
    t->change.kind = "move";
    t->change.words = tl_text_take(&text);
}

/// "brick/5 gives at least 320 mA instead of 300 mA".
static char* current_words(trying* t, const size_t* at, size_t output) {
    const tl_power_output* about = &t->work->plan->outputs[output];
    size_t pedals = t->work->board->pedal_count;
    size_t* members = tl_new(pedals, sizeof *members);
    size_t count = 0;
    tl_text text = {0};
    for (size_t i = 0; i < pedals; ++i)
        if (at[i] == output)
            members[count++] = i;
    tl_text_addf(&text, "%s gives at least %.6g mA instead of %.6g mA", about->name,
                 1e3 * t->change.buy_a, 1e3 * about->limit_a);
    t->change.peak_a = tl_power_add_start(&text, t->work, members, count,
                                          fmax(1e3 * about->peak_a, 1e3 * t->change.buy_a));
    tl_text_add(&text, ".");
    free(members);
    return tl_text_take(&text);
}

static void take_current(trying* t) {
    const tl_power_plan* plan = t->work->plan;
    size_t* at = find_places(t);
    for (size_t i = 0; i < plan->output_count; ++i) {
        if (value_of(t, t->model->more_of[i]) < 0.5)
            continue;
        double needs_ma = tl_board_load_ma(t->work->board, at, i) / (1 - t->work->board->headroom);
        double more_ma =
            ceil((needs_ma - t->work->board->outputs[i].limit_ma) * 1e3 - 1e-4) / 1e3; // whole uA
        tl_board_output* output = &t->changed->outputs[i];
        output->limit_ma += more_ma;
        output->peak_ma = fmax(output->peak_ma, output->limit_ma);
        t->change.output = i;
        t->change.current_a = more_ma / 1e3;
        t->change.buy_a = tl_power_buy_ma(output->limit_ma) / 1e3;
        t->change.words = current_words(t, at, i);
    }
    free(at);
    t->change.kind = "current";
}

static void take_power(trying* t) {
    const tl_board* board = t->work->board;
    size_t* at = find_places(t);
    for (size_t i = 0; i < t->work->board->supply_count; ++i) {
        if (value_of(t, t->model->more_of[i]) < 0.5)
            continue;
        double needs_mw = tl_board_supply_mw(board, at, i) / (1 - board->headroom);
        double more_mw = ceil(needs_mw - board->supply_mw[i] - 1e-6);
        t->changed->supply_mw[i] += more_mw;
        t->change.supply = i;
        t->change.power_w = more_mw / 1e3;
        t->change.words = tl_printf(
            "'%s' gives at least %.0f W instead of %.6g W.", t->work->power->supplies[i].name,
            ceil(t->changed->supply_mw[i] / 1e3 - 1e-9), t->work->board->supply_mw[i] / 1e3);
    }
    free(at);
    t->change.kind = "supply";
}

/// Whether some supply has the watts left for one more output of so many.
static bool has_watts(const trying* t, double load_mw) {
    const tl_board* board = t->work->board;
    size_t* at = find_places(t);
    bool has = false;
    for (size_t i = 0; i < board->supply_count; ++i)
        has = has || isinf(board->supply_mw[i]) ||
              tl_board_supply_mw(board, at, i) + load_mw <=
                  board->supply_mw[i] * (1 - board->headroom) + 1e-6;
    free(at);
    return has;
}

/// "One more isolated output of 9 V centre-negative and at least 320 mA, for 'reverb'".
static char* output_words(trying* t, double load_ma) {
    const tl_power_pedal* one = &t->work->plan->pedals[t->change.pedals[0]];
    bool another = !has_watts(t, load_ma * one->volts_v);
    tl_text text = {0};
    char* names = tl_power_names(t->work->plan, t->change.pedals, t->change.pedal_count);
    tl_text_addf(&text, "One more isolated output%s of %.6g V %s and at least %.6g mA",
                 another ? ", of another supply," : "", one->volts_v, one->polarity,
                 1e3 * t->change.buy_a);
    t->change.peak_a = tl_power_add_start(&text, t->work, t->change.pedals, t->change.pedal_count,
                                          1e3 * t->change.buy_a);
    tl_text_addf(&text, ", for %s.", names);
    free(names);
    return tl_text_take(&text);
}

static void take_output(trying* t) {
    const tl_board* board = t->work->board;
    double load_ma = 0;
    for (size_t i = 0; i < board->pedal_count; ++i)
        if (value_of(t, t->model->fresh[i]) > 0.5) {
            add_pedal(t, i);
            load_ma += board->pedals[i].current_ma;
            t->changed->pedals[i].given = board->output_count; // it moves there
        }
    const tl_board_pedal* one = &board->pedals[t->change.pedals[0]];
    double limit_ma = ceil(load_ma / (1 - board->headroom) * 1e3 - 1e-4) / 1e3;
    t->changed->outputs[t->changed->output_count++] =
        (tl_board_output){.limit_ma = limit_ma,
                          .peak_ma = limit_ma,
                          .volts_v = {one->volts_v},
                          .volt_count = 1,
                          .polarity = one->polarity,
                          .isolated = true,
                          .group = t->changed->group_count++,
                          .supply = t->changed->supply_count};
    t->changed->supply_mw[t->changed->supply_count++] = INFINITY;
    t->change.volts_v = one->volts_v;
    t->change.current_a = limit_ma / 1e3;
    t->change.buy_a = tl_power_buy_ma(limit_ma) / 1e3;
    t->change.kind = "output";
    t->change.words = output_words(t, load_ma);
}

static void take_hum(trying* t) {
    const tl_board* board = t->work->board;
    bool* named = tl_new(board->pedal_count, sizeof *named);
    for (size_t i = 0; i < board->pedal_count; ++i)
        for (size_t j = i + 1; j < board->pedal_count; ++j)
            if (value_of(t, t->model->pairs[i * board->pedal_count + j]) > 0.5)
                named[i] = named[j] = true;
    for (size_t i = 0; i < board->pedal_count; ++i)
        if (named[i])
            add_pedal(t, i);
    free(named);
    t->changed->hum_allowed = true;
    char* names = tl_power_names(t->work->plan, t->change.pedals, t->change.pedal_count);
    t->change.kind = "share";
    t->change.words =
        tl_printf("Let %s share a return, digital beside high-gain, and listen for whine.", names);
    free(names);
}

static void take_leave(trying* t) {
    for (size_t i = 0; i < t->work->board->pedal_count; ++i)
        if (value_of(t, t->model->left[i]) > 0.5) {
            add_pedal(t, i);
            t->changed->pedals[i].out = true;
        }
    char* names = tl_power_names(t->work->plan, t->change.pedals, t->change.pedal_count);
    t->change.kind = "leave";
    t->change.words = tl_printf("Leave %s out.", names);
    free(names);
}

static void take(trying* t, tl_bend bend) {
    static void (*const takers[TL_BENDS])(trying*) = {
        [TL_BEND_HEADROOM] = take_headroom, [TL_BEND_ADAPTER] = take_adapter,
        [TL_BEND_MOVE] = take_moves,        [TL_BEND_CURRENT] = take_current,
        [TL_BEND_SUPPLY] = take_power,      [TL_BEND_OUTPUT] = take_output,
        [TL_BEND_HUM] = take_hum,           [TL_BEND_LEAVE] = take_leave};
    t->change = tl_power_no_change();
    takers[bend](t);
}

/// Where the moved pedals go in the end.
static void add_destinations(trying* t, const size_t* at) {
    if (strcmp(t->change.kind, "move") != 0)
        return;
    tl_text text = {0};
    for (size_t i = 0; i < t->change.pedal_count; ++i) {
        size_t pedal = t->change.pedals[i];
        tl_text_addf(&text, "%s'%s' to %s",
                     i ? ", " : "Plug in elsewhere: ", t->work->plan->pedals[pedal].name,
                     t->work->plan->outputs[at[pedal]].name);
    }
    tl_text_add(&text, ".");
    free(t->change.words);
    t->change.words = tl_text_take(&text);
}

/// Solves the changed board; a change that does not do is our own mistake.
static tl_status verify(trying* t, tl_error* error) {
    size_t* at = tl_new(t->changed->pedal_count, sizeof *at);
    bool feasible = false;
    tl_status status = tl_board_assign(t->changed, at, &feasible, NULL, error);
    if (status == TL_OK && !feasible)
        status = tl_error_set(error, TL_FAILURE, "a change that should do does not: %s",
                              t->change.words);
    if (status == TL_OK)
        add_destinations(t, at);
    free(at);
    return status;
}

/// The smallest change of one kind, if any does.
static tl_status try_bend(tl_power_work* w, tl_bend bend, tl_error* error) {
    trying t = {.work = w, .model = tl_board_model_new(w->board, bend)};
    bool feasible = false;
    set_cost(t.model, bend);
    tl_status status = tl_milp_solve(t.model->milp, &feasible, error);
    if (status == TL_OK && feasible) {
        double total = tl_milp_total(t.model->milp);
        tl_milp_keep_cost(t.model->milp, total + 1e-7 * fabs(total) + 1e-7);
        tl_milp_no_cost(t.model->milp);
        set_second_cost(t.model, bend);
        bool proven = false; // what was found already stays good
        status = bend == TL_BEND_CURRENT || bend == TL_BEND_OUTPUT
                     ? tl_milp_improve(t.model->milp, MOST_NODES, &proven, error)
                     : tl_milp_solve(t.model->milp, &feasible, error);
    }
    if (status == TL_OK && feasible) {
        t.changed = tl_board_copy(w->board);
        take(&t, bend);
        status = verify(&t, error);
        if (status == TL_OK)
            tl_power_keep_change(w->plan, &t.change);
        else
            free(t.change.words), free(t.change.pedals);
    }
    tl_board_free(t.changed);
    tl_board_model_free(t.model);
    return status;
}

static bool has_given(const tl_board* board) {
    for (size_t i = 0; i < board->pedal_count; ++i)
        if (board->pedals[i].given != TL_NOWHERE)
            return true;
    return false;
}

tl_status tl_power_changes(tl_power_work* w, tl_error* error) {
    tl_status status = tl_power_conflict(w, error);
    for (int bend = TL_BEND_NOTHING + 1; status == TL_OK && bend < TL_BENDS; ++bend) {
        bool skipped = (bend == TL_BEND_MOVE && !has_given(w->board)) ||
                       (bend == TL_BEND_HEADROOM && w->board->headroom == 0);
        if (!skipped)
            status = try_bend(w, (tl_bend)bend, error);
    }
    if (status == TL_OK)
        status = tl_power_feed_rest(w, error);
    return status;
}

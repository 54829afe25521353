// SPDX-License-Identifier: GPL-3.0-or-later
// A board as numbers, and whether an assignment keeps its rules. No optimisation here: what the
// solver finds is held against this.
#include "study/power_board.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Whole microamperes, in mA.
static double round_ma(double amperes) {
    return floor(amperes * 1e6 + 0.5) / 1e3;
}

static bool chosen(const tl_part* part, const char* field) {
    return tl_part_chosen(part, field, "yes");
}

static tl_board_output make_output(const tl_output_plug* plug, size_t supply, size_t group) {
    const tl_part* part = plug->part;
    tl_board_output made = {.supply = supply, .group = group, .volt_count = plug->volt_count};
    made.limit_ma = round_ma(tl_part_number(part, "current", 0));
    made.peak_ma = round_ma(tl_part_number(part, "peak", tl_part_number(part, "current", 0)));
    memcpy(made.volts_v, plug->volts_v, sizeof made.volts_v);
    made.polarity = (int)tl_part_number(part, "polarity", 0); // centre-negative unless said
    made.isolated = !tl_part_chosen(part, "isolated", "no");
    return made;
}

static tl_board_pedal make_pedal(const tl_consumer* consumer, size_t given) {
    const tl_part* part = consumer->part;
    double current_a = tl_part_number(part, "current", 0);
    return (tl_board_pedal){.volts_v = tl_part_number(part, "voltage", 0),
                            .current_ma = round_ma(current_a),
                            .inrush_ma = round_ma(tl_part_number(part, "inrush", current_a)),
                            .polarity = (int)tl_part_number(part, "polarity", 0),
                            .digital = chosen(part, "digital"),
                            .high_gain = chosen(part, "high_gain"),
                            .positive_ground = chosen(part, "positive_ground"),
                            .given = given};
}

/// Outputs in the file's order; the returns are numbered as they come.
static void add_outputs(tl_board* board, const tl_power* power) {
    for (size_t i = 0; i < power->supply_count; ++i) {
        size_t common = TL_NOWHERE;
        for (size_t j = 0; j < power->supplies[i].output_count; ++j) {
            tl_board_output made = make_output(&power->supplies[i].outputs[j], i, common);
            if (made.isolated || common == TL_NOWHERE)
                made.group = board->group_count++;
            if (!made.isolated)
                common = made.group;
            board->outputs[board->output_count++] = made;
        }
    }
}

/// The number of the first output of a supply.
static size_t first_output(const tl_power* power, size_t supply) {
    size_t count = 0;
    for (size_t i = 0; i < supply; ++i)
        count += power->supplies[i].output_count;
    return count;
}

tl_board* tl_board_new(const tl_power* power) {
    tl_board* board = tl_new(1, sizeof *board);
    board->supply_count = power->supply_count;
    board->outputs = tl_new(first_output(power, power->supply_count), sizeof *board->outputs);
    board->pedals = tl_new(power->consumer_count, sizeof *board->pedals);
    board->supply_mw = tl_new(power->supply_count, sizeof *board->supply_mw);
    board->headroom = tl_part_number(power->settings, "headroom", TL_POWER_HEADROOM);
    add_outputs(board, power);
    for (size_t i = 0; i < power->supply_count; ++i)
        board->supply_mw[i] = 1e3 * tl_part_number(power->supplies[i].part, "power", INFINITY);
    for (size_t i = 0; i < power->consumer_count; ++i) {
        const tl_consumer* consumer = &power->consumers[i];
        size_t given =
            consumer->given ? first_output(power, consumer->supply) + consumer->output : TL_NOWHERE;
        board->pedals[board->pedal_count++] = make_pedal(consumer, given);
    }
    return board;
}

/// A copy of `count` things with room for one more.
static void* copy_of(const void* from, size_t count, size_t size) {
    void* made = tl_new(count + 1, size);
    if (count)
        memcpy(made, from, count * size);
    return made;
}

tl_board* tl_board_copy(const tl_board* board) {
    tl_board* copy = tl_new(1, sizeof *copy);
    *copy = *board;
    copy->outputs = copy_of(board->outputs, board->output_count, sizeof *board->outputs);
    copy->pedals = copy_of(board->pedals, board->pedal_count, sizeof *board->pedals);
    copy->supply_mw = copy_of(board->supply_mw, board->supply_count, sizeof *board->supply_mw);
    return copy;
}

void tl_board_free(tl_board* board) {
    if (!board)
        return;
    free(board->outputs);
    free(board->pedals);
    free(board->supply_mw);
    free(board);
}

/// Volts are the same when no meter on a bench would tell them apart.
static bool same_volts(double a_v, double b_v) {
    return fabs(a_v - b_v) < 5e-3;
}

static bool has_volts(const tl_board_output* output, double volts_v) {
    for (size_t i = 0; i < output->volt_count; ++i)
        if (same_volts(output->volts_v[i], volts_v))
            return true;
    return false;
}

bool tl_board_fits(const tl_board* board, size_t pedal, size_t output) {
    const tl_board_pedal* one = &board->pedals[pedal];
    const tl_board_output* other = &board->outputs[output];
    if (!has_volts(other, one->volts_v))
        return false;
    const int ac = 2;
    if (one->adapted)
        return other->isolated && one->polarity != other->polarity && one->polarity != ac &&
               other->polarity != ac;
    return one->polarity == other->polarity;
}

tl_apart tl_board_apart(const tl_board* board, size_t one, size_t other) {
    const tl_board_pedal* a = &board->pedals[one];
    const tl_board_pedal* b = &board->pedals[other];
    if (a->excused && b->excused)
        return TL_APART_NOT;
    if (a->positive_ground != b->positive_ground || a->adapted || b->adapted)
        return TL_APART_GROUND;
    bool hums = (a->digital && b->high_gain) || (b->digital && a->high_gain);
    return hums && !board->hum_allowed ? TL_APART_HUM : TL_APART_NOT;
}

static size_t group_of(const tl_board* board, const size_t* at, size_t pedal) {
    return at[pedal] == TL_NOWHERE ? TL_NOWHERE : board->outputs[at[pedal]].group;
}

size_t tl_board_sharing(const tl_board* board, const size_t* at) {
    size_t sharing = 0;
    for (size_t group = 0; group < board->group_count; ++group) {
        size_t count = 0;
        for (size_t i = 0; i < board->pedal_count; ++i)
            count += group_of(board, at, i) == group;
        sharing += count > 1 ? count - 1 : 0;
    }
    return sharing;
}

double tl_board_load_ma(const tl_board* board, const size_t* at, size_t output) {
    double load_ma = 0;
    for (size_t i = 0; i < board->pedal_count; ++i)
        load_ma += at[i] == output ? board->pedals[i].current_ma : 0;
    return load_ma;
}

double tl_board_surge_ma(const tl_board* board, const size_t* at, size_t output, size_t* who) {
    double load_ma = tl_board_load_ma(board, at, output);
    double extra_ma = 0;
    *who = TL_NOWHERE;
    for (size_t i = 0; i < board->pedal_count; ++i) {
        double more_ma = board->pedals[i].inrush_ma - board->pedals[i].current_ma;
        if (at[i] != output || more_ma <= extra_ma)
            continue;
        extra_ma = more_ma;
        *who = i;
    }
    return load_ma + extra_ma;
}

size_t tl_board_surges(const tl_board* board, const size_t* at) {
    size_t surges = 0;
    for (size_t i = 0; i < board->output_count; ++i) {
        size_t who = 0;
        surges += tl_board_surge_ma(board, at, i, &who) > board->outputs[i].peak_ma + 1e-4 &&
                  who != TL_NOWHERE;
    }
    return surges;
}

double tl_board_supply_mw(const tl_board* board, const size_t* at, size_t supply) {
    double mw = 0;
    for (size_t i = 0; i < board->pedal_count; ++i)
        if (at[i] != TL_NOWHERE && board->outputs[at[i]].supply == supply)
            mw += board->pedals[i].volts_v * board->pedals[i].current_ma;
    return mw;
}

static bool pedal_holds(const tl_board* board, const size_t* at, size_t pedal) {
    if (at[pedal] == TL_NOWHERE)
        return board->pedals[pedal].out;
    if (!tl_board_fits(board, pedal, at[pedal]))
        return false;
    for (size_t i = 0; i < pedal; ++i) {
        if (at[i] == TL_NOWHERE)
            continue;
        bool same_output = at[i] == at[pedal];
        if (same_output && !same_volts(board->pedals[i].volts_v, board->pedals[pedal].volts_v))
            return false;
        if (group_of(board, at, i) == group_of(board, at, pedal) &&
            tl_board_apart(board, i, pedal) != TL_APART_NOT)
            return false;
    }
    return true;
}

bool tl_board_holds(const tl_board* board, const size_t* at) {
    const double slack_ma = 1e-4; // a tenth of what currents are rounded to
    double share = 1 - board->headroom;
    for (size_t i = 0; i < board->pedal_count; ++i)
        if (!pedal_holds(board, at, i))
            return false;
    for (size_t i = 0; i < board->output_count; ++i)
        if (tl_board_load_ma(board, at, i) > share * board->outputs[i].limit_ma + slack_ma)
            return false;
    for (size_t i = 0; i < board->supply_count; ++i)
        if (tl_board_supply_mw(board, at, i) > share * board->supply_mw[i] * (1 + 1e-7))
            return false;
    return true;
}

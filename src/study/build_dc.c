// SPDX-License-Identifier: GPL-3.0-or-later
// The DC leads of a board: who hangs on which output, and where both are.
#include "base/text.h"
#include "study/build.h"
#include "study/power_board.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Who is plugged in where: as all of them say, or by the exact assignment.
static tl_status find_outputs(const tl_board* board, size_t* at, bool* feasible, tl_error* error) {
    *feasible = true;
    for (size_t i = 0; i < board->pedal_count; ++i) {
        at[i] = board->pedals[i].given;
        *feasible = *feasible && at[i] != TL_NOWHERE;
    }
    return *feasible ? TL_OK : tl_board_assign(board, at, feasible, NULL, error);
}

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

static tl_status add_lead(tl_build_work* w, const tl_board* board, size_t who, size_t output,
                          tl_error* error) {
    const tl_power* power = w->rig->power;
    const tl_consumer* consumer = &power->consumers[who];
    size_t number = board->outputs[output].supply;
    const tl_supply* supply = &power->supplies[number];
    size_t within = output;
    for (size_t i = 0; i < number; ++i)
        within -= power->supplies[i].output_count;
    w->consumers[w->layout.count - w->first_dc] = who;
    char* from = tl_printf("%s/%s", supply->name, supply->outputs[within].name);
    char* to = tl_printf("%s power", consumer->name);
    tl_layout_feed feed = {.supply = find_supply(w->board, number),
                           .output = within,
                           .output_count = supply->output_count,
                           .from_name = from,
                           .pedal = find_consumer(w, consumer),
                           .to_name = to,
                           .wire = consumer->lead.wire ? consumer->lead.wire : power->lead.wire};
    tl_status status = tl_layout_add_dc(&w->layout, &feed, error);
    free(from);
    free(to);
    return status;
}

tl_status tl_build_add_dc(tl_build_work* w, tl_error* error) {
    const tl_power* power = w->rig->power;
    w->first_dc = w->layout.count;
    if (!power) {
        w->build->no_dc = tl_copy("this rig says nothing of 'power'");
        return TL_OK;
    }
    tl_board* board = tl_board_new(power);
    size_t* at = tl_new(board->pedal_count, sizeof *at);
    w->consumers = tl_new(board->pedal_count, sizeof *w->consumers);
    bool feasible = false;
    tl_status status = find_outputs(board, at, &feasible, error);
    if (status == TL_OK && !feasible)
        w->build->no_dc = tl_copy("no assignment of the pedals to the outputs keeps all rules; "
                                  "toneload power says what stands in the way");
    for (size_t i = 0; status == TL_OK && feasible && i < board->pedal_count; ++i)
        status = add_lead(w, board, i, at[i], error);
    tl_board_free(board);
    free(at);
    if (status == TL_OK)
        tl_layout_route(&w->layout, w->first_dc);
    return status;
}

size_t tl_build_consumer(const tl_build_work* w, size_t lead) {
    return w->consumers[lead - w->first_dc];
}

double tl_build_stated_dc(const tl_build_work* w, size_t lead) {
    const tl_power* power = w->rig->power;
    const tl_consumer* consumer = &power->consumers[tl_build_consumer(w, lead)];
    const tl_part* wire = consumer->lead.wire ? consumer->lead.wire : power->lead.wire;
    return wire ? tl_part_number(wire, "length", NAN) : NAN;
}

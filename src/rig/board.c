// SPDX-License-Identifier: GPL-3.0-or-later
// From a YAML tree to a board and what stands on it.
#include "rig/board.h"

#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "rig/path.h"
#include "rig/read.h"
#include "rig/rig.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_PLACED = 80 };

/// What no ruler tells apart.
static const double ruler_m = 0.05e-3;

/// What reading one `board` carries along.
typedef struct {
    tl_rig* rig;
    tl_pedalboard* board;
    tl_error* error;
} reading;

static const char* const jack_words[TL_JACKS] = {"in",    "out",  "send", "return",
                                                 "tuner", "out2", "power"};

const char* tl_jack_word(tl_jack_use use) {
    return jack_words[use];
}

const char* tl_side_word(tl_side side) {
    static const char* const words[] = {"left", "right", "front", "back"};
    return words[side];
}

void tl_pedalboard_free(tl_pedalboard* board) {
    if (!board)
        return;
    for (size_t i = 0; i < board->count; ++i) {
        tl_placed* placed = &board->placed[i];
        free(placed->name);
        tl_part_free(placed->part);
        tl_part_free(placed->fastener);
        tl_part_free(placed->outputs);
        tl_part_free(placed->plug);
        for (size_t j = 0; j < TL_JACKS; ++j) {
            tl_part_free(placed->jacks[j].part);
            tl_part_free(placed->jacks[j].plug);
        }
    }
    free(board->placed);
    tl_part_free(board->part);
    tl_part_free(board->fastener);
    tl_part_free(board->plug);
    tl_part_free(board->dc_plug);
    tl_part_free(board->far_plug);
    free(board);
}

/// A plug under a key, when it stands there: audio goes by 6.3 mm plugs, and nothing else does.
static tl_status read_plug(const reading* r, const tl_yaml* map, const char* key, bool audio,
                           tl_part** plug) {
    const tl_yaml* node = tl_yaml_get(map, key);
    if (!node)
        return TL_OK;
    tl_status status =
        tl_part_read_apart(r->rig->library, &tl_kind_plug, node, NULL, plug, r->error);
    if (status == TL_OK && tl_part_chosen(*plug, "fits", "jack-6.3") != audio)
        return tl_error_at(r->error, &node->place, "a plug for a %s does not go into %s",
                           tl_part_choice(*plug, "fits"), audio ? "a jack-6.3" : "a socket for DC");
    return status;
}

static tl_status read_fastener(const reading* r, const tl_yaml* map, tl_part** fastener) {
    const tl_yaml* node = tl_yaml_get(map, "fastener");
    return node ? tl_part_read_apart(r->rig->library, &tl_kind_fastener, node, NULL, fastener,
                                     r->error)
                : TL_OK;
}

/// How long a side is, in the frame of what is not turned.
static double side_m(const tl_part* place, const tl_part* jack) {
    size_t side = (size_t)tl_part_number(jack, "side", 0);
    return tl_part_number(place, side == TL_SIDE_LEFT || side == TL_SIDE_RIGHT ? "depth" : "width",
                          0);
}

/// A jack lies on its side, and a bent plug cannot look back into its own pedal.
static tl_status check_jack(const reading* r, const tl_part* place, const tl_part* jack) {
    double at_m = tl_part_number(jack, "at", 0);
    double long_m = side_m(place, jack);
    if (at_m > long_m + ruler_m)
        return tl_error_at(r->error, &tl_part_value(jack, "at")->place,
                           "%.6g mm along its %s side, which is %.6g mm long", 1e3 * at_m,
                           tl_part_choice(jack, "side"), 1e3 * long_m);
    const tl_value* towards = tl_part_value(jack, "towards");
    size_t side = (size_t)tl_part_number(jack, "side", 0);
    if (towards->given && ((size_t)towards->number ^ 1U) == side)
        return tl_error_at(r->error, &towards->place,
                           "a jack on the %s side cannot let its lead go to the %s: that is "
                           "through its own pedal",
                           tl_part_choice(jack, "side"), tl_part_choice(jack, "towards"));
    return TL_OK;
}

static tl_status read_jacks(const reading* r, const tl_yaml* node, tl_placed* placed,
                            const tl_part* place) {
    static const char* const others[] = {"plug", NULL};
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < TL_JACKS; ++i) {
        const tl_yaml* map = tl_yaml_get(node, jack_words[i]);
        tl_jack* jack = &placed->jacks[i];
        if (!map)
            continue;
        jack->place = map->place;
        status = tl_yaml_expect(map, TL_YAML_MAP, "a jack", r->error);
        if (status == TL_OK)
            status = tl_part_read_apart(r->rig->library, &tl_kind_jack, map, others, &jack->part,
                                        r->error);
        if (status == TL_OK)
            status = read_plug(r, map, "plug", i != TL_JACK_POWER, &jack->plug);
        if (status == TL_OK)
            status = check_jack(r, place, jack->part);
    }
    return status;
}

bool tl_chain_order(const tl_chain* chain, const tl_part* part, size_t* order) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        if (item->part == part)
            return true;
        ++*order;
        if (tl_chain_order(&item->loop, part, order))
            return true;
        for (size_t j = 0; j < item->branch_count; ++j)
            if (tl_chain_order(&item->branches[j].chain, part, order))
                return true;
    }
    return false;
}

static bool may_stand(const tl_part* part) {
    return part->kind == &tl_kind_pedal || part->kind == &tl_kind_buffer ||
           part->kind == &tl_kind_pot || part->kind == &tl_kind_loop;
}

static tl_status find_pedal(const reading* r, const tl_yaml* node, tl_placed* placed) {
    tl_part* part = NULL;
    size_t order = 0;
    if (tl_rig_find_part(r->rig, node->text, &node->place, &part, NULL) != TL_OK ||
        !may_stand(part) || !tl_chain_order(&r->rig->main.chain, part, &order))
        return tl_rig_no_such_item(r->rig, node, may_stand, "pedal, buffer, pot or loop", r->error);
    placed->order = order;
    placed->name = tl_copy(node->text);
    return TL_OK;
}

static tl_status find_supply(const reading* r, const tl_yaml* node, tl_placed* placed) {
    const tl_power* power = r->rig->power;
    const char* names[64] = {NULL};
    size_t count = 0;
    for (size_t i = 0; power && i < power->supply_count; ++i) {
        if (strcmp(power->supplies[i].name, node->text) == 0) {
            placed->supply = i;
            placed->name = tl_copy(node->text);
            return TL_OK;
        }
        if (count < 64)
            names[count++] = power->supplies[i].name;
    }
    tl_text hint = {0};
    tl_name_hint(&hint, node->text, names, count);
    tl_status status =
        tl_error_at(r->error, &node->place, "no supply of 'power' is named '%s'%s", node->text,
                    count ? tl_text_get(&hint) : "; this rig has no 'power'");
    tl_text_free(&hint);
    return status;
}

/// Who stands there: `pedal` names one of the chain, `supply` one of `power`, `device` anything.
static tl_status read_who(const reading* r, const tl_yaml* node, bool supply, tl_placed* placed) {
    const tl_yaml* pedal = supply ? NULL : tl_yaml_get(node, "pedal");
    const tl_yaml* device = supply ? NULL : tl_yaml_get(node, "device");
    const tl_yaml* feeds = supply ? tl_yaml_get(node, "supply") : NULL;
    if (supply && !feeds)
        return tl_error_at(r->error, &node->place, "expected 'supply', which names one of 'power'");
    if (!supply && !pedal == !device)
        return tl_error_at(r->error, pedal ? &device->place : &node->place,
                           "expected 'pedal', which names one of the chain, or 'device'");
    const tl_yaml* who = supply ? feeds : pedal ? pedal : device;
    placed->kind = supply ? "supply" : pedal ? "pedal" : "device";
    tl_status status = tl_yaml_expect(who, TL_YAML_SCALAR, "a name", r->error);
    if (status == TL_OK)
        status = supply  ? find_supply(r, who, placed)
                 : pedal ? find_pedal(r, who, placed)
                         : tl_yaml_name(who, &placed->name, r->error);
    for (const tl_placed* other = r->board->placed; status == TL_OK && other != placed; ++other)
        if (strcmp(other->name, placed->name) == 0 ||
            (placed->order != TL_BUILD_NONE && other->order == placed->order))
            status =
                tl_error_at(r->error, &who->place, "'%s' stands twice on the board", placed->name);
    return status;
}

/// `within: dirt`: its jacks are in that one's box.
static tl_status read_within(const reading* r, const tl_yaml* node, tl_placed* placed) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a name", r->error);
    const char* names[MOST_PLACED] = {NULL};
    size_t count = 0;
    for (const tl_placed* other = r->board->placed; status == TL_OK && other != placed; ++other) {
        if (!other->part)
            continue;
        if (strcmp(other->name, node->text) == 0) {
            placed->within = (size_t)(other - r->board->placed);
            return TL_OK;
        }
        names[count++] = other->name;
    }
    if (status != TL_OK)
        return status;
    tl_text hint = {0};
    tl_name_hint(&hint, node->text, names, count);
    status =
        tl_error_at(r->error, &node->place, "nothing named '%s' stands on the board before this%s",
                    node->text, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

/// Two that touch do not overlap yet.
static double shared_m(double from_m, double size_m, double other_from_m, double other_size_m) {
    return fmin(from_m + size_m, other_from_m + other_size_m) - fmax(from_m, other_from_m);
}

static tl_status check_overlap(const reading* r, const tl_placed* placed) {
    for (const tl_placed* other = r->board->placed; other != placed; ++other) {
        if (!other->part || other->under != placed->under)
            continue;
        double x_m = shared_m(placed->left_m, placed->width_m, other->left_m, other->width_m);
        double y_m = shared_m(placed->front_m, placed->depth_m, other->front_m, other->depth_m);
        if (x_m > ruler_m && y_m > ruler_m)
            return tl_error_at(r->error, &tl_part_value(placed->part, "left")->place,
                               "'%s' and '%s' overlap, by %.4g mm across and %.4g mm in depth: "
                               "move one by the smaller of the two at least",
                               placed->name, other->name, 1e3 * x_m, 1e3 * y_m);
    }
    return TL_OK;
}

static tl_status check_stand(const reading* r, const tl_placed* placed) {
    double right_m = placed->left_m + placed->width_m - tl_part_number(r->board->part, "width", 0);
    double back_m = placed->front_m + placed->depth_m - tl_part_number(r->board->part, "depth", 0);
    if (right_m > ruler_m)
        return tl_error_at(r->error, &tl_part_value(placed->part, "left")->place,
                           "'%s' stands %.4g mm over the board's right edge", placed->name,
                           1e3 * right_m);
    if (back_m > ruler_m)
        return tl_error_at(r->error, &tl_part_value(placed->part, "front")->place,
                           "'%s' stands %.4g mm over the board's back edge", placed->name,
                           1e3 * back_m);
    return check_overlap(r, placed);
}

/// Reads its place, and how it stands once it is turned.
static tl_status read_stand(const reading* r, const tl_yaml* node, const char* const* others,
                            tl_placed* placed) {
    tl_status status =
        tl_part_read_apart(r->rig->library, &tl_kind_place, node, others, &placed->part, r->error);
    if (status != TL_OK)
        return status;
    const tl_part* part = placed->part;
    double width_m = tl_part_number(part, "width", 0);
    double depth_m = tl_part_number(part, "depth", 0);
    placed->quarters = (unsigned)(tl_part_number(part, "turn", 0) / 90 + 0.5);
    placed->left_m = tl_part_number(part, "left", 0);
    placed->front_m = tl_part_number(part, "front", 0);
    placed->width_m = placed->quarters & 1U ? depth_m : width_m;
    placed->depth_m = placed->quarters & 1U ? width_m : depth_m;
    placed->under = tl_part_chosen(part, "under", "yes");
    return check_stand(r, placed);
}

/// A pedal has what goes in and comes out; a loop what goes round.
static tl_status check_jacks_there(const reading* r, const tl_placed* placed) {
    for (size_t i = TL_JACK_IN; i <= TL_JACK_OUT; ++i)
        if (strcmp(placed->kind, "pedal") == 0 && placed->within == TL_BUILD_NONE &&
            !placed->jacks[i].part)
            return tl_error_at(r->error, &placed->place,
                               "'%s' needs its jack '%s', as %s: {side: right, at: 30 mm}",
                               placed->name, jack_words[i], jack_words[i]);
    return TL_OK;
}

static tl_status read_pedal(const reading* r, const tl_yaml* node) {
    static const char* const others[] = {"pedal", "device", "within", "fastener", "in",    "out",
                                         "send",  "return", "tuner",  "out2",     "power", NULL};
    tl_placed* placed = &r->board->placed[r->board->count++];
    *placed = (tl_placed){.order = TL_BUILD_NONE,
                          .supply = TL_BUILD_NONE,
                          .within = TL_BUILD_NONE,
                          .place = node->place};
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "one of the pedals", r->error);
    if (status == TL_OK)
        status = read_who(r, node, false, placed);
    const tl_yaml* within = status == TL_OK ? tl_yaml_get(node, "within") : NULL;
    if (within)
        status = read_within(r, within, placed);
    for (size_t i = 0; status == TL_OK && within && i < node->count; ++i)
        if (tl_part_field(&tl_kind_place, node->keys[i]->text) >= 0)
            status = tl_error_at(r->error, &node->keys[i]->place,
                                 "'%s' goes with a box of its own: this one is within '%s'",
                                 node->keys[i]->text, within->text);
    if (status == TL_OK && !within)
        status = read_stand(r, node, others, placed);
    if (status == TL_OK)
        status = read_fastener(r, node, &placed->fastener);
    const tl_part* place =
        within && status == TL_OK ? r->board->placed[placed->within].part : placed->part;
    if (status == TL_OK)
        status = read_jacks(r, node, placed, place);
    return status == TL_OK ? check_jacks_there(r, placed) : status;
}

/// The row of outputs lies on its side.
static tl_status check_outputs(const reading* r, const tl_placed* placed) {
    const tl_part* outputs = placed->outputs;
    size_t count = r->rig->power->supplies[placed->supply].output_count;
    bool first = tl_part_has(outputs, "first");
    if (first != tl_part_has(outputs, "step") && count > 1)
        return tl_error_at(r->error, &outputs->place,
                           "'first' and 'step' go together: the first output, and from each to the "
                           "next");
    double long_m = side_m(placed->part, outputs);
    double last_m = tl_part_number(outputs, "first", 0) +
                    (double)(count - 1) * tl_part_number(outputs, "step", 0);
    if (first && last_m > long_m + ruler_m)
        return tl_error_at(r->error, &tl_part_value(outputs, "first")->place,
                           "the last of %zu outputs would be %.6g mm along its %s side, which is "
                           "%.6g mm long",
                           count, 1e3 * last_m, tl_part_choice(outputs, "side"), 1e3 * long_m);
    return TL_OK;
}

static tl_status read_supply(const reading* r, const tl_yaml* node) {
    static const char* const others[] = {"supply", "fastener", "outputs", "plug", NULL};
    tl_placed* placed = &r->board->placed[r->board->count++];
    *placed = (tl_placed){.order = TL_BUILD_NONE,
                          .supply = TL_BUILD_NONE,
                          .within = TL_BUILD_NONE,
                          .place = node->place};
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "one of the supplies", r->error);
    if (status == TL_OK)
        status = read_who(r, node, true, placed);
    if (status == TL_OK)
        status = read_stand(r, node, others, placed);
    if (status == TL_OK)
        status = read_fastener(r, node, &placed->fastener);
    if (status == TL_OK)
        status = read_plug(r, node, "plug", false, &placed->plug);
    const tl_yaml* outputs = status == TL_OK ? tl_yaml_get(node, "outputs") : NULL;
    if (outputs)
        status = tl_part_read_apart(r->rig->library, &tl_kind_outputs, outputs, NULL,
                                    &placed->outputs, r->error);
    return status == TL_OK && outputs ? check_outputs(r, placed) : status;
}

static tl_status read_list(const reading* r, const tl_yaml* board, const char* key,
                           tl_status (*read)(const reading* r, const tl_yaml* node)) {
    const tl_yaml* list = tl_yaml_get(board, key);
    if (!list)
        return TL_OK;
    tl_status status = tl_yaml_expect(list, TL_YAML_LIST, key, r->error);
    if (status == TL_OK && r->board->count + list->count > MOST_PLACED)
        return tl_error_at(r->error, &list->place, "more than %d things on a board", MOST_PLACED);
    for (size_t i = 0; status == TL_OK && i < list->count; ++i)
        status = read(r, list->items[i]);
    return status;
}

tl_status tl_pedalboard_read(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    static const char* const others[] = {"plug",   "dc_plug",  "far_plug", "fastener",
                                         "pedals", "supplies", NULL};
    rig->board = tl_new(1, sizeof *rig->board);
    tl_pedalboard* board = rig->board;
    reading r = {rig, board, error};
    board->place = node->place;
    board->placed = tl_new(MOST_PLACED, sizeof *board->placed);
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "'board'", error);
    if (status == TL_OK)
        status =
            tl_part_read_apart(r.rig->library, &tl_kind_board, node, others, &board->part, r.error);
    if (status == TL_OK)
        status = read_plug(&r, node, "plug", true, &board->plug);
    if (status == TL_OK)
        status = read_plug(&r, node, "far_plug", true, &board->far_plug);
    if (status == TL_OK)
        status = read_plug(&r, node, "dc_plug", false, &board->dc_plug);
    if (status == TL_OK)
        status = read_fastener(&r, node, &board->fastener);
    if (status == TL_OK && !tl_yaml_get(node, "pedals"))
        return tl_error_at(error, &node->place, "'board' needs 'pedals': what stands on it, where");
    if (status == TL_OK)
        status = read_list(&r, node, "pedals", read_pedal);
    return status == TL_OK ? read_list(&r, node, "supplies", read_supply) : status;
}

static void visit_one(void (*visit)(void*, tl_part*, const char*, const char*), void* context,
                      tl_part* part, const char* name, char* path) {
    if (part)
        visit(context, part, name, path);
    free(path);
}

void tl_pedalboard_each_part(tl_pedalboard* board,
                             void (*visit)(void* context, tl_part* part, const char* name,
                                           const char* path),
                             void* context) {
    visit_one(visit, context, board->part, NULL, tl_copy("board"));
    visit_one(visit, context, board->plug, NULL, tl_copy("board.plug"));
    visit_one(visit, context, board->far_plug, NULL, tl_copy("board.far_plug"));
    visit_one(visit, context, board->dc_plug, NULL, tl_copy("board.dc_plug"));
    visit_one(visit, context, board->fastener, NULL, tl_copy("board.fastener"));
    size_t pedals = 0;
    size_t supplies = 0;
    for (size_t i = 0; i < board->count; ++i) {
        tl_placed* placed = &board->placed[i];
        bool supply = placed->supply != TL_BUILD_NONE;
        char* path = supply ? tl_printf("board.supplies[%zu]", supplies++)
                            : tl_printf("board.pedals[%zu]", pedals++);
        visit_one(visit, context, placed->part, placed->name, tl_copy(path));
        visit_one(visit, context, placed->fastener, placed->name, tl_printf("%s.fastener", path));
        visit_one(visit, context, placed->plug, placed->name, tl_printf("%s.plug", path));
        visit_one(visit, context, placed->outputs, placed->name, tl_printf("%s.outputs", path));
        for (size_t j = 0; j < TL_JACKS; ++j) {
            visit_one(visit, context, placed->jacks[j].part, placed->name,
                      tl_printf("%s.%s", path, jack_words[j]));
            visit_one(visit, context, placed->jacks[j].plug, placed->name,
                      tl_printf("%s.%s.plug", path, jack_words[j]));
        }
        free(path);
    }
}

/// A side after quarter turns clockwise as seen from above: back goes to the right, that to the
/// front, that to the left, that to the back.
static tl_side turned_side(tl_side side, unsigned quarters) {
    static const tl_side next[] = {TL_SIDE_BACK, TL_SIDE_FRONT, TL_SIDE_LEFT, TL_SIDE_RIGHT};
    for (unsigned i = 0; i < quarters; ++i)
        side = next[side];
    return side;
}

/// A point of a box in its own frame, from its left front corner, as it lies on the board.
static tl_spot_m turned_spot(const tl_placed* box, double x_m, double y_m) {
    double width_m = tl_part_number(box->part, "width", 0);
    double depth_m = tl_part_number(box->part, "depth", 0);
    const tl_spot_m inside[] = {
        {x_m, y_m}, {y_m, width_m - x_m}, {width_m - x_m, depth_m - y_m}, {depth_m - y_m, x_m}};
    const tl_spot_m* spot = &inside[box->quarters & 3U];
    return (tl_spot_m){box->left_m + spot->x_m, box->front_m + spot->y_m};
}

static tl_jack_place place_jack(const tl_placed* box, const tl_part* jack, tl_side side,
                                double at_m) {
    double width_m = tl_part_number(box->part, "width", 0);
    double depth_m = tl_part_number(box->part, "depth", 0);
    double x_m = side == TL_SIDE_LEFT ? 0 : side == TL_SIDE_RIGHT ? width_m : at_m;
    double y_m = side == TL_SIDE_FRONT ? 0 : side == TL_SIDE_BACK ? depth_m : at_m;
    int towards = jack ? (int)tl_part_number(jack, "towards", -1) : -1;
    return (tl_jack_place){.spot = turned_spot(box, x_m, y_m),
                           .side = turned_side(side, box->quarters),
                           .towards =
                               towards < 0 ? -1 : (int)turned_side((tl_side)towards, box->quarters),
                           .height_m = jack ? tl_part_number(jack, "height", NAN) : NAN};
}

tl_jack_place tl_placed_jack(const tl_pedalboard* board, const tl_placed* placed, tl_jack_use use) {
    const tl_placed* box = placed->part ? placed : &board->placed[placed->within];
    const tl_part* jack = placed->jacks[use].part;
    return place_jack(box, jack, (tl_side)tl_part_number(jack, "side", 0),
                      tl_part_number(jack, "at", 0));
}

tl_jack_place tl_placed_output(const tl_placed* supply, size_t which, size_t count) {
    const tl_part* outputs = supply->outputs;
    tl_side side = outputs ? (tl_side)tl_part_number(outputs, "side", 0) : TL_SIDE_FRONT;
    bool across = side == TL_SIDE_LEFT || side == TL_SIDE_RIGHT;
    double long_m = tl_part_number(supply->part, across ? "depth" : "width", 0);
    double at_m = ((double)which + 0.5) * long_m / (double)count;
    if (outputs && tl_part_has(outputs, "first"))
        at_m = tl_part_number(outputs, "first", 0) +
               (double)which * tl_part_number(outputs, "step", 0);
    return place_jack(supply, outputs, side, at_m);
}

const tl_placed* tl_pedalboard_find(const tl_pedalboard* board, size_t order) {
    for (size_t i = 0; i < board->count; ++i)
        if (board->placed[i].order == order)
            return &board->placed[i];
    return NULL;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// From a chain to the leads it has, and from jacks and plugs to their ways and lengths.
#include "rig/layout.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

/// Which of the board's plugs an end takes when it says none of its own.
typedef enum { PLUG_PATCH, PLUG_FAR, PLUG_DC } plug_use;

/// Where the signal comes from, while the chain is walked.
typedef struct {
    const tl_placed* placed; ///< NULL: off the board
    tl_jack_use use;
    char* name;     ///< "drive out"
    tl_part* cable; ///< plugged into it already, its other end not known yet; or NULL
    char* path;     ///< of that cable
} source;

typedef struct {
    tl_layout* layout;
    size_t order; ///< of the next item
    tl_status status;
    tl_error* error;
} walk;

static const tl_part* own_plug(const tl_pedalboard* board, plug_use use) {
    return use == PLUG_PATCH ? board->plug : use == PLUG_FAR ? board->far_plug : board->dc_plug;
}

/// A plug: the jack's own, else the board's, else one of the library that is usual.
static const tl_part* find_plug(tl_layout* layout, const tl_part* own, plug_use use,
                                tl_status* status, tl_error* error) {
    static const char* const usual[] = {"right-angle", "straight", "barrel-right-angle"};
    const tl_part* plug = own ? own : own_plug(layout->board, use);
    if (!plug && !layout->defaults[use]) {
        tl_place nowhere = {0};
        *status = tl_library_part(layout->library, &tl_kind_plug, usual[use], &nowhere,
                                  &layout->defaults[use], error);
    }
    return plug ? plug : layout->defaults[use];
}

static size_t box_of(const tl_pedalboard* board, const tl_placed* placed) {
    return placed->part ? (size_t)(placed - board->placed) : placed->within;
}

static bool is_under(const tl_layout* layout, const tl_layout_end* end) {
    return end->placed && layout->board->placed[end->box].under;
}

/// The end of a lead at a jack, or off the board.
static void make_end(walk* w, const tl_placed* placed, tl_jack_use use, const char* name,
                     tl_layout_end* end) {
    tl_layout* layout = w->layout;
    bool there = placed && placed->jacks[use].part;
    *end = (tl_layout_end){
        .placed = there ? placed : NULL, .name = tl_copy(name), .box = TL_BUILD_NONE};
    const tl_part* own = there ? placed->jacks[use].plug : NULL;
    if (w->status == TL_OK)
        end->plug = find_plug(layout, own, there ? PLUG_PATCH : PLUG_FAR, &w->status, w->error);
    if (!there)
        return;
    end->box = box_of(layout->board, placed);
    end->jack = tl_placed_jack(layout->board, placed, use);
}

static tl_layout_lead* add_lead(tl_layout* layout) {
    layout->leads = tl_grow(layout->leads, layout->count + 1, sizeof *layout->leads);
    tl_layout_lead* lead = &layout->leads[layout->count++];
    *lead = (tl_layout_lead){.length_m = NAN, .bend_m = INFINITY};
    return lead;
}

/// What a lead's make says of its thickness and how it may be bent.
static void set_make(tl_layout_lead* lead, const tl_part* make, double usual_m) {
    lead->outer_assumed = !make || !tl_part_has(make, "outer");
    lead->bend_assumed = !make || !tl_part_has(make, "bend");
    lead->outer_m = lead->outer_assumed ? usual_m : tl_part_number(make, "outer", 0);
    lead->bend_least_m =
        lead->outer_m * (lead->bend_assumed ? TL_LAYOUT_BEND : tl_part_number(make, "bend", 0));
}

/// The cable that hangs on a source, if any, ends here.
static void end_cable(walk* w, source* s, const tl_placed* placed, tl_jack_use use,
                      const char* name) {
    if (!s->cable)
        return;
    tl_layout_lead* lead = add_lead(w->layout);
    lead->cable = s->cable;
    lead->path = s->path;
    make_end(w, s->placed, s->use, s->name, &lead->from);
    make_end(w, placed, use, name, &lead->to);
    lead->on_board = lead->from.placed && lead->to.placed;
    set_make(lead, s->cable, TL_LAYOUT_OUTER_M);
    s->cable = NULL;
    s->path = NULL;
}

/// The signal comes from another jack now. Takes over `name`.
static void set_source(source* s, const tl_placed* placed, tl_jack_use use, char* name) {
    free(s->name);
    *s = (source){.placed = placed, .use = use};
    s->name = name;
}

static char* jack_name(const char* who, tl_jack_use use) {
    return tl_printf("%s %s", who, tl_jack_word(use));
}

static void walk_chain(walk* w, const tl_chain* chain, const char* path, source* s);

/// A branch, from a jack of what stands before it to its amp or end.
static void walk_branch(walk* w, const tl_branch* branch, const char* path, source* s) {
    char* chain = *path ? tl_printf("%s.chain", path) : tl_copy("chain");
    walk_chain(w, &branch->chain, chain, s);
    bool named = branch->name && *path;
    char* end = !branch->amp ? tl_printf("%s end", named ? branch->name : "the chain's")
                : named      ? tl_printf("%s amp", branch->name)
                             : tl_copy("amp");
    end_cable(w, s, NULL, TL_JACK_IN, end);
    free(end);
    free(chain);
}

/// The branches of a split: from what fed it, the first by its `out`, the second by `out2`; behind
/// a cable they begin where that ends.
static void walk_split(walk* w, const tl_item* item, const char* path, source* s) {
    bool lead_before = s->cable != NULL;
    if (lead_before)
        end_cable(w, s, NULL, TL_JACK_IN, "the split");
    for (size_t i = 0; i < item->branch_count; ++i) {
        bool jack = !lead_before && i < 2 && s->placed && s->use == TL_JACK_OUT;
        tl_jack_use use = i == 0 ? TL_JACK_OUT : TL_JACK_OUT2;
        source from = {0};
        set_source(&from, jack ? s->placed : NULL, use,
                   jack ? jack_name(s->placed->name, use) : tl_copy("the split"));
        char* at = tl_printf("%s.split[%s]", path, item->branches[i].name);
        walk_branch(w, &item->branches[i], at, &from);
        free(at);
        free(from.name);
    }
}

static void walk_loop(walk* w, const tl_item* item, const char* path, const tl_placed* placed,
                      const char* who) {
    source inside = {0};
    set_source(&inside, placed, TL_JACK_SEND, jack_name(who, TL_JACK_SEND));
    char* at = tl_printf("%s.chain", path);
    walk_chain(w, &item->loop, at, &inside);
    char* end = jack_name(who, TL_JACK_RETURN);
    end_cable(w, &inside, placed, TL_JACK_RETURN, end);
    free(end);
    free(at);
    free(inside.name);
}

/// A pedal, buffer, pot or loop: the cable before it ends in it, the next begins there.
static void walk_device(walk* w, const tl_item* item, const char* path, size_t order, source* s) {
    const tl_placed* placed = tl_pedalboard_find(w->layout->board, order);
    const char* who = item->name ? item->name : path;
    char* in = jack_name(who, TL_JACK_IN);
    end_cable(w, s, placed, TL_JACK_IN, in);
    free(in);
    if (tl_item_is_loop(item))
        walk_loop(w, item, path, placed, who);
    for (size_t i = 0; i < item->branch_count; ++i) {
        source tuner = {0};
        set_source(&tuner, placed, TL_JACK_TUNER, jack_name(who, TL_JACK_TUNER));
        char* at = tl_printf("%s.tuner-out", path);
        walk_branch(w, &item->branches[i], at, &tuner);
        free(at);
        free(tuner.name);
    }
    set_source(s, placed, TL_JACK_OUT, jack_name(who, TL_JACK_OUT));
}

static void walk_item(walk* w, const tl_item* item, const char* path, source* s) {
    size_t order = w->order++;
    if (tl_item_is_split(item)) {
        walk_split(w, item, path, s);
    } else if (item->part->kind == &tl_kind_cable) {
        if (s->cable) { // two leads in line
            end_cable(w, s, NULL, TL_JACK_IN, "a joint");
            set_source(s, NULL, TL_JACK_IN, tl_copy("a joint"));
        }
        s->cable = item->part;
        s->path = tl_copy(path);
    } else if (item->part->kind != &tl_kind_contact) {
        walk_device(w, item, path, order, s);
    }
}

static void walk_chain(walk* w, const tl_chain* chain, const char* path, source* s) {
    for (size_t i = 0; i < chain->count; ++i) {
        char* at = tl_printf("%s[%zu]", path, i);
        walk_item(w, &chain->items[i], at, s);
        free(at);
    }
}

/// What the shape of a plug comes to at its jack: `choice` is which way a bent one looks.
static void place_plug(tl_layout_end* end, int choice) {
    static const tl_spot_m outward[] = {{-1, 0}, {1, 0}, {0, -1}, {0, 1}}; // as tl_side
    tl_spot_m out = outward[end->jack.side];
    tl_spot_m along = {-out.y_m, out.x_m}; // to the left of who looks out of the jack
    double room_m = tl_part_number(end->plug, "room", 0);
    double half_m = tl_part_number(end->plug, "body", 0) / 2;
    double reach_m = choice ? tl_part_number(end->plug, "reach", 0) : 0;
    double go_m = choice ? room_m / 2 : room_m; // a bent one's lead goes along its barrel's middle
    tl_spot_m jack = end->jack.spot;
    end->end.spot = (tl_spot_m){jack.x_m + go_m * out.x_m + choice * reach_m * along.x_m,
                                jack.y_m + go_m * out.y_m + choice * reach_m * along.y_m};
    end->end.heading_rad =
        choice ? atan2(choice * along.y_m, choice * along.x_m) : atan2(out.y_m, out.x_m);
    double low_m = choice < 0 ? -fmax(half_m, reach_m) : -half_m;
    double high_m = choice > 0 ? fmax(half_m, reach_m) : half_m;
    tl_spot_m one = {jack.x_m + low_m * along.x_m, jack.y_m + low_m * along.y_m};
    tl_spot_m two = {jack.x_m + high_m * along.x_m + room_m * out.x_m,
                     jack.y_m + high_m * along.y_m + room_m * out.y_m};
    end->body = (tl_area_m){{fmin(one.x_m, two.x_m), fmin(one.y_m, two.y_m)},
                            {fmax(one.x_m, two.x_m), fmax(one.y_m, two.y_m)}};
    end->choice = choice;
}

double tl_layout_gap_m(const tl_layout_end* one, const tl_layout_end* other) {
    bool facing = (one->jack.side ^ 1U) == (unsigned)other->jack.side && one->box != other->box;
    return facing ? tl_part_number(one->plug, "room", 0) + tl_part_number(other->plug, "room", 0)
                  : NAN;
}

bool tl_layout_same_output(const tl_layout_end* one, const tl_layout_end* other) {
    return one->output && one->placed && one->placed == other->placed &&
           one->output == other->output;
}

/// The ways a plug can look: straight, or to either side, or to the side that is said.
static size_t list_choices(const tl_layout_end* end, int choices[2]) {
    choices[0] = 0;
    if (!tl_part_chosen(end->plug, "leaves", "sideways"))
        return 1;
    choices[0] = 1;
    choices[1] = -1;
    for (int i = 0; i < 2 && end->jack.towards >= 0; ++i) {
        static const double headings[] = {1, 0, -0.5, 0.5}; // as tl_side, in half turns
        tl_layout_end tried = *end;
        place_plug(&tried, choices[i]);
        if (cos(tried.end.heading_rad - headings[end->jack.towards] * pi) > 0.5) {
            choices[0] = choices[i];
            return 1;
        }
    }
    return 2;
}

bool tl_layout_areas_meet(const tl_area_m* one, const tl_area_m* other) {
    const double ruler_m = 0.05e-3;
    return fmin(one->high.x_m, other->high.x_m) - fmax(one->low.x_m, other->low.x_m) > ruler_m &&
           fmin(one->high.y_m, other->high.y_m) - fmax(one->low.y_m, other->low.y_m) > ruler_m;
}

tl_area_m tl_layout_box(const tl_placed* placed) {
    return (tl_area_m){{placed->left_m, placed->front_m},
                       {placed->left_m + placed->width_m, placed->front_m + placed->depth_m}};
}

bool tl_layout_passes_over(const tl_layout_end* end, const tl_placed* placed) {
    double half_m = tl_part_number(end->plug, "height", NAN) / 2;
    return end->jack.height_m - half_m >= tl_part_number(placed->part, "height", NAN);
}

/// What a plug is in the way of: boxes of its layer but its own, and plugs that are in place.
static size_t collisions(const tl_layout* layout, const tl_layout_end* end, size_t which) {
    size_t count = 0;
    bool under = is_under(layout, end);
    for (size_t i = 0; i < layout->board->count; ++i) {
        const tl_placed* placed = &layout->board->placed[i];
        if (!placed->part || i == end->box || placed->under != under)
            continue;
        tl_area_m box = tl_layout_box(placed);
        count += tl_layout_areas_meet(&end->body, &box) && !tl_layout_passes_over(end, placed);
    }
    for (size_t i = 0; i < layout->count; ++i) {
        const tl_layout_end* ends[] = {&layout->leads[i].from, &layout->leads[i].to};
        for (size_t j = 0; j < 2 && i != which; ++j)
            count += ends[j]->settled && is_under(layout, ends[j]) == under &&
                     !tl_layout_same_output(end, ends[j]) &&
                     tl_layout_areas_meet(&end->body, &ends[j]->body);
    }
    return count;
}

/// Whether an end of a lead lies over a box that its plug passes over.
static bool lies_over(const tl_layout_end* end, const tl_placed* placed) {
    tl_area_m box = tl_layout_box(placed);
    return tl_layout_areas_meet(&end->body, &box) && tl_layout_passes_over(end, placed);
}

/// Boxes of a layer, as the middle line of a lead sees them: half its thickness larger.
static size_t list_walls(const tl_layout* layout, const tl_layout_lead* lead, bool under,
                         tl_area_m* walls) {
    double outer_m = lead->outer_m;
    size_t count = 0;
    for (size_t i = 0; i < layout->board->count; ++i) {
        const tl_placed* placed = &layout->board->placed[i];
        if (!placed->part || placed->under != under || lies_over(&lead->from, placed) ||
            lies_over(&lead->to, placed))
            continue;
        tl_area_m box = tl_layout_box(placed);
        walls[count++] = (tl_area_m){{box.low.x_m - outer_m / 2, box.low.y_m - outer_m / 2},
                                     {box.high.x_m + outer_m / 2, box.high.y_m + outer_m / 2}};
    }
    return count;
}

/// Whether a straight piece along the board's edges goes through a box of a layer.
static bool meets_box(const tl_layout* layout, bool under, tl_spot_m from, tl_spot_m to) {
    const double ruler_m = 0.05e-3;
    for (size_t i = 0; i < layout->board->count; ++i) {
        const tl_placed* placed = &layout->board->placed[i];
        tl_area_m box = placed->part ? tl_layout_box(placed) : (tl_area_m){{0, 0}, {0, 0}};
        if (placed->part && placed->under == under &&
            fmin(from.x_m, to.x_m) < box.high.x_m - ruler_m &&
            fmax(from.x_m, to.x_m) > box.low.x_m + ruler_m &&
            fmin(from.y_m, to.y_m) < box.high.y_m - ruler_m &&
            fmax(from.y_m, to.y_m) > box.low.y_m + ruler_m)
            return true;
    }
    return false;
}

static bool lies_in(tl_spot_m spot, const tl_area_m* area) {
    return spot.x_m > area->low.x_m && spot.x_m < area->high.x_m && spot.y_m > area->low.y_m &&
           spot.y_m < area->high.y_m;
}

static bool lies_in_any(tl_spot_m spot, const tl_route_rules* rules) {
    for (size_t i = 0; i < rules->wall_count; ++i)
        if (lies_in(spot, &rules->walls[i]))
            return true;
    return false;
}

/// Where a lead goes down through the deck. No lead goes down into what hangs there: it goes on
/// over the deck first, straight to the nearest side of that which nothing bars. Says how far.
static double go_aside(const tl_layout* layout, bool below, const tl_route_rules* rules,
                       const tl_area_m* board, tl_spot_m* spot) {
    tl_spot_m plug = *spot;
    double least_m = INFINITY;
    for (size_t i = 0; i < rules->wall_count; ++i) {
        const tl_area_m* wall = &rules->walls[i];
        const tl_spot_m sides[] = {{wall->low.x_m, plug.y_m},
                                   {wall->high.x_m, plug.y_m},
                                   {plug.x_m, wall->low.y_m},
                                   {plug.x_m, wall->high.y_m}};
        for (size_t side = 0; lies_in(plug, wall) && side < 4; ++side) {
            double over_m = hypot(sides[side].x_m - plug.x_m, sides[side].y_m - plug.y_m);
            if (over_m >= least_m || !lies_in(sides[side], board) ||
                lies_in_any(sides[side], rules) || meets_box(layout, !below, plug, sides[side]))
                continue;
            least_m = over_m;
            *spot = sides[side];
        }
    }
    return isinf(least_m) ? 0 : least_m;
}

/// Tries for a way with bends of a share of the least radius: on the board, else over its edge.
static bool try_way(tl_layout_lead* lead, const tl_route_end* from, const tl_route_end* to,
                    tl_route_rules* rules, const tl_area_m* board, double share) {
    tl_route_way way = {0};
    rules->radius_m = share * lead->bend_least_m;
    rules->within = board;
    bool inside = tl_route_find(from, to, rules, &way);
    rules->within = NULL;
    if (!inside && !tl_route_find(from, to, rules, &way))
        return false;
    free(lead->way.way);
    lead->way = way;
    lead->over_edge = !inside;
    lead->bend_m = way.bends ? rules->radius_m : INFINITY;
    return true;
}

/// The way with the bends the make allows; else with the widest there are, to a hundredth.
static void search_way(tl_layout_lead* lead, const tl_route_end* from, const tl_route_end* to,
                       tl_route_rules* rules, const tl_area_m* board) {
    double high = 1;
    double low = 1;
    while (low > 0.05 && !try_way(lead, from, to, rules, board, low)) {
        high = low;
        low /= 2;
    }
    while (lead->way.way && high - low > 0.01) {
        double middle = (low + high) / 2;
        if (try_way(lead, from, to, rules, board, middle))
            low = middle;
        else
            high = middle;
    }
}

/// The way of a lead whose plugs are in place: on the board with the bends its make allows, else
/// over the edge, else with tighter bends, else none.
static void find_way(const tl_layout* layout, tl_layout_lead* lead) {
    bool below = is_under(layout, &lead->from) || is_under(layout, &lead->to);
    bool through = is_under(layout, &lead->from) != is_under(layout, &lead->to);
    tl_route_end from = lead->from.end;
    tl_route_end to = lead->to.end;
    from.free = through && !is_under(layout, &lead->from); // straight down, and then anywhere
    to.free = through && !is_under(layout, &lead->to);
    lead->drop_m = through ? layout->drop_m : 0;
    tl_area_m* walls = tl_new(layout->board->count, sizeof *walls);
    double half_m = lead->outer_m / 2;
    tl_area_m board = {{half_m, half_m},
                       {tl_part_number(layout->board->part, "width", 0) - half_m,
                        tl_part_number(layout->board->part, "depth", 0) - half_m}};
    tl_route_rules rules = {.walls = walls};
    rules.wall_count = list_walls(layout, lead, below, walls);
    lead->over_m =
        through ? go_aside(layout, below, &rules, &board, from.free ? &from.spot : &to.spot) : 0;
    lead->drop_m += lead->over_m;
    lead->way = (tl_route_way){0};
    lead->bend_m = INFINITY;
    lead->over_edge = false;
    search_way(lead, &from, &to, &rules, &board);
    free(walls);
}

static double length_of(const tl_layout* layout, const tl_layout_lead* lead) {
    double route_m = lead->way.length_m + lead->drop_m;
    double least_m = route_m + fmax(layout->share * route_m, layout->least_m);
    return TL_LAYOUT_ROUND_M * ceil(least_m / TL_LAYOUT_ROUND_M - 1e-6);
}

/// How good one way to plug a lead in is: fewest collisions, then no bend tighter than its make
/// allows, then on the board, then the shortest.
static bool is_better(const tl_layout_lead* one, size_t one_hits, const tl_layout_lead* other,
                      size_t other_hits) {
    if (one_hits != other_hits)
        return one_hits < other_hits;
    if (!one->way.way != !other->way.way)
        return one->way.way != NULL;
    bool one_tight = one->bend_m < one->bend_least_m * (1 - 1e-9);
    bool other_tight = other->bend_m < other->bend_least_m * (1 - 1e-9);
    if (one_tight != other_tight)
        return other_tight;
    if (one_tight && fabs(one->bend_m - other->bend_m) > 1e-9 * other->bend_m)
        return one->bend_m > other->bend_m;
    if (one->over_edge != other->over_edge)
        return other->over_edge;
    return one->way.length_m < other->way.length_m - 1e-9;
}

/// Tries all ways to turn its two plugs and keeps the best.
static void route_lead(tl_layout* layout, size_t which) {
    tl_layout_lead best = {0};
    size_t best_hits = SIZE_MAX;
    tl_layout_lead tried = layout->leads[which];
    int from[2];
    int to[2];
    size_t from_count = list_choices(&tried.from, from);
    for (size_t i = 0; i < which; ++i) // it looks the way of the plug that it hangs on
        if (tl_layout_same_output(&tried.from, &layout->leads[i].from)) {
            from[0] = layout->leads[i].from.choice;
            from_count = 1;
        }
    size_t to_count = list_choices(&tried.to, to);
    for (size_t i = 0; i < from_count; ++i)
        for (size_t j = 0; j < to_count; ++j) {
            tried.way = (tl_route_way){0};
            place_plug(&tried.from, from[i]);
            place_plug(&tried.to, to[j]);
            size_t hits = collisions(layout, &tried.from, which) +
                          collisions(layout, &tried.to, which) +
                          tl_layout_areas_meet(&tried.from.body, &tried.to.body);
            if (hits > best_hits)
                continue;
            find_way(layout, &tried);
            if (best_hits == SIZE_MAX || is_better(&tried, hits, &best, best_hits)) {
                free(best.way.way);
                best = tried;
                best_hits = hits;
            } else {
                free(tried.way.way);
            }
        }
    best.from.settled = true;
    best.to.settled = true;
    layout->leads[which] = best;
    layout->leads[which].length_m = best.way.way ? length_of(layout, &best) : NAN;
}

/// Turns the plug of a lead that leaves the board so that it is in nothing's way, if it can.
static void turn_plug(tl_layout* layout, size_t which, tl_layout_end* end) {
    int choices[2];
    size_t count = list_choices(end, choices);
    place_plug(end, choices[0]);
    if (count < 2 || !collisions(layout, end, which))
        return;
    size_t hits = collisions(layout, end, which);
    place_plug(end, choices[1]);
    if (collisions(layout, end, which) >= hits)
        place_plug(end, choices[0]);
}

void tl_layout_route(tl_layout* layout, size_t first) {
    // Plugs that can look one way only are in place before the others choose.
    for (size_t i = first; i < layout->count; ++i) {
        tl_layout_end* ends[] = {&layout->leads[i].from, &layout->leads[i].to};
        for (size_t j = 0; j < 2; ++j) {
            int choices[2];
            if (!ends[j]->placed || list_choices(ends[j], choices) > 1)
                continue;
            place_plug(ends[j], choices[0]);
            ends[j]->settled = true;
        }
    }
    for (size_t i = first; i < layout->count; ++i) {
        tl_layout_end* ends[] = {&layout->leads[i].from, &layout->leads[i].to};
        if (layout->leads[i].on_board)
            route_lead(layout, i);
        for (size_t j = 0; j < 2; ++j)
            if (ends[j]->placed && !ends[j]->settled) {
                turn_plug(layout, i, ends[j]);
                ends[j]->settled = true;
            }
    }
}

tl_status tl_layout_make(tl_rig* rig, tl_layout* layout, tl_error* error) {
    const tl_pedalboard* board = rig->board;
    *layout =
        (tl_layout){.board = board,
                    .library = rig->library,
                    .share = tl_part_number(board->part, "slack.share", TL_LAYOUT_SLACK_SHARE),
                    .least_m = tl_part_number(board->part, "slack.least", TL_LAYOUT_SLACK_LEAST_M),
                    .drop_m = tl_part_number(board->part, "drop", TL_LAYOUT_DROP_M)};
    walk w = {layout, 0, TL_OK, error};
    source s = {0};
    set_source(&s, NULL, TL_JACK_OUT, tl_copy("guitar"));
    walk_branch(&w, &rig->main, "", &s);
    free(s.name);
    if (w.status == TL_OK)
        tl_layout_route(layout, 0);
    return w.status;
}

tl_status tl_layout_add_dc(tl_layout* layout, const tl_layout_feed* feed, tl_error* error) {
    tl_layout_lead* lead = add_lead(layout);
    tl_status status = TL_OK;
    const tl_placed* supply = feed->supply;
    const tl_jack* jack = feed->pedal ? &feed->pedal->jacks[TL_JACK_POWER] : NULL;
    bool there = jack && jack->part;
    lead->path = tl_copy("");
    lead->from =
        (tl_layout_end){.placed = supply, .name = tl_copy(feed->from_name), .box = TL_BUILD_NONE};
    lead->to = (tl_layout_end){
        .placed = there ? feed->pedal : NULL, .name = tl_copy(feed->to_name), .box = TL_BUILD_NONE};
    if (supply) {
        lead->from.box = box_of(layout->board, supply);
        lead->from.output = feed->output + 1;
        lead->from.jack = tl_placed_output(supply, feed->output, feed->output_count);
    }
    if (there) {
        lead->to.box = box_of(layout->board, feed->pedal);
        lead->to.jack = tl_placed_jack(layout->board, feed->pedal, TL_JACK_POWER);
    }
    lead->from.plug = find_plug(layout, supply ? supply->plug : NULL, PLUG_DC, &status, error);
    if (status == TL_OK)
        lead->to.plug = find_plug(layout, there ? jack->plug : NULL, PLUG_DC, &status, error);
    lead->on_board = supply && there;
    set_make(lead, feed->wire, TL_LAYOUT_DC_OUTER_M);
    return status;
}

void tl_layout_free(tl_layout* layout) {
    for (size_t i = 0; i < layout->count; ++i) {
        tl_layout_lead* lead = &layout->leads[i];
        free(lead->path);
        free(lead->from.name);
        free(lead->to.name);
        free(lead->way.way);
    }
    free(layout->leads);
    for (size_t i = 0; i < 3; ++i)
        tl_part_free(layout->defaults[i]);
    *layout = (tl_layout){0};
}

/// The length of a cable when the board is to say it.
static tl_value* laid_out(tl_part* part) {
    if (part->kind != &tl_kind_cable)
        return NULL;
    tl_value* value = &part->values[tl_part_field(&tl_kind_cable, "length")];
    return value->layout ? value : NULL;
}

static void count_laid_out(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    (void)path;
    *(size_t*)context += laid_out(part) != NULL;
}

/// Says that there is no way, and which box a plug ends in if that is why.
static tl_status no_way(const tl_layout* layout, const tl_layout_lead* lead, const tl_value* value,
                        tl_error* error) {
    const tl_layout_end* ends[] = {&lead->from, &lead->to};
    for (size_t i = 0; i < layout->board->count; ++i)
        for (size_t j = 0; j < 2; ++j) {
            const tl_placed* placed = &layout->board->placed[i];
            if (!placed->part || i == ends[j]->box || placed->under != is_under(layout, ends[j]))
                continue;
            tl_area_m box = tl_layout_box(placed);
            if (!tl_layout_areas_meet(&ends[j]->body, &box))
                continue;
            double alone_m = tl_part_number(ends[j]->plug, "room", 0);
            double both_m = i == ends[1 - j]->box ? tl_layout_gap_m(ends[0], ends[1]) : NAN;
            return tl_error_at(error, &value->place,
                               "'layout': there is no way on this board from '%s' to '%s': the "
                               "plug at '%s' runs into '%s'; %s %.3g mm between them",
                               lead->from.name, lead->to.name, ends[j]->name, placed->name,
                               isnan(both_m) ? "it needs" : "the two plugs need",
                               1e3 * (isnan(both_m) ? alone_m : both_m));
        }
    return tl_error_at(error, &value->place,
                       "'layout': there is no way on this board from '%s' to '%s'", lead->from.name,
                       lead->to.name);
}

/// Whether an end is a jack of something, and not guitar, amp, end, split or joint: jacks are named
/// by what they are of and their use.
static bool is_jack(const tl_layout_end* end) {
    const char* last = strrchr(end->name, ' ');
    for (tl_jack_use use = TL_JACK_IN; last && use < TL_JACKS; ++use)
        if (strcmp(last + 1, tl_jack_word(use)) == 0)
            return true;
    return false;
}

static tl_status give_length(const tl_layout* layout, const tl_layout_lead* lead, tl_value* value,
                             tl_error* error) {
    const tl_layout_end* off = !lead->from.placed ? &lead->from : &lead->to;
    if (!lead->on_board && !is_jack(off))
        return tl_error_at(error, &value->place,
                           "'layout': this lead leaves the board at '%s', so the board cannot say "
                           "how long it is: state a length, such as 6 m",
                           off->name);
    if (!lead->on_board)
        return tl_error_at(error, &value->place,
                           "'layout': no place on the board for this lead's end at '%s': name it "
                           "under 'board', or state a length",
                           off->name);
    if (isnan(lead->length_m))
        return no_way(layout, lead, value, error);
    value->number = lead->length_m;
    return TL_OK;
}

static tl_status check_direct(const tl_rig* rig, tl_error* error) {
    for (size_t i = 0; i < rig->direct.count; ++i) {
        tl_part* part = rig->direct.items[i].part;
        tl_value* value = part ? laid_out(part) : NULL;
        if (value)
            return tl_error_at(error, &value->place,
                               "'layout': 'direct' stands on no board: state a length");
    }
    return TL_OK;
}

static void find_first(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    (void)path;
    tl_value** first = context;
    *first = *first ? *first : laid_out(part);
}

tl_status tl_layout_apply(tl_rig* rig, tl_error* error) {
    size_t count = 0;
    tl_rig_each_part(rig, count_laid_out, &count);
    if (!count)
        return TL_OK;
    tl_status status = check_direct(rig, error);
    if (status == TL_OK && !rig->board) {
        tl_value* first = NULL;
        tl_rig_each_part(rig, find_first, &first);
        status =
            tl_error_at(error, &first->place,
                        "'layout': this rig has no 'board' to take the length from: state one, "
                        "such as 15 cm");
    }
    if (status != TL_OK)
        return status;
    tl_layout layout;
    status = tl_layout_make(rig, &layout, error);
    for (size_t i = 0; status == TL_OK && i < layout.count; ++i) {
        tl_value* value = laid_out(layout.leads[i].cable);
        if (value)
            status = give_length(&layout, &layout.leads[i], value, error);
    }
    tl_layout_free(&layout);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Ways of arcs and straight pieces: circles, their common tangents, and the shortest chain of them.
#include "rig/route.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;
/// A lead may touch what it lies along.
static const double touch_m = 1e-6;
/// Circles this near to touching touch.
static const double rounding_m = 1e-12;
/// An angle of this much short of a whole turn is none: rounding.
static const double no_turn_rad = 1e-7;
/// Arcs are held against walls in steps this long.
static const double step_rad = 0.05;

/// A way is of use when it is shorter than another by more than this.
static const double shorter_m = 1e-9;

enum {
    ENDS = 2,  ///< circles an end can set out on: to the left and to the right
    LEANS = 3, ///< of the circles through a corner: along one side, across it, along the other
};

/// A circle that a way may follow, in one direction.
typedef struct {
    tl_spot_m middle;
    double radius_m;
    double signed_m;    ///< positive: turning left, angles grow along the way
    double from_rad;    ///< of a corner's: only the quarter from here may be used
    bool corner;        ///< of a corner, all along its box's sides; else any part may be used
    bool halfway;       ///< of a corner's: leans on it halfway
    double set_out_rad; ///< of an end's: where the end lies on it
    double goal_m;      ///< from it to the goal at least
} circle;

/// The common tangent from one circle to another, as their directions have it.
typedef struct {
    char known; ///< 0: not looked at yet, 1: it may be used, 2: it may not
    double leaves_rad;
    double arrives_rad;
    double length_m;
} tangent;

/// What one search carries along. Circles: the corners', then those of `from`, then of `to`.
typedef struct {
    const tl_route_rules* rules;
    circle* circles;
    size_t count;
    size_t corner_count; ///< circles of corners come first
    size_t from;         ///< first circle of `from`; those of `to` follow
    size_t from_count;
    size_t to_count;
    tl_spot_m start;
    tl_spot_m goal;
    tangent* tangents; ///< [circle * count + circle]
    double* cost_m;    ///< by tangent: to its end
    size_t* before;    ///< by tangent: the one that led to it
    char* state;       ///< by tangent: 0: not reached, 1: reached, 2: done
    double most_m;     ///< longer ways are of no use
    size_t* heap;      ///< tangents by what a way through them takes at least
    double* least_m;
    size_t heap_size;
} search;

static tl_spot_m on_circle(const circle* c, double rad) {
    return (tl_spot_m){c->middle.x_m + c->radius_m * cos(rad),
                       c->middle.y_m + c->radius_m * sin(rad)};
}

/// The angle from one point of a circle to another the way it is followed, 0 to a turn.
static double turn_rad(const circle* c, double from_rad, double to_rad) {
    double turn = c->signed_m >= 0 ? to_rad - from_rad : from_rad - to_rad;
    turn = fmod(turn, 2 * pi);
    turn += turn < 0 ? 2 * pi : 0;
    return turn > 2 * pi - no_turn_rad ? 0 : turn;
}

static bool inside(const tl_area_m* area, tl_spot_m spot, double by_m) {
    return spot.x_m > area->low.x_m + by_m && spot.x_m < area->high.x_m - by_m &&
           spot.y_m > area->low.y_m + by_m && spot.y_m < area->high.y_m - by_m;
}

/// Keeps of a straight piece, as shares of it, what lies between two parallel lines.
static bool clip(double at_m, double more_m, double low_m, double high_m, double share[2]) {
    if (fabs(more_m) < 1e-12)
        return at_m > low_m && at_m < high_m;
    double one = (low_m - at_m) / more_m;
    double two = (high_m - at_m) / more_m;
    share[0] = fmax(share[0], fmin(one, two));
    share[1] = fmin(share[1], fmax(one, two));
    return share[0] < share[1];
}

/// Whether a straight piece goes through a wall.
static bool crosses(const tl_area_m* wall, tl_spot_m from, tl_spot_m to) {
    if (fmax(from.x_m, to.x_m) <= wall->low.x_m || fmin(from.x_m, to.x_m) >= wall->high.x_m ||
        fmax(from.y_m, to.y_m) <= wall->low.y_m || fmin(from.y_m, to.y_m) >= wall->high.y_m)
        return false;
    double share[2] = {0, 1};
    return clip(from.x_m, to.x_m - from.x_m, wall->low.x_m + touch_m, wall->high.x_m - touch_m,
                share) &&
           clip(from.y_m, to.y_m - from.y_m, wall->low.y_m + touch_m, wall->high.y_m - touch_m,
                share);
}

static bool line_is_free(const tl_route_rules* rules, tl_spot_m from, tl_spot_m to) {
    for (size_t i = 0; i < rules->wall_count; ++i)
        if (crosses(&rules->walls[i], from, to))
            return false;
    return !rules->within ||
           (inside(rules->within, from, -touch_m) && inside(rules->within, to, -touch_m));
}

/// Whether all of an arc lies within an area, or none of it in its inside.
static bool arc_keeps(const circle* c, double from_rad, double by_rad, const tl_area_m* area,
                      bool within) {
    size_t steps = (size_t)ceil(by_rad / step_rad);
    double sign = c->signed_m >= 0 ? 1 : -1;
    for (size_t i = 0; i <= steps && steps; ++i) {
        tl_spot_m spot = on_circle(c, from_rad + sign * by_rad * (double)i / (double)steps);
        if (inside(area, spot, within ? -touch_m : touch_m) != within)
            return false;
    }
    return true;
}

static double outside_m(double at_m, double low_m, double high_m) {
    return fmax(0, fmax(low_m - at_m, at_m - high_m));
}

/// How far a spot is from a wall.
static double apart_m(tl_spot_m spot, const tl_area_m* wall) {
    return hypot(outside_m(spot.x_m, wall->low.x_m, wall->high.x_m),
                 outside_m(spot.y_m, wall->low.y_m, wall->high.y_m));
}

static bool arc_is_free(const tl_route_rules* rules, const circle* c, double from_rad,
                        double by_rad) {
    for (size_t i = 0; i < rules->wall_count; ++i)
        if (apart_m(c->middle, &rules->walls[i]) < c->radius_m &&
            !arc_keeps(c, from_rad, by_rad, &rules->walls[i], false))
            return false;
    return !rules->within || arc_keeps(c, from_rad, by_rad, rules->within, true);
}

/// Of a corner's circle only the quarter outside the corner is of use.
static bool in_quarter(double from_rad, double rad) {
    double past = fmod(rad - from_rad, 2 * pi);
    past += past < 0 ? 2 * pi : 0;
    return past < pi / 2 + no_turn_rad || past > 2 * pi - no_turn_rad;
}

/// Where the heading of a straight piece touches a circle it leaves or arrives at: left of it lies
/// the middle of one that turns left.
static double touches_rad(const circle* c, double heading_rad) {
    return c->signed_m >= 0 ? heading_rad - pi / 2 : heading_rad + pi / 2;
}

/// Of the middles' distance D at angle d, and signed radii a and b, the tangent heads for
/// d + asin((a - b) / D) and is sqrt(D^2 - (a - b)^2) long.
static void find_tangent(const search* s, size_t one, size_t other, tangent* found) {
    const circle* a = &s->circles[one];
    const circle* b = &s->circles[other];
    double x_m = b->middle.x_m - a->middle.x_m;
    double y_m = b->middle.y_m - a->middle.y_m;
    double apart_m = hypot(x_m, y_m);
    double differ_m = a->signed_m - b->signed_m;
    found->known = 2;
    if (fabs(differ_m) > apart_m + rounding_m || apart_m < rounding_m)
        return;
    double heading = atan2(y_m, x_m) + asin(fmax(-1, fmin(differ_m / apart_m, 1)));
    found->leaves_rad = touches_rad(a, heading);
    found->arrives_rad = touches_rad(b, heading);
    found->length_m = sqrt(fmax(0, apart_m * apart_m - differ_m * differ_m));
    if ((a->corner && !in_quarter(a->from_rad, found->leaves_rad)) ||
        (b->corner && !in_quarter(b->from_rad, found->arrives_rad)))
        return;
    if (line_is_free(s->rules, on_circle(a, found->leaves_rad), on_circle(b, found->arrives_rad)))
        found->known = 1;
}

static const tangent* tangent_of(search* s, size_t one, size_t other) {
    tangent* found = &s->tangents[one * s->count + other];
    if (!found->known)
        find_tangent(s, one, other, found);
    return found;
}

static void heap_swap(search* s, size_t i, size_t j) {
    size_t kept = s->heap[i];
    double kept_m = s->least_m[i];
    s->heap[i] = s->heap[j];
    s->least_m[i] = s->least_m[j];
    s->heap[j] = kept;
    s->least_m[j] = kept_m;
}

/// Whether one entry comes before another; what ties goes by its number, so that every machine
/// finds the same.
static bool heap_before(const search* s, size_t i, size_t j) {
    return s->least_m[i] < s->least_m[j] ||
           (s->least_m[i] == s->least_m[j] && s->heap[i] < s->heap[j]);
}

static void heap_put(search* s, size_t edge, double least_m) {
    s->heap = tl_grow_one(s->heap, s->heap_size, sizeof *s->heap);
    s->least_m = tl_grow_one(s->least_m, s->heap_size, sizeof *s->least_m);
    size_t at = s->heap_size++;
    s->heap[at] = edge;
    s->least_m[at] = least_m;
    while (at && heap_before(s, at, (at - 1) / 2)) {
        heap_swap(s, at, (at - 1) / 2);
        at = (at - 1) / 2;
    }
}

static size_t heap_take(search* s) {
    size_t taken = s->heap[0];
    heap_swap(s, 0, --s->heap_size);
    for (size_t at = 0;;) {
        size_t least = at;
        for (size_t child = 2 * at + 1; child <= 2 * at + 2 && child < s->heap_size; ++child)
            if (heap_before(s, child, least))
                least = child;
        if (least == at)
            return taken;
        heap_swap(s, at, least);
        at = least;
    }
}

static bool is_goal(const search* s, size_t which) {
    return which >= s->from + s->from_count;
}

static double between_m(tl_spot_m one, tl_spot_m other) {
    double x_m = one.x_m - other.x_m;
    double y_m = one.y_m - other.y_m;
    return sqrt(x_m * x_m + y_m * y_m);
}

/// How far a spot is from a circle's line at least.
static double to_circle_m(tl_spot_m spot, const circle* c) {
    return fabs(between_m(spot, c->middle) - c->radius_m);
}

/// What a way takes at least that has come so far and goes on from one circle to another.
static double least_through_m(double cost_m, const circle* one, const circle* other) {
    return cost_m + between_m(one->middle, other->middle) - one->radius_m - other->radius_m +
           other->goal_m;
}

/// Follows circle `at` from an angle to its tangent to `next`, if that shortens the way to there.
static void try_edge(search* s, size_t at, double from_rad, double cost_m, size_t before,
                     size_t next) {
    if (next == at || (next >= s->from && !is_goal(s, next)))
        return;
    const circle* c = &s->circles[at];
    size_t edge = at * s->count + next;
    if (s->tangents[edge].known == 2 || s->state[edge] == 2 ||
        least_through_m(cost_m, c, &s->circles[next]) > s->most_m)
        return;
    const tangent* to = tangent_of(s, at, next);
    if (to->known != 1)
        return;
    double turn = turn_rad(c, from_rad, to->leaves_rad);
    if (c->corner && turn > pi / 2 + 2 * no_turn_rad)
        return;
    double total_m = cost_m + c->radius_m * turn + to->length_m;
    const circle* arrived = &s->circles[next];
    if (is_goal(s, next)) // the last arc counts: then the first to be taken is the shortest
        total_m += arrived->radius_m * turn_rad(arrived, to->arrives_rad, arrived->set_out_rad);
    tl_spot_m spot = on_circle(arrived, to->arrives_rad);
    double rest_m = is_goal(s, next) ? 0 : between_m(s->goal, spot);
    if (total_m + rest_m > s->most_m || (s->state[edge] && total_m >= s->cost_m[edge]) ||
        !arc_is_free(s->rules, c, from_rad, turn))
        return;
    if (is_goal(s, next) && !arc_is_free(s->rules, arrived, to->arrives_rad,
                                         turn_rad(arrived, to->arrives_rad, arrived->set_out_rad)))
        return;
    s->cost_m[edge] = total_m;
    s->before[edge] = before;
    s->state[edge] = 1;
    heap_put(s, edge, total_m + rest_m);
}

/// The last tangent of the shortest way, or SIZE_MAX.
static size_t run(search* s) {
    for (size_t i = s->from; i < s->from + s->from_count; ++i)
        for (size_t next = 0; next < s->count; ++next)
            try_edge(s, i, s->circles[i].set_out_rad, 0, SIZE_MAX, next);
    while (s->heap_size && s->count) {
        size_t edge = heap_take(s);
        if (s->state[edge] == 2)
            continue;
        s->state[edge] = 2;
        size_t at = edge % s->count;
        if (is_goal(s, at))
            return edge;
        for (size_t next = 0; next < s->count; ++next)
            try_edge(s, at, s->tangents[edge].arrives_rad, s->cost_m[edge], edge, next);
    }
    return SIZE_MAX;
}

/// Takes in a circle, if a way that is short enough can come to it.
static void add_circle(search* s, const circle* c) {
    if (to_circle_m(s->start, c) + to_circle_m(s->goal, c) > s->most_m)
        return;
    s->circles = tl_grow_one(s->circles, s->count, sizeof *s->circles);
    s->circles[s->count++] = *c;
}

/// The circles an end may set out on, or arrive by; one of no size when it is free.
static size_t list_ends(const search* s, tl_spot_m spot, double heading_rad, bool free,
                        circle ends[ENDS]) {
    for (int side = 0; side < ENDS; ++side) {
        double sign = side ? -1 : 1;
        double radius_m = free ? 0 : s->rules->radius_m;
        circle* c = &ends[side];
        *c = (circle){.radius_m = radius_m,
                      .signed_m = sign * radius_m,
                      .set_out_rad = heading_rad - sign * pi / 2};
        c->middle = (tl_spot_m){spot.x_m - radius_m * cos(c->set_out_rad),
                                spot.y_m - radius_m * sin(c->set_out_rad)};
        if (free)
            return 1;
    }
    return ENDS;
}

/// A wall's corner, and where the quarter begins that is outside of both its sides.
static tl_spot_m corner_of(const tl_area_m* wall, unsigned corner, double* from_rad) {
    *from_rad = corner * pi / 2;
    return (tl_spot_m){corner == 0 || corner == 3 ? wall->high.x_m : wall->low.x_m,
                       corner < 2 ? wall->high.y_m : wall->low.y_m};
}

/// Circles of the least radius that go through a wall's corner with the wall inside: one that
/// touches its one side there, one its other, and one that leans on it halfway: lines along the
/// sides lie r (1 - 1/sqrt 2) outside them then.
static void add_corners(search* s, const tl_area_m* wall) {
    double r_m = s->rules->radius_m;
    for (unsigned corner = 0; corner < 4; ++corner) {
        double from_rad = 0;
        tl_spot_m spot = corner_of(wall, corner, &from_rad);
        for (unsigned lean = 0; lean < LEANS; ++lean)
            for (int sign = -1; sign <= 1; sign += 2) {
                double rad = from_rad + lean * pi / 2 / (LEANS - 1);
                add_circle(
                    s, &(circle){.middle = {spot.x_m - r_m * cos(rad), spot.y_m - r_m * sin(rad)},
                                 .radius_m = r_m,
                                 .signed_m = sign * r_m,
                                 .from_rad = from_rad,
                                 .corner = true,
                                 .halfway = lean == LEANS / 2});
            }
    }
}

/// A circle through a corner from a given middle, if its wall is inside there.
static void add_through(search* s, tl_spot_m spot, double from_rad, tl_spot_m middle,
                        double signed_m) {
    if (in_quarter(from_rad, atan2(spot.y_m - middle.y_m, spot.x_m - middle.x_m)))
        add_circle(s,
                   &(circle){.middle = middle, .radius_m = fabs(signed_m), .signed_m = signed_m});
}

/// Middles of circles of the least radius that touch the circle an end sets out on from outside,
/// as far as that from another spot: how many there are.
static size_t list_touching(const search* s, const circle* end, tl_spot_m spot, double spot_m,
                            tl_spot_m middles[2]) {
    double far_m = s->rules->radius_m + end->radius_m;
    double x_m = spot.x_m - end->middle.x_m;
    double y_m = spot.y_m - end->middle.y_m;
    double apart = hypot(x_m, y_m);
    double share = (far_m * far_m + apart * apart - spot_m * spot_m) / (2 * far_m * apart);
    if (apart < rounding_m || fabs(share) > 1)
        return 0;
    for (int side = 0; side < 2; ++side) {
        double rad = atan2(y_m, x_m) + (side ? 1 : -1) * acos(share);
        middles[side] =
            (tl_spot_m){end->middle.x_m + far_m * cos(rad), end->middle.y_m + far_m * sin(rad)};
    }
    return 2;
}

/// Circles through a corner that touch the circle an end sets out on, and turn the other way.
static void add_touching(search* s, tl_spot_m spot, double from_rad, const circle* end) {
    tl_spot_m middles[2];
    size_t count = list_touching(s, end, spot, s->rules->radius_m, middles);
    for (size_t i = 0; i < count; ++i)
        for (int sign = -1; sign <= 1; sign += 2)
            if (sign * end->signed_m <= 0)
                add_through(s, spot, from_rad, middles[i], sign * s->rules->radius_m);
}

/// Circles between that of an end and one of a corner which turn the other way than both: for a
/// lead that must swing out to turn round.
static void add_between(search* s, const circle* corner, const circle* end) {
    tl_spot_m middles[2];
    size_t count = list_touching(s, end, corner->middle, 2 * s->rules->radius_m, middles);
    for (size_t i = 0; i < count && corner->signed_m * end->signed_m > 0; ++i)
        add_circle(s, &(circle){.middle = middles[i],
                                .radius_m = s->rules->radius_m,
                                .signed_m = -end->signed_m});
}

/// Circles that touch that of an end and turn the other way, along a side of a wall.
static void add_beside(search* s, const tl_area_m* wall, unsigned side, const circle* end) {
    double r_m = s->rules->radius_m;
    bool upright = side < 2;
    double line_m = side == 0   ? wall->low.x_m - r_m
                    : side == 1 ? wall->high.x_m + r_m
                    : side == 2 ? wall->low.y_m - r_m
                                : wall->high.y_m + r_m;
    double off_m = line_m - (upright ? end->middle.x_m : end->middle.y_m);
    double half_m = sqrt((r_m + end->radius_m) * (r_m + end->radius_m) - off_m * off_m);
    for (int sign = -1; sign <= 1 && half_m >= 0; sign += 2) {
        double at_m = (upright ? end->middle.y_m : end->middle.x_m) + sign * half_m;
        if (at_m < (upright ? wall->low.y_m : wall->low.x_m) ||
            at_m > (upright ? wall->high.y_m : wall->high.x_m))
            continue;
        add_circle(s, &(circle){.middle = {upright ? line_m : at_m, upright ? at_m : line_m},
                                .radius_m = r_m,
                                .signed_m = -end->signed_m});
    }
}

/// Circles through a corner that touch the line an end lies on, ahead of it (or behind, where a
/// way arrives). The end's own circle lies beside the line as they do.
static void add_along(search* s, tl_spot_m spot, double from_rad, const circle* end, bool arrives) {
    double heading = end->signed_m > 0 ? end->set_out_rad + pi / 2 : end->set_out_rad - pi / 2;
    double x_m = spot.x_m - end->middle.x_m;
    double y_m = spot.y_m - end->middle.y_m;
    double along_m = x_m * cos(heading) + y_m * sin(heading);
    double aside_m = y_m * cos(heading) - x_m * sin(heading);
    double half_m = sqrt(end->radius_m * end->radius_m - aside_m * aside_m);
    for (int side = -1; side <= 1 && half_m >= 0; side += 2) {
        double by_m = along_m + side * half_m;
        if ((arrives ? -by_m : by_m) > 0)
            add_through(s, spot, from_rad,
                        (tl_spot_m){end->middle.x_m + by_m * cos(heading),
                                    end->middle.y_m + by_m * sin(heading)},
                        end->signed_m);
    }
}

/// A way that begins near a corner need not have room for the circles all boxes have: it has some
/// of its own.
static void add_near_end(search* s, const circle* ends, size_t count, bool arrives) {
    size_t corners = s->corner_count;
    for (size_t i = 0; i < s->rules->wall_count; ++i)
        for (unsigned corner = 0; corner < 4; ++corner) {
            double from_rad = 0;
            tl_spot_m spot = corner_of(&s->rules->walls[i], corner, &from_rad);
            for (size_t j = 0; j < count; ++j) {
                add_touching(s, spot, from_rad, &ends[j]);
                if (ends[j].radius_m > 0) {
                    add_along(s, spot, from_rad, &ends[j], arrives);
                    add_beside(s, &s->rules->walls[i], corner, &ends[j]);
                }
            }
        }
    for (size_t i = 0; i < corners; ++i)
        for (size_t j = 0; j < count && ends[j].radius_m > 0; ++j) {
            circle corner = s->circles[i];
            if (corner.halfway) // the two others would cost more time than they save length
                add_between(s, &corner, &ends[j]);
        }
}

/// All circles: those through corners, then those of both ends.
static void list_circles(search* s, const tl_route_end* from, const tl_route_end* to) {
    circle starts[ENDS];
    circle goals[ENDS];
    s->from_count = list_ends(s, from->spot, from->heading_rad, from->free, starts);
    s->to_count = list_ends(s, to->spot, to->heading_rad + pi, to->free, goals);
    for (size_t i = 0; i < s->rules->wall_count; ++i)
        add_corners(s, &s->rules->walls[i]);
    s->corner_count = s->count;
    add_near_end(s, starts, s->from_count, false);
    add_near_end(s, goals, s->to_count, true);
    s->from = s->count;
    s->circles = tl_grow(s->circles, s->count + 2 * ENDS, sizeof *s->circles);
    for (size_t i = 0; i < s->from_count; ++i)
        s->circles[s->count++] = starts[i];
    for (size_t i = 0; i < s->to_count; ++i)
        s->circles[s->count++] = goals[i];
    for (size_t i = 0; i < s->count; ++i)
        s->circles[i].goal_m = to_circle_m(s->goal, &s->circles[i]);
}

static void add_spot(tl_route_way* way, tl_spot_m spot) {
    way->way = tl_grow(way->way, way->way_count + 1, sizeof *way->way);
    way->way[way->way_count++] = spot;
}

/// An arc as corners to be rounded: each of a quarter turn at most.
static void add_arc(tl_route_way* way, const circle* c, double from_rad, double by_rad) {
    if (by_rad <= no_turn_rad || c->radius_m == 0)
        return;
    size_t parts = (size_t)ceil(by_rad / (pi / 2) - 1e-9);
    double part = by_rad / (double)parts;
    double sign = c->signed_m >= 0 ? 1 : -1;
    circle outer = *c;
    outer.radius_m = c->radius_m / cos(part / 2);
    for (size_t i = 0; i < parts; ++i)
        add_spot(way, on_circle(&outer, from_rad + sign * part * ((double)i + 0.5)));
    way->bends = true;
}

static void write_way(const search* s, size_t last, tl_route_way* way) {
    size_t count = 0;
    for (size_t edge = last; edge != SIZE_MAX; edge = s->before[edge])
        ++count;
    size_t* edges = tl_new(count, sizeof *edges);
    for (size_t edge = last, i = count; i > 0; edge = s->before[edge])
        edges[--i] = edge;
    const circle* c = &s->circles[edges[0] / s->count];
    double at_rad = c->set_out_rad;
    add_spot(way, on_circle(c, at_rad));
    for (size_t i = 0; i < count; ++i) {
        const tangent* to = &s->tangents[edges[i]];
        add_arc(way, c, at_rad, turn_rad(c, at_rad, to->leaves_rad));
        c = &s->circles[edges[i] % s->count];
        at_rad = to->arrives_rad;
    }
    add_arc(way, c, at_rad, turn_rad(c, at_rad, c->set_out_rad));
    add_spot(way, on_circle(c, c->set_out_rad));
    way->length_m = s->cost_m[last];
    free(edges);
}

/// Three arcs: circles of both ends that turn alike, and one between that touches both and turns
/// the other way. `side` picks which of the two.
static bool three_arcs(const search* s, const circle* a, const circle* b, int side,
                       tl_route_way* way) {
    double r_m = s->rules->radius_m;
    double x_m = b->middle.x_m - a->middle.x_m;
    double y_m = b->middle.y_m - a->middle.y_m;
    double apart_m = hypot(x_m, y_m);
    if (a->signed_m * b->signed_m <= 0 || apart_m > 4 * r_m || apart_m < 1e-9)
        return false;
    double to_rad = atan2(y_m, x_m) + side * acos(apart_m / (4 * r_m));
    circle between = {
        .middle = {a->middle.x_m + 2 * r_m * cos(to_rad), a->middle.y_m + 2 * r_m * sin(to_rad)},
        .radius_m = r_m,
        .signed_m = -a->signed_m};
    double on_rad = atan2(b->middle.y_m - between.middle.y_m, b->middle.x_m - between.middle.x_m);
    const circle* arcs[] = {a, &between, b};
    const double from_rad[] = {a->set_out_rad, to_rad + pi, on_rad + pi};
    const double end_rad[] = {to_rad, on_rad, b->set_out_rad};
    double length_m = 0;
    for (size_t i = 0; i < 3; ++i)
        length_m += r_m * turn_rad(arcs[i], from_rad[i], end_rad[i]);
    if (way->way && length_m > way->length_m + shorter_m) // as short: it is the exact one
        return false;
    for (size_t i = 0; i < 3; ++i)
        if (!arc_is_free(s->rules, arcs[i], from_rad[i],
                         turn_rad(arcs[i], from_rad[i], end_rad[i])))
            return false;
    free(way->way);
    *way = (tl_route_way){.length_m = length_m};
    add_spot(way, on_circle(a, a->set_out_rad));
    for (size_t i = 0; i < 3; ++i)
        add_arc(way, arcs[i], from_rad[i], turn_rad(arcs[i], from_rad[i], end_rad[i]));
    add_spot(way, on_circle(b, b->set_out_rad));
    return true;
}

static void try_three_arcs(const search* s, tl_route_way* way) {
    for (size_t i = s->from; i < s->from + s->from_count; ++i)
        for (size_t j = s->from + s->from_count; j < s->count; ++j)
            for (int side = -1; side <= 1; side += 2)
                three_arcs(s, &s->circles[i], &s->circles[j], side, way);
}

/// The shortest way with all walls of the rules among the circles, if it is not longer than `most`.
static bool find_among(const tl_route_end* from, const tl_route_end* to,
                       const tl_route_rules* rules, double most_m, tl_route_way* way) {
    *way = (tl_route_way){0};
    search s = {.rules = rules, .start = from->spot, .goal = to->spot, .most_m = most_m};
    list_circles(&s, from, to);
    size_t edges = s.count * s.count;
    s.tangents = tl_new(edges, sizeof *s.tangents);
    s.cost_m = tl_new(edges, sizeof *s.cost_m);
    s.before = tl_new(edges, sizeof *s.before);
    s.state = tl_new(edges, sizeof *s.state);
    size_t last = run(&s);
    if (last != SIZE_MAX)
        write_way(&s, last, way);
    if (!from->free && !to->free)
        try_three_arcs(&s, way);
    free(s.circles);
    free(s.tangents);
    free(s.cost_m);
    free(s.before);
    free(s.state);
    free(s.heap);
    free(s.least_m);
    return way->way != NULL;
}

/// The arc that rounds a corner, and where it begins; of no size when the way goes straight on.
static circle corner_arc(tl_spot_m before, tl_spot_m corner, tl_spot_m after, double radius_m,
                         double* from_rad, double* by_rad) {
    double in_rad = atan2(corner.y_m - before.y_m, corner.x_m - before.x_m);
    double out_rad = atan2(after.y_m - corner.y_m, after.x_m - corner.x_m);
    double turn = remainder(out_rad - in_rad, 2 * pi);
    double sign = turn >= 0 ? 1 : -1;
    double tangent_m = radius_m * tan(fabs(turn) / 2);
    *from_rad = in_rad - sign * pi / 2;
    *by_rad = fabs(turn);
    return (circle){.middle = {corner.x_m - tangent_m * cos(in_rad) - radius_m * cos(*from_rad),
                               corner.y_m - tangent_m * sin(in_rad) - radius_m * sin(*from_rad)},
                    .radius_m = radius_m,
                    .signed_m = sign * radius_m};
}

/// Whether a way goes through a wall.
static bool meets(const tl_route_way* way, double radius_m, const tl_area_m* wall) {
    tl_route_rules alone = {.walls = wall, .wall_count = 1};
    tl_spot_m at = way->way[0];
    for (size_t i = 1; i + 1 < way->way_count; ++i) {
        double from_rad = 0;
        double by_rad = 0;
        circle arc =
            corner_arc(way->way[i - 1], way->way[i], way->way[i + 1], radius_m, &from_rad, &by_rad);
        if (crosses(wall, at, on_circle(&arc, from_rad)) ||
            !arc_is_free(&alone, &arc, from_rad, by_rad))
            return true;
        at = on_circle(&arc, from_rad + (arc.signed_m > 0 ? by_rad : -by_rad));
    }
    return crosses(wall, at, way->way[way->way_count - 1]);
}

/// Finds a way beginning without walls, and takes in those that what was found goes through until
/// it goes through none. `*straight`: there was nothing in its way, so it is the shortest there is.
static bool find_lazily(const tl_route_end* from, const tl_route_end* to,
                        const tl_route_rules* rules, tl_route_way* way, bool* straight) {
    bool* taken = tl_new(rules->wall_count + 1, sizeof *taken);
    tl_area_m* walls = tl_new(rules->wall_count + 1, sizeof *walls);
    tl_route_rules few = *rules;
    few.walls = walls;
    few.wall_count = 0;
    bool found = false;
    for (bool more = true; more;) {
        found = find_among(from, to, &few, INFINITY, way);
        more = false;
        for (size_t i = 0; found && i < rules->wall_count; ++i)
            if (!taken[i] && meets(way, rules->radius_m, &rules->walls[i])) {
                taken[i] = true;
                walls[few.wall_count++] = rules->walls[i];
                more = true;
            }
        if (more) {
            free(way->way);
            *way = (tl_route_way){0};
        }
    }
    *straight = found && few.wall_count == 0;
    free(taken);
    free(walls);
    return found;
}

/// The walls that a way of at most a length can come to: its two ends are nearer together by them
/// than that.
static size_t list_near(const tl_route_end* from, const tl_route_end* to,
                        const tl_route_rules* rules, double length_m, tl_area_m* near) {
    size_t count = 0;
    for (size_t i = 0; i < rules->wall_count; ++i)
        if (apart_m(from->spot, &rules->walls[i]) + apart_m(to->spot, &rules->walls[i]) <= length_m)
            near[count++] = rules->walls[i];
    return count;
}

/// Most boxes are in no lead's way, so one is looked for first without any. A way found among some
/// walls need not be the shortest, since a lead may turn around others: the search is repeated with
/// all that a shorter way could come to.
bool tl_route_find(const tl_route_end* from, const tl_route_end* to, const tl_route_rules* rules,
                   tl_route_way* way) {
    bool straight = false;
    bool found = find_lazily(from, to, rules, way, &straight);
    if (straight)
        return true;
    tl_area_m* near = tl_new(rules->wall_count + 1, sizeof *near);
    tl_route_rules all = *rules;
    all.walls = near;
    all.wall_count = list_near(from, to, rules, found ? way->length_m : INFINITY, near);
    tl_route_way other = {0};
    double most_m = found ? way->length_m - shorter_m : INFINITY;
    if (find_among(from, to, &all, most_m, &other) && (!found || other.length_m < way->length_m)) {
        free(way->way);
        *way = other;
        found = true;
    } else {
        free(other.way);
    }
    free(near);
    return found;
}

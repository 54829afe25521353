// SPDX-License-Identifier: GPL-3.0-or-later
// Ways of leads against cases worked out by hand, and against their own rules on boards drawn at
// random: what the corners round to is walked and measured here without the code that found it.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/random.h"
#include "rig/route.h"

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>

static const double pi = 3.14159265358979323846;

static tl_route_end end_at(double x_m, double y_m, double degrees) {
    return (tl_route_end){.spot = {x_m, y_m}, .heading_rad = degrees * pi / 180};
}

static tl_route_end free_at(double x_m, double y_m) {
    return (tl_route_end){.spot = {x_m, y_m}, .free = true};
}

static tl_route_way find(tl_route_end from, tl_route_end to, const tl_area_m* walls, size_t count,
                         double radius_m) {
    tl_route_rules rules = {.walls = walls, .wall_count = count, .radius_m = radius_m};
    tl_route_way way = {0};
    assert_true(tl_route_find(&from, &to, &rules, &way));
    assert_true(way.way_count >= 2);
    return way;
}

static void is_long(tl_route_way way, double length_m) {
    if (!(fabs(way.length_m - length_m) < 1e-9)) // so that no number at all fails too
        fail_msg("a way of %.12g m, not %.12g m", way.length_m, length_m);
    free(way.way);
}

static void is_spot(tl_spot_m spot, double x_m, double y_m) {
    assert_true(hypot(spot.x_m - x_m, spot.y_m - y_m) < 1e-9);
}

// Two plugs that look at each other, 20 cm apart: a straight lead.
static void straight(void** state) {
    (void)state;
    tl_route_way way = find(end_at(0, 0, 0), end_at(0.2, 0, 180), NULL, 0, 0.02);
    assert_int_equal(way.way_count, 2);
    assert_false(way.bends);
    is_long(way, 0.2);
}

// Out to the right, into a plug that looks to the front. Where that is one radius on and one back,
// it is a quarter of a circle. 10 cm on and 8 cm back at a radius of 2 cm, the middles of the two
// circles lie 8 cm and 6 cm apart: the straight piece is 10 cm, and the arcs come to a quarter.
static void l_run(void** state) {
    (void)state;
    tl_route_way one = find(end_at(0, 0, 0), end_at(0.02, 0.02, -90), NULL, 0, 0.02);
    assert_int_equal(one.way_count, 3);
    assert_true(one.bends);
    is_spot(one.way[1], 0.02, 0); // the corner that is rounded
    is_long(one, pi / 2 * 0.02);
    tl_route_way two = find(end_at(0, 0, 0), end_at(0.1, 0.08, -90), NULL, 0, 0.02);
    assert_int_equal(two.way_count, 4);
    is_long(two, 0.1 + pi / 2 * 0.02);
}

// A box between that leaves a lane of its own width beside it: out along its front, one quarter
// around its corner, back along its side. The lines along its sides lie r (1 - 1/sqrt 2) off it.
static void l_around_a_box(void** state) {
    (void)state;
    double r = 0.02;
    double off = r * (1 - 1 / sqrt(2));
    tl_area_m wall = {{0, off}, {0.1, 0.2}};
    tl_route_way way = find(end_at(0, 0, 0), end_at(0.1 + off, 0.15, -90), &wall, 1, r);
    assert_int_equal(way.way_count, 3);
    is_spot(way.way[1], 0.1 + off, 0);
    is_long(way, (0.1 + off - r) + (0.15 - r) + pi / 2 * r);
}

// Both plugs look to the back. 4 cm apart at a radius of 2 cm: half a circle; 6 cm: two quarters
// and 2 cm between.
static void u_turn(void** state) {
    (void)state;
    tl_route_way half = find(end_at(0, 0, 90), end_at(0.04, 0, 90), NULL, 0, 0.02);
    assert_int_equal(half.way_count, 4); // two corners of a quarter each
    is_spot(half.way[1], 0, 0.02);
    is_spot(half.way[2], 0.04, 0.02);
    is_long(half, pi * 0.02);
    is_long(find(end_at(0, 0, 90), end_at(0.06, 0, 90), NULL, 0, 0.02), pi * 0.02 + 0.02);
}

// Nearer than two radii the lead has to swing out: three arcs. The middles of the outer ones lie
// w + 2 r apart, each 2 r from that of the middle one, so they turn by a = acos((w + 2r) / 4r), and
// the middle one by half a turn and 2 a: r (pi + 4 a) in all.
static void swings_out(void** state) {
    (void)state;
    for (double w = 0.005; w < 0.04; w += 0.005) {
        double a = acos((w + 0.04) / 0.08);
        is_long(find(end_at(0, 0, 90), end_at(w, 0, 90), NULL, 0, 0.02), 0.02 * (pi + 4 * a));
    }
}

// One radius is a chord's length past: an S between two parallel lines. Each arc turns by
// t = atan2-free geometry: the middles lie (x, y) apart with 2 r between turned sides, so the
// straight piece is sqrt(x^2 + y^2 - 4 r^2) long.
static void s_run(void** state) {
    (void)state;
    // Out to the right at the origin, in to the right at (0.1, 0.06). Middles: (0, r), (0.1, 0.06 -
    // r).
    double r = 0.02;
    double x = 0.1;
    double y = 0.06 - 2 * r;
    double piece = sqrt(x * x + y * y - 4 * r * r);
    double turn = atan2(y, x) + asin(2 * r / hypot(x, y));
    is_long(find(end_at(0, 0, 0), end_at(0.1, 0.06, 180), NULL, 0, r), piece + 2 * r * turn);
}

// Around a box between two free ends, symmetric: up to its near corner, along its back, down again.
// It is flat enough for circles that touch the back at its corners: their middles lie r before
// those; from an end d away from a middle the tangent is sqrt(d^2 - r^2) long. The way turns by
// twice the slope of the tangents.
static void around_a_box(void** state) {
    (void)state;
    tl_area_m wall = {{0.05, -0.2}, {0.15, 0.03}};
    double r = 0.02;
    double x = 0.05;
    double y = 0.03 - r;
    double d = hypot(x, y);
    double tangent = sqrt(d * d - r * r);
    double slope = atan2(y, x) + asin(r / d);
    tl_route_way way = find(free_at(0, 0), free_at(0.2, 0), &wall, 1, r);
    assert_int_equal(way.way_count, 4);
    is_long(way, 2 * tangent + 2 * r * slope + (0.2 - 2 * x));
    // The front is nearer once the back reaches 30 cm.
    wall.high.y_m = 0.3;
    way = find(free_at(0, 0), free_at(0.2, 0), &wall, 1, r);
    assert_true(way.way[1].y_m < -0.2);
    free(way.way);
}

// A way that passes a corner without being turned by it is left alone.
static void past_a_box(void** state) {
    (void)state;
    tl_area_m wall = {{0.05, 0.001}, {0.15, 0.1}};
    is_long(find(end_at(0, 0, 0), end_at(0.2, 0, 180), &wall, 1, 0.02), 0.2);
    wall.low.y_m = 0; // and one it touches is not in its way either
    is_long(find(end_at(0, 0, 0), end_at(0.2, 0, 180), &wall, 1, 0.02), 0.2);
}

static void no_way(void** state) {
    (void)state;
    const tl_area_m ring[] = {{{-0.1, 0.05}, {0.1, 0.06}},
                              {{-0.1, -0.06}, {0.1, -0.05}},
                              {{-0.1, -0.06}, {-0.05, 0.06}},
                              {{0.05, -0.06}, {0.1, 0.06}}};
    tl_route_rules rules = {.walls = ring, .wall_count = 4, .radius_m = 0.01};
    tl_route_end from = free_at(0, 0);
    tl_route_end to = free_at(0.3, 0);
    tl_route_way way = {0};
    assert_false(tl_route_find(&from, &to, &rules, &way));
    assert_null(way.way);
    rules.wall_count = 3; // open to the right
    assert_true(tl_route_find(&from, &to, &rules, &way));
    is_long(way, 0.3);
}

// Inside of a border there is only the way round the other side.
static void within(void** state) {
    (void)state;
    const tl_area_m wall = {{0.05, -0.01}, {0.15, 0.1}};
    const tl_area_m border = {{0, 0.002}, {0.2, 0.2}};
    tl_route_rules rules = {.walls = &wall, .wall_count = 1, .radius_m = 0.01};
    tl_route_end from = free_at(0.01, 0.05);
    tl_route_end to = free_at(0.19, 0.05);
    tl_route_way way = {0};
    assert_true(tl_route_find(&from, &to, &rules, &way));
    assert_true(way.way[1].y_m > 0.1);
    free(way.way);
    rules.walls = &(tl_area_m){{0.05, 0.001}, {0.15, 0.1}};
    assert_true(tl_route_find(&from, &to, &rules, &way));
    assert_true(way.way[1].y_m < 0.001);
    free(way.way);
    rules.within = &border;
    assert_true(tl_route_find(&from, &to, &rules, &way));
    assert_true(way.way[1].y_m > 0.1);
    free(way.way);
    rules.within = &(tl_area_m){{0, 0}, {0.2, 0.2}}; // a lane as thin as a hair is one
    assert_true(tl_route_find(&from, &to, &rules, &way));
    assert_true(way.way[1].y_m < 0.001);
    free(way.way);
    rules.within = &(tl_area_m){{0, 0.002}, {0.2, 0.099}};
    assert_false(tl_route_find(&from, &to, &rules, &way));
    // Half a circle of 20 mm swings out by that much: a border at 21 mm leaves it, one at 19 mm
    // not.
    rules = (tl_route_rules){.within = &(tl_area_m){{-0.1, -0.1}, {0.1, 0.021}}, .radius_m = 0.02};
    from = end_at(0, 0, 90);
    to = end_at(0.04, 0, 90);
    assert_true(tl_route_find(&from, &to, &rules, &way));
    is_long(way, pi * 0.02);
    rules.within = &(tl_area_m){{-0.1, -0.1}, {0.1, 0.019}};
    bool found = tl_route_find(&from, &to, &rules, &way);
    assert_true(!found || way.length_m > pi * 0.02 + 1e-6);
    free(way.way);
}

// From the right side of one box to the right of another, bent plugs: the shorter of the two ways
// its own can look.
static double bent_m(double room_m, double at_m, double r) {
    const tl_area_m walls[] = {{{0.3975, 0.0275}, {0.4725, 0.1525}},
                               {{0.0975, 0.1475}, {0.1725, 0.2725}}};
    const tl_area_m border = {{0.0025, 0.0025}, {0.5975, 0.2975}};
    tl_route_rules rules = {.walls = walls, .wall_count = 2, .within = &border, .radius_m = r};
    double least_m = INFINITY;
    for (int turn = -90; turn <= 90; turn += 180) {
        tl_route_end from = end_at(0.47 + room_m / 2, 0.03 + at_m, turn);
        tl_route_end to = end_at(0.1765, 0.21, -90);
        tl_route_way way = {0};
        if (tl_route_find(&from, &to, &rules, &way))
            least_m = fmin(least_m, way.length_m);
        free(way.way);
    }
    return least_m;
}

static void is_steady(double* before_m, double now_m, double by_m) {
    assert_true(isfinite(now_m));
    if (fabs(now_m - *before_m) > by_m)
        fail_msg("from %.6g to %.6g m by one step", *before_m, now_m);
    *before_m = now_m;
}

// Nothing closes while a plug gets shorter, a jack moves or a lead gets stiffer, so no length
// jumps: not even where the lead begins within the circle that leans on its own box's corner.
static void no_jumps(void** state) {
    (void)state;
    double by_room_m = bent_m(0.01, 0.08, 0.015);
    double by_bend_m = bent_m(0.013, 0.08, 0.0105);
    double by_place_m = bent_m(0.013, 0.02, 0.015);
    for (int i = 1; i <= 100; ++i) {
        is_steady(&by_room_m, bent_m(0.01 + 1e-4 * i, 0.08, 0.015), 5e-4);
        is_steady(&by_bend_m, bent_m(0.013, 0.08, 0.0105 + 7.5e-5 * i), 5e-4);
        is_steady(&by_place_m, bent_m(0.013, 0.02 + 8e-4 * i, 0.015), 1.7e-3);
    }
}

// A lane with room to turn round between its sides: a search over a lattice of places and headings,
// 3 mm and 5 degrees apart, found a way of 276.7 mm, which turns at no corner.
static void turns_in_a_lane(void** state) {
    (void)state;
    const tl_area_m walls[] = {
        {{0.02107, 0.00385}, {0.07872, 0.08635}}, {{0.14105, 0.00658}, {0.19888, 0.12291}},
        {{0.23382, 0.00103}, {0.29276, 0.11144}}, {{0.02342, 0.15743}, {0.07439, 0.27134}},
        {{0.12611, 0.14788}, {0.19456, 0.24725}}, {{0.22637, 0.13277}, {0.27812, 0.24622}}};
    tl_route_way way =
        find(end_at(0.1278, 0.0188, 90), end_at(0.2153, 0.1874, 90), walls, 6, 0.0117);
    assert_true(way.length_m < 0.2768);
    free(way.way);
}

// One step of a walk along a way, and what it may not enter.
typedef struct {
    const tl_area_m* walls;
    size_t count;
    double length_m;
    tl_spot_m at;
} walk;

static void step_to(walk* w, tl_spot_m to) {
    for (size_t i = 0; i < w->count; ++i) {
        const tl_area_m* wall = &w->walls[i];
        double in_m = fmin(fmin(to.x_m - wall->low.x_m, wall->high.x_m - to.x_m),
                           fmin(to.y_m - wall->low.y_m, wall->high.y_m - to.y_m));
        if (in_m > 0.1e-3)
            fail_msg("%.3g mm into wall %zu at %g, %g", 1e3 * in_m, i, to.x_m, to.y_m);
    }
    w->length_m += hypot(to.x_m - w->at.x_m, to.y_m - w->at.y_m);
    w->at = to;
}

static void walk_straight(walk* w, tl_spot_m to) {
    tl_spot_m from = w->at;
    for (int i = 1; i <= 50; ++i)
        step_to(w, (tl_spot_m){from.x_m + (to.x_m - from.x_m) * i / 50,
                               from.y_m + (to.y_m - from.y_m) * i / 50});
}

// Rounds a corner: the arc begins r tan(t/2) before it, t being the turn.
static void walk_corner(walk* w, tl_spot_m before, tl_spot_m corner, tl_spot_m after, double r) {
    double in_m = hypot(corner.x_m - before.x_m, corner.y_m - before.y_m);
    double out_m = hypot(after.x_m - corner.x_m, after.y_m - corner.y_m);
    double in_rad = atan2(corner.y_m - before.y_m, corner.x_m - before.x_m);
    double out_rad = atan2(after.y_m - corner.y_m, after.x_m - corner.x_m);
    double turn = remainder(out_rad - in_rad, 2 * pi);
    double tangent_m = r * tan(fabs(turn) / 2);
    assert_true(fabs(turn) < pi / 2 + 1e-6);
    assert_true(tangent_m < in_m + 1e-7 && tangent_m < out_m + 1e-7);
    walk_straight(
        w, (tl_spot_m){corner.x_m - tangent_m * cos(in_rad), corner.y_m - tangent_m * sin(in_rad)});
    double side = turn > 0 ? 1 : -1;
    tl_spot_m middle = {w->at.x_m - side * r * sin(in_rad), w->at.y_m + side * r * cos(in_rad)};
    for (int i = 1; i <= 40; ++i) {
        double rad = in_rad + turn * i / 40 - side * pi / 2;
        step_to(w, (tl_spot_m){middle.x_m + r * cos(rad), middle.y_m + r * sin(rad)});
    }
}

// Walks a way from end to end and holds it against its rules and what it says of itself.
static void walk_way(const tl_route_way* way, const tl_area_m* walls, size_t count, double r,
                     const tl_route_end* from, const tl_route_end* to) {
    walk w = {walls, count, 0, from->spot};
    is_spot(way->way[0], from->spot.x_m, from->spot.y_m);
    is_spot(way->way[way->way_count - 1], to->spot.x_m, to->spot.y_m);
    double out_rad = atan2(way->way[1].y_m - way->way[0].y_m, way->way[1].x_m - way->way[0].x_m);
    assert_true(fabs(remainder(out_rad - from->heading_rad, 2 * pi)) < 1e-6);
    for (size_t i = 1; i + 1 < way->way_count; ++i)
        walk_corner(&w, way->way[i - 1], way->way[i], way->way[i + 1], r);
    walk_straight(&w, to->spot);
    assert_true(fabs(w.length_m - way->length_m) < 2e-4 * way->length_m);
}

// Three boards' worth of boxes at random, ends that look out of the first and the last: whatever is
// found keeps its rules, is found again the other way round, and is no shorter than without boxes.
static void random_boards(void** state) {
    (void)state;
    uint32_t drawn = 0;
    size_t found = 0;
    for (size_t trial = 0; trial < 150; ++trial) {
        tl_area_m walls[6];
        for (size_t i = 0; i < 6; ++i) {
            double x_m = 0.14 * (double)(i % 3) + 0.05 * tl_random_uniform(7, 1, drawn++);
            double y_m = 0.16 * (double)(i / 3) + 0.03 * tl_random_uniform(7, 1, drawn++);
            walls[i] = (tl_area_m){{x_m, y_m}, {x_m + 0.07, y_m + 0.12}};
        }
        double r = 0.005 + 0.015 * tl_random_uniform(7, 1, drawn++);
        tl_route_end from = end_at(walls[0].low.x_m - 0.007, walls[0].low.y_m + 0.06,
                                   tl_random_uniform(7, 1, drawn++) < 0.5 ? 90 : -90);
        tl_route_end to = end_at(walls[5].low.x_m - 0.007, walls[5].low.y_m + 0.06,
                                 tl_random_uniform(7, 1, drawn++) < 0.5 ? 90 : -90);
        tl_route_rules rules = {.walls = walls, .wall_count = 6, .radius_m = r};
        tl_route_way way = {0};
        if (!tl_route_find(&from, &to, &rules, &way))
            continue;
        ++found;
        walk_way(&way, walls, 6, r, &from, &to);
        tl_route_way back = {0};
        assert_true(tl_route_find(&to, &from, &rules, &back));
        assert_true(fabs(back.length_m - way.length_m) < 1e-9);
        tl_route_way open = find(from, to, NULL, 0, r);
        assert_true(open.length_m < way.length_m + 1e-9);
        free(open.way);
        free(back.way);
        free(way.way);
    }
    assert_true(found > 100);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(straight),       cmocka_unit_test(l_run),
        cmocka_unit_test(l_around_a_box), cmocka_unit_test(u_turn),
        cmocka_unit_test(swings_out),     cmocka_unit_test(s_run),
        cmocka_unit_test(around_a_box),   cmocka_unit_test(past_a_box),
        cmocka_unit_test(no_way),         cmocka_unit_test(within),
        cmocka_unit_test(no_jumps),       cmocka_unit_test(turns_in_a_lane),
        cmocka_unit_test(random_boards),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

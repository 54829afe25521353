// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build_fixture.h A board made by hand, our own invention: sizes are round so that paper and
/// pencil tell where each thing must stand on a sheet.
#ifndef TL_TESTS_BUILD_FIXTURE_H
#define TL_TESTS_BUILD_FIXTURE_H

#include "base/text.h"
#include "toneload/build.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>

static inline tl_build_box* fixture_box(tl_build* build, const char* name, double left_mm,
                                        double front_mm, double width_mm, double depth_mm) {
    build->boxes = tl_grow(build->boxes, build->box_count + 1, sizeof *build->boxes);
    tl_build_box* box = &build->boxes[build->box_count++];
    *box = (tl_build_box){.name = tl_copy(name),
                          .kind = "pedal",
                          .left_m = left_mm / 1000,
                          .front_m = front_mm / 1000,
                          .width_m = width_mm / 1000,
                          .depth_m = depth_mm / 1000,
                          .height_m = NAN,
                          .weight_kg = NAN};
    return box;
}

/// An end in a side of a box, `at_mm` from its front or left edge, its plug 20 by 14 mm.
static inline tl_build_end fixture_end(const tl_build* build, size_t box, tl_side side,
                                       double at_mm, const char* words) {
    const tl_build_box* of = &build->boxes[box];
    tl_build_end end = {.name = tl_printf("%s %s", of->name, words),
                        .box = box,
                        .side = side,
                        .plug = tl_copy("flat"),
                        .room_m = 0.02,
                        .body_m = 0.014};
    double out_x = side == TL_SIDE_LEFT ? -1 : side == TL_SIDE_RIGHT ? 1 : 0;
    double out_y = side == TL_SIDE_FRONT ? -1 : side == TL_SIDE_BACK ? 1 : 0;
    end.jack.x_m = of->left_m + (out_x < 0 ? 0 : out_x > 0 ? of->width_m : at_mm / 1000);
    end.jack.y_m = of->front_m + (out_y < 0 ? 0 : out_y > 0 ? of->depth_m : at_mm / 1000);
    double half_x = out_x != 0 ? 0.01 : 0.007, half_y = out_x != 0 ? 0.007 : 0.01;
    tl_spot_m middle = {end.jack.x_m + 0.01 * out_x, end.jack.y_m + 0.01 * out_y};
    end.low = (tl_spot_m){middle.x_m - half_x, middle.y_m - half_y};
    end.high = (tl_spot_m){middle.x_m + half_x, middle.y_m + half_y};
    end.leaves = (tl_spot_m){end.jack.x_m + 0.02 * out_x, end.jack.y_m + 0.02 * out_y};
    return end;
}

static inline tl_build_end fixture_away(const char* name) {
    return (tl_build_end){.name = tl_copy(name),
                          .box = TL_BUILD_NONE,
                          .plug = tl_copy(""),
                          .low = {NAN, NAN},
                          .high = {NAN, NAN},
                          .room_m = NAN,
                          .body_m = NAN};
}

/// A lead; its way runs from plug to plug by `corners` given as x, y in mm.
static inline tl_build_lead* fixture_lead(tl_build* build, const char* kind, tl_build_end from,
                                          tl_build_end to, size_t corners, ...) {
    build->leads = tl_grow(build->leads, build->lead_count + 1, sizeof *build->leads);
    tl_build_lead* lead = &build->leads[build->lead_count++];
    *lead = (tl_build_lead){.number = build->lead_count,
                            .kind = kind,
                            .path = tl_copy(""),
                            .type = tl_copy("patch"),
                            .from = from,
                            .to = to,
                            .on_board = from.box != TL_BUILD_NONE && to.box != TL_BUILD_NONE,
                            .route_m = NAN,
                            .slack_m = NAN,
                            .length_m = 0.3,
                            .cut_m = 0.32,
                            .stated_m = NAN,
                            .diameter_m = 0.004,
                            .bend_m = 0.02,
                            .bend_least_m = 0.02,
                            .farad = NAN,
                            .loop_ohm = NAN};
    if (!lead->on_board)
        return lead;
    lead->way_count = corners + 2;
    lead->way = tl_new(lead->way_count, sizeof *lead->way);
    lead->way[0] = from.leaves;
    lead->way[corners + 1] = to.leaves;
    va_list args;
    va_start(args, corners);
    for (size_t i = 1; i <= corners; ++i) {
        lead->way[i].x_m = va_arg(args, double) / 1000;
        lead->way[i].y_m = va_arg(args, double) / 1000;
    }
    va_end(args);
    return lead;
}

static inline void fixture_finding(tl_build* build, tl_build_gravity gravity, const char* kind,
                                   const char* words, size_t box, size_t other, size_t lead,
                                   size_t other_lead) {
    build->findings = tl_grow(build->findings, build->finding_count + 1, sizeof *build->findings);
    build->findings[build->finding_count++] =
        (tl_build_finding){gravity, kind, box, other, lead, other_lead, tl_copy(words)};
}

/// 600 by 320 mm: three pedals in the front row from the right, two behind, a supply below the
/// deck.
static inline tl_build* fixture_build(const char* title) {
    tl_build* build = tl_new(1, sizeof *build);
    *build = (tl_build){.rig = tl_copy(title), .width_m = 0.6, .depth_m = 0.32, .weight_kg = NAN};
    fixture_box(build, "tuner", 500, 30, 70, 120);
    fixture_box(build, "compressor", 380, 30, 70, 120);
    fixture_box(build, "drive", 260, 30, 70, 120);
    fixture_box(build, "delay", 100, 30, 110, 130);
    fixture_box(build, "out buffer", 30, 200, 60, 38);
    tl_build_box* supply = fixture_box(build, "brick", 230, 190, 180, 90);
    supply->kind = "supply";
    supply->under = true;
    const tl_side left = TL_SIDE_LEFT, right = TL_SIDE_RIGHT, back = TL_SIDE_BACK;
    fixture_lead(build, "audio", fixture_away("guitar"), fixture_end(build, 0, right, 70, "in"), 0);
    fixture_lead(build, "audio", fixture_end(build, 0, left, 70, "out"),
                 fixture_end(build, 1, right, 80, "in"), 2, 477.0, 100.0, 477.0, 110.0);
    fixture_lead(build, "audio", fixture_end(build, 1, left, 80, "out"),
                 fixture_end(build, 2, right, 80, "in"), 0);
    fixture_lead(build, "audio", fixture_end(build, 2, left, 80, "out"),
                 fixture_end(build, 3, right, 80, "in"), 0);
    fixture_lead(build, "audio", fixture_end(build, 3, left, 80, "out"),
                 fixture_end(build, 4, right, 20, "in"), 4, 60.0, 110.0, 60.0, 170.0, 130.0, 170.0,
                 130.0, 220.0);
    fixture_lead(build, "audio", fixture_end(build, 4, left, 20, "out"), fixture_away("amp"), 0);
    for (size_t i = 0; i < 4; ++i) {
        tl_build_end from = fixture_end(build, 5, TL_SIDE_FRONT, 30 + 30 * (double)i, "1");
        tl_build_end to = fixture_end(build, 3 - i, back, 25, "power");
        double from_mm = from.leaves.x_m * 1000, to_mm = to.leaves.x_m * 1000;
        fixture_lead(build, "dc", from, to, 2, from_mm, 180.0, to_mm, 180.0);
    }
    return build;
}

static inline void fixture_free(tl_build* build) {
    for (size_t i = 0; i < build->box_count; ++i)
        free(build->boxes[i].name);
    for (size_t i = 0; i < build->lead_count; ++i) {
        tl_build_lead* lead = &build->leads[i];
        tl_build_end* ends[] = {&lead->from, &lead->to};
        for (size_t k = 0; k < 2; ++k) {
            free(ends[k]->name);
            free(ends[k]->plug);
        }
        free(lead->path);
        free(lead->type);
        free(lead->way);
    }
    for (size_t i = 0; i < build->finding_count; ++i)
        free(build->findings[i].words);
    free(build->boxes);
    free(build->leads);
    free(build->findings);
    free(build->rig);
    free(build);
}

#endif

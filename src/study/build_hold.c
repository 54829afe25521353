// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/build_hold.h"

#include "base/quantity.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>

/// Force is strength times area; what it takes is mass times acceleration, in units of standard
/// gravity.
void tl_hold_work_out(tl_build_hold* hold, double weight_kg, double acceleration_g) {
    hold->force_n = hold->area_m2 * hold->strength_pa;
    hold->needed_n = weight_kg * acceleration_g * TL_STANDARD_GRAVITY;
    hold->factor = hold->force_n / hold->needed_n;
    hold->least_area_m2 = hold->least_factor * hold->needed_n / hold->strength_pa;
    hold->most_area_m2 = hold->pull_n / hold->strength_pa;
}

static tl_build_finding about_box(tl_build_gravity gravity, size_t box) {
    return (tl_build_finding){.gravity = gravity,
                              .kind = "fastening",
                              .box = box,
                              .other = TL_BUILD_NONE,
                              .lead = TL_BUILD_NONE,
                              .other_lead = TL_BUILD_NONE};
}

static const char* name_of(const tl_build_hold* hold) {
    return *hold->fastener ? hold->fastener : "its fastener";
}

static void judge_too_little(tl_build* build, const tl_build_hold* hold) {
    const tl_build_box* box = &build->boxes[hold->box];
    char* rest =
        hold->least_area_m2 > box->width_m * box->depth_m
            ? tl_printf("%.3g cm2 would do, more than its bottom has: take something stronger",
                        1e4 * hold->least_area_m2)
            : tl_printf("%.3g cm2 would do", 1e4 * hold->least_area_m2);
    tl_build_find(build, about_box(TL_BUILD_ERROR, hold->box),
                  "'%s' may come off: %.4g cm2 of %s hold %.3g N, and %.3g kg take %.3g N at %.3g "
                  "g: that is %.2g "
                  "times as much, and %.3g times are asked for; %s.",
                  box->name, 1e4 * hold->area_m2, name_of(hold), hold->force_n, box->weight_kg,
                  hold->needed_n, build->acceleration_g, hold->factor, hold->least_factor, rest);
    free(rest);
}

static void judge_too_much(tl_build* build, const tl_build_hold* hold) {
    const tl_build_box* box = &build->boxes[hold->box];
    bool known = !isnan(hold->least_area_m2);
    bool possible = known && hold->least_area_m2 <= hold->most_area_m2;
    char* rest = !known     ? tl_printf("at most %.3g cm2", 1e4 * hold->most_area_m2)
                 : possible ? tl_printf("%.3g to %.3g cm2 hold it and still let go of it",
                                        1e4 * hold->least_area_m2, 1e4 * hold->most_area_m2)
                            : tl_copy("no area both holds it and lets go of it: fix it with a "
                                      "bracket, or a strap over it");
    tl_build_find(build, about_box(TL_BUILD_NOTE, hold->box),
                  "'%s' %s: %.4g cm2 of %s let go at %.3g N when lifted straight off, "
                  "and the housing is reckoned to stand %.3g N%s; %s. Peel it up from one edge, "
                  "which takes far less, and lift by its base, not by its lid.",
                  box->name, box->thin ? "has a thin housing" : "says what its housing stands",
                  1e4 * hold->area_m2, name_of(hold), hold->force_n, hold->pull_n,
                  hold->pull_assumed ? " (our figure, nobody stated one)" : "", rest);
    free(rest);
}

void tl_hold_judge(tl_build* build, const tl_build_hold* hold) {
    if (hold->factor < hold->least_factor * (1 - 1e-9))
        judge_too_little(build, hold);
    if (hold->force_n > hold->pull_n * (1 + 1e-9))
        judge_too_much(build, hold);
}

/// The area of fastener under something: as stated, or a share of its bottom; NAN: not said.
static double area_of(const tl_build_work* w, const tl_placed* placed) {
    double cover =
        tl_part_number(placed->part, "cover", tl_part_number(w->board->part, "cover", NAN));
    return tl_part_number(placed->part, "area", cover * placed->width_m * placed->depth_m);
}

static tl_build_hold hold_of(const tl_build_work* w, const tl_placed* placed, size_t box) {
    const tl_part* fastener = placed->fastener ? placed->fastener : w->board->fastener;
    const tl_value* pull = tl_part_value(placed->part, "pull");
    bool thin = w->build->boxes[box].thin;
    tl_build_hold hold = {.box = box,
                          .fastener =
                              tl_copy(fastener && fastener->library ? fastener->library : ""),
                          .area_m2 = area_of(w, placed),
                          .strength_pa = fastener ? tl_part_number(fastener, "strength", NAN) : NAN,
                          .least_factor = tl_part_number(w->board->part, "factor", TL_HOLD_FACTOR),
                          .pull_n = pull->given ? pull->number
                                    : thin      ? TL_HOLD_PULL_N
                                                : NAN,
                          .pull_assumed = !pull->given && thin};
    tl_hold_work_out(&hold, w->build->boxes[box].weight_kg, w->build->acceleration_g);
    return hold;
}

/// Adds one note that names all boxes of which something is missing.
static void find_missing(tl_build* build, bool (*lacks)(const tl_build_hold*), const char* one,
                         const char* more) {
    tl_text names = {0};
    size_t count = 0;
    size_t first = TL_BUILD_NONE;
    for (size_t i = 0; i < build->hold_count; ++i) {
        const tl_build_hold* hold = &build->holds[i];
        if (!lacks(hold))
            continue;
        tl_text_addf(&names, "%s'%s'", count++ ? ", " : "", build->boxes[hold->box].name);
        first = first == TL_BUILD_NONE ? hold->box : first;
    }
    if (count)
        tl_build_find(build, about_box(TL_BUILD_NOTE, count == 1 ? first : TL_BUILD_NONE),
                      "%s: %s.", tl_text_get(&names), count == 1 ? one : more);
    tl_text_free(&names);
}

static bool lacks_weight(const tl_build_hold* hold) {
    return !isnan(hold->force_n) && isnan(hold->needed_n);
}

static bool lacks_fastening(const tl_build_hold* hold) {
    return isnan(hold->strength_pa) && isnan(hold->area_m2);
}

static bool lacks_area(const tl_build_hold* hold) {
    return !isnan(hold->strength_pa) && isnan(hold->area_m2);
}

static bool lacks_strength(const tl_build_hold* hold) {
    return isnan(hold->strength_pa) && !isnan(hold->area_m2);
}

void tl_build_hold_all(tl_build_work* w) {
    tl_build* build = w->build;
    const tl_value* acceleration = tl_part_value(w->board->part, "acceleration");
    build->acceleration_assumed = !acceleration->given;
    build->acceleration_g = acceleration->given ? acceleration->number : TL_HOLD_ACCELERATION_G;
    bool said = false;
    build->holds = tl_new(w->board->count + 1, sizeof *build->holds);
    for (size_t i = 0; i < w->board->count; ++i) {
        const tl_placed* placed = &w->board->placed[i];
        if (w->boxes[i] == TL_BUILD_NONE)
            continue;
        tl_build_hold* hold = &build->holds[build->hold_count++];
        *hold = hold_of(w, placed, w->boxes[i]);
        said = said || !isnan(hold->area_m2) || !isnan(hold->strength_pa);
        tl_hold_judge(build, hold);
    }
    if (said) {
        find_missing(build, lacks_weight,
                     "no weight is stated, so whether its fastener holds it cannot be said",
                     "no weight is stated, so whether their fastener holds them cannot be said");
        find_missing(build, lacks_fastening,
                     "what holds it is not said: expected a 'fastener', and its 'area' or 'cover'",
                     "what holds them is not said: expected a 'fastener', and its 'area' or "
                     "'cover'");
        find_missing(build, lacks_area,
                     "how much fastener is under it is not said: expected 'area' or 'cover'",
                     "how much fastener is under them is not said: expected 'area' or 'cover'");
        find_missing(build, lacks_strength,
                     "which fastener is under it is not said: expected 'fastener'",
                     "which fastener is under them is not said: expected 'fastener'");
        return;
    }
    for (size_t i = 0; i < build->hold_count; ++i)
        free(build->holds[i].fastener);
    build->hold_count = 0;
}

void tl_hold_assume(tl_build_work* w) {
    tl_build* build = w->build;
    bool pull = false;
    for (size_t i = 0; i < build->hold_count; ++i)
        pull = pull || build->holds[i].pull_assumed;
    if (build->hold_count && build->acceleration_assumed)
        tl_build_take(build, tl_printf("What stands on the board is moved at up to %.3g times "
                                       "gravity on its way (from memory: rough handling).",
                                       build->acceleration_g));
    if (build->hold_count && !tl_part_has(w->board->part, "factor"))
        tl_build_take(build, tl_printf("A fastener has to hold %.3g times that (from memory: it "
                                       "ages, and peels from an edge at less).",
                                       TL_HOLD_FACTOR));
    if (pull)
        tl_build_take(build, tl_printf("A thin housing stands a pull of %.3g N (from memory, an "
                                       "order of magnitude: no published figure was found).",
                                       TL_HOLD_PULL_N));
}

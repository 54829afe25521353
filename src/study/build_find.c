// SPDX-License-Identifier: GPL-3.0-or-later
// What does not fit on a board, before anything is cut: plugs, bends, lengths, edges.
#include "base/text.h"
#include "parts/kinds.h"
#include "study/build.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

/// A lead with this much more than it needs has a rest that must be coiled and tied (common
/// practice: a hand's width goes unseen).
static const double much_slack_m = 0.15;

void tl_build_find(tl_build* build, tl_build_finding about, const char* format, ...) {
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    about.words = tl_text_take(&words);
    // Errors first, then warnings; within them in the order they were found.
    build->findings = tl_grow(build->findings, build->finding_count + 1, sizeof *build->findings);
    size_t at = build->finding_count++;
    for (; at && build->findings[at - 1].gravity > about.gravity; --at)
        build->findings[at] = build->findings[at - 1];
    build->findings[at] = about;
}

static tl_build_finding about_lead(tl_build_gravity gravity, const char* kind, size_t lead) {
    return (tl_build_finding){.gravity = gravity,
                              .kind = kind,
                              .box = TL_BUILD_NONE,
                              .other = TL_BUILD_NONE,
                              .lead = lead,
                              .other_lead = TL_BUILD_NONE};
}

static bool is_dc(const tl_build_lead* lead) {
    return strcmp(lead->kind, "dc") == 0;
}

/// What a lead should have more than its route.
static double wanted_m(const tl_build_work* w, double route_m) {
    return fmax(w->layout.share * route_m, w->layout.least_m);
}

/// A stated length is held against the route. A lead that is moved by the player, or that leaves
/// the board, has none.
static void look_at_length(tl_build_work* w, size_t i) {
    const tl_build_lead* lead = &w->build->leads[i];
    if (isnan(lead->route_m) || isnan(lead->stated_m))
        return;
    double slack_m = lead->stated_m - lead->route_m;
    double wanted = wanted_m(w, lead->route_m);
    if (slack_m < -0.5e-3)
        tl_build_find(
            w->build, about_lead(TL_BUILD_ERROR, "slack", i),
            "Lead %zu, %s to %s, is too short: %.0f mm stated%s, but its route takes %.0f "
            "mm; with slack it is %.0f mm.",
            lead->number, lead->from.name, lead->to.name, 1e3 * lead->stated_m,
            is_dc(lead) ? " in 'power'" : "", 1e3 * lead->route_m,
            1e3 * w->layout.leads[i].length_m);
    else if (slack_m < wanted - 0.5e-3)
        tl_build_find(
            w->build, about_lead(TL_BUILD_WARNING, "slack", i),
            "Lead %zu, %s to %s, has no slack to speak of: %.0f mm stated%s, %.0f mm more "
            "than its route, and %.0f mm are wanted.",
            lead->number, lead->from.name, lead->to.name, 1e3 * lead->stated_m,
            is_dc(lead) ? " in 'power'" : "", 1e3 * fmax(0, slack_m), 1e3 * wanted);
    else if (slack_m > wanted + much_slack_m + 0.5e-3 && !is_dc(lead))
        tl_build_find(w->build, about_lead(TL_BUILD_NOTE, "slack", i),
                      "Lead %zu, %s to %s, is long: %.0f mm stated, and its route takes %.0f mm; "
                      "%.0f mm are to be coiled and tied.",
                      lead->number, lead->from.name, lead->to.name, 1e3 * lead->stated_m,
                      1e3 * lead->route_m, 1e3 * slack_m);
}

/// DC leads that are cut shorter than `power` has them: said once, for all together.
static void look_at_dc(tl_build_work* w) {
    size_t count = 0;
    double most_m = 0;
    for (size_t i = w->first_dc; i < w->build->lead_count; ++i) {
        const tl_build_lead* lead = &w->build->leads[i];
        double rest_m = lead->stated_m - lead->length_m;
        if (isnan(lead->route_m) || !(rest_m > much_slack_m + 0.5e-3))
            continue;
        ++count;
        most_m = fmax(most_m, rest_m);
    }
    if (count)
        tl_build_find(
            w->build, about_lead(TL_BUILD_NOTE, "slack", TL_BUILD_NONE),
            "%zu DC lead%s cut shorter than 'power' reckons with, by up to %.0f mm; bought "
            "as long as that, the rest is to be coiled and tied.",
            count, count == 1 ? " is" : "s are", 1e3 * most_m);
}

static void look_at_way(tl_build_work* w, size_t i) {
    const tl_build_lead* lead = &w->build->leads[i];
    if (!lead->on_board)
        return;
    if (!lead->way) {
        tl_build_find(w->build, about_lead(TL_BUILD_ERROR, "route", i),
                      "Lead %zu has no way on the deck from %s to %s: make room between them.",
                      lead->number, lead->from.name, lead->to.name);
        return;
    }
    if (lead->bend_m < lead->bend_least_m * (1 - 1e-9))
        tl_build_find(w->build, about_lead(TL_BUILD_ERROR, "bend", i),
                      "Lead %zu, %s to %s, must bend to a radius of %.3g mm, and its make allows "
                      "%.3g mm: move the pedals apart, turn a plug, or take a thinner lead.",
                      lead->number, lead->from.name, lead->to.name, 1e3 * lead->bend_m,
                      1e3 * lead->bend_least_m);
    if (w->layout.leads[i].over_m > 0)
        tl_build_find(
            w->build, about_lead(TL_BUILD_NOTE, "route", i),
            "Lead %zu, %s to %s, cannot go down at its plug, since something hangs there: "
            "it is reckoned to go straight over the deck for %.0f mm and down beside that. "
            "Move what hangs there, or the pedal.",
            lead->number, lead->from.name, lead->to.name, 1e3 * w->layout.leads[i].over_m);
    if (lead->over_edge)
        tl_build_find(w->build, about_lead(TL_BUILD_NOTE, "edge", i),
                      "Lead %zu, %s to %s, goes over the board's edge.", lead->number,
                      lead->from.name, lead->to.name);
}

/// A plug as the checks see it: what it takes, and between which heights, if that is known.
typedef struct {
    const tl_layout_end* end;
    const tl_build_end* shown;
    size_t lead;
    bool under;
    double low_m; ///< NAN: not known
    double high_m;
} plug;

static plug make_plug(const tl_build_work* w, size_t lead, bool to) {
    const tl_layout_lead* laid = &w->layout.leads[lead];
    const tl_build_lead* shown = &w->build->leads[lead];
    plug made = {
        .end = to ? &laid->to : &laid->from, .shown = to ? &shown->to : &shown->from, .lead = lead};
    if (!made.end->placed)
        return made;
    double half_m = tl_part_number(made.end->plug, "height", NAN) / 2;
    made.under = w->board->placed[made.end->box].under;
    made.low_m = made.end->jack.height_m - half_m;
    made.high_m = made.end->jack.height_m + half_m;
    return made;
}

static size_t list_plugs(const tl_build_work* w, plug* plugs) {
    size_t count = 0;
    for (size_t i = 0; i < w->build->lead_count; ++i)
        for (int to = 0; to < 2; ++to) {
            plugs[count] = make_plug(w, i, to);
            count += plugs[count].end->placed != NULL;
        }
    return count;
}

/// What a file would have to say for one plug to be known to pass over the other; or "".
static const char* missing_height(const plug* one, const plug* other) {
    bool jacks = isnan(one->end->jack.height_m + other->end->jack.height_m);
    return jacks ? "; with the 'height' of both jacks over the deck stated, one may pass over the "
                   "other"
           : isnan(one->low_m + other->low_m)
               ? "; with the 'height' of both plugs stated, one may pass over the other"
               : "";
}

/// How far apart would do, in words: between the two boxes when the plugs face each other, else by
/// how much to move one.
static char* cure_of_pair(const plug* one, const plug* other) {
    const tl_area_m* a = &one->end->body;
    const tl_area_m* b = &other->end->body;
    double x_m = fmin(a->high.x_m, b->high.x_m) - fmax(a->low.x_m, b->low.x_m);
    double y_m = fmin(a->high.y_m, b->high.y_m) - fmax(a->low.y_m, b->low.y_m);
    double gap_m = tl_layout_gap_m(one->end, other->end);
    const char* height = missing_height(one, other);
    return isnan(gap_m)
               ? tl_printf("they share %.3g mm across and %.3g mm in depth, so move one by the "
                           "smaller of the two at least%s",
                           1e3 * x_m, 1e3 * y_m, height)
               : tl_printf("the two need %.3g mm between the sides they are in%s", 1e3 * gap_m,
                           height);
}

/// Two plugs that meet, unless one is known to pass over the other.
static void look_at_pair(tl_build_work* w, const plug* one, const plug* other) {
    if (one->under != other->under || tl_layout_same_output(one->end, other->end) ||
        !tl_layout_areas_meet(&one->end->body, &other->end->body))
        return;
    if (one->low_m >= other->high_m || other->low_m >= one->high_m)
        return;
    tl_build_finding about = about_lead(TL_BUILD_ERROR, "plugs", one->lead);
    about.box = one->shown->box;
    about.other = other->shown->box;
    about.other_lead = other->lead;
    char* cure = cure_of_pair(one, other);
    tl_build_find(w->build, about,
                  "The plugs at %s (lead %zu) and %s (lead %zu) are in each other's way: %s.",
                  one->shown->name, one->lead + 1, other->shown->name, other->lead + 1, cure);
    free(cure);
}

static void look_at_neighbours(tl_build_work* w, const plug* one) {
    for (size_t i = 0; i < w->board->count; ++i) {
        const tl_placed* placed = &w->board->placed[i];
        if (!placed->part || i == one->end->box || placed->under != one->under)
            continue;
        tl_area_m box = tl_layout_box(placed);
        if (!tl_layout_areas_meet(&one->end->body, &box) || tl_layout_passes_over(one->end, placed))
            continue;
        tl_build_finding about = about_lead(TL_BUILD_ERROR, "plugs", one->lead);
        about.box = one->shown->box;
        about.other = w->boxes[i];
        tl_build_find(w->build, about,
                      "The plug at %s (lead %zu) runs into '%s': it needs %.3g mm before its "
                      "jack.",
                      one->shown->name, one->lead + 1, placed->name, 1e3 * one->shown->room_m);
    }
}

static void look_at_edge(tl_build_work* w, const plug* one) {
    double over_m = fmax(fmax(-one->end->body.low.x_m, -one->end->body.low.y_m),
                         fmax(one->end->body.high.x_m - w->build->width_m,
                              one->end->body.high.y_m - w->build->depth_m));
    if (over_m <= 0.05e-3)
        return;
    tl_build_finding about = about_lead(TL_BUILD_NOTE, "edge", one->lead);
    about.box = one->shown->box;
    tl_build_find(w->build, about,
                  "The plug at %s (lead %zu) stands %.3g mm over the board's edge.",
                  one->shown->name, one->lead + 1, 1e3 * over_m);
}

/// Why a lead has no way.
typedef enum { OFF_BOTH, OFF_SUPPLY, OFF_JACK, OFF_REASONS } off_reason;

static off_reason why_off(const tl_build_lead* lead) {
    bool from = lead->from.box == TL_BUILD_NONE;
    bool to = lead->to.box == TL_BUILD_NONE;
    if (lead->on_board || (!is_dc(lead) && !(from && to)))
        return OFF_REASONS; // it has one, or leads off the board as it should
    return !is_dc(lead) ? OFF_BOTH : from ? OFF_SUPPLY : OFF_JACK;
}

/// What chain and power have and the board does not.
static void look_at_unplaced(tl_build_work* w) {
    static const char* const words[] = {
        "the board says nothing of either end",
        "the board does not say where the supply is; its length is that of 'power'",
        "the board says nothing of the jack 'power' there; its length is that of 'power'"};
    for (size_t reason = 0; reason < OFF_REASONS; ++reason) {
        tl_text list = {0};
        size_t count = 0;
        size_t first = TL_BUILD_NONE;
        for (size_t i = 0; i < w->build->lead_count; ++i)
            if (why_off(&w->build->leads[i]) == reason) {
                first = count ? first : i;
                tl_text_addf(&list, "%s%zu", count++ ? ", " : "", w->build->leads[i].number);
            }
        if (count)
            tl_build_find(w->build, about_lead(TL_BUILD_NOTE, "unplaced", first),
                          "No way for lead%s %s: %s.", count == 1 ? "" : "s", tl_text_get(&list),
                          words[reason]);
        tl_text_free(&list);
    }
}

void tl_build_look(tl_build_work* w) {
    plug* plugs = tl_new(2 * w->build->lead_count, sizeof *plugs);
    size_t count = list_plugs(w, plugs);
    for (size_t i = 0; i < w->build->lead_count; ++i) {
        look_at_way(w, i);
        look_at_length(w, i);
    }
    for (size_t i = 0; i < count; ++i) {
        for (size_t j = i + 1; j < count; ++j)
            look_at_pair(w, &plugs[i], &plugs[j]);
        look_at_neighbours(w, &plugs[i]);
        look_at_edge(w, &plugs[i]);
    }
    look_at_dc(w);
    look_at_unplaced(w);
    free(plugs);
}

void tl_build_take(tl_build* build, char* words) {
    build->assumed = tl_grow(build->assumed, build->assumed_count + 1, sizeof *build->assumed);
    build->assumed[build->assumed_count++] = words;
}

static void assume_leads(tl_build_work* w) {
    bool outer[2] = {false, false};
    bool bend = false;
    bool through = false;
    for (size_t i = 0; i < w->layout.count; ++i) {
        const tl_layout_lead* lead = &w->layout.leads[i];
        if (!lead->on_board)
            continue;
        outer[lead->cable == NULL] = outer[lead->cable == NULL] || lead->outer_assumed;
        bend = bend || lead->bend_assumed;
        through = through || lead->drop_m > 0;
    }
    if (outer[0])
        tl_build_take(w->build,
                      tl_printf("Leads that do not say it are %.3g mm thick (from memory).",
                                1e3 * TL_LAYOUT_OUTER_M));
    if (outer[1])
        tl_build_take(w->build,
                      tl_printf("DC leads that do not say it are %.3g mm thick (from memory).",
                                1e3 * TL_LAYOUT_DC_OUTER_M));
    if (bend)
        tl_build_take(
            w->build,
            tl_printf("A lead may be bent once to a radius of %.3g times its thickness, at its "
                      "middle (common practice: 5 to 10 diameters for flexible coaxial leads).",
                      TL_LAYOUT_BEND));
    if (through && !tl_part_has(w->board->part, "drop"))
        tl_build_take(
            w->build,
            tl_printf("A lead to what hangs below goes straight down from its plug and takes "
                      "%.3g mm to get through the deck (from memory).",
                      1e3 * TL_LAYOUT_DROP_M));
}

/// Plugs that the board does not name.
static void assume_plugs(tl_build_work* w) {
    static const char* const where[] = {"between pedals", "of leads that leave the board",
                                        "of DC leads"};
    for (size_t i = 0; i < 3; ++i)
        if (w->layout.defaults[i])
            tl_build_take(w->build, tl_printf("Plugs %s are '%s', since nothing else is said.",
                                              where[i], w->layout.defaults[i]->library));
}

void tl_build_assume(tl_build_work* w) {
    const tl_part* part = w->board->part;
    tl_build_take(w->build,
                  tl_copy("Leads lie on the deck, around what stands there; they may cross each "
                          "other and lie below plugs. What they come down from a jack to the deck "
                          "is of their slack."));
    if (!tl_part_has(part, "slack.share") || !tl_part_has(part, "slack.least"))
        tl_build_take(
            w->build,
            tl_printf("Slack is %.3g %% of the route, at least %.3g mm (from memory: about a "
                      "finger's width).",
                      100 * w->layout.share, 1e3 * w->layout.least_m));
    assume_leads(w);
    assume_plugs(w);
}

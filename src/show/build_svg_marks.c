// SPDX-License-Identifier: GPL-3.0-or-later
// Numbers of the leads and triangles of the findings on a board's drawing, each where it covers
// least: on what it belongs to, or beside it at the end of a thin line.
#include "show/build_svg.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double step_mm = 0.8;
static const double off_board_cost = 4;

double tl_drawn_triangle_half(size_t number) {
    return number < 10 ? 3.6 : number < 100 ? 4.6 : 5.8;
}

static double mark_cost(const tl_drawn_board* board, tl_box area, size_t own) {
    bool inside = area.left >= 0 && area.top >= 0 && area.right <= board->width &&
                  area.bottom <= board->depth;
    bool far_out = area.left < board->reach.left || area.top < board->reach.top ||
                   area.right > board->reach.right || area.bottom > board->reach.bottom;
    return tl_drawn_cost(board, area, own, 1.2) + (inside ? 0 : off_board_cost) +
           (far_out ? 100 : 0);
}

/// The cheapest place around a spot, for a mark that may be off it. Keeps what is better than
/// `least`.
static double try_around(const tl_drawn_board* board, tl_spot about, double width, double height,
                         double least, tl_spot* best) {
    static const double rings_mm[] = {1.5, 3, 5, 8, 12, 17, 24};
    enum { DIRECTIONS = 24 };
    for (size_t ring = 0; ring < sizeof rings_mm / sizeof *rings_mm; ++ring)
        for (int i = 0; i < DIRECTIONS; ++i) {
            double angle = 2 * 3.14159265358979 * i / DIRECTIONS;
            double away = rings_mm[ring] + fmax(width, height) / 2;
            tl_spot at = {about.x + away * cos(angle), about.y + away * sin(angle)};
            double cost = 1.5 + 0.12 * away;
            if (cost < least)
                cost += mark_cost(board, tl_drawn_around(at, width, height), TL_BUILD_NONE);
            if (cost < least - 1e-9) {
                least = cost;
                *best = at;
            }
        }
    return least;
}

static double length_of(const tl_drawn_lead* lead) {
    double length = 0;
    for (size_t k = 1; k < lead->line_count; ++k)
        length +=
            hypot(lead->line[k].x - lead->line[k - 1].x, lead->line[k].y - lead->line[k - 1].y);
    return length;
}

static tl_spot spot_along(const tl_drawn_lead* lead, double along) {
    for (size_t k = 1; k < lead->line_count; ++k) {
        tl_spot a = lead->line[k - 1], b = lead->line[k];
        double piece = hypot(b.x - a.x, b.y - a.y);
        if (along <= piece && piece > 0)
            return (tl_spot){a.x + (b.x - a.x) * along / piece, a.y + (b.y - a.y) * along / piece};
        along -= piece;
    }
    return lead->line[lead->line_count - 1];
}

static void place_number(tl_drawn_board* board, size_t index) {
    tl_drawn_lead* lead = &board->leads[index];
    if (!lead->count)
        return;
    double size = 2 * board->number_radius + 0.4, length = length_of(lead);
    double least = INFINITY;
    for (double along = 0; along <= length; along += step_mm) {
        tl_spot at = spot_along(lead, along);
        double cost = mark_cost(board, tl_drawn_around(at, size, size), index) +
                      0.5 * fabs(along / fmax(length, 1) - 0.5);
        if (cost < least - 1e-9) {
            least = cost;
            lead->number = lead->points = at;
        }
    }
    for (double share = 0.1; share < 0.95 && least > 1.5; share += 0.1) {
        tl_spot about = spot_along(lead, share * length);
        double cost = try_around(board, about, size, size, least, &lead->number);
        if (cost < least)
            lead->points = about;
        least = cost;
    }
    lead->numbered = true;
    tl_drawn_keep_off(board, tl_drawn_around(lead->number, size, size), 50);
}

/// The shortest first: they have the fewest places to choose from.
static void place_numbers(tl_drawn_board* board) {
    size_t count = board->build->lead_count;
    for (size_t done = 0; done < count; ++done) {
        size_t shortest = TL_BUILD_NONE;
        for (size_t i = 0; i < count; ++i)
            if (!board->leads[i].numbered && board->leads[i].count &&
                (shortest == TL_BUILD_NONE ||
                 length_of(&board->leads[i]) < length_of(&board->leads[shortest])))
                shortest = i;
        if (shortest != TL_BUILD_NONE)
            place_number(board, shortest);
    }
}

static tl_spot middle_of(tl_box box) {
    return (tl_spot){(box.left + box.right) / 2, (box.top + box.bottom) / 2};
}

/// Between two boxes, or in the middle of what both cover.
static tl_spot between(tl_box a, tl_box b) {
    return (tl_spot){(fmax(a.left, b.left) + fmin(a.right, b.right)) / 2,
                     (fmax(a.top, b.top) + fmin(a.bottom, b.bottom)) / 2};
}

/// Between the two nearest plugs of two leads; false when one has none.
static bool find_plugs(const tl_drawn_board* board, size_t one, size_t other, tl_spot* about) {
    double least = INFINITY;
    for (size_t i = 0; i < board->jack_count; ++i)
        for (size_t k = 0; k < board->jack_count; ++k) {
            const tl_drawn_jack *a = &board->jacks[i], *b = &board->jacks[k];
            if (a->lead != one || b->lead != other || !a->has_plug || !b->has_plug || i == k)
                continue;
            tl_spot from = middle_of(a->plug), to = middle_of(b->plug);
            double apart = hypot(from.x - to.x, from.y - to.y);
            if (apart < least) {
                least = apart;
                *about = between(a->plug, b->plug);
            }
        }
    return isfinite(least);
}

/// The plug of a lead in a box; of two, the one nearer to the other box that a finding names.
static bool find_plug_at_box(const tl_drawn_board* board, const tl_build_finding* finding,
                             tl_spot* about) {
    bool other = finding->other < board->build->box_count;
    tl_spot middle = middle_of(board->boxes[other ? finding->other : finding->box].body);
    double least = INFINITY;
    for (size_t i = 0; i < board->jack_count; ++i) {
        const tl_drawn_jack* jack = &board->jacks[i];
        tl_spot at = middle_of(jack->plug);
        double apart = hypot(at.x - middle.x, at.y - middle.y);
        if (jack->lead == finding->lead && jack->has_plug && jack->box == finding->box &&
            apart < least) {
            least = apart;
            *about = at;
        }
    }
    return isfinite(least);
}

/// The first corner of a lead, or its middle: all its corners bend alike.
static tl_spot bend_of(const tl_drawn_lead* lead) {
    return lead->count < 3 ? spot_along(lead, length_of(lead) / 2)
                           : spot_along(lead, 0.35 * length_of(lead));
}

/// A plug of a lead.
static bool find_plug(const tl_drawn_board* board, size_t lead, tl_spot* about) {
    for (size_t i = 0; i < board->jack_count; ++i)
        if (board->jacks[i].lead == lead) {
            *about = board->jacks[i].at;
            return true;
        }
    return false;
}

/// What a finding points at; false when it has no place on the board.
static bool find_about(const tl_drawn_board* board, const tl_build_finding* finding,
                       tl_spot* about) {
    const tl_build* build = board->build;
    bool lead = finding->lead < build->lead_count, box = finding->box < build->box_count;
    if (lead && finding->other_lead < build->lead_count &&
        find_plugs(board, finding->lead, finding->other_lead, about))
        return true;
    if (lead && box && find_plug_at_box(board, finding, about))
        return true;
    if (lead && board->leads[finding->lead].count) {
        *about = bend_of(&board->leads[finding->lead]);
        return true;
    }
    if (!box)
        return lead && find_plug(board, finding->lead, about);
    tl_box body = board->boxes[finding->box].body;
    if (finding->other < build->box_count) {
        *about = between(body, board->boxes[finding->other].body);
        return true;
    }
    // What sticks out of the board, or else a corner of the box.
    bool out =
        body.left < 0 || body.right > board->width || body.top < 0 || body.bottom > board->depth;
    about->x = body.left < 0 ? body.left : body.right;
    about->y = body.bottom > board->depth ? body.bottom : body.top;
    if (!out)
        *about = (tl_spot){body.right - 2, body.top + 2};
    return true;
}

/// Triangles for what is wrong or may be; notes are for the text.
static void place_warnings(tl_drawn_board* board) {
    const tl_build* build = board->build;
    board->warnings = tl_new(build->finding_count, sizeof *board->warnings);
    for (size_t i = 0; i < build->finding_count; ++i) {
        tl_drawn_warning warning = {.finding = &build->findings[i]};
        if (warning.finding->gravity == TL_BUILD_NOTE ||
            !find_about(board, warning.finding, &warning.about))
            continue;
        double half = tl_drawn_triangle_half(board->warning_count + 1), size = 2 * half;
        warning.at = warning.about;
        double cost = mark_cost(board, tl_drawn_around(warning.at, size, size), TL_BUILD_NONE);
        try_around(board, warning.about, size, size, cost, &warning.at);
        tl_box area = tl_drawn_around(warning.at, size, size);
        tl_drawn_widen(&board->reach, area);
        tl_drawn_keep_off(board, area, 50);
        board->warnings[board->warning_count++] = warning;
    }
}

void tl_drawn_find_marks(tl_drawn_board* board) {
    place_numbers(board);
    place_warnings(board);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Ways of the leads on a board's drawing: as they are laid, out to the edge where they leave the
// board, and side by side where several take one way.
#include "show/build_svg.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double arrow_mm = 6, label_mm = 3.8, side_by_side_mm = 1.6;
/// Below the front edge and left of the left one stand figures and words.
static const double front_mm = 10.5, left_mm = 8.5;

static double way_length(const tl_spot* way, size_t count) {
    double length = 0;
    for (size_t i = 1; i < count; ++i)
        length += hypot(way[i].x - way[i - 1].x, way[i].y - way[i - 1].y);
    return length;
}

/// Where a line from `from` towards a side meets the board's edge, or a little further on when it
/// is beyond.
static tl_spot edge_of(const tl_drawn_board* board, tl_spot from, tl_side side) {
    tl_spot out = tl_drawn_toward(side);
    double left = side == TL_SIDE_LEFT    ? from.x
                  : side == TL_SIDE_RIGHT ? board->width - from.x
                  : side == TL_SIDE_FRONT ? board->depth - from.y
                                          : from.y;
    left = fmax(left, 0.5);
    return (tl_spot){from.x + out.x * left, from.y + out.y * left};
}

/// How bad a stub's way is: what it crosses, then how long it is.
static double stub_cost(const tl_drawn_board* board, const tl_spot* way, size_t count, size_t own) {
    double cost = 0.02 * way_length(way, count) + 0.3 * (double)count;
    for (size_t k = 1; k < count; ++k) {
        for (size_t i = 0; i < board->build->box_count; ++i)
            if (!board->boxes[i].box->under &&
                tl_drawn_inside(way[k - 1], way[k], board->boxes[i].body) > 0.1)
                cost += 10;
        for (size_t i = 0; i < board->jack_count; ++i)
            if (board->jacks[i].has_plug && board->jacks[i].lead != own &&
                tl_drawn_inside(way[k - 1], way[k], board->jacks[i].plug) > 0.1)
                cost += 4;
    }
    return cost;
}

/// The way from a plug to one of the board's edges that crosses least: straight, or a step out and
/// then along the box.
static void find_stub(tl_drawn_board* board, size_t index, const tl_build_end* end) {
    tl_drawn_lead* lead = &board->leads[index];
    tl_spot start = {end->leaves.x_m * 1000 / board->scale,
                     (board->build->depth_m - end->leaves.y_m) * 1000 / board->scale};
    tl_spot out = tl_drawn_toward(end->side);
    static const double steps_mm[] = {0, 2, 4, 7, 11};
    double least = INFINITY;
    for (int side = TL_SIDE_LEFT; side <= TL_SIDE_BACK; ++side)
        for (size_t i = 0; i < sizeof steps_mm / sizeof *steps_mm; ++i) {
            tl_spot turn = {start.x + out.x * steps_mm[i], start.y + out.y * steps_mm[i]};
            tl_spot way[3] = {start, turn, edge_of(board, turn, (tl_side)side)};
            bool straight = side == (int)end->side;
            if (straight && i > 0)
                break;
            double cost = stub_cost(board, way, 3, index) - (straight ? 0.3 : 0);
            if (cost >= least)
                continue;
            least = cost;
            lead->count = i == 0 ? 2 : 3;
            lead->way[0] = start;
            lead->way[1] = turn;
            lead->way[lead->count - 1] = way[2];
            lead->edge = (tl_side)side;
        }
}

/// Whether a label would stand on that of another stub.
static bool is_taken(const tl_drawn_board* board, size_t before, tl_box area) {
    for (size_t i = 0; i < before; ++i) {
        const tl_box* other = &board->leads[i].words;
        if (board->leads[i].stub && area.left < other->right + 1 && area.right > other->left - 1 &&
            area.top < other->bottom + 0.3 && area.bottom > other->top - 0.3)
            return true;
    }
    return false;
}

/// Runs a stub on over the edge, and puts its words where no others stand: along the edge, in as
/// many rows as it takes.
static void place_label(tl_drawn_board* board, size_t index, const tl_build_end* away) {
    tl_drawn_lead* lead = &board->leads[index];
    tl_text words = {0};
    tl_text_add(&words, "to ");
    tl_text_add_fitted(&words, away->name, 30 / TL_DRAWN_TEXT * TL_TEXT_SIZE);
    lead->label = tl_text_take(&words);
    double width = tl_drawn_width(lead->label, TL_DRAWN_TEXT);
    tl_spot out = tl_drawn_toward(lead->edge);
    tl_spot* tip = &lead->way[lead->count - 1];
    double beyond = lead->edge == TL_SIDE_FRONT  ? front_mm
                    : lead->edge == TL_SIDE_LEFT ? left_mm
                                                 : arrow_mm;
    tl_spot foot = *tip;
    for (int row = 0; row < 12; ++row, beyond += label_mm + 0.4) {
        *tip = (tl_spot){foot.x + out.x * beyond, foot.y + out.y * beyond};
        tl_spot middle = {tip->x + out.x * (0.4 + label_mm / 2),
                          tip->y + out.y * (0.4 + label_mm / 2)};
        if (out.x == 0) // so that it does not stick out at a corner of the board
            middle.x = fmin(fmax(middle.x, width / 2 - 4), board->width + 4 - width / 2);
        lead->words =
            tl_drawn_around(middle, out.x != 0 ? label_mm : width, out.x != 0 ? width : label_mm);
        if (!is_taken(board, index, lead->words))
            break;
    }
    tl_drawn_widen(&board->reach, lead->words);
    tl_drawn_keep_off(board, lead->words, 20);
}

static bool is_level(tl_spot a, tl_spot b) {
    return fabs(a.y - b.y) < 0.01 && fabs(a.x - b.x) > 0.01;
}

static bool is_steep(tl_spot a, tl_spot b) {
    return fabs(a.x - b.x) < 0.01 && fabs(a.y - b.y) > 0.01;
}

/// Whether two pieces of lead lie on each other for more than a crossing.
static bool lie_together(const tl_spot* a, const tl_spot* b) {
    bool level = is_level(a[0], a[1]) && is_level(b[0], b[1]);
    if (!level && !(is_steep(a[0], a[1]) && is_steep(b[0], b[1])))
        return false;
    double apart = level ? a[0].y - b[0].y : a[0].x - b[0].x;
    double a0 = level ? a[0].x : a[0].y, a1 = level ? a[1].x : a[1].y;
    double b0 = level ? b[0].x : b[0].y, b1 = level ? b[1].x : b[1].y;
    double shared = fmin(fmax(a0, a1), fmax(b0, b1)) - fmax(fmin(a0, a1), fmin(b0, b1));
    return fabs(apart) < 0.8 * side_by_side_mm && shared > 1;
}

/// Whether a piece lies on one of the leads before it, or on an end piece of a later one, which
/// cannot give way.
static bool lies_on_others(const tl_drawn_board* board, size_t index, const tl_spot* piece) {
    for (size_t i = 0; i < board->build->lead_count; ++i) {
        const tl_drawn_lead* other = &board->leads[i];
        for (size_t k = 1; i != index && k < other->count; ++k) {
            bool stays = i < index || k == 1 || k + 1 == other->count;
            if (stays && lie_together(piece, &other->way[k - 1]))
                return true;
        }
    }
    return false;
}

/// Moves the inner pieces of a lead aside where they lie on others: what is one bundle on the board
/// has to be told apart on paper.
static void shift_aside(tl_drawn_board* board, size_t index) {
    tl_drawn_lead* lead = &board->leads[index];
    static const double lanes[] = {0, 1, -1, 2, -2, 3, -3, 4, -4};
    for (size_t k = 2; k + 1 < lead->count; ++k) {
        const tl_spot piece[2] = {lead->way[k - 1], lead->way[k]};
        bool level = is_level(piece[0], piece[1]);
        if (!level && !is_steep(piece[0], piece[1]))
            continue;
        for (size_t i = 0; i < sizeof lanes / sizeof *lanes; ++i) {
            double by = lanes[i] * side_by_side_mm;
            tl_spot moved[2] = {piece[0], piece[1]};
            for (int end = 0; end < 2; ++end)
                *(level ? &moved[end].y : &moved[end].x) += by;
            if (lies_on_others(board, index, moved))
                continue;
            lead->way[k - 1] = moved[0];
            lead->way[k] = moved[1];
            lead->shifted |= by != 0;
            break;
        }
    }
}

static void copy_way(tl_drawn_board* board, size_t index) {
    const tl_build_lead* lead = &board->build->leads[index];
    tl_drawn_lead* drawn = &board->leads[index];
    drawn->way = tl_new(lead->way_count, sizeof *drawn->way);
    drawn->count = lead->way_count;
    for (size_t i = 0; i < lead->way_count; ++i)
        drawn->way[i] = (tl_spot){lead->way[i].x_m * 1000 / board->scale,
                                  (board->build->depth_m - lead->way[i].y_m) * 1000 / board->scale};
}

void tl_drawn_find_ways(tl_drawn_board* board) {
    const tl_build* build = board->build;
    board->leads = tl_new(build->lead_count, sizeof *board->leads);
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        board->leads[i].lead = lead;
        if (lead->way_count > 1)
            copy_way(board, i);
        bool from_here = lead->from.box < build->box_count,
             to_here = lead->to.box < build->box_count;
        if (board->leads[i].count || from_here == to_here)
            continue;
        board->leads[i].stub = true;
        board->leads[i].way = tl_new(3, sizeof(tl_spot));
        find_stub(board, i, from_here ? &lead->from : &lead->to);
    }
    for (size_t i = 0; i < build->lead_count; ++i)
        shift_aside(board, i);
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        if (board->leads[i].stub)
            place_label(board, i, lead->from.box < build->box_count ? &lead->to : &lead->from);
        for (size_t k = 0; k < board->leads[i].count; ++k)
            tl_drawn_widen(&board->reach, tl_drawn_around(board->leads[i].way[k], 2, 2));
    }
}

/// The radius that a corner is drawn with: what the lead's make asks for, or what there is room
/// for.
static double radius_at(const tl_drawn_board* board, const tl_drawn_lead* lead, size_t corner,
                        double turn) {
    const tl_build_lead* built = lead->lead;
    double least_m = isfinite(built->bend_least_m) ? built->bend_least_m
                     : isfinite(built->diameter_m) ? 4 * built->diameter_m
                                                   : 0.02;
    double before = hypot(lead->way[corner].x - lead->way[corner - 1].x,
                          lead->way[corner].y - lead->way[corner - 1].y);
    double after = hypot(lead->way[corner + 1].x - lead->way[corner].x,
                         lead->way[corner + 1].y - lead->way[corner].y);
    // A corner between two others shares its legs with them.
    before *= corner == 1 ? 1 : 0.5;
    after *= corner + 2 == lead->count ? 1 : 0.5;
    return fmin(least_m * 1000 / board->scale, fmin(before, after) / tan(turn / 2));
}

void tl_drawn_add_way(tl_text* page, const tl_drawn_board* board, const tl_drawn_lead* lead) {
    const tl_spot* way = lead->way;
    tl_text_addf(page, "M%.2f %.2f", way[0].x, way[0].y);
    for (size_t i = 1; i + 1 < lead->count; ++i) {
        tl_spot in = {way[i].x - way[i - 1].x, way[i].y - way[i - 1].y};
        tl_spot out = {way[i + 1].x - way[i].x, way[i + 1].y - way[i].y};
        double in_mm = hypot(in.x, in.y), out_mm = hypot(out.x, out.y);
        double cross = in.x * out.y - in.y * out.x, along = in.x * out.x + in.y * out.y;
        double turn = atan2(fabs(cross), along);
        if (in_mm < 0.01 || out_mm < 0.01 || turn < 0.01 || turn > 3.1) {
            tl_text_addf(page, "L%.2f %.2f", way[i].x, way[i].y);
            continue;
        }
        double radius = radius_at(board, lead, i, turn), back = radius * tan(turn / 2);
        tl_text_addf(page, "L%.2f %.2fA%.2f %.2f 0 0 %d %.2f %.2f", way[i].x - in.x / in_mm * back,
                     way[i].y - in.y / in_mm * back, radius, radius, cross > 0,
                     way[i].x + out.x / out_mm * back, way[i].y + out.y / out_mm * back);
    }
    tl_text_addf(page, "L%.2f %.2f", way[lead->count - 1].x, way[lead->count - 1].y);
}

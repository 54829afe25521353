// SPDX-License-Identifier: GPL-3.0-or-later
// Ways of the leads on a board's drawing: as they are laid, out to the edge where they leave the
// board, and side by side where several take one way.
#include "show/build_svg.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STUB_CORNERS = 4 };
static const double arrow_mm = 6, label_mm = 3.8, side_by_side_mm = 1.6;
/// Below the front edge and left of the left one stand figures and words.
static const double front_mm = 10.5, left_mm = 8.5;

static tl_spot step(tl_spot from, tl_spot toward, double by) {
    return (tl_spot){from.x + toward.x * by, from.y + toward.y * by};
}

static tl_side opposite(tl_side side) {
    return side == TL_SIDE_LEFT    ? TL_SIDE_RIGHT
           : side == TL_SIDE_RIGHT ? TL_SIDE_LEFT
           : side == TL_SIDE_FRONT ? TL_SIDE_BACK
                                   : TL_SIDE_FRONT;
}

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

/// Whether two straight pieces cross.
static bool cross(const tl_spot* a, const tl_spot* b) {
    double ends[4];
    for (int i = 0; i < 2; ++i) {
        ends[i] = (a[1].x - a[0].x) * (b[i].y - a[0].y) - (a[1].y - a[0].y) * (b[i].x - a[0].x);
        ends[2 + i] = (b[1].x - b[0].x) * (a[i].y - b[0].y) - (b[1].y - b[0].y) * (a[i].x - b[0].x);
    }
    return ends[0] * ends[1] <= 0 && ends[2] * ends[3] <= 0;
}

/// How often a straight piece crosses leads on its side of the deck.
static double crossings(const tl_drawn_board* board, const tl_spot* piece, size_t own) {
    size_t count = 0;
    for (size_t i = 0; i < board->build->lead_count; ++i)
        for (size_t k = 1; i != own && k < board->leads[i].count; ++k)
            count += board->leads[i].below == board->leads[own].below &&
                     cross(piece, &board->leads[i].way[k - 1]);
    return (double)count;
}

/// How bad a stub's way is: what it crosses, then how long it is.
static double stub_cost(const tl_drawn_board* board, const tl_spot* way, size_t count, size_t own) {
    double cost = 0.02 * way_length(way, count) + 0.6 * (double)count;
    for (size_t k = 1; k < count; ++k) {
        cost += 1.5 * crossings(board, &way[k - 1], own);
        for (size_t i = 0; i < board->build->box_count; ++i)
            if (!board->boxes[i].box->under &&
                tl_drawn_inside(way[k - 1], way[k], board->boxes[i].body) > 0.1)
                cost += 10;
        for (size_t i = 0; i < board->jack_count; ++i)
            if (board->jacks[i].has_plug && (board->jacks[i].lead != own || k > 1) &&
                tl_drawn_inside(way[k - 1], way[k], board->jacks[i].plug) > 0.1)
                cost += 4;
    }
    return cost;
}

/// Whither a lead leaves its plug: out of the jack, or to the side where the plug is bent.
static tl_side heading_of(const tl_build_end* end) {
    const double straight_m = 1e-5;
    double right_m = end->leaves.x_m - end->jack.x_m, back_m = end->leaves.y_m - end->jack.y_m;
    bool across = end->side == TL_SIDE_FRONT || end->side == TL_SIDE_BACK;
    if (across && fabs(right_m) > straight_m)
        return right_m > 0 ? TL_SIDE_RIGHT : TL_SIDE_LEFT;
    if (!across && fabs(back_m) > straight_m)
        return back_m > 0 ? TL_SIDE_BACK : TL_SIDE_FRONT;
    return end->side;
}

/// Takes a way for a stub when it is better than what there was.
static void try_stub(tl_drawn_board* board, size_t index, const tl_spot* corners, size_t count,
                     tl_side edge, double* least) {
    tl_drawn_lead* lead = &board->leads[index];
    tl_spot way[STUB_CORNERS];
    memcpy(way, corners, count * sizeof *way);
    way[count] = edge_of(board, way[count - 1], edge);
    double cost = stub_cost(board, way, count + 1, index);
    cost += edge == TL_SIDE_FRONT ? 1 : 0; // where the player's feet are
    if (cost >= *least - 1e-9)
        return;
    *least = cost;
    memcpy(lead->way, way, (count + 1) * sizeof *way);
    lead->count = count + 1;
    lead->edge = edge;
}

/// The way from a plug to one of the board's edges that crosses least: straight on; or some way out
/// and to one side; or from there along the way it came, or back beside it.
static void find_stub(tl_drawn_board* board, size_t index, const tl_build_end* end) {
    static const double steps_mm[] = {3, 5, 8, 12, 17, 23, 30};
    enum { STEPS = sizeof steps_mm / sizeof *steps_mm };
    tl_spot start = {end->leaves.x_m * 1000 / board->scale,
                     (board->build->depth_m - end->leaves.y_m) * 1000 / board->scale};
    tl_side ahead = heading_of(end);
    tl_spot out = tl_drawn_toward(ahead);
    double least = INFINITY;
    try_stub(board, index, &start, 1, ahead, &least);
    for (size_t i = 0; i < STEPS; ++i)
        for (int side = TL_SIDE_LEFT; side <= TL_SIDE_BACK; ++side) {
            tl_spot across = tl_drawn_toward((tl_side)side);
            if (across.x * out.x + across.y * out.y != 0)
                continue;
            tl_spot way[3] = {start, step(start, out, steps_mm[i])};
            try_stub(board, index, way, 2, (tl_side)side, &least);
            for (size_t k = 0; k < STEPS; ++k) {
                way[2] = step(way[1], across, steps_mm[k]);
                try_stub(board, index, way, 3, ahead, &least);
                try_stub(board, index, way, 3, opposite(ahead), &least);
            }
        }
}

static bool meet(tl_box a, tl_box b, double apart) {
    return a.left < b.right + apart && a.right > b.left - apart && a.top < b.bottom + apart &&
           a.bottom > b.top - apart;
}

/// How bad a place for a stub's words is: on those of another, or across the way of another that
/// may go on as far.
static double label_cost(const tl_drawn_board* board, size_t index, tl_box area) {
    double cost = 0;
    for (size_t i = 0; i < board->build->lead_count; ++i) {
        const tl_drawn_lead* other = &board->leads[i];
        if (!other->stub || i == index)
            continue;
        if (i < index && meet(area, other->words, 1.5))
            cost += 100;
        tl_spot tip = other->way[other->count - 1], out = tl_drawn_toward(other->edge);
        tl_box ray = {tip.x, tip.y, tip.x, tip.y};
        tl_drawn_widen(&ray,
                       tl_drawn_around((tl_spot){tip.x + 40 * out.x, tip.y + 40 * out.y}, 0, 0));
        if (meet(area, ray, 0.9))
            cost += 10;
    }
    return cost;
}

/// Runs a stub on over the edge and puts its words at the end of it: in the row and with the shift
/// along the edge at which they are in nothing's way.
static void place_label(tl_drawn_board* board, size_t index, const tl_build_end* away) {
    enum { ROWS = 6, SHIFTS = 5 };
    static const double shifts[SHIFTS] = {0, -0.25, 0.25, -0.5, 0.5};
    tl_drawn_lead* lead = &board->leads[index];
    tl_text words = {0};
    tl_text_add(&words, "to ");
    tl_text_add_fitted(&words, away->name, 30 / TL_DRAWN_TEXT * TL_TEXT_SIZE);
    lead->label = tl_text_take(&words);
    double width = tl_drawn_width(lead->label, TL_DRAWN_TEXT), least = INFINITY;
    tl_spot out = tl_drawn_toward(lead->edge), foot = lead->way[lead->count - 1];
    double beyond = lead->edge == TL_SIDE_FRONT  ? front_mm
                    : lead->edge == TL_SIDE_LEFT ? left_mm
                                                 : arrow_mm;
    bool turned = out.x != 0 && board->turned_labels;
    double across = turned ? label_mm : width, down = turned ? width : label_mm;
    double deep = out.x != 0 ? across : down, along = out.x != 0 ? down : across;
    for (int row = 0; row < ROWS; ++row, beyond += label_mm + 0.4)
        for (int i = 0; i < SHIFTS; ++i) {
            tl_spot tip = step(foot, out, beyond);
            tl_spot middle = step(tip, out, 0.6 + deep / 2);
            *(out.x != 0 ? &middle.y : &middle.x) += shifts[i] * (along + 2);
            tl_box area = tl_drawn_around(middle, across, down);
            double cost = label_cost(board, index, area) + row + 0.5 * fabs(shifts[i]);
            if (out.x == 0 && (area.left < -10 || area.right > board->width + 10))
                cost += 2; // around a corner
            if (cost >= least)
                continue;
            least = cost;
            lead->words = area;
            lead->way[lead->count - 1] = tip;
        }
    tl_drawn_widen(&board->reach, lead->words);
    tl_drawn_keep_off(board, lead->words, 20);
}

/// A corner of a way, and how far from it its arc begins and ends.
typedef struct {
    tl_spot in; ///< whither before it, of length 1
    tl_spot out;
    double radius;
    double back;
    bool right; ///< it turns to the right
} corner;

static corner corner_at(const tl_drawn_lead* lead, size_t i) {
    const tl_spot* at = &lead->way[i];
    double in_mm = fmax(hypot(at->x - at[-1].x, at->y - at[-1].y), 1e-9);
    double out_mm = fmax(hypot(at[1].x - at->x, at[1].y - at->y), 1e-9);
    corner c = {.in = {(at->x - at[-1].x) / in_mm, (at->y - at[-1].y) / in_mm},
                .out = {(at[1].x - at->x) / out_mm, (at[1].y - at->y) / out_mm}};
    double cross = c.in.x * c.out.y - c.in.y * c.out.x, along = c.in.x * c.out.x + c.in.y * c.out.y;
    double turn = atan2(fabs(cross), along);
    c.right = cross > 0;
    if (turn < 0.01 || turn > 3.1)
        return c;
    // Drawn aside, it runs around the same middle.
    c.radius = fmax(lead->radius - (c.right ? lead->aside : -lead->aside), 0.3);
    c.back = c.radius * tan(turn / 2);
    return c;
}

/// The corners of a way; arcs that would run into each other are made smaller.
static corner* corners_of(const tl_drawn_lead* lead) {
    corner* corners = tl_new(lead->count, sizeof *corners);
    for (size_t i = 1; i + 1 < lead->count; ++i)
        corners[i] = corner_at(lead, i);
    double* shares = tl_new(lead->count, sizeof *shares);
    for (size_t i = 0; i < lead->count; ++i)
        shares[i] = 1;
    for (size_t i = 1; i < lead->count; ++i) {
        const tl_spot* at = &lead->way[i];
        double leg = hypot(at->x - at[-1].x, at->y - at[-1].y);
        double wanted = corners[i - 1].back + corners[i].back;
        if (wanted <= leg + 0.002)
            continue;
        shares[i - 1] = fmin(shares[i - 1], leg / wanted);
        shares[i] = fmin(shares[i], leg / wanted);
    }
    for (size_t i = 0; i < lead->count; ++i) {
        corners[i].radius *= shares[i];
        corners[i].back *= shares[i];
    }
    free(shares);
    return corners;
}

void tl_drawn_add_way(tl_text* page, const tl_drawn_lead* lead) {
    corner* corners = corners_of(lead);
    tl_text_addf(page, "M%.2f %.2f", lead->way[0].x, lead->way[0].y);
    for (size_t i = 1; i + 1 < lead->count; ++i) {
        const corner* c = &corners[i];
        tl_spot from = step(lead->way[i], c->in, -c->back);
        tl_spot to = step(lead->way[i], c->out, c->back);
        tl_text_addf(page, "L%.2f %.2f", from.x, from.y);
        if (c->back > 0.01)
            tl_text_addf(page, "A%.2f %.2f 0 0 %d %.2f %.2f", c->radius, c->radius, c->right, to.x,
                         to.y);
    }
    tl_text_addf(page, "L%.2f %.2f", lead->way[lead->count - 1].x, lead->way[lead->count - 1].y);
    free(corners);
}

static void add_spot(tl_drawn_lead* lead, tl_spot spot) {
    lead->line = tl_grow_one(lead->line, lead->line_count, sizeof *lead->line);
    lead->line[lead->line_count++] = spot;
    tl_box at = {spot.x, spot.y, spot.x, spot.y};
    if (lead->line_count == 1)
        lead->bounds = at;
    tl_drawn_widen(&lead->bounds, at);
}

/// The way as drawn, in straight pieces, for what has to keep off it or stand on it.
static void flatten(tl_drawn_lead* lead) {
    enum { PIECES = 6 };
    lead->line_count = 0;
    if (!lead->count)
        return;
    corner* corners = corners_of(lead);
    add_spot(lead, lead->way[0]);
    for (size_t i = 1; i + 1 < lead->count; ++i) {
        const corner* c = &corners[i];
        tl_spot from = step(lead->way[i], c->in, -c->back);
        double turn = 2 * atan2(c->back, fmax(c->radius, 1e-9));
        double side = c->right ? 1 : -1;
        tl_spot to_middle = {-c->in.y * side, c->in.x * side};
        for (int k = 0; k <= PIECES; ++k) { // along the arc by its chords
            double by = turn * k / PIECES;
            tl_spot at = step(from, c->in, c->radius * sin(by));
            add_spot(lead, step(at, to_middle, c->radius * (1 - cos(by))));
        }
    }
    add_spot(lead, lead->way[lead->count - 1]);
    free(corners);
}

static double distance(tl_spot at, tl_spot from, tl_spot to) {
    double x = to.x - from.x, y = to.y - from.y, size = x * x + y * y;
    double share = size > 0 ? ((at.x - from.x) * x + (at.y - from.y) * y) / size : 0;
    share = fmin(fmax(share, 0), 1);
    return hypot(at.x - from.x - share * x, at.y - from.y - share * y);
}

/// Whether a lead runs along at a spot, so near that it could not be told from another there.
static bool runs_along(const tl_drawn_lead* lead, tl_spot at, tl_spot toward) {
    const double near_mm = 0.75 * side_by_side_mm;
    if (!meet(lead->bounds, tl_drawn_around(at, 0, 0), near_mm))
        return false;
    for (size_t k = 1; k < lead->line_count; ++k) {
        tl_spot a = lead->line[k - 1], b = lead->line[k];
        if (fmin(a.x, b.x) > at.x + near_mm || fmax(a.x, b.x) < at.x - near_mm ||
            fmin(a.y, b.y) > at.y + near_mm || fmax(a.y, b.y) < at.y - near_mm)
            continue;
        double size = hypot(b.x - a.x, b.y - a.y);
        double along = size > 0 ? ((b.x - a.x) * toward.x + (b.y - a.y) * toward.y) / size : 0;
        if (fabs(along) > 0.9 && distance(at, a, b) < near_mm)
            return true;
    }
    return false;
}

/// How far a lead lies on those that have their place, or on boxes on the deck, in mm; what is near
/// its own ends does not count, since they stay where they are.
static double hidden(const tl_drawn_board* board, size_t index) {
    const double every_mm = 0.8, ends_mm = 3;
    const tl_drawn_lead* lead = &board->leads[index];
    tl_spot first = lead->way[0], last = lead->way[lead->count - 1];
    double sum = 0;
    for (size_t k = 1; k < lead->line_count; ++k) {
        tl_spot a = lead->line[k - 1], b = lead->line[k];
        double size = hypot(b.x - a.x, b.y - a.y);
        size_t pieces = (size_t)ceil(size / every_mm);
        for (size_t i = 0; i < pieces; ++i) {
            tl_spot toward = {(b.x - a.x) / size, (b.y - a.y) / size};
            tl_spot at = step(a, toward, size * ((double)i + 0.5) / (double)pieces);
            bool covered = false;
            for (size_t j = 0; j < board->build->lead_count && !covered; ++j)
                covered = j != index && runs_along(&board->leads[j], at, toward);
            bool inner = hypot(at.x - first.x, at.y - first.y) > ends_mm &&
                         hypot(at.x - last.x, at.y - last.y) > ends_mm;
            sum += covered && inner ? size / (double)pieces : 0;
        }
        for (size_t i = 0; !lead->below && i < board->build->box_count; ++i)
            if (!board->boxes[i].box->under)
                sum += tl_drawn_inside(a, b, board->boxes[i].body);
    }
    return sum;
}

/// Moves the inner corners of a way to the right by `aside`, each along the middle of its angle.
static void move_aside(const tl_spot* as_laid, tl_drawn_lead* lead, double aside) {
    lead->aside = aside;
    for (size_t i = 1; i + 1 < lead->count; ++i) {
        const tl_spot* at = &as_laid[i];
        double in_mm = fmax(hypot(at->x - at[-1].x, at->y - at[-1].y), 1e-9);
        double out_mm = fmax(hypot(at[1].x - at->x, at[1].y - at->y), 1e-9);
        // To the right of whither it runs: x and y down the sheet.
        tl_spot right = {-(at->y - at[-1].y) / in_mm - (at[1].y - at->y) / out_mm,
                         (at->x - at[-1].x) / in_mm + (at[1].x - at->x) / out_mm};
        double size = hypot(right.x, right.y);
        // Of two directions' sum, half is the cosine of half the angle between them.
        double by = size > 0.5 ? aside / (size / 2) / size : 0;
        lead->way[i] = step(*at, right, by);
    }
}

/// Draws a lead beside its way where it would lie on others: what is one bundle on the board has to
/// be told apart on paper.
static void set_aside(tl_drawn_board* board, size_t index) {
    tl_drawn_lead* lead = &board->leads[index];
    flatten(lead);
    if (lead->count < 3 || lead->stub)
        return;
    static const double lanes[] = {0, 1, -1, 2, -2, 3, -3, 4, -4};
    tl_spot* as_laid = tl_new(lead->count, sizeof *as_laid);
    memcpy(as_laid, lead->way, lead->count * sizeof *as_laid);
    double least = INFINITY, best = 0;
    for (size_t i = 0; i < sizeof lanes / sizeof *lanes && least > 1; ++i) {
        move_aside(as_laid, lead, lanes[i] * side_by_side_mm);
        flatten(lead);
        double cost = hidden(board, index) + 0.3 * fabs(lanes[i]);
        if (cost < least - 1e-6) {
            least = cost;
            best = lanes[i];
        }
    }
    move_aside(as_laid, lead, best * side_by_side_mm);
    flatten(lead);
    free(as_laid);
}

static bool is_near(const tl_build* build, const tl_build_lead* lead) {
    for (size_t i = 0; i < lead->way_count; ++i)
        if (!tl_drawn_is_near(build, lead->way[i]))
            return false;
    return lead->way_count > 1;
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

/// What its way bends by; a stub's is not laid out, and bends as its make allows.
static double radius_of(const tl_drawn_board* board, const tl_build_lead* lead) {
    double radius_m = isfinite(lead->bend_m)         ? lead->bend_m
                      : isfinite(lead->bend_least_m) ? lead->bend_least_m
                                                     : 0.02;
    return radius_m * 1000 / board->scale;
}

static bool is_under(const tl_build* build, const tl_build_end* end) {
    return end->box < build->box_count && build->boxes[end->box].under;
}

void tl_drawn_find_ways(tl_drawn_board* board) {
    const tl_build* build = board->build;
    board->leads = tl_new(build->lead_count, sizeof *board->leads);
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        board->leads[i].lead = lead;
        board->leads[i].radius = radius_of(board, lead);
        board->leads[i].below = is_under(build, &lead->from) || is_under(build, &lead->to);
        if (is_near(build, lead))
            copy_way(board, i);
    }
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        bool from_here = lead->from.box < build->box_count,
             to_here = lead->to.box < build->box_count;
        const tl_build_end* here = from_here ? &lead->from : &lead->to;
        if (board->leads[i].count || from_here == to_here || !tl_drawn_is_near(build, here->jack) ||
            !tl_drawn_is_near(build, here->leaves))
            continue;
        board->leads[i].stub = true;
        board->leads[i].way = tl_new(STUB_CORNERS, sizeof(tl_spot));
        find_stub(board, i, here);
    }
    for (size_t i = 0; i < build->lead_count; ++i)
        if (board->leads[i].stub) {
            const tl_build_lead* lead = &build->leads[i];
            place_label(board, i, lead->from.box < build->box_count ? &lead->to : &lead->from);
            flatten(&board->leads[i]);
        }
    for (size_t i = 0; i < build->lead_count; ++i) {
        set_aside(board, i);
        for (size_t k = 0; k < board->leads[i].line_count; ++k)
            tl_drawn_widen(&board->reach, tl_drawn_around(board->leads[i].line[k], 2, 2));
    }
}

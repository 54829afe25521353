// SPDX-License-Identifier: GPL-3.0-or-later
// What a board's drawing is made of: boxes, jacks and plugs at their scale, and the helpers of the
// other steps.
#include "show/build_svg.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double sign_mm = 2.2; ///< of a jack's sign
static const double ruler_mm = 9;  ///< figures along the left edge
static const double front_mm = 11; ///< figures and words along the front edge

tl_box tl_drawn_around(tl_spot middle, double width, double height) {
    return (tl_box){middle.x - width / 2, middle.y - height / 2, middle.x + width / 2,
                    middle.y + height / 2};
}

void tl_drawn_widen(tl_box* box, tl_box other) {
    box->left = fmin(box->left, other.left);
    box->top = fmin(box->top, other.top);
    box->right = fmax(box->right, other.right);
    box->bottom = fmax(box->bottom, other.bottom);
}

tl_spot tl_drawn_toward(tl_side side) {
    switch (side) {
    case TL_SIDE_LEFT:
        return (tl_spot){-1, 0};
    case TL_SIDE_RIGHT:
        return (tl_spot){1, 0};
    case TL_SIDE_FRONT:
        return (tl_spot){0, 1};
    default:
        return (tl_spot){0, -1};
    }
}

double tl_drawn_width(const char* words, double size) {
    return tl_text_width(words) / TL_TEXT_SIZE * size;
}

char* tl_drawn_letter(size_t letter) {
    char words[24] = "";
    size_t at = sizeof words - 1;
    for (; letter && at; letter = (letter - 1) / 26)
        words[--at] = (char)('A' + (letter - 1) % 26);
    return tl_copy(words + at);
}

bool tl_drawn_is_dc(const tl_build_lead* lead) {
    return strcmp(lead->kind, "dc") == 0;
}

void tl_drawn_keep_off(tl_drawn_board* board, tl_box area, double weight) {
    board->obstacles =
        tl_grow_one(board->obstacles, board->obstacle_count, sizeof(tl_drawn_obstacle));
    board->obstacles[board->obstacle_count++] = (tl_drawn_obstacle){area, weight};
}

double tl_drawn_inside(tl_spot from, tl_spot to, tl_box area) {
    double start = 0, end = 1;
    const double starts[2] = {from.x, from.y}, runs[2] = {to.x - from.x, to.y - from.y};
    const double lows[2] = {area.left, area.top}, highs[2] = {area.right, area.bottom};
    for (int i = 0; i < 2; ++i) {
        if (fabs(runs[i]) < 1e-9) {
            if (starts[i] < lows[i] || starts[i] > highs[i])
                return 0;
            continue;
        }
        double one = (lows[i] - starts[i]) / runs[i], two = (highs[i] - starts[i]) / runs[i];
        start = fmax(start, fmin(one, two));
        end = fmin(end, fmax(one, two));
    }
    return end > start ? (end - start) * hypot(runs[0], runs[1]) : 0;
}

/// The share of an area that another covers.
static double covered(tl_box area, tl_box by) {
    double width = fmin(area.right, by.right) - fmax(area.left, by.left);
    double height = fmin(area.bottom, by.bottom) - fmax(area.top, by.top);
    if (width <= 0 || height <= 0)
        return 0;
    return width * height / ((area.right - area.left) * (area.bottom - area.top));
}

double tl_drawn_cost(const tl_drawn_board* board, tl_box area, size_t own, double below) {
    double cost = 0;
    for (size_t i = 0; i < board->obstacle_count; ++i) {
        double share = covered(area, board->obstacles[i].area);
        if (share > 0) // to touch it at all is half as bad as to cover it
            cost += board->obstacles[i].weight * (0.5 + share);
    }
    double size = fmin(area.right - area.left, area.bottom - area.top);
    for (size_t i = 0; i < board->build->lead_count; ++i) {
        const tl_drawn_lead* lead = &board->leads[i];
        double weight = lead->below ? below : 4, inside = 0;
        if (i == own || !lead->line_count || lead->bounds.left > area.right ||
            lead->bounds.right < area.left || lead->bounds.top > area.bottom ||
            lead->bounds.bottom < area.top)
            continue;
        for (size_t k = 1; k < lead->line_count; ++k)
            inside += tl_drawn_inside(lead->line[k - 1], lead->line[k], area);
        cost += weight * fmin(1, inside / size);
    }
    return cost;
}

bool tl_drawn_is_near(const tl_build* build, tl_spot_m spot) {
    double reach_m = build->width_m + build->depth_m; // no comparison holds for NAN
    return spot.x_m > -reach_m && spot.x_m < 2 * reach_m && spot.y_m > -reach_m &&
           spot.y_m < 2 * reach_m;
}

static tl_spot place_of(const tl_drawn_board* board, tl_spot_m spot) {
    return (tl_spot){spot.x_m * 1000 / board->scale,
                     (board->build->depth_m - spot.y_m) * 1000 / board->scale};
}

static void make_boxes(tl_drawn_board* board) {
    const tl_build* build = board->build;
    board->boxes = tl_new(build->box_count, sizeof *board->boxes);
    for (size_t i = 0; i < build->box_count; ++i) {
        const tl_build_box* box = &build->boxes[i];
        tl_spot low = place_of(board, (tl_spot_m){box->left_m, box->front_m});
        tl_spot high =
            place_of(board, (tl_spot_m){box->left_m + box->width_m, box->front_m + box->depth_m});
        board->boxes[i].box = box;
        board->boxes[i].body = (tl_box){low.x, high.y, high.x, low.y};
        tl_drawn_widen(&board->reach, board->boxes[i].body);
    }
}

static void make_jack(tl_drawn_board* board, size_t lead, const tl_build_end* end, bool goes_in) {
    if (end->box >= board->build->box_count || !tl_drawn_is_near(board->build, end->jack))
        return;
    tl_drawn_jack* jack = &board->jacks[board->jack_count++];
    tl_spot at = place_of(board, end->jack), out = tl_drawn_toward(end->side);
    *jack = (tl_drawn_jack){.lead = lead,
                            .box = end->box,
                            .side = end->side,
                            .at = at,
                            .goes_in = goes_in,
                            .power = tl_drawn_is_dc(&board->build->leads[lead])};
    jack->mark = tl_drawn_around((tl_spot){at.x - out.x * sign_mm / 2, at.y - out.y * sign_mm / 2},
                                 sign_mm, sign_mm);
    jack->has_plug = tl_drawn_is_near(board->build, end->low) &&
                     tl_drawn_is_near(board->build, end->high) && end->high.x_m > end->low.x_m &&
                     end->high.y_m > end->low.y_m;
    if (!jack->has_plug)
        return;
    tl_spot low = place_of(board, end->low), high = place_of(board, end->high);
    jack->plug = (tl_box){low.x, high.y, high.x, low.y};
    tl_drawn_widen(&board->reach, jack->plug);
}

static void make_jacks(tl_drawn_board* board) {
    const tl_build* build = board->build;
    board->jacks = tl_new(2 * build->lead_count, sizeof *board->jacks);
    for (size_t i = 0; i < build->lead_count; ++i) {
        make_jack(board, i, &build->leads[i].from, false);
        make_jack(board, i, &build->leads[i].to, true);
    }
}

/// What is on the board already, for words and signs to stand beside.
static void keep_off_boxes(tl_drawn_board* board) {
    for (size_t i = 0; i < board->build->box_count; ++i)
        if (!board->boxes[i].box->under)
            tl_drawn_keep_off(board, board->boxes[i].body, 0.5);
    for (size_t i = 0; i < board->jack_count; ++i) {
        tl_drawn_keep_off(board, board->jacks[i].mark, 6);
        if (board->jacks[i].has_plug)
            tl_drawn_keep_off(board, board->jacks[i].plug, 3);
    }
}

/// Words below the front edge, in the middle or where no lead leaves the board.
static void place_front_words(tl_drawn_board* board, const char* words) {
    double width = tl_drawn_width(words, TL_DRAWN_TEXT);
    static const double shares[] = {0.5, 0.3, 0.7, 0.15, 0.85};
    for (size_t i = 0; i < sizeof shares / sizeof *shares; ++i) {
        tl_spot middle = {fmax(board->width * shares[i], width / 2), board->depth + 8.4};
        tl_box area = tl_drawn_around(middle, width, TL_DRAWN_TEXT);
        if (i && tl_drawn_cost(board, area, TL_BUILD_NONE, 1.2) > 0)
            continue;
        board->front_words = area;
        if (tl_drawn_cost(board, area, TL_BUILD_NONE, 1.2) == 0)
            return;
    }
}

tl_drawn_board tl_drawn_board_make(const tl_build* build, double scale, bool turned_labels) {
    tl_drawn_board board = {.build = build,
                            .scale = scale,
                            .turned_labels = turned_labels,
                            .width = build->width_m * 1000 / scale,
                            .depth = build->depth_m * 1000 / scale};
    board.reach = (tl_box){-ruler_mm, -1, board.width + 1, board.depth + front_mm};
    board.number_radius = build->lead_count < 10 ? 2.3 : build->lead_count < 100 ? 2.7 : 3.6;
    make_boxes(&board);
    make_jacks(&board);
    tl_drawn_find_ways(&board);
    keep_off_boxes(&board);
    place_front_words(&board, "player's side");
    tl_drawn_widen(&board.reach, board.front_words);
    tl_drawn_find_names(&board);
    tl_drawn_find_marks(&board);
    return board;
}

void tl_drawn_board_free(tl_drawn_board* board) {
    for (size_t i = 0; board->boxes && i < board->build->box_count; ++i)
        for (size_t k = 0; k < board->boxes[i].name.count; ++k)
            free(board->boxes[i].name.lines[k]);
    for (size_t i = 0; board->leads && i < board->build->lead_count; ++i) {
        free(board->leads[i].way);
        free(board->leads[i].line);
        free(board->leads[i].label);
    }
    free(board->boxes);
    free(board->jacks);
    free(board->leads);
    free(board->warnings);
    free(board->obstacles);
    *board = (tl_drawn_board){0};
}

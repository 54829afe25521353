// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/place.h"

#include <math.h>

// What a fault costs, in px of distance that it may be traded for.
static const double curve_cost = 12, touch_cost = 500, words_cost = 2000, mark_cost = 150,
                    crossing_cost = 70, nearness_cost = 8, below_cost = 6;

// Distances kept, px.
static const double clear_of_curves = 5, clear_of_words = 6, clear_of_marks = 7, edge = 5,
                    wanted_gap = 11;

static tl_box grown(tl_box box, double by) {
    return (tl_box){box.left - by, box.top - by, box.right + by, box.bottom + by};
}

static bool overlap(tl_box one, tl_box other) {
    return one.left < other.right && other.left < one.right && one.top < other.bottom &&
           other.top < one.bottom;
}

/// Index of the first spot of a line at or right of x.
static size_t first_from(const tl_line* line, double x) {
    size_t low = 0, high = line->count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (line->spots[middle].x < x)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/// How many pieces of the line run through the box (each some two px long).
static size_t pieces_inside(const tl_line* line, tl_box box) {
    size_t inside = 0;
    size_t i = first_from(line, box.left);
    for (i = i ? i - 1 : 0; i + 1 < line->count && line->spots[i].x <= box.right; ++i) {
        double a = line->spots[i].y, b = line->spots[i + 1].y;
        inside += fmin(a, b) < box.bottom && fmax(a, b) > box.top;
    }
    return inside;
}

tl_spot tl_place_end(tl_box box, tl_spot mark) {
    return (tl_spot){fmin(fmax(mark.x, box.left), box.right),
                     fmin(fmax(mark.y, box.top), box.bottom)};
}

/// How often a leader from `mark` to `end` crosses curves once it has left the mark, and words.
static size_t crossings(const tl_scene* scene, tl_spot mark, tl_spot end) {
    double length = hypot(end.x - mark.x, end.y - mark.y);
    size_t found = 0;
    for (double at = 9; at < length; at += 3) {
        double share = at / length;
        tl_spot spot = {mark.x + share * (end.x - mark.x), mark.y + share * (end.y - mark.y)};
        tl_box dot = {spot.x - 1.5, spot.y - 1.5, spot.x + 1.5, spot.y + 1.5};
        for (size_t i = 0; i < scene->line_count; ++i)
            found += pieces_inside(&scene->lines[i], dot) > 0;
        for (size_t i = 0; i < scene->box_count; ++i)
            found += overlap(scene->boxes[i], dot);
    }
    return found;
}

static double cost_of(const tl_scene* scene, tl_spot mark, tl_box box, double best) {
    tl_spot end = tl_place_end(box, mark);
    double gap = hypot(end.x - mark.x, end.y - mark.y);
    double cost = fabs(gap - wanted_gap) * (gap < wanted_gap ? nearness_cost : 1);
    cost += box.top > mark.y ? below_cost : 0;
    // A little for standing aside: of two equal places the one centred over the mark is found
    // first.
    cost += 0.05 * fabs((box.left + box.right) / 2 - mark.x);
    if (cost >= best)
        return cost;
    for (size_t i = 0; i < scene->box_count; ++i)
        cost += overlap(grown(box, clear_of_words), scene->boxes[i]) ? words_cost : 0;
    for (size_t i = 0; i < scene->mark_count; ++i) {
        tl_spot other = scene->marks[i];
        tl_box dot = grown((tl_box){other.x, other.y, other.x, other.y}, clear_of_marks);
        cost += overlap(box, dot) ? mark_cost : 0;
    }
    for (size_t i = 0; i < scene->line_count && cost < best; ++i) {
        size_t inside = pieces_inside(&scene->lines[i], grown(box, clear_of_curves));
        cost += inside ? touch_cost + curve_cost * (double)inside : 0;
    }
    if (cost < best)
        cost += crossing_cost * (double)crossings(scene, mark, end);
    return cost;
}

tl_box tl_place(const tl_scene* scene, tl_spot mark, double width, double height, double* cost) {
    tl_box area = grown(scene->area, -edge);
    tl_box best_box = {mark.x, mark.y - height, mark.x + width, mark.y};
    double best = INFINITY;
    for (double y = area.top; y + height <= area.bottom; y += 4)
        for (double x = area.left; x + width <= area.right; x += 4) {
            tl_box box = {x, y, x + width, y + height};
            double here = cost_of(scene, mark, box, best);
            if (here < best) {
                best = here;
                best_box = box;
            }
        }
    *cost = best;
    return best_box;
}

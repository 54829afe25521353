// SPDX-License-Identifier: GPL-3.0-or-later
// Names in the boxes of a board's drawing: in the box when it has room for them, in lines or turned
// upright, or else a letter whose name stands in the key.
#include "show/build_svg.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double line_height = 1.2; ///< of the size
static const double faint = 0.3;       ///< a lead that shows through a box from below the deck
static const double large_mm = 4.2;
static const double edge_mm = 0.9; ///< between a name and its box

static void clear_name(tl_drawn_name* name) {
    for (size_t i = 0; i < name->count; ++i)
        free(name->lines[i]);
    *name = (tl_drawn_name){0};
}

/// The bytes of the words that fit a line: as many as there are blanks or hyphens to part them at.
static size_t fitting_bytes(const char* words, double width, double size) {
    size_t best = 0, length = strlen(words);
    for (size_t end = 1; end <= length; ++end) {
        if (end < length && words[end] != ' ' && words[end - 1] != '-')
            continue;
        char* part = tl_printf("%.*s", (int)end, words);
        bool fits = tl_drawn_width(part, size) <= width;
        free(part);
        if (!fits)
            break;
        best = end;
    }
    return best;
}

/// Breaks words into lines that fit a room. False when they do not.
static bool break_lines(tl_drawn_name* name, const char* words, double width, double height,
                        double size) {
    clear_name(name);
    name->size = size;
    double widest = 0;
    while (*words) {
        size_t bytes = fitting_bytes(words, width, size);
        if (!bytes || name->count == TL_DRAWN_LINES) {
            clear_name(name);
            return false;
        }
        char* line = tl_printf("%.*s", (int)bytes, words);
        name->lines[name->count++] = line;
        widest = fmax(widest, tl_drawn_width(line, size));
        words += bytes;
        words += strspn(words, " ");
    }
    double tall = (double)name->count * size * line_height;
    if (tall > height)
        clear_name(name);
    name->area = (tl_box){0, 0, widest, tall};
    return name->count > 0;
}

static void turn_area(tl_drawn_name* name) {
    name->area = (tl_box){0, 0, name->area.bottom, name->area.right};
    name->upright = true;
}

/// Puts an area of that size where it covers least inside a box. Returns what it covers.
static double place_in_box(const tl_drawn_board* board, const tl_drawn_box* box, tl_box* area) {
    double width = area->right - area->left, height = area->bottom - area->top;
    double across = box->body.right - box->body.left - 2 * edge_mm - width;
    double down = box->body.bottom - box->body.top - 2 * edge_mm - height;
    static const double shares[] = {0.5, 0.35, 0.65, 0.2, 0.8, 0, 1};
    enum { SHARES = sizeof shares / sizeof *shares };
    double least = INFINITY;
    for (size_t i = 0; i < SHARES; ++i)
        for (size_t k = 0; k < SHARES; ++k) {
            double left = box->body.left + edge_mm + across * shares[k];
            double top = box->body.top + edge_mm + down * shares[i];
            tl_box here = {left, top, left + width, top + height};
            double off = fabs(shares[i] - 0.5) + fabs(shares[k] - 0.5);
            double cost = tl_drawn_cost(board, here, TL_BUILD_NONE, faint) + 0.3 * off;
            if (cost < least - 1e-9) {
                least = cost;
                *area = here;
            }
        }
    return least;
}

/// A name that covers nothing it should not, in the largest of the ways to set it.
static bool set_name(const tl_drawn_board* board, tl_drawn_box* box, const char* words,
                     double most_covered) {
    double width = box->body.right - box->body.left - 2 * edge_mm;
    double height = box->body.bottom - box->body.top - 2 * edge_mm;
    const double sizes[] = {large_mm, TL_DRAWN_TEXT};
    for (int upright = 0; upright < 2; ++upright)
        for (size_t i = upright ? 1 : 0; i < sizeof sizes / sizeof *sizes; ++i) {
            if (!break_lines(&box->name, words, upright ? height : width, upright ? width : height,
                             sizes[i]))
                continue;
            if (upright)
                turn_area(&box->name);
            if (place_in_box(board, box, &box->name.area) <= most_covered)
                return true;
        }
    clear_name(&box->name);
    return false;
}

static void set_letter(tl_drawn_board* board, tl_drawn_box* box) {
    clear_name(&box->name);
    box->name.letter = ++board->letters;
    box->name.size = large_mm;
    box->name.lines[0] = tl_drawn_letter(box->name.letter);
    box->name.count = 1;
    box->name.area = (tl_box){0, 0, tl_drawn_width(box->name.lines[0], large_mm) + 1, large_mm};
    place_in_box(board, box, &box->name.area);
}

/// What stands on the deck first: a box below it has its name where nothing stands over it.
void tl_drawn_find_names(tl_drawn_board* board) {
    for (int under = 0; under < 2; ++under)
        for (size_t i = 0; i < board->build->box_count; ++i) {
            tl_drawn_box* box = &board->boxes[i];
            if (box->box->under != under)
                continue;
            tl_text words = {0};
            tl_text_add_safe(&words, box->box->name);
            // The box's own body counts 0.5 and half of that again, a line across the name 4.
            if (!set_name(board, box, tl_text_get(&words), under ? 0.4 : 2.5))
                set_letter(board, box);
            tl_text_free(&words);
            tl_drawn_keep_off(board, box->name.area, 25);
        }
}

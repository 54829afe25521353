// SPDX-License-Identifier: GPL-3.0-or-later
// Designs side by side, a column each, in blocks that fit a terminal.
#include "show/bench.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum {
    BLOCK = 4,        // designs beside each other at most
    HEAD_LINES = 3,   // of a design's name
    LEAST_WIDTH = 11, // of a design's column, marks not counted
    MARKS = 3,        // a blank, the grade's mark, the mark of the best
    WIDEST = 108,     // columns: beyond them, the limits are left to what stands below the table
};

/// Designs that stand beside each other, and how wide the columns are.
typedef struct {
    const tl_bench_view* view;
    bool worst;
    bool limits;        ///< has a column of limits
    size_t first, last; ///< the designs, `last` being one too many
    size_t title, limit;
    size_t value[BLOCK];
} block;

static const tl_bench_figure* figure_of(const block* b, size_t design, size_t line) {
    const tl_bench_design* of = &b->view->bench->designs[design];
    return b->worst ? (of->worst ? &of->worst[line] : NULL) : &of->figures[line];
}

static char* value_of(const block* b, size_t design, size_t line) {
    const tl_bench_figure* figure = figure_of(b, design, line);
    bool known = figure && !figure->trouble;
    return known ? tl_bench_value(&b->view->bench->lines[line], figure) : tl_copy("-");
}

static void measure(block* b) {
    const tl_bench* bench = b->view->bench;
    b->limit = strlen("limit");
    for (size_t j = 0; j < BLOCK; ++j)
        b->value[j] = LEAST_WIDTH;
    for (size_t i = 0; i < bench->line_count; ++i) {
        if (!tl_bench_shows(b->view, i))
            continue;
        char* limit = tl_bench_limit_words(&b->view->bench->lines[i]);
        tl_wrap_widen(&b->limit, limit);
        free(limit);
        tl_wrap_widen(&b->title, bench->lines[i].title);
        for (size_t j = b->first; j < b->last; ++j) {
            char* value = value_of(b, j, i);
            tl_wrap_widen(&b->value[j - b->first], value);
            free(value);
        }
    }
}

/// The piece of a name that stands on one line of a head: parted at blanks where that is possible,
/// the last one cut. `*from` goes on to the next.
static char* head_piece(const char* name, size_t* from, size_t width, bool last) {
    const char* start = name + *from;
    if (tl_text_columns(start) <= width) {
        *from += strlen(start);
        return tl_copy(start);
    }
    size_t room = last ? width - 2 : width;
    size_t end = 0;
    size_t blank = 0;
    for (size_t columns = 0;; ++end) {
        bool opens = ((unsigned char)start[end] & 0xc0) != 0x80;
        if (opens && start[end] == ' ')
            blank = end;
        if (opens && columns++ == room)
            break;
    }
    size_t size = blank && !last ? blank : end;
    *from += size + (start[size] == ' ');
    return tl_printf("%.*s%s", (int)size, start, last ? ".." : "");
}

static void add_limit(tl_text* text, const block* b, const char* words) {
    tl_text_add(text, "  ");
    tl_wrap_cell(text, words, b->limit, false);
}

static void add_heads(tl_text* text, const block* b) {
    size_t from[BLOCK] = {0};
    for (int line = 0; line < HEAD_LINES; ++line) {
        bool more = false;
        for (size_t j = b->first; j < b->last; ++j)
            more = more || b->view->names[j][from[j - b->first]];
        if (!more)
            break;
        tl_wrap_cell(text, "", 2 + b->title, false);
        if (b->limits)
            add_limit(text, b, line ? "" : "limit");
        for (size_t j = b->first; j < b->last; ++j) {
            size_t width = b->value[j - b->first] + MARKS;
            char* piece = head_piece(b->view->names[j], &from[j - b->first], width - 1,
                                     line == HEAD_LINES - 1);
            tl_text_add(text, " ");
            tl_wrap_cell(text, piece, width, false);
            free(piece);
        }
        tl_wrap_end_line(text);
    }
}

static void add_line(tl_text* text, const block* b, size_t index) {
    const tl_bench_line* line = &b->view->bench->lines[index];
    char* limit = tl_bench_limit_words(&b->view->bench->lines[index]);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, line->title, b->title, false);
    if (b->limits)
        add_limit(text, b, limit);
    for (size_t j = b->first; j < b->last; ++j) {
        const tl_bench_figure* figure = figure_of(b, j, index);
        char* value = value_of(b, j, index);
        tl_text_add(text, " ");
        tl_wrap_cell(text, value, b->value[j - b->first], true);
        tl_text_addf(text, " %c%c", figure ? tl_bench_mark(figure) : ' ',
                     line->best == j && !b->worst ? '*' : ' ');
        free(value);
    }
    tl_wrap_end_line(text);
    free(limit);
}

/// Whether there is room for the limits.
static bool has_room(const block* b) {
    size_t width = 2 + b->title + 2 + b->limit;
    for (size_t j = b->first; j < b->last; ++j)
        width += 1 + b->value[j - b->first] + MARKS;
    return width <= WIDEST;
}

static void add_block(tl_text* text, const block* b) {
    tl_text_add(text, "\n");
    add_heads(text, b);
    for (size_t i = 0; i < b->view->bench->line_count; ++i) {
        if (!tl_bench_shows(b->view, i))
            continue;
        if (tl_bench_opens_group(b->view, i))
            tl_text_addf(text, "%s\n", b->view->bench->lines[i].group);
        add_line(text, b, i);
    }
}

void tl_bench_add_table(tl_text* text, const tl_bench_view* view, bool worst) {
    size_t count = view->bench->count;
    size_t blocks = (count + BLOCK - 1) / BLOCK;
    size_t size = blocks ? (count + blocks - 1) / blocks : 0;
    bool limits = true;
    for (size_t first = 0; first < count; first += size) {
        block b = {.view = view, .worst = worst, .first = first};
        b.last = first + size < count ? first + size : count;
        measure(&b);
        b.limits = limits = limits && has_room(&b);
        add_block(text, &b);
    }
    tl_text_addf(text, "\n%s! fails its limit   ~ marginal   ? could not be measured%s\n",
                 worst ? "" : "* best of all   ", worst ? "" : " (see below)");
    if (!limits && !worst)
        tl_text_add(text,
                    "The limits are in the answer for one design, and in --json and --csv.\n");
}

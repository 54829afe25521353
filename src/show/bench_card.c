// SPDX-License-Identifier: GPL-3.0-or-later
// The card of one design.
#include "show/bench.h"

#include <stdlib.h>
#include <string.h>

static const char* const heads[] = {"value", "limit", "verdict"};

/// Widths of the columns of a card.
typedef struct {
    size_t title, value, limit, verdict;
} widths;

static widths measure(const tl_bench_view* view) {
    widths found = {0, strlen(heads[0]), strlen(heads[1]), strlen("marginal")};
    for (size_t i = 0; i < view->bench->line_count; ++i) {
        const tl_bench_line* line = &view->bench->lines[i];
        if (!tl_bench_shows(view, i))
            continue;
        char* value = tl_bench_value(line, &view->bench->designs[0].figures[i]);
        char* limit = tl_bench_limit_words(line);
        tl_wrap_widen(&found.title, line->title);
        tl_wrap_widen(&found.value, value);
        tl_wrap_widen(&found.limit, limit);
        free(value);
        free(limit);
    }
    return found;
}

/// Why a line that does not pass matters, below it; `*told` is what the line before was told, and
/// the same is not told twice running.
static void add_why(tl_text* text, const tl_bench_view* view, const tl_bench_line* line,
                    const char** told) {
    if (!line->limit || !line->limit->why || (*told && strcmp(*told, line->limit->why) == 0))
        return;
    *told = line->limit->why;
    tl_text why = {0};
    tl_text_add(&why, line->limit->why);
    if (view->details && line->limit->source)
        tl_text_addf(&why, " (%s)", line->limit->source);
    tl_text_add(text, "      ");
    tl_wrap_words(text, tl_text_get(&why), 6, 6);
    tl_text_free(&why);
}

static void add_line(tl_text* text, const tl_bench_view* view, const widths* wide, size_t index,
                     const char** told) {
    const tl_bench_line* line = &view->bench->lines[index];
    const tl_bench_figure* figure = &view->bench->designs[0].figures[index];
    char* value = tl_bench_value(line, figure);
    char* note = tl_bench_note(figure);
    char* limit = tl_bench_limit_words(line);
    tl_text_addf(text, "%c ", tl_bench_mark(figure));
    tl_wrap_cell(text, line->title, wide->title, false);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, value, wide->value, true);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, limit, wide->limit, false);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, tl_grade_words(figure->grade), wide->verdict, false);
    size_t column = 2 + wide->title + 2 + wide->value + 2 + wide->limit + 2 + wide->verdict + 2;
    bool fits = !*note || column + tl_text_columns(note) <= TL_WRAP_WIDTH;
    tl_text_add(text, "  ");
    if (!fits)
        tl_wrap_break(text, 6);
    tl_wrap_words(text, note, fits ? column : 6, 6);
    if (figure->grade > TL_GRADE_PASS)
        add_why(text, view, line, told);
    free(value);
    free(note);
    free(limit);
}

/// A group's name; over the first one, what the columns are.
static void add_group(tl_text* text, const char* group, const widths* wide, bool first) {
    tl_text_add(text, "\n");
    tl_wrap_cell(text, group, wide->title + 4, false);
    if (first) {
        tl_wrap_cell(text, heads[0], wide->value, true);
        tl_text_add(text, "  ");
        tl_wrap_cell(text, heads[1], wide->limit, false);
        tl_text_addf(text, "  %s", heads[2]);
    }
    tl_wrap_end_line(text);
}

void tl_bench_add_card(tl_text* text, const tl_bench_view* view) {
    widths wide = measure(view);
    bool first = true;
    const char* told = NULL;
    for (size_t i = 0; i < view->bench->line_count; ++i) {
        if (!tl_bench_shows(view, i))
            continue;
        if (tl_bench_opens_group(view, i))
            add_group(text, view->bench->lines[i].group, &wide, first);
        first = false;
        add_line(text, view, &wide, i, &told);
    }
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The worst of all specimens of a design: parts at the ends of their tolerances.
#include "show/bench.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_known(const tl_bench_figure* figure) {
    return figure->trouble || figure->words || !isnan(figure->value);
}

/// How many specimens there were and how they were picked.
static void add_how(tl_text* text, const tl_bench_view* view, size_t index) {
    const tl_bench_design* design = &view->bench->designs[index];
    char* words = tl_printf(
        "%s: %zu specimens, %s", view->names[index], design->corner_count,
        design->by_slope ? "parts at the ends of their tolerances by the sign of each figure's "
                           "slope (too many parts for every combination), supply 10 % either way"
                         : "every combination of parts at the ends of their tolerances and of the "
                           "supply 10 % either way");
    tl_wrap_words(text, words, 0, 2);
    free(words);
}

static char* at_words(const tl_bench_design* design, size_t line) {
    const char* at = design->worst_at ? design->worst_at[line] : NULL;
    return at && *at ? tl_printf("with %s", at) : tl_copy("");
}

/// A figure that gets a worse verdict at a corner than it has by itself.
static bool breaks(const tl_bench_design* design, size_t line) {
    return design->worst[line].grade > TL_GRADE_PASS &&
           design->worst[line].grade > design->figures[line].grade;
}

static void add_break(tl_text* text, const tl_bench_line* line, const tl_bench_design* design,
                      size_t index) {
    const tl_bench_figure* worst = &design->worst[index];
    char* nominal = tl_bench_value(line, &design->figures[index]);
    char* value = tl_bench_value(line, worst);
    char* at = at_words(design, index);
    char* words =
        tl_printf("%s: %s%s%s; by itself %s%s%s.", line->title, value, *at ? " " : "", at, nominal,
                  line->limit ? "; limit: " : "", line->limit ? line->limit->words : "");
    tl_text_addf(text, "  %c ", tl_bench_mark(worst));
    tl_wrap_words(text, words, 4, 4);
    free(words);
    free(at);
    free(value);
    free(nominal);
}

/// Columns of the corners of one design.
typedef struct {
    size_t title, nominal, worst;
} widths;

static bool is_listed(const tl_bench_view* view, size_t line) {
    return tl_bench_shows(view, line) && is_known(&view->bench->designs[0].worst[line]);
}

static widths measure(const tl_bench_view* view) {
    const tl_bench_design* design = &view->bench->designs[0];
    widths found = {0, strlen("by itself"), strlen("worst")};
    for (size_t i = 0; i < view->bench->line_count; ++i) {
        if (!is_listed(view, i))
            continue;
        const tl_bench_line* line = &view->bench->lines[i];
        char* nominal = tl_bench_value(line, &design->figures[i]);
        char* worst = tl_bench_value(line, &design->worst[i]);
        tl_wrap_widen(&found.title, line->title);
        tl_wrap_widen(&found.nominal, nominal);
        tl_wrap_widen(&found.worst, worst);
        free(nominal);
        free(worst);
    }
    return found;
}

static void add_row(tl_text* text, const widths* wide, char mark, const char* const words[5]) {
    tl_text_addf(text, "%c ", mark);
    tl_wrap_cell(text, words[0], wide->title, false);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, words[1], wide->nominal, true);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, words[2], wide->worst, true);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, words[3], strlen("marginal"), false);
    tl_text_add(text, "  ");
    size_t column = 2 + wide->title + 2 + wide->nominal + 2 + wide->worst + 2 + 8 + 2;
    bool fits = column + tl_text_columns(words[4]) <= TL_WRAP_WIDTH;
    if (!fits)
        tl_wrap_break(text, 6);
    tl_wrap_words(text, words[4], fits ? column : 6, 6);
}

/// All lines of one design: by itself and at its worst; for those that get a worse verdict there
/// (or all, with details), where that is.
static void add_list(tl_text* text, const tl_bench_view* view) {
    const tl_bench_design* design = &view->bench->designs[0];
    widths wide = measure(view);
    const char* const heads[] = {"", "by itself", "worst", "verdict", ""};
    tl_text_add(text, "\n");
    add_row(text, &wide, ' ', heads);
    for (size_t i = 0; i < view->bench->line_count; ++i) {
        if (!is_listed(view, i))
            continue;
        const tl_bench_line* line = &view->bench->lines[i];
        char* nominal = tl_bench_value(line, &design->figures[i]);
        char* worst = tl_bench_value(line, &design->worst[i]);
        bool told = view->details || breaks(design, i);
        char* at = told ? at_words(design, i) : tl_copy("");
        const char* const words[] = {line->title, nominal, worst,
                                     tl_grade_words(design->worst[i].grade), at};
        add_row(text, &wide, tl_bench_mark(&design->worst[i]), words);
        free(nominal);
        free(worst);
        free(at);
    }
}

void tl_bench_add_corners(tl_text* text, const tl_bench_view* view) {
    const tl_bench* bench = view->bench;
    size_t cornered = 0;
    for (size_t j = 0; j < bench->count; ++j)
        cornered += bench->designs[j].worst != NULL;
    if (!cornered)
        return;
    tl_text_add(text, "\nThe worst of each figure with parts and supply at their extremes\n\n");
    for (size_t j = 0; j < bench->count; ++j)
        if (bench->designs[j].worst)
            add_how(text, view, j);
    if (bench->count == 1) {
        add_list(text, view);
        return;
    }
    tl_bench_add_table(text, view, true);
    tl_text_add(text, "\nWhat gets a worse verdict there than by itself\n");
    for (size_t j = 0; j < bench->count; ++j) {
        const tl_bench_design* design = &bench->designs[j];
        size_t broken = 0;
        for (size_t i = 0; design->worst && i < bench->line_count; ++i) {
            if (breaks(design, i) && !broken++)
                tl_text_addf(text, "\n%s\n", view->names[j]);
            if (breaks(design, i))
                add_break(text, &bench->lines[i], design, i);
        }
        if (design->worst && !broken)
            tl_text_addf(text, "\n%s: nothing\n", view->names[j]);
    }
}

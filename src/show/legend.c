// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/legend.h"

#include "show/page.h"

#include <stdlib.h>

enum { most_columns = 4, most_rows = 20 };

static double column_width(size_t columns) {
    return (TL_PAGE_WIDTH - TL_LEGEND_LEFT - 10) / (double)columns;
}

/// What words of an entry may take, px.
static double room(size_t columns) {
    return column_width(columns) - TL_LEGEND_LINE - TL_LEGEND_GAP - 16;
}

/// The figures that do not stand beside the curve's own marks.
static unsigned missing_figures(const tl_trace* trace, size_t count) {
    if (count > TL_FIGURED_CURVES)
        return 0;
    if (count > TL_NOTED_CURVES)
        return TL_PEAK_FIGURE | TL_CUTOFF_FIGURE;
    return (trace->peak.shown ? 0u : TL_PEAK_FIGURE) |
           (trace->cutoff.shown ? 0u : TL_CUTOFF_FIGURE);
}

/// A label, cut where it takes more than its share of `width`, and the curve's missing figures,
/// never cut.
static char* entry_words(const tl_trace* trace, size_t count, double width) {
    tl_text figures = {0};
    unsigned missing = missing_figures(trace, count);
    if (!trace->count)
        tl_text_add(&figures, ": no level at the reference frequency");
    else if (missing)
        tl_text_add(&figures, ": ");
    if (trace->count)
        tl_trace_add_figures(&figures, trace, missing);
    tl_text words = {0};
    const char* label = trace->curve->label ? trace->curve->label : "";
    tl_text_add_fitted(&words, label, width - tl_text_width(tl_text_get(&figures)));
    tl_text_add(&words, tl_text_get(&figures));
    tl_text_free(&figures);
    return tl_text_take(&words);
}

static double widest(const tl_trace* traces, size_t count) {
    double width = 0;
    for (size_t i = 0; i < count; ++i) {
        char* words = entry_words(&traces[i], count, 1e9);
        double own = tl_text_width(words);
        width = own > width ? own : width;
        free(words);
    }
    return width;
}

/// A legend that lists every curve.
static void list_all(tl_legend* legend, const tl_trace* traces, size_t count) {
    double width = widest(traces, count);
    size_t least = (count + most_rows - 1) / most_rows;
    size_t columns = count < most_columns ? count : most_columns;
    while (columns > least && room(columns) < width)
        --columns;
    legend->rows = (count + columns - 1) / columns;
    legend->columns = (count + legend->rows - 1) / legend->rows;
    for (size_t i = 0; i < count; ++i) {
        char* words = entry_words(&traces[i], count, room(legend->columns));
        legend->entries[legend->count++] = (tl_legend_entry){words, i};
    }
}

/// A legend that only says how many curves there are, and which one they are held against.
static void count_all(tl_legend* legend, const tl_trace* traces, size_t count) {
    size_t directs = 0, first = count, first_direct = count;
    for (size_t i = 0; i < count; ++i) {
        directs += traces[i].curve->direct;
        if (traces[i].curve->direct && first_direct == count)
            first_direct = i;
        if (!traces[i].curve->direct && first == count)
            first = i;
    }
    legend->rows = 1;
    legend->columns = 2;
    if (first < count)
        legend->entries[legend->count++] =
            (tl_legend_entry){tl_printf("%zu curves", count - directs), first};
    if (directs == 1)
        legend->entries[legend->count++] =
            (tl_legend_entry){entry_words(&traces[first_direct], count, room(2)), first_direct};
    else if (directs)
        legend->entries[legend->count++] =
            (tl_legend_entry){tl_printf("%zu direct curves", directs), first_direct};
}

/// Moves columns together when their words need less than the page gives.
static void set_column_width(tl_legend* legend) {
    double need = 0;
    for (size_t i = 0; i < legend->count; ++i) {
        double own = tl_text_width(legend->entries[i].words);
        need = own > need ? own : need;
    }
    need += TL_LEGEND_LINE + TL_LEGEND_GAP + 36;
    double most = column_width(legend->columns);
    legend->column_width = need < most ? need : most;
}

tl_legend tl_legend_make(const tl_trace* traces, size_t count) {
    tl_legend legend = {.entries = tl_new(count + 2, sizeof(tl_legend_entry))};
    if (count > TL_LISTED_CURVES)
        count_all(&legend, traces, count);
    else
        list_all(&legend, traces, count);
    set_column_width(&legend);
    return legend;
}

void tl_legend_free(tl_legend* legend) {
    for (size_t i = 0; i < legend->count; ++i)
        free(legend->entries[i].words);
    free(legend->entries);
    *legend = (tl_legend){0};
}

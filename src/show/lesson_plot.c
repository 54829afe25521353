// SPDX-License-Identifier: GPL-3.0-or-later
// The curves of line-ups inside a page.
#include "show/lesson.h"

#include "show/figure.h"
#include "show/html.h"

#include <math.h>
#include <stdlib.h>

static const double low_hz = 100, high_hz = 20000, step_db = 6;
static const double lowest_db = -24, highest_db = 36;

static tl_trace* make_traces(const tl_lesson_plot* plot) {
    tl_trace* traces = tl_new(plot->count, sizeof *traces);
    for (size_t i = 0; i < plot->count; ++i)
        traces[i] = tl_trace_make(&plot->curves[i]);
    return traces;
}

static void free_traces(tl_trace* traces, size_t count) {
    for (size_t i = 0; i < count; ++i)
        tl_trace_free(&traces[i]);
    free(traces);
}

void tl_lesson_fit_plot(tl_lesson_plot* plot) {
    tl_trace* traces = make_traces(plot);
    for (size_t i = 0; i < plot->count; ++i)
        for (size_t k = 0; k < traces[i].count; ++k)
            if (traces[i].points[k].hz >= low_hz) {
                double db = traces[i].points[k].db;
                plot->low_db = fmin(plot->low_db, step_db * floor(db / step_db));
                plot->high_db = fmax(plot->high_db, step_db * ceil((db + 1) / step_db));
            }
    plot->low_db = fmax(plot->low_db, lowest_db);
    plot->high_db = fmin(plot->high_db, highest_db);
    free_traces(traces, plot->count);
}

/// The points from the drawing's lowest frequency on.
static void add_curve(tl_text* page, const tl_figure* figure, const tl_trace* trace,
                      const tl_pen* pen) {
    size_t first = 0;
    while (first < trace->count && trace->points[first].hz < low_hz)
        ++first;
    tl_figure_add_curve(page, figure, pen, trace->count - first, trace->points + first);
}

static void add_marks(tl_text* page, const tl_figure* figure, const tl_trace* trace,
                      const tl_pen* pen) {
    if (trace->peak.shown && trace->peak.at.hz >= low_hz)
        tl_figure_add_circle(page, figure, pen, trace->peak.at);
    if (trace->cutoff.shown && trace->cutoff.at.hz >= low_hz)
        tl_figure_add_square(page, figure, pen, trace->cutoff.at);
}

static void add_legend(tl_text* page, const tl_lesson_plot* plot, const tl_trace* traces) {
    tl_figure_open_legend(page);
    for (size_t i = 0; i < plot->count; ++i) {
        tl_pen pen = tl_pen_of(traces, plot->count, i);
        tl_figure_add_swatch(page, &pen);
        const tl_metrics* metrics = plot->curves[i].metrics;
        tl_html_say(page,
                    isnan(metrics->peak_hz) ? "<b>@s</b> no peak</li>\n"
                                            : "<b>@s</b> peak @h, @d</li>\n",
                    plot->curves[i].label, metrics->peak_hz, metrics->peak_db);
    }
    tl_figure_close_legend(page);
}

void tl_lesson_add_plot(tl_text* page, const tl_lesson_plot* plot) {
    tl_trace* traces = make_traces(plot);
    const tl_figure figure = {.about = plot->about,
                              .low_hz = low_hz,
                              .high_hz = high_hz,
                              .low_db = plot->low_db,
                              .high_db = plot->high_db,
                              .step_db = step_db};
    tl_figure_open(page, &figure);
    for (size_t i = 0; i < plot->count; ++i) {
        tl_pen pen = tl_pen_of(traces, plot->count, i);
        add_curve(page, &figure, &traces[i], &pen);
    }
    for (size_t i = 0; i < plot->count; ++i) {
        tl_pen pen = tl_pen_of(traces, plot->count, i);
        add_marks(page, &figure, &traces[i], &pen);
    }
    add_legend(page, plot, traces);
    tl_text_add(page, "<figcaption>");
    tl_html_add(page, plot->about);
    tl_html_say(page,
                " Each curve is drawn relative to its own level at @h. Circle: peak; square: "
                "3&#160;dB below that level.</figcaption></figure>\n",
                plot->curves[0].metrics->reference_hz);
    free_traces(traces, plot->count);
}

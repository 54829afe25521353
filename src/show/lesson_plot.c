// SPDX-License-Identifier: GPL-3.0-or-later
// Curves inside a page, as SVG whose letters the page's style sizes: a plot made for a file has
// letters too small for a phone.
#include "show/lesson.h"

#include "show/html.h"
#include "show/pen.h"
#include "show/trace.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// The drawing, in units of its own; the page scales it.
static const double width = 640, height = 412, left = 60, top = 14, right = 626, bottom = 346;
static const double low_hz = 100, high_hz = 20000, step_db = 6;
static const double lowest_db = -24, highest_db = 36;

static double x_of(double hz) {
    return left + (right - left) * log(hz / low_hz) / log(high_hz / low_hz);
}

static double y_of(const tl_lesson_plot* plot, double db) {
    return top + (bottom - top) * (plot->high_db - db) / (plot->high_db - plot->low_db);
}

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

static void add_grid(tl_text* page, const tl_lesson_plot* plot) {
    static const double tics_hz[] = {100, 200, 500, 1000, 2000, 5000, 10000, 20000};
    for (size_t i = 0; i < sizeof tics_hz / sizeof *tics_hz; ++i) {
        double x = x_of(tics_hz[i]);
        bool kilo = tics_hz[i] >= 1000;
        tl_text_addf(page, "<path class=\"grid\" d=\"M%.1f %gV%g\"/>", x, top, bottom);
        tl_text_addf(page,
                     "<text x=\"%.1f\" y=\"%g\" dy=\"0.8em\" text-anchor=\"%s\">%g%s</text>\n", x,
                     bottom + 9,
                     tics_hz[i] == high_hz  ? "end"
                     : tics_hz[i] == low_hz ? "start"
                                            : "middle",
                     kilo ? tics_hz[i] / 1000 : tics_hz[i], kilo ? "k" : "");
    }
    for (double db = plot->low_db; db <= plot->high_db; db += step_db) {
        double y = y_of(plot, db);
        tl_text_addf(page, "<path class=\"%s\" d=\"M%g %.1fH%g\"/>", db == 0 ? "zero" : "grid",
                     left, y, right);
        tl_text_addf(page,
                     "<text x=\"%g\" y=\"%.1f\" dy=\"0.35em\" text-anchor=\"end\">%s%g</text>\n",
                     left - 8, y,
                     db < 0   ? "\xe2\x88\x92"
                     : db > 0 ? "+"
                              : "",
                     fabs(db));
    }
    tl_text_addf(page,
                 "<rect class=\"frame\" x=\"%g\" y=\"%g\" width=\"%g\" height=\"%g\"/>"
                 "<text x=\"%g\" y=\"%g\" dy=\"2.1em\" text-anchor=\"middle\">frequency, Hz</text>"
                 "<text x=\"%g\" y=\"%g\">dB</text>\n",
                 left, top, right - left, bottom - top, (left + right) / 2, bottom + 11, left + 8,
                 top + 22);
}

/// A pen's dashes, which gnuplot writes as "(14,5)".
static void add_stroke(tl_text* page, const tl_pen* pen) {
    tl_text_addf(page, " stroke=\"%s\" stroke-width=\"%g\"", pen->colour, 1.3 * pen->width);
    size_t size = strlen(pen->dash);
    if (pen->dash[0] == '(')
        tl_text_addf(page, " stroke-dasharray=\"%.*s\"", (int)size - 2, pen->dash + 1);
}

/// A curve, in coordinates of the whole drawing; the inner picture it stands in cuts it off.
static void add_curve(tl_text* page, const tl_lesson_plot* plot, const tl_trace* trace,
                      const tl_pen* pen) {
    tl_text_add(page, "<polyline fill=\"none\"");
    add_stroke(page, pen);
    tl_text_add(page, " points=\"");
    for (size_t i = 0; i < trace->count; ++i)
        if (trace->points[i].hz >= low_hz)
            tl_text_addf(page, "%.1f,%.1f ", x_of(trace->points[i].hz) - left,
                         y_of(plot, fmax(trace->points[i].db, plot->low_db - step_db)) - top);
    tl_text_add(page, "\"/>\n");
}

static void add_marks(tl_text* page, const tl_lesson_plot* plot, const tl_trace* trace,
                      const tl_pen* pen) {
    if (trace->peak.shown && trace->peak.at.hz >= low_hz)
        tl_text_addf(page, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4.5\" fill=\"%s\"/>",
                     x_of(trace->peak.at.hz) - left, y_of(plot, trace->peak.at.db) - top,
                     pen->symbol_colour);
    if (trace->cutoff.shown && trace->cutoff.at.hz >= low_hz)
        tl_text_addf(page, "<rect x=\"%.1f\" y=\"%.1f\" width=\"8\" height=\"8\" fill=\"%s\"/>",
                     x_of(trace->cutoff.at.hz) - left - 4,
                     y_of(plot, trace->cutoff.at.db) - top - 4, pen->symbol_colour);
}

static void add_legend(tl_text* page, const tl_lesson_plot* plot, const tl_trace* traces) {
    tl_text_add(page, "<ul class=\"legend\">\n");
    for (size_t i = 0; i < plot->count; ++i) {
        tl_pen pen = tl_pen_of(traces, plot->count, i);
        tl_text_add(page, "<li><svg class=\"swatch\" viewBox=\"0 0 48 12\" aria-hidden=\"true\">"
                          "<path d=\"M0 6H48\"");
        add_stroke(page, &pen);
        tl_text_add(page, "/></svg> ");
        const tl_metrics* metrics = plot->curves[i].metrics;
        tl_html_say(page,
                    isnan(metrics->peak_hz) ? "<b>@s</b> no peak</li>\n"
                                            : "<b>@s</b> peak @h, @d</li>\n",
                    plot->curves[i].label, metrics->peak_hz, metrics->peak_db);
    }
    tl_text_add(page, "</ul>\n");
}

void tl_lesson_add_plot(tl_text* page, const tl_lesson_plot* plot) {
    tl_trace* traces = make_traces(plot);
    tl_text_add(page, "<figure class=\"plot\">\n<svg role=\"img\" aria-label=\"");
    tl_html_add(page, plot->about);
    tl_text_addf(page, "\" viewBox=\"0 0 %g %g\">\n", width, height);
    add_grid(page, plot);
    tl_text_addf(page, "<svg x=\"%g\" y=\"%g\" width=\"%g\" height=\"%g\" overflow=\"hidden\">\n",
                 left, top, right - left, bottom - top);
    for (size_t i = 0; i < plot->count; ++i) {
        tl_pen pen = tl_pen_of(traces, plot->count, i);
        add_curve(page, plot, &traces[i], &pen);
    }
    for (size_t i = 0; i < plot->count; ++i) {
        tl_pen pen = tl_pen_of(traces, plot->count, i);
        add_marks(page, plot, &traces[i], &pen);
    }
    tl_text_add(page, "</svg>\n</svg>\n");
    add_legend(page, plot, traces);
    tl_text_add(page, "<figcaption>");
    tl_html_add(page, plot->about);
    tl_html_say(page,
                " Each curve is drawn relative to its own level at @h. Circle: peak; square: "
                "3&#160;dB below that level.</figcaption></figure>\n",
                plot->curves[0].metrics->reference_hz);
    free_traces(traces, plot->count);
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/figure.h"

#include "show/html.h"

#include <math.h>
#include <string.h>

// The drawing, in units of its own; the page scales it.
static const double width = 640, left = 60, top = 14, right = 626, usual_height = 332;
static const double below = 66; // the axes: for frequencies and their unit

static double axes_height(const tl_figure* figure) {
    return figure->height > 0 ? figure->height : usual_height;
}

/// From the left end of the axes.
static double x_of(const tl_figure* figure, double hz) {
    return (right - left) * log(hz / figure->low_hz) / log(figure->high_hz / figure->low_hz);
}

/// From the top of the axes; what lies far outside stays near, so that no number gets long.
static double y_of(const tl_figure* figure, double db) {
    double low_db = figure->low_db - figure->step_db;
    double high_db = figure->high_db + figure->step_db;
    db = fmin(fmax(db, low_db), high_db);
    return axes_height(figure) * (figure->high_db - db) / (figure->high_db - figure->low_db);
}

/// Frequencies at 1, 2 and 5 of each decade.
static void add_columns(tl_text* page, const tl_figure* figure) {
    static const double tics_hz[] = {20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000};
    double bottom = top + axes_height(figure);
    for (size_t i = 0; i < sizeof tics_hz / sizeof *tics_hz; ++i) {
        double hz = tics_hz[i];
        if (hz < figure->low_hz || hz > figure->high_hz)
            continue;
        double x = left + x_of(figure, hz);
        bool kilo = hz >= 1000;
        tl_text_addf(page, "<path class=\"grid\" d=\"M%.1f %gV%g\"/>", x, top, bottom);
        tl_text_addf(page,
                     "<text x=\"%.1f\" y=\"%g\" dy=\"0.8em\" text-anchor=\"%s\">%g%s</text>\n", x,
                     bottom + 9,
                     hz == figure->high_hz  ? "end"
                     : hz == figure->low_hz ? "start"
                                            : "middle",
                     kilo ? hz / 1000 : hz, kilo ? "k" : "");
    }
}

static void add_rows(tl_text* page, const tl_figure* figure) {
    for (double db = figure->low_db; db <= figure->high_db; db += figure->step_db) {
        double y = top + y_of(figure, db);
        bool zero = db == 0 && !figure->absolute;
        tl_text_addf(page, "<path class=\"%s\" d=\"M%g %.1fH%g\"/>", zero ? "zero" : "grid", left,
                     y, right);
        tl_text_addf(page,
                     "<text x=\"%g\" y=\"%.1f\" dy=\"0.35em\" text-anchor=\"end\">%s%g</text>\n",
                     left - 8, y,
                     db < 0                        ? "\xe2\x88\x92"
                     : db > 0 && !figure->absolute ? "+"
                                                   : "",
                     fabs(db));
    }
}

static void add_frame(tl_text* page, const tl_figure* figure) {
    double bottom = top + axes_height(figure);
    tl_text_addf(page,
                 "<rect class=\"frame\" x=\"%g\" y=\"%g\" width=\"%g\" height=\"%g\"/>"
                 "<text x=\"%g\" y=\"%g\" dy=\"2.1em\" text-anchor=\"middle\">frequency, Hz</text>"
                 "<text x=\"%g\" y=\"%g\">dB</text>\n",
                 left, top, right - left, bottom - top, (left + right) / 2, bottom + 11, left + 8,
                 top + 22);
}

/// The curves stand in a picture of their own, whose edges cut them off.
void tl_figure_open(tl_text* page, const tl_figure* figure) {
    tl_text_add(page, "<figure class=\"plot\">\n<svg role=\"img\" aria-label=\"");
    tl_html_add(page, figure->about);
    tl_text_addf(page, "\" viewBox=\"0 0 %g %g\">\n", width, top + axes_height(figure) + below);
    add_columns(page, figure);
    add_rows(page, figure);
    add_frame(page, figure);
    tl_text_addf(page, "<svg x=\"%g\" y=\"%g\" width=\"%g\" height=\"%g\" overflow=\"hidden\">\n",
                 left, top, right - left, axes_height(figure));
}

/// A pen's dashes, which gnuplot writes as "(14,5)".
static void add_stroke(tl_text* page, const tl_pen* pen) {
    tl_text_addf(page, " stroke=\"%s\" stroke-width=\"%g\"", pen->colour, 1.3 * pen->width);
    size_t size = strlen(pen->dash);
    if (pen->dash[0] == '(')
        tl_text_addf(page, " stroke-dasharray=\"%.*s\"", (int)size - 2, pen->dash + 1);
}

void tl_figure_add_curve(tl_text* page, const tl_figure* figure, const tl_pen* pen, size_t count,
                         const tl_point* points) {
    tl_text_add(page, "<polyline fill=\"none\"");
    add_stroke(page, pen);
    tl_text_add(page, " points=\"");
    for (size_t i = 0; i < count; ++i)
        tl_text_addf(page, "%.1f,%.1f ", x_of(figure, points[i].hz), y_of(figure, points[i].db));
    tl_text_add(page, "\"/>\n");
}

void tl_figure_add_band(tl_text* page, const tl_figure* figure, size_t count, const double* hz,
                        const double* low_db, const double* high_db) {
    tl_text_add(page, "<polygon class=\"band\" points=\"");
    for (size_t i = 0; i < count; ++i)
        tl_text_addf(page, "%.1f,%.1f ", x_of(figure, hz[i]), y_of(figure, high_db[i]));
    for (size_t i = count; i > 0; --i)
        tl_text_addf(page, "%.1f,%.1f ", x_of(figure, hz[i - 1]), y_of(figure, low_db[i - 1]));
    tl_text_add(page, "\"/>\n");
}

void tl_figure_add_circle(tl_text* page, const tl_figure* figure, const tl_pen* pen, tl_point at) {
    tl_text_addf(page, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4.5\" fill=\"%s\"/>",
                 x_of(figure, at.hz), y_of(figure, at.db), pen->symbol_colour);
}

void tl_figure_add_square(tl_text* page, const tl_figure* figure, const tl_pen* pen, tl_point at) {
    tl_text_addf(page, "<rect x=\"%.1f\" y=\"%.1f\" width=\"8\" height=\"8\" fill=\"%s\"/>",
                 x_of(figure, at.hz) - 4, y_of(figure, at.db) - 4, pen->symbol_colour);
}

void tl_figure_open_legend(tl_text* page) {
    tl_text_add(page, "</svg>\n</svg>\n<ul class=\"legend\">\n");
}

void tl_figure_add_swatch(tl_text* page, const tl_pen* pen) {
    tl_text_add(page, "<li><svg class=\"swatch\" viewBox=\"0 0 48 12\" aria-hidden=\"true\">");
    if (pen) {
        tl_text_add(page, "<path d=\"M0 6H48\"");
        add_stroke(page, pen);
        tl_text_add(page, "/></svg> ");
    } else {
        tl_text_add(page, "<path class=\"band\" d=\"M0 0H48V12H0Z\"/></svg> ");
    }
}

void tl_figure_close_legend(tl_text* page) {
    tl_text_add(page, "</ul>\n");
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/bench_panel.h"

#include "show/script.h"

#include <math.h>
#include <stdlib.h>

static double held(double value, double low, double high) {
    return fmax(low, fmin(high, value));
}

/// Widens a panel's ranges to a curve: across as far as the panel may show, up and down by what is
/// to be seen there.
static void reach_out(tl_bench_panel* panel, const tl_bench_curve* curve) {
    const tl_bench_panel_kind* kind = panel->kind;
    for (size_t i = 0; i < curve->count; ++i) {
        double x = curve->x[i];
        double y = curve->y[i] * kind->scale;
        if (!isfinite(y) || !isfinite(x) || (kind->logarithmic && y <= 0))
            continue;
        panel->x_low = fmin(panel->x_low, held(x, kind->x_low, kind->x_high));
        panel->x_high = fmax(panel->x_high, held(x, kind->x_low, kind->x_high));
        if (x < kind->x_low || x > kind->x_high)
            continue;
        panel->y_low = fmin(panel->y_low, y);
        panel->y_high = fmax(panel->y_high, y);
    }
}

/// Whole decades, two at least.
static void round_decades(tl_bench_panel* panel) {
    const tl_bench_panel_kind* kind = panel->kind;
    panel->y_low = pow(10, floor(log10(held(panel->y_low, kind->y_low, kind->y_high)) + 1e-9));
    panel->y_high = pow(10, ceil(log10(held(panel->y_high, kind->y_low, kind->y_high)) - 1e-9));
    if (panel->y_high < 99 * panel->y_low)
        panel->y_high *= 10;
    if (panel->y_high < 99 * panel->y_low)
        panel->y_low /= 10;
}

/// Steps of 3 dB with a little room, and never so few that a tenth of a dB looks like a hill.
static void round_levels(tl_bench_panel* panel) {
    const tl_bench_panel_kind* kind = panel->kind;
    panel->y_low = held(3 * floor((panel->y_low - 0.5) / 3), kind->y_low, -6);
    panel->y_high = held(3 * ceil((panel->y_high + 0.5) / 3), 3, kind->y_high);
}

tl_bench_panel tl_bench_panel_of(const tl_bench* bench, const tl_bench_panel_kind* kind,
                                 tl_box area) {
    tl_bench_panel panel = {kind, area, INFINITY, -INFINITY, INFINITY, -INFINITY};
    for (size_t i = 0; i < bench->count; ++i) {
        reach_out(&panel, &bench->designs[i].curves[kind->curve]);
        reach_out(&panel, &bench->designs[i].curves[kind->beside]);
    }
    if (!(panel.x_low < panel.x_high)) { // no curve: an empty frame
        panel.x_low = kind->frequency ? 20 : kind->x_low;
        panel.x_high = kind->frequency ? 20e3 : kind->x_high;
    }
    if (!(panel.y_low <= panel.y_high))
        panel.y_low = panel.y_high = kind->logarithmic ? 1 : 0;
    if (kind->logarithmic)
        round_decades(&panel);
    else
        round_levels(&panel);
    return panel;
}

double tl_bench_panel_at(const tl_bench_panel* panel, const tl_bench_curve* curve, double x) {
    for (size_t i = 1; i < curve->count; ++i) {
        if (!(curve->x[i - 1] <= x && curve->x[i] >= x && curve->x[i] > curve->x[i - 1]))
            continue;
        double part = log(x / curve->x[i - 1]) / log(curve->x[i] / curve->x[i - 1]);
        double from = curve->y[i - 1] * panel->kind->scale;
        double to = curve->y[i] * panel->kind->scale;
        return panel->kind->logarithmic ? from * pow(to / from, part) : from + part * (to - from);
    }
    return NAN;
}

/// "100", "10k", "1M", "0.001": a decade's mark.
static void add_mark(tl_text* script, double value) {
    double size = value >= 0.9999e9 ? 1e9 : value >= 0.9999e6 ? 1e6 : value >= 0.9999e3 ? 1e3 : 1;
    const char* prefix = size > 2e6 ? "G" : size > 2e3 ? "M" : size > 2 ? "k" : "";
    int decimals = value < 0.9999 ? (int)ceil(-log10(value) - 1e-9) : 0;
    tl_text_addf(script, "'%.*f%s'", decimals, value / size, prefix);
}

/// Marks of a logarithmic axis: words at the decades (and at 2 and 5 of each when there are few),
/// fine ones between.
static void add_decades(tl_text* script, const char* axis, double low, double high) {
    bool few = high / low < 1500 && *axis == 'x';
    tl_text_addf(script, "set logscale %s\nset %srange [%.9g:%.9g]\nset %stics scale 0,0 (", axis,
                 axis, low * (1 - 1e-6), high * (1 + 1e-6), axis); // or a mark on the edge is lost
    const char* between = "";
    for (double decade = pow(10, floor(log10(low) + 1e-9)); decade <= high * 1.0001; decade *= 10)
        for (int times = 1; times < 10; ++times) {
            double value = decade * times;
            if (value < low * 0.9999 || value > high * 1.0001)
                continue;
            bool major = times == 1 || (few && (times == 2 || times == 5));
            tl_text_add(script, between);
            if (major)
                add_mark(script, value);
            tl_text_addf(script, "%s %.7g%s", major ? "" : "''", value, major ? "" : " 1");
            between = ",";
        }
    tl_text_add(script, ")\n");
}

static void add_levels(tl_text* script, const tl_bench_panel* panel) {
    int step = panel->y_high - panel->y_low > 36 ? 6 : 3;
    tl_text_addf(script, "unset logscale y\nset yrange [%g:%g]\nset ytics scale 0,0 (",
                 panel->y_low, panel->y_high);
    const char* between = "";
    for (int db = -240; db <= (int)panel->y_high; db += step)
        if (db >= (int)panel->y_low) {
            tl_text_addf(script, "%s'%s%d' %d", between, db > 0 ? "+" : "", db, db);
            between = ",";
        }
    tl_text_add(script, ")\n");
}

/// Where a value of x stands across the page.
static double across(const tl_bench_panel* panel, double x) {
    double part = log(x / panel->x_low) / log(panel->x_high / panel->x_low);
    return panel->area.left + part * (panel->area.right - panel->area.left);
}

/// The band of hearing, shaded behind the curves.
static void add_hearing(tl_text* script, const tl_page* page, const tl_bench_panel* panel) {
    double from = fmax(20, panel->x_low);
    double to = fmin(20e3, panel->x_high);
    tl_text_add(script, "unset object\n");
    if (!panel->kind->frequency || from >= to)
        return;
    tl_text_addf(script,
                 "set object 1 rectangle from %.7g, graph 0 to %.7g, graph 1 fillcolor rgb "
                 "'#f1f6f1' fillstyle solid noborder behind\n",
                 from, to);
    tl_spot spot = {across(panel, sqrt(from * to)), panel->area.top + 12};
    if (!panel->kind->logarithmic) // once is enough, and there curves rarely run on top
        tl_script_label(script, page, spot, "shaded: 20 Hz to 20 kHz",
                        "center textcolor rgb '#607060'");
}

/// A line to hold the curves against, as a block of data; it is plotted first.
static void add_line(tl_text* script, const tl_page* page, const tl_bench_panel* panel) {
    const tl_bench_panel_kind* kind = panel->kind;
    bool shown = kind->line_at >= panel->y_low && kind->line_at <= panel->y_high;
    double y = shown ? kind->line_at : panel->y_low;
    tl_text_addf(script, "$line << END\n%.7g %.7g\n%.7g %.7g\nEND\n", panel->x_low, y,
                 panel->x_high, y);
    if (!shown || !kind->line_note)
        return;
    double part = log(panel->y_high / y) / log(panel->y_high / panel->y_low);
    const tl_box* area = &panel->area;
    tl_spot spot = {area->left + 8, area->top + part * (area->bottom - area->top) - 10};
    tl_script_label(script, page, spot, kind->line_note, "left textcolor rgb '#606060'");
}

void tl_bench_panel_open(tl_text* script, const tl_page* page, const tl_bench_panel* panel) {
    const tl_bench_panel_kind* kind = panel->kind;
    const tl_box* area = &panel->area;
    tl_script_margins(script, page, area);
    add_decades(script, "x", panel->x_low, panel->x_high);
    if (kind->logarithmic)
        add_decades(script, "y", panel->y_low, panel->y_high);
    else
        add_levels(script, panel);
    tl_text_addf(script,
                 "set grid xtics mxtics ytics %s back lt 1 lw 0.8 lc rgb '#d8d8d8', lt 1 lw 0.6 lc "
                 "rgb '#ececec'\nset border 31 back lt 1 lw 1 lc rgb '#606060'\nset tics textcolor "
                 "rgb '#202020'\n",
                 kind->logarithmic ? "mytics" : "nomytics");
    add_hearing(script, page, panel);
    add_line(script, page, panel);
    tl_script_label(script, page, (tl_spot){area->left, area->top - 14}, kind->title,
                    "left textcolor rgb '#202020'");
    double middle_x = (area->left + area->right) / 2, middle_y = (area->top + area->bottom) / 2;
    tl_script_label(script, page, (tl_spot){middle_x, area->bottom + 38}, kind->x_label,
                    "center textcolor rgb '#202020'");
    tl_script_label(script, page, (tl_spot){area->left - 58, middle_y}, kind->y_label,
                    "center rotate by 90 textcolor rgb '#202020'");
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bench_panel.h A panel of the bench's plot: where it stands, what its axes show.
#ifndef TL_SHOW_BENCH_PANEL_H
#define TL_SHOW_BENCH_PANEL_H

#include "show/page.h"
#include "toneload/show.h"

#include <stdbool.h>

/// What a panel shows, the same for every bench.
typedef struct {
    tl_bench_curve_kind curve;  ///< solid
    tl_bench_curve_kind beside; ///< dashed and thin, or the same as `curve`
    const char* title;
    const char* x_label;
    const char* y_label;
    double scale;          ///< of y: 1e9 shows volts as nV
    bool logarithmic;      ///< y; x always is
    bool frequency;        ///< x is in Hz
    double x_low, x_high;  ///< the most that x shows
    double y_low, y_high;  ///< the most that y shows, scaled
    const char* line_note; ///< what the line at `line_at` is
    double line_at;        ///< NAN: no line
} tl_bench_panel_kind;

/// A panel with the ranges that its curves ask for.
typedef struct {
    const tl_bench_panel_kind* kind;
    tl_box area;
    double x_low, x_high;
    double y_low, y_high;
} tl_bench_panel;

tl_bench_panel tl_bench_panel_of(const tl_bench* bench, const tl_bench_panel_kind* kind,
                                 tl_box area);

/// Adds axes, grid, titles and what lies behind the curves; to be called before the plot.
void tl_bench_panel_open(tl_text* script, const tl_page* page, const tl_bench_panel* panel);

/// A curve's value at `x` between its points, scaled, on the scales of the panel; NAN outside.
double tl_bench_panel_at(const tl_bench_panel* panel, const tl_bench_curve* curve, double x);

#endif

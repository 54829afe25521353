// SPDX-License-Identifier: GPL-3.0-or-later
/// @file figure.h Curves over frequency inside a page, as SVG whose letters the page's style sizes:
/// a plot made for a file has letters too small for a phone.
#ifndef TL_SHOW_FIGURE_H
#define TL_SHOW_FIGURE_H

#include "base/text.h"
#include "show/pen.h"
#include "show/trace.h"

#include <stddef.h>

/// A drawing: frequency from left to right on a logarithmic axis, a level upwards.
typedef struct {
    const char* about; ///< what it shows, in a sentence
    double low_hz;
    double high_hz;
    double low_db;
    double high_db;
    double step_db; ///< between grid lines
    double height;  ///< of the axes; 0: the usual
    bool absolute;  ///< levels carry no plus sign: they are no differences
} tl_figure;

/// Opens a figure and its drawing, with the grid.
void tl_figure_open(tl_text* page, const tl_figure* figure);
/// Adds a curve; what leaves the axes is cut off.
void tl_figure_add_curve(tl_text* page, const tl_figure* figure, const tl_pen* pen, size_t count,
                         const tl_point* points);
/// Adds the band between two curves of the same frequencies.
void tl_figure_add_band(tl_text* page, const tl_figure* figure, size_t count, const double* hz,
                        const double* low_db, const double* high_db);
/// Adds a circle or a square.
void tl_figure_add_circle(tl_text* page, const tl_figure* figure, const tl_pen* pen, tl_point at);
void tl_figure_add_square(tl_text* page, const tl_figure* figure, const tl_pen* pen, tl_point at);
/// Ends the drawing and opens the legend below it.
void tl_figure_open_legend(tl_text* page);
/// Adds a line of the legend up to its words, which follow, and then "</li>". `pen` NULL: the band.
void tl_figure_add_swatch(tl_text* page, const tl_pen* pen);
/// Ends the legend; a caption may follow, and then "</figure>".
void tl_figure_close_legend(tl_text* page);

#endif

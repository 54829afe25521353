// SPDX-License-Identifier: GPL-3.0-or-later
/// @file legend.h What stands below a plot, in as many columns as fit.
#ifndef TL_SHOW_LEGEND_H
#define TL_SHOW_LEGEND_H

#include "show/trace.h"

#include <stddef.h>

enum {
    TL_NOTED_CURVES = 2,    ///< up to so many carry their figures beside their marks
    TL_FIGURED_CURVES = 14, ///< up to so many carry their figures in the legend: a dozen and direct
    TL_LISTED_CURVES = 40,  ///< up to so many are listed at all
};

// Where the first column begins, how long the piece of line before an entry's words is, and how far
// the words stand from it, px.
#define TL_LEGEND_LEFT 40.0
#define TL_LEGEND_LINE 44.0
#define TL_LEGEND_GAP 8.0

typedef struct {
    char* words;
    size_t curve; ///< whose line is drawn before the words
} tl_legend_entry;

typedef struct {
    tl_legend_entry* entries; ///< down the first column, then the next
    size_t count;
    size_t columns;
    size_t rows;
    double column_width; ///< px
} tl_legend;

tl_legend tl_legend_make(const tl_trace* traces, size_t count);
void tl_legend_free(tl_legend* legend);

#endif

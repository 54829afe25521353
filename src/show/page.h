// SPDX-License-Identifier: GPL-3.0-or-later
/// @file page.h Where things stand on a plot's page, in px from its upper left corner.
#ifndef TL_SHOW_PAGE_H
#define TL_SHOW_PAGE_H

#include "show/trace.h"

#include <stdbool.h>
#include <stddef.h>

#define TL_PAGE_WIDTH 1000.0
#define TL_TEXT_SIZE 13.0 ///< height of the letters, px

typedef struct {
    double x, y;
} tl_spot;

typedef struct {
    double left, top, right, bottom;
} tl_box;

typedef struct {
    double height;
    tl_box area; ///< what the axes enclose
    double low_db, high_db;
    bool differs;         ///< there is a second panel, of differences
    tl_box difference;    ///< what its axes enclose
    double difference_db; ///< its levels reach this far either way
    double foot;          ///< the lower edge of the lowest panel
} tl_page;

/// Sizes the page for a legend of `rows` lines, and its level axis for the traces.
tl_page tl_page_make(const tl_trace* traces, size_t count, bool titled, size_t rows);
/// The height of one legend line, and where line `row` runs.
double tl_page_row(const tl_page* page, size_t row);

/// Where a point of a curve stands, perhaps outside the area.
tl_spot tl_page_spot(const tl_page* page, tl_point point);

/// How wide words come out in letters of TL_TEXT_SIZE, px: an upper estimate for common sans fonts.
double tl_text_width(const char* words);
/// Adds words from outside, made safe, and cut with "..." where they would be wider than `width`.
void tl_text_add_fitted(tl_text* text, const char* words, double width);

#endif

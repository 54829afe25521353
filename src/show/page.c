// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/page.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double area_height = 450, left_edge = 78, right_edge = 22, title_height = 46,
                    no_title_height = 18, axis_height = 56, difference_height = 190,
                    row_height = 21, foot_height = 10;

/// The lowest and highest level of all curves in the plotted band.
static void find_levels(const tl_trace* traces, size_t count, double* lowest, double* highest) {
    *lowest = 0;
    *highest = 0;
    for (size_t i = 0; i < count; ++i)
        for (size_t k = 0; k < traces[i].count; ++k) {
            *lowest = fmin(*lowest, traces[i].points[k].db);
            *highest = fmax(*highest, traces[i].points[k].db);
        }
}

/// Down to -24 dB where curves fall that far (what lies lower is not heard beside the rest), up to
/// a little over the highest peak, and never so narrow that a tenth of a dB looks like a hill.
static void set_levels(tl_page* page, const tl_trace* traces, size_t count) {
    double lowest, highest;
    find_levels(traces, count, &lowest, &highest);
    double step = highest > 30 ? 6 : 3;
    page->high_db = fmin(step * ceil((highest + 2) / step), 240);
    page->low_db = fmax(step * floor((lowest - 1) / step), -24);
    page->low_db = fmin(page->low_db, -9);
}

/// Room for the differences, when there are any: at least 3 dB either way, at most 24.
static void add_difference_panel(tl_page* page, const tl_trace* traces, size_t count) {
    double largest = 0;
    for (size_t i = 0; i < count; ++i)
        for (size_t k = 0; k < traces[i].difference_count; ++k) {
            page->differs = true;
            largest = fmax(largest, fabs(traces[i].difference[k].db));
        }
    page->foot = page->area.bottom;
    if (!page->differs)
        return;
    page->difference = page->area;
    page->difference.top = page->area.bottom + axis_height;
    page->difference.bottom = page->difference.top + difference_height;
    page->difference_db = fmin(fmax(3 * ceil((largest + 0.5) / 3), 3), 24);
    page->foot = page->difference.bottom;
}

tl_page tl_page_make(const tl_trace* traces, size_t count, bool titled, size_t rows) {
    double top = titled ? title_height : no_title_height;
    tl_page page = {.area = {left_edge, top, TL_PAGE_WIDTH - right_edge, top + area_height}};
    add_difference_panel(&page, traces, count);
    page.height = page.foot + axis_height + (double)rows * row_height + foot_height;
    set_levels(&page, traces, count);
    return page;
}

double tl_page_row(const tl_page* page, size_t row) {
    return page->foot + axis_height + ((double)row + 0.5) * row_height;
}

tl_spot tl_page_spot(const tl_page* page, tl_point point) {
    const tl_box* area = &page->area;
    double across = log(point.hz / TL_PLOT_LOW_HZ) / log(TL_PLOT_HIGH_HZ / TL_PLOT_LOW_HZ);
    double down = (page->high_db - point.db) / (page->high_db - page->low_db);
    return (tl_spot){area->left + across * (area->right - area->left),
                     area->top + down * (area->bottom - area->top)};
}

/// Width of the character at `at` in units of the letter size. Printable ASCII as in DejaVu Sans
/// (from its font file), which runs wider than most; other scripts by their wide letters.
static double character_width(const unsigned char* at) {
    static const unsigned char hundredths[] = {
        32, 41, 46, 84, 64, 96, 78, 28, 40, 40, 50, 84, 32, 37,  32, 34, 64, 64, 64,
        64, 64, 64, 64, 64, 64, 64, 34, 34, 84, 84, 84, 54, 100, 69, 69, 70, 77, 64,
        58, 78, 76, 30, 30, 66, 56, 87, 75, 79, 61, 79, 70, 64,  62, 74, 69, 99, 69,
        62, 69, 40, 34, 40, 84, 50, 50, 62, 64, 55, 64, 62, 36,  64, 64, 28, 28, 58,
        28, 98, 64, 62, 64, 64, 42, 53, 40, 64, 60, 82, 60, 60,  53, 64, 34, 64, 84};
    if (*at >= 0xe1)
        return 1.05;
    return *at >= 0x80 ? 0.8 : *at >= 0x20 && *at < 0x7f ? hundredths[*at - 0x20] / 100.0 : 0;
}

double tl_text_width(const char* words) {
    double width = 0;
    for (const unsigned char* at = (const unsigned char*)words; *at; ++at)
        if ((*at & 0xc0) != 0x80)
            width += character_width(at);
    return width * TL_TEXT_SIZE;
}

void tl_text_add_fitted(tl_text* text, const char* words, double width) {
    tl_text safe = {0};
    tl_text_add_safe(&safe, words);
    const char* start = tl_text_get(&safe);
    if (tl_text_width(start) <= width) {
        tl_text_add(text, start);
    } else {
        double taken = tl_text_width("...");
        const char* end = start;
        for (const char* at = start; *at; ++at) {
            if (((unsigned char)*at & 0xc0) == 0x80)
                continue;
            end = at;
            taken += character_width((const unsigned char*)at) * TL_TEXT_SIZE;
            if (taken > width)
                break;
        }
        tl_text_add_bytes(text, start, (size_t)(end - start));
        tl_text_add(text, "...");
    }
    tl_text_free(&safe);
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread_page.h What the pictures of a spread have in common: heads and axes.
#ifndef TL_SHOW_SPREAD_PAGE_H
#define TL_SHOW_SPREAD_PAGE_H

#include "show/page.h"
#include "show/spread.h"

enum { TL_SPREAD_DRAWN = 3 }; ///< amps that a picture shows at most

// One hue from faint to dark, so that the order shows in print without colour too: bands of 1 to
// 99 %, 5 to 95 %, 25 to 75 %, and the median. The rig as written is dashed.
#define TL_SPREAD_OUTER "#cfe2f1"
#define TL_SPREAD_MIDDLE "#a3c7e0"
#define TL_SPREAD_INNER "#5f9fca"
#define TL_SPREAD_MEDIAN "#003a5c"
#define TL_SPREAD_NOMINAL "#d55e00"

#define TL_SPREAD_HEAD_HEIGHT 66.0 ///< px of a page that the head takes

/// Adds the rig's title, and below it what is shown, how many trials, and which amps are not among
/// the first `drawn` ones.
void tl_spread_page_head(tl_text* script, const tl_page* page, const tl_spread* spread,
                         const char* what, size_t drawn, const char* kind);
/// Adds words from outside as a label, cut where they would be wider than `room`.
void tl_spread_page_words(tl_text* script, const tl_page* page, tl_spot spot, const char* words,
                          double room, const char* how);
/// Adds a filled box in the page's px, behind everything; `index` is its own number, from 1.
void tl_spread_page_box(tl_text* script, const tl_page* page, size_t index, tl_box box,
                        const char* colour);
/// A step of 1, 2 or 5 times a power of ten that parts `span` into at most `most` pieces.
double tl_spread_step(double span, int most);
/// Adds tics to the axis "x" or "y" at multiples of `step`, in the range given.
void tl_spread_page_tics(tl_text* script, const char* axis, double low, double high, double step,
                         bool sign);

#endif

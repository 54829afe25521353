// SPDX-License-Identifier: GPL-3.0-or-later
/// @file place.h Finds room for words beside a mark, off the curves and off each other.
#ifndef TL_SHOW_PLACE_H
#define TL_SHOW_PLACE_H

#include "show/page.h"

#include <stddef.h>

/// A curve as it runs over the page.
typedef struct {
    tl_spot* spots; ///< ascending in x
    size_t count;
} tl_line;

/// What is on the page that words must keep off. Boxes grow as words are placed.
typedef struct {
    tl_box area;
    const tl_line* lines;
    size_t line_count;
    const tl_spot* marks;
    size_t mark_count;
    tl_box* boxes;
    size_t box_count;
} tl_scene;

/// The best box of this size for words about `mark`; nearest to it of those that touch nothing,
/// and if there is none the one that touches least. `*cost` says how bad it is, in px.
tl_box tl_place(const tl_scene* scene, tl_spot mark, double width, double height, double* cost);

/// The point of a box nearest to a spot, where a leader from the mark ends.
tl_spot tl_place_end(tl_box box, tl_spot mark);

#endif

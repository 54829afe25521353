// SPDX-License-Identifier: GPL-3.0-or-later
/// @file contour.h Lines of one height over a grid that may have holes.
#ifndef TL_SHOW_CONTOUR_H
#define TL_SHOW_CONTOUR_H

#include "toneload/show.h"

#include <stdbool.h>
#include <stddef.h>

/// A piece of a contour line, in the grid's own values.
typedef struct {
    double x[2];
    double y[2];
} tl_segment;

/// The pieces of the line z = level, by marching squares (Lorensen and Cline's scheme in two
/// dimensions; SIGGRAPH 21(4), 1987, from memory). Squares with a NAN corner have none. Free with
/// free().
tl_segment* tl_contour_trace(const tl_map_plot* map, double level, size_t* count);

/// A distance between lines that is 1, 2 or 5 times a power of ten and gives about eight of them;
/// 0 when the map is flat. `*first` is the lowest line, `*holes` whether some z is NAN.
double tl_contour_step(const tl_map_plot* map, double* first, double* last, bool* holes);

#endif

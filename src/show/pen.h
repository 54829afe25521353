// SPDX-License-Identifier: GPL-3.0-or-later
/// @file pen.h What each curve is drawn with.
#ifndef TL_SHOW_PEN_H
#define TL_SHOW_PEN_H

#include "show/trace.h"

#include <stddef.h>

/// How a curve is drawn. Colours and dashes both change from curve to curve, so that neither
/// print without colour nor eyes that mix colours lose one.
typedef struct {
    const char* colour; ///< #RRGGBB, or #AARRGGBB with AA the transparency
    const char* symbol_colour;
    const char* dash; ///< gnuplot's dashtype
    double width;
    int peak_symbol; ///< gnuplot's pointtype
    int cutoff_symbol;
    double symbol_size;
} tl_pen;

/// The pen of the curve in a place among few of its kind.
tl_pen tl_pen_at(size_t place, bool direct);
/// The pen of the curve `index` of `count`.
tl_pen tl_pen_of(const tl_trace* traces, size_t count, size_t index);

#endif

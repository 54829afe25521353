// SPDX-License-Identifier: GPL-3.0-or-later
/// @file trace.h A curve as a plot draws it: points in Hz and dB, and what is marked on it.
#ifndef TL_SHOW_TRACE_H
#define TL_SHOW_TRACE_H

#include "base/text.h"
#include "toneload/show.h"

#include <stdbool.h>
#include <stddef.h>

/// The band a plot shows: the ends of hearing.
#define TL_PLOT_LOW_HZ 20.0
#define TL_PLOT_HIGH_HZ 20000.0

typedef struct {
    double hz;
    double db; ///< relative to the curve's own level at its reference frequency
} tl_point;

/// A peak or -3 dB point; `shown` says that it exists and lies in the plotted band.
typedef struct {
    tl_point at;
    bool shown;
} tl_mark;

typedef struct {
    const tl_curve* curve;
    tl_point* points; ///< ascending in frequency, all finite, the marks among them
    size_t count;
    tl_mark peak;
    tl_mark cutoff;
    tl_point* difference; ///< from what the curve is held against, levels matched; or none
    size_t difference_count;
} tl_trace;

/// Which figures words about a curve hold.
typedef enum {
    TL_PEAK_FIGURE = 1,
    TL_CUTOFF_FIGURE = 2,
    TL_LEVEL_FIGURE = 4, ///< the peak's height too
} tl_figures;

tl_trace tl_trace_make(const tl_curve* curve);
void tl_trace_free(tl_trace* trace);

/// Adds "peak 3.21 kHz, +6.3 dB, Q 2.4" and "-3 dB 4.90 kHz", those of `figures`.
void tl_trace_add_figures(tl_text* text, const tl_trace* trace, unsigned figures);

#endif

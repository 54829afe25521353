// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/trace.h"

#include <math.h>
#include <stdlib.h>

enum { sample_count = 400 };

/// Half power, 10 log10(2).
static const double half_power_db = 3.010299956639812;

static int ascending(const void* one, const void* other) {
    double a = ((const tl_point*)one)->hz;
    double b = ((const tl_point*)other)->hz;
    return (a > b) - (a < b);
}

/// Adds the point at a frequency unless the response has no level there.
static void add_point(tl_trace* trace, double hz) {
    double db = tl_response_db(trace->curve->response, hz) - trace->curve->metrics->reference_db;
    if (isfinite(db))
        trace->points[trace->count++] = (tl_point){hz, db};
}

static tl_mark make_mark(double hz, double db) {
    bool shown = isfinite(hz) && isfinite(db) && hz >= TL_PLOT_LOW_HZ && hz <= TL_PLOT_HIGH_HZ;
    return (tl_mark){{hz, db}, shown};
}

/// The curve minus what it is held against, the level between 200 Hz and 1 kHz matched.
static void add_difference(tl_trace* trace) {
    const tl_curve* curve = trace->curve;
    double level_db = tl_matched_level_db(curve->response, curve->against);
    trace->difference = tl_new(sample_count, sizeof(tl_point));
    for (int i = 0; i < sample_count; ++i) {
        double hz =
            TL_PLOT_LOW_HZ * pow(TL_PLOT_HIGH_HZ / TL_PLOT_LOW_HZ, (double)i / (sample_count - 1));
        double db = tl_response_db(curve->response, hz) - tl_response_db(curve->against, hz);
        if (isfinite(db - level_db))
            trace->difference[trace->difference_count++] = (tl_point){hz, db - level_db};
    }
}

tl_trace tl_trace_make(const tl_curve* curve) {
    const tl_metrics* metrics = curve->metrics;
    tl_trace trace = {.curve = curve, .points = tl_new(sample_count + 2, sizeof(tl_point))};
    double ratio = TL_PLOT_HIGH_HZ / TL_PLOT_LOW_HZ;
    for (int i = 0; i < sample_count; ++i)
        add_point(&trace, TL_PLOT_LOW_HZ * pow(ratio, (double)i / (sample_count - 1)));
    trace.peak = make_mark(metrics->peak_hz, metrics->peak_db);
    trace.cutoff = make_mark(metrics->cutoff_hz, -half_power_db);
    if (trace.peak.shown)
        add_point(&trace, metrics->peak_hz);
    if (trace.cutoff.shown)
        add_point(&trace, metrics->cutoff_hz);
    qsort(trace.points, trace.count, sizeof(tl_point), ascending);
    if (curve->against)
        add_difference(&trace);
    return trace;
}

void tl_trace_free(tl_trace* trace) {
    free(trace->points);
    free(trace->difference);
    *trace = (tl_trace){0};
}

/// A frequency in three digits: a plot is read to no more.
static void add_hz(tl_text* text, double hz) {
    if (hz < 999.5)
        tl_text_addf(text, "%.0f Hz", hz);
    else
        tl_text_addf(text, "%.*f kHz", hz < 9995 ? 2 : hz < 99950 ? 1 : 0, hz / 1000);
}

static void add_peak(tl_text* text, const tl_metrics* metrics, bool level) {
    if (isfinite(metrics->peak_hz)) {
        tl_text_add(text, "peak ");
        add_hz(text, metrics->peak_hz);
        if (level)
            tl_text_addf(text, ", %+.1f dB", metrics->peak_db);
    } else {
        tl_text_add(text, "no peak");
    }
    if (isfinite(metrics->q) && isfinite(metrics->peak_hz))
        tl_text_addf(text, ", Q %.1f", metrics->q);
    if (metrics->unstable)
        tl_text_add(text, ", unstable");
}

static void add_cutoff(tl_text* text, const tl_trace* trace) {
    bool known = isfinite(trace->curve->metrics->cutoff_hz);
    tl_text_add(text, known ? "-3 dB " : "-3 dB above ");
    add_hz(text,
           known ? trace->curve->metrics->cutoff_hz : tl_response_high_hz(trace->curve->response));
}

void tl_trace_add_figures(tl_text* text, const tl_trace* trace, unsigned figures) {
    if (figures & TL_PEAK_FIGURE)
        add_peak(text, trace->curve->metrics, figures & TL_LEVEL_FIGURE);
    if ((figures & TL_PEAK_FIGURE) && (figures & TL_CUTOFF_FIGURE))
        tl_text_add(text, ", ");
    if (figures & TL_CUTOFF_FIGURE)
        add_cutoff(text, trace);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The bench's picture: four panels with all designs over each other, and one legend.
#include "base/text.h"
#include "show/bench_panel.h"
#include "show/pen.h"
#include "show/picture.h"
#include "show/script.h"

#include <math.h>
#include <stdlib.h>

enum { PANELS = 4, SYMBOLS = 12, MARKED = 4 };

static const double title_size = 17, left_edge = 82, right_edge = 28, between_columns = 92,
                    first_top = 78, panel_height = 290, between_rows = 92, row_height = 21;

static const tl_bench_panel_kind kinds[PANELS] = {
    {TL_BENCH_GAIN_LOADED, TL_BENCH_GAIN, "Gain (solid: into 10 nF, 10 kohm; dashed: 1 Mohm)",
     "frequency (Hz)", "gain (dB)", 1, false, true, 5, 1e6, -15, 15, NULL, 0},
    {TL_BENCH_INPUT, TL_BENCH_INPUT, "Input impedance", "frequency (Hz)", "impedance (ohm)", 1,
     true, true, 5, 1e5, 1e2, 1e11, NULL, NAN},
    {TL_BENCH_THD, TL_BENCH_THD, "Distortion at 1 kHz", "level (V peak)", "THD (%)", 1, true, false,
     1e-3, 1e3, 1e-5, 100, "1 %: headroom ends", 1},
    {TL_BENCH_NOISE, TL_BENCH_NOISE, "Noise at the output, source shorted", "frequency (Hz)",
     "density (nV per root Hz)", 1e9, true, true, 5, 1e5, 1e-2, 1e7, NULL, NAN},
};

/// All that goes onto the page.
typedef struct {
    const tl_bench* bench;
    tl_page page;
    tl_pen* pens; ///< of the designs
    tl_bench_panel panels[PANELS];
    size_t columns; ///< of the legend
    size_t rows;
} drawing;

static int symbol_of(size_t design) {
    static const int symbols[SYMBOLS] = {7, 5, 9, 11, 13, 15, 6, 4, 8, 10, 12, 14};
    return symbols[design % SYMBOLS];
}

static double column_width(size_t columns) {
    return (TL_PAGE_WIDTH - TL_LEGEND_LEFT - 10) / (double)columns;
}

/// What the words of an entry of the legend may take, px.
static double room(size_t columns) {
    return column_width(columns) - TL_LEGEND_LINE - TL_LEGEND_GAP - 16;
}

/// As many columns as the widest name allows, four at most.
static void lay_legend(drawing* d) {
    double width = 0;
    for (size_t i = 0; i < d->bench->count; ++i) {
        tl_text fitted = {0};
        tl_text_add_fitted(&fitted, d->bench->designs[i].name, room(1));
        width = fmax(width, tl_text_width(tl_text_get(&fitted)));
        tl_text_free(&fitted);
    }
    size_t most = d->bench->count < 4 ? d->bench->count : 4;
    d->columns = 1;
    while (d->columns < most && room(d->columns + 1) >= width)
        ++d->columns;
    if (d->bench->count > 12 && d->columns < 2) // names are cut before the page grows long
        d->columns = 2;
    d->rows = (d->bench->count + d->columns - 1) / d->columns;
}

static drawing lay_out(const tl_bench* bench) {
    drawing d = {.bench = bench, .pens = tl_new(bench->count, sizeof(tl_pen))};
    lay_legend(&d);
    double width = (TL_PAGE_WIDTH - left_edge - right_edge - between_columns) / 2;
    for (size_t i = 0; i < PANELS; ++i) {
        double left = left_edge + (double)(i % 2) * (width + between_columns);
        double top = first_top + (double)(i / 2) * (panel_height + between_rows);
        tl_box area = {left, top, left + width, top + panel_height};
        d.panels[i] = tl_bench_panel_of(bench, &kinds[i], area);
    }
    d.page.foot = d.panels[PANELS - 1].area.bottom;
    d.page.height = d.page.foot + 60 + (double)d.rows * row_height + 10;
    const tl_curve plain = {0};
    tl_trace* traces = tl_new(bench->count, sizeof *traces);
    for (size_t i = 0; i < bench->count; ++i)
        traces[i].curve = &plain;
    for (size_t i = 0; i < bench->count; ++i)
        d.pens[i] = tl_pen_of(traces, bench->count, i);
    free(traces);
    return d;
}

static void add_title(tl_text* script, const drawing* d, const char* kind) {
    char* title = d->bench->count == 1 ? tl_copy(d->bench->designs[0].name)
                                       : tl_printf("%zu buffers on the bench", d->bench->count);
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, title, (TL_PAGE_WIDTH - 40) * TL_TEXT_SIZE / title_size);
    char* how = tl_printf("center font ',%.3f' textcolor rgb '#202020'",
                          title_size * tl_script_letter_unit(kind));
    tl_script_label(script, &d->page, (tl_spot){TL_PAGE_WIDTH / 2, 26}, tl_text_get(&fitted), how);
    free(how);
    free(title);
    tl_text_free(&fitted);
}

static void add_legend(tl_text* script, const drawing* d) {
    for (size_t i = 0; i < d->bench->count; ++i) {
        double x = TL_LEGEND_LEFT + (double)(i / d->rows) * column_width(d->columns);
        double y = d->page.foot + 60 + ((double)(i % d->rows) + 0.5) * row_height;
        const tl_pen* own = &d->pens[i];
        char* line = tl_printf("lc rgb '%s' lw %g", own->colour, own->width);
        char* symbol = tl_printf("point pt %d ps %g lc rgb '%s'", symbol_of(i),
                                 1.3 * own->symbol_size, own->symbol_colour);
        tl_script_line(script, &d->page, (tl_spot){x, y}, (tl_spot){x + TL_LEGEND_LINE, y}, line);
        tl_script_label(script, &d->page, (tl_spot){x + TL_LEGEND_LINE / 2, y}, "", symbol);
        tl_text fitted = {0};
        tl_text_add_fitted(&fitted, d->bench->designs[i].name, room(d->columns));
        tl_script_label(script, &d->page, (tl_spot){x + TL_LEGEND_LINE + TL_LEGEND_GAP, y},
                        tl_text_get(&fitted), "left textcolor rgb '#202020'");
        tl_text_free(&fitted);
        free(symbol);
        free(line);
    }
}

/// Which designs have no curve here, at the right of the panel's title.
static void add_missing(tl_text* script, const drawing* d, const tl_bench_panel* panel) {
    tl_text names = {0};
    size_t missing = 0;
    for (size_t i = 0; i < d->bench->count; ++i)
        if (!d->bench->designs[i].curves[panel->kind->curve].count)
            tl_text_addf(&names, "%s%s",
                         missing++ ? ", " : "not measured: ", d->bench->designs[i].name);
    tl_text fitted = {0};
    double taken = tl_text_width(panel->kind->title) + 16;
    tl_text_add_fitted(&fitted, tl_text_get(&names), panel->area.right - panel->area.left - taken);
    if (missing)
        tl_script_label(script, &d->page, (tl_spot){panel->area.right, panel->area.top - 14},
                        tl_text_get(&fitted), "right textcolor rgb '#a03000'");
    tl_text_free(&fitted);
    tl_text_free(&names);
}

/// A curve's numbers under a name of ours; a curve without any gets one that is nowhere.
static void add_curve(tl_text* script, const tl_bench_panel* panel, const char* name, size_t design,
                      const tl_bench_curve* curve) {
    bool open = false;
    tl_text_addf(script, "$%s%zu << END\n", name, design);
    for (size_t i = 0; i < curve->count; ++i) {
        double y = curve->y[i] * panel->kind->scale;
        bool drawn = isfinite(y) && curve->x[i] > 0 && (!panel->kind->logarithmic || y > 0);
        if (drawn)
            tl_text_addf(script, "%.7g %.7g\n", curve->x[i], y);
        else if (open)
            tl_text_add(script, "\n");
        open = drawn;
    }
    tl_text_add(script, "NaN NaN\nEND\n");
}

/// A few spots of a curve for the design's symbol, each design at others, so that curves that run
/// together still show who they are.
static void add_spots(tl_text* script, const drawing* d, const tl_bench_panel* panel,
                      size_t design) {
    const tl_bench_curve* curve = &d->bench->designs[design].curves[panel->kind->curve];
    tl_text_addf(script, "$spots%zu << END\n", design);
    for (int k = 0; k < MARKED; ++k) {
        double part = (k + (0.5 + (double)design) / (double)d->bench->count) / MARKED;
        double x = panel->x_low * pow(panel->x_high / panel->x_low, part);
        double y = tl_bench_panel_at(panel, curve, x);
        if (isfinite(y) && y >= panel->y_low && y <= panel->y_high)
            tl_text_addf(script, "%.7g %.7g\n", x, y);
    }
    tl_text_add(script, "NaN NaN\nEND\n");
}

static void add_panel(tl_text* script, const drawing* d, const tl_bench_panel* panel) {
    const tl_bench_panel_kind* kind = panel->kind;
    bool beside = kind->beside != kind->curve;
    tl_bench_panel_open(script, &d->page, panel);
    add_missing(script, d, panel);
    for (size_t i = 0; i < d->bench->count; ++i) {
        const tl_bench_curve* curves = d->bench->designs[i].curves;
        add_curve(script, panel, "curve", i, &curves[kind->curve]);
        if (beside)
            add_curve(script, panel, "beside", i, &curves[kind->beside]);
        add_spots(script, d, panel, i);
    }
    tl_text_addf(script, "plot $line using 1:2 with lines lw %g lc rgb '#909090'",
                 isnan(kind->line_at) ? 0.5 : 1.0);
    for (size_t i = 0; beside && i < d->bench->count; ++i)
        tl_text_addf(script, ", $beside%zu using 1:2 with lines lw %g dt (10,6) lc rgb '%s'", i,
                     0.6 * d->pens[i].width, d->pens[i].colour);
    for (size_t i = 0; i < d->bench->count; ++i)
        tl_text_addf(script, ", $curve%zu using 1:2 with lines lw %g lc rgb '%s'", i,
                     d->pens[i].width, d->pens[i].colour);
    for (size_t i = 0; i < d->bench->count; ++i)
        tl_text_addf(script, ", $spots%zu using 1:2 with points pt %d ps %g lc rgb '%s'", i,
                     symbol_of(i), 1.3 * d->pens[i].symbol_size, d->pens[i].symbol_colour);
    tl_text_add(script, "\nunset label\nunset arrow\n");
}

static char* make_bench(const void* context, const char* kind, const char* output) {
    drawing d = lay_out(context);
    tl_text script = {0};
    tl_script_open(&script, d.page.height, kind, output);
    tl_text_add(&script, "set multiplot\n");
    add_title(&script, &d, kind);
    add_legend(&script, &d);
    for (size_t i = 0; i < PANELS; ++i)
        add_panel(&script, &d, &d.panels[i]);
    tl_text_add(&script, "unset multiplot\nunset output\n");
    free(d.pens);
    return tl_text_take(&script);
}

tl_status tl_bench_draw(const tl_bench* bench, const char* path, tl_error* error) {
    if (!bench->count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    return tl_picture_draw(path, make_bench, bench, error);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The fan of a spread's curves: nested bands, the median, and the rig as written.
#include "show/picture.h"
#include "show/script.h"
#include "show/spread_page.h"

#include <math.h>
#include <stdlib.h>

#define MEDIAN_PEN "lw 1.8 lc rgb '" TL_SPREAD_MEDIAN "'"
#define NOMINAL_PEN "lw 1.8 dt (12,9) lc rgb '" TL_SPREAD_NOMINAL "'"

enum { BANDS = 3, UPPER = 0, LOWER = 1 };

static const double left_edge = 78, right_edge = 24, between = 20, upper_height = 400,
                    lower_height = 210, gap_height = 36, axis_height = 56, key_height = 34;

static const struct {
    int low, high;
    const char* colour;
    const char* words;
} bands[BANDS] = {{TL_P01, TL_P99, TL_SPREAD_OUTER, "1 to 99 % of trials"},
                  {TL_P05, TL_P95, TL_SPREAD_MIDDLE, "5 to 95 %"},
                  {TL_P25, TL_P75, TL_SPREAD_INNER, "25 to 75 %"}};

/// Where everything stands; all amps share the axes.
typedef struct {
    const tl_spread* spread;
    tl_page page;
    size_t amps;
    double width; ///< of an amp's panels
    double low_db, high_db;
    double reach_db; ///< of the differences, either way
} drawing;

static tl_box box_of(const drawing* d, size_t amp, int panel) {
    double left = left_edge + (double)amp * (d->width + between);
    double top = TL_SPREAD_HEAD_HEIGHT + (d->spread->amp_count > 1 ? 22 : 0);
    if (panel == UPPER)
        return (tl_box){left, top, left + d->width, top + upper_height};
    top += upper_height + gap_height;
    return (tl_box){left, top, left + d->width, top + lower_height};
}

static bool is_seen(const tl_spread* spread, size_t point, double db) {
    return isfinite(db) && spread->hz[point] >= TL_PLOT_LOW_HZ * (1 - 1e-6) &&
           spread->hz[point] <= TL_PLOT_HIGH_HZ * (1 + 1e-6);
}

static void reach_out(const tl_spread* spread, const double* db, double* lowest, double* highest) {
    for (size_t i = 0; i < spread->point_count; ++i) {
        if (!is_seen(spread, i, db[i]))
            continue;
        *lowest = fmin(*lowest, db[i]);
        *highest = fmax(*highest, db[i]);
    }
}

/// Levels as any plot of responses has them, down to -24 dB; differences at least 2 dB either way,
/// at most 24.
static void set_levels(drawing* d) {
    double lowest = 0, highest = 0, least = 0, most = 0;
    for (size_t amp = 0; amp < d->amps; ++amp) {
        reach_out(d->spread, d->spread->levels[amp].db[TL_P01], &lowest, &highest);
        reach_out(d->spread, d->spread->levels[amp].db[TL_P99], &lowest, &highest);
        reach_out(d->spread, d->spread->nominal_db[amp], &lowest, &highest);
        reach_out(d->spread, d->spread->differences[amp].db[TL_P01], &least, &most);
        reach_out(d->spread, d->spread->differences[amp].db[TL_P99], &least, &most);
        reach_out(d->spread, d->spread->nominal_difference_db[amp], &least, &most);
    }
    d->high_db = fmin(3 * ceil((highest + 1) / 3), 60);
    d->low_db = fmin(fmax(3 * floor((lowest - 1) / 3), -24), -9);
    double largest = fmax(most, -least);
    d->reach_db = fmin(largest < 1.8 ? 2 : 3 * ceil((largest + 0.3) / 3), 24);
}

static drawing lay_out(const tl_spread* spread) {
    drawing d = {.spread = spread, .amps = spread->amp_count};
    d.amps = d.amps < TL_SPREAD_DRAWN ? d.amps : TL_SPREAD_DRAWN;
    double room = TL_PAGE_WIDTH - left_edge - right_edge - (double)(d.amps - 1) * between;
    d.width = room / (double)d.amps;
    d.page.foot = box_of(&d, 0, LOWER).bottom;
    d.page.height = d.page.foot + axis_height + key_height;
    set_levels(&d);
    return d;
}

/// The frequency axis; words stand closer where there is room.
static void add_frequencies(tl_text* script, const drawing* d, bool words) {
    static const struct {
        int hz;
        const char* words;
        size_t amps; ///< with more beside each other there is no room for the words
    } tics[] = {{20, "20", 3},     {50, "50", 1},    {100, "100", 3}, {200, "200", 2},
                {500, "500", 1},   {1000, "1k", 3},  {2000, "2k", 2}, {5000, "5k", 1},
                {10000, "10k", 3}, {20000, "20k", 1}};
    static const int faint[] = {30,  40,  60,  70,   80,   90,   300,  400,  600,
                                700, 800, 900, 3000, 4000, 6000, 7000, 8000, 9000};
    tl_text_addf(script, "set logscale x\nset xrange [%g:%g]\nset xtics scale 0,0 (",
                 TL_PLOT_LOW_HZ * (1 - 1e-6), TL_PLOT_HIGH_HZ * (1 + 1e-6));
    for (size_t i = 0; i < sizeof tics / sizeof *tics; ++i)
        tl_text_addf(script, "%s'%s' %d", i ? "," : "",
                     words && d->amps <= tics[i].amps ? tics[i].words : "", tics[i].hz);
    for (size_t i = 0; i < sizeof faint / sizeof *faint; ++i)
        tl_text_addf(script, ",'' %d 1", faint[i]);
    tl_text_add(script, ")\n");
}

static void add_levels(tl_text* script, double low, double high, double step, bool words) {
    tl_text_addf(script, "set yrange [%g:%g]\nset ytics scale 0,0 (", low, high);
    for (double at = step * ceil(low / step), first = at; at <= high + 1e-6; at += step) {
        tl_text_add(script, at == first ? "" : ",");
        if (words)
            tl_text_addf(script, "'%s%g' %g", at > 0 ? "+" : "", at, at);
        else
            tl_text_addf(script, "'' %g", at);
    }
    tl_text_add(script, ")\n");
}

static double held(double db, double low, double high) {
    return fmax(low, fmin(high, db));
}

/// The two edges of a band. gnuplot does not cut what lies outside of a panel off both edges
/// alike, so that is done here. False when there is nothing to draw.
static bool add_band(tl_text* script, const drawing* d, const tl_spread_band* band, int index,
                     double low, double high) {
    const tl_spread* spread = d->spread;
    const double* edges[] = {band->db[bands[index].low], band->db[bands[index].high]};
    bool open = false;
    bool any = false;
    tl_text_addf(script, "$band%d << END\n", index);
    for (size_t i = 0; i < spread->point_count; ++i) {
        bool seen = is_seen(spread, i, edges[0][i]) && is_seen(spread, i, edges[1][i]);
        if (seen)
            tl_text_addf(script, "%.7g %.4f %.4f\n", spread->hz[i], held(edges[0][i], low, high),
                         held(edges[1][i], low, high));
        else if (open)
            tl_text_add(script, "\n");
        open = seen;
        any = any || seen;
    }
    tl_text_add(script, "END\n");
    return any;
}

/// A line; false when there is nothing to draw.
static bool add_curve(tl_text* script, const tl_spread* spread, const char* name,
                      const double* db) {
    bool open = false;
    bool any = false;
    tl_text_addf(script, "$%s << END\n", name);
    for (size_t i = 0; i < spread->point_count; ++i) {
        bool seen = is_seen(spread, i, db[i]);
        if (seen)
            tl_text_addf(script, "%.7g %.4f\n", spread->hz[i], db[i]);
        else if (open)
            tl_text_add(script, "\n");
        open = seen;
        any = any || seen;
    }
    tl_text_add(script, "END\n");
    return any;
}

/// The numbers of a panel's bands and lines, and what the plot command says of those that have any.
static void add_data(tl_text* script, tl_text* plot, const drawing* d, size_t amp, int panel) {
    const tl_spread* spread = d->spread;
    const tl_spread_band* band = panel == UPPER ? &spread->levels[amp] : &spread->differences[amp];
    double low = panel == UPPER ? d->low_db : -d->reach_db;
    double high = panel == UPPER ? d->high_db : d->reach_db;
    for (int i = 0; i < BANDS; ++i)
        if (add_band(script, d, band, i, low, high))
            tl_text_addf(plot, " $band%d using 1:2:3 with filledcurves fillcolor rgb '%s',", i,
                         bands[i].colour);
    tl_text_addf(script, "$lines << END\n%g 0\n%g 0\n", TL_PLOT_LOW_HZ, TL_PLOT_HIGH_HZ);
    for (int side = -1; panel == LOWER && side < 2; side += 2)
        tl_text_addf(script, "\n%g %d\n%g %d\n", TL_PLOT_LOW_HZ, side, TL_PLOT_HIGH_HZ, side);
    tl_text_add(script, "END\n");
    tl_text_add(plot, " $lines using 1:2 with lines lw 1.1 lc rgb '#707070'");
    if (add_curve(script, spread, "median", band->db[TL_P50]))
        tl_text_add(plot, ", $median using 1:2 with lines " MEDIAN_PEN);
    if (add_curve(script, spread, "nominal",
                  panel == UPPER ? spread->nominal_db[amp] : spread->nominal_difference_db[amp]))
        tl_text_add(plot, ", $nominal using 1:2 with lines " NOMINAL_PEN);
}

static void add_panel(tl_text* script, const drawing* d, size_t amp, int panel) {
    tl_box area = box_of(d, amp, panel);
    tl_script_margins(script, &d->page, &area);
    add_frequencies(script, d, panel == LOWER);
    if (panel == UPPER)
        add_levels(script, d->low_db, d->high_db, d->high_db - d->low_db > 45 ? 6 : 3, amp == 0);
    else
        add_levels(script, -d->reach_db, d->reach_db,
                   d->reach_db > 12  ? 6
                   : d->reach_db > 3 ? 3
                                     : 1,
                   amp == 0);
    tl_text plot = {0};
    add_data(script, &plot, d, amp, panel);
    tl_text_addf(script, "plot%s\nunset label\nunset arrow\nunset object\n", tl_text_get(&plot));
    tl_text_free(&plot);
}

/// Names of the axes, of the amps, and what the lower panels are.
static void add_words(tl_text* script, const drawing* d) {
    static const char plain[] = "center rotate by 90 textcolor rgb '#202020'";
    tl_box upper = box_of(d, 0, UPPER);
    tl_box lower = box_of(d, 0, LOWER);
    char* level = tl_printf("level relative to %.6g Hz (dB)", d->spread->reference_hz);
    tl_script_label(script, &d->page, (tl_spot){22, (upper.top + upper.bottom) / 2}, level, plain);
    free(level);
    tl_script_label(script, &d->page, (tl_spot){22, (lower.top + lower.bottom) / 2},
                    "minus direct (dB)", plain);
    tl_script_label(script, &d->page, (tl_spot){lower.left, lower.top - 15},
                    "Rig minus direct, levels matched; lines at 1 dB either way",
                    "left textcolor rgb '#202020'");
    tl_script_label(script, &d->page, (tl_spot){TL_PAGE_WIDTH / 2, lower.bottom + 38},
                    "frequency (Hz)", "center textcolor rgb '#202020'");
    for (size_t amp = 0; d->spread->amp_count > 1 && amp < d->amps; ++amp) {
        tl_box area = box_of(d, amp, UPPER);
        char* name = tl_spread_amp(d->spread, amp);
        tl_spread_page_words(script, &d->page,
                             (tl_spot){(area.left + area.right) / 2, area.top - 14}, name,
                             d->width - 10, "center textcolor rgb '#202020'");
        free(name);
    }
}

/// What the shades and lines are, in one row at the foot.
static void add_key(tl_text* script, const drawing* d) {
    static const char plain[] = "left textcolor rgb '#202020'";
    double y = d->page.foot + axis_height + key_height / 2 - 4;
    double x = left_edge;
    for (int i = 0; i < BANDS; ++i) {
        tl_box swatch = {x, y - 7, x + 34, y + 7};
        tl_spread_page_box(script, &d->page, (size_t)i + 1, swatch, bands[i].colour);
        tl_script_label(script, &d->page, (tl_spot){x + 42, y}, bands[i].words, plain);
        x += 42 + tl_text_width(bands[i].words) + 24;
    }
    tl_script_line(script, &d->page, (tl_spot){x, y}, (tl_spot){x + 40, y}, MEDIAN_PEN);
    tl_script_label(script, &d->page, (tl_spot){x + 48, y}, "median", plain);
    x += 48 + tl_text_width("median") + 24;
    tl_script_line(script, &d->page, (tl_spot){x, y}, (tl_spot){x + 44, y}, NOMINAL_PEN);
    tl_script_label(script, &d->page, (tl_spot){x + 52, y}, "the rig as written", plain);
}

static char* make_fan(const void* context, const char* kind, const char* output) {
    drawing d = lay_out(context);
    tl_text script = {0};
    tl_script_open(&script, d.page.height, kind, output);
    tl_text_add(&script, "set multiplot\n");
    tl_spread_page_head(&script, &d.page, d.spread, "Level over frequency", d.amps, kind);
    add_words(&script, &d);
    add_key(&script, &d);
    tl_text_add(&script, "set grid xtics mxtics ytics front lt 1 lw 0.6 lc rgb '#70a0a0a0', lt 1 "
                         "lw 0.5 lc rgb '#a0a0a0a0'\nset border 31 front lt 1 lw 1 lc rgb "
                         "'#606060'\nset tics textcolor rgb '#202020'\n");
    for (size_t amp = 0; amp < d.amps; ++amp)
        for (int panel = UPPER; panel <= LOWER; ++panel)
            add_panel(&script, &d, amp, panel);
    tl_text_add(&script, "unset multiplot\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_spread_draw(const tl_spread* spread, const char* path, tl_error* error) {
    if (!spread->amp_count || !spread->point_count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    return tl_picture_draw(path, make_fan, spread, error);
}

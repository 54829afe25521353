// SPDX-License-Identifier: GPL-3.0-or-later
// Histograms of a spread: a grid of small panels, a figure each.
#include "show/picture.h"
#include "show/script.h"
#include "show/spread_page.h"

#include <math.h>
#include <stdlib.h>

enum { PANELS = 6, COLUMNS = 3, PINS = 3 };

static const double left_edge = 66, right_edge = 26, between = 60, panel_height = 150,
                    panel_head = 52, panel_foot = 54, amp_head = 30, key_height = 36, pin_room = 42;

static const size_t kinds[PANELS] = {TL_SPREAD_PEAK_HZ,     TL_SPREAD_Q,        TL_SPREAD_CUTOFF_HZ,
                                     TL_SPREAD_PRESENCE_DB, TL_SPREAD_WORST_DB, TL_SPREAD_POLE_HZ};

/// The page, and how many amps it shows.
typedef struct {
    const tl_spread* spread;
    tl_page page;
    size_t amps;
} drawing;

/// One panel: a figure at an amp, and what its axes reach in the unit shown.
typedef struct {
    const tl_spread_figure* figure;
    size_t kind;
    tl_box area;
    tl_spread_scale scale;
    double low, high;
    size_t most; ///< trials of the highest bar
    bool empty;  ///< no trial has the figure
} panel;

static double row_height(void) {
    return panel_head + panel_height + panel_foot;
}

static double amp_height(const drawing* d) {
    return (d->spread->amp_count > 1 ? amp_head : 0) + row_height() * PANELS / COLUMNS;
}

static drawing lay_out(const tl_spread* spread) {
    drawing d = {.spread = spread,
                 .amps = spread->amp_count > TL_SPREAD_DRAWN ? 1 : spread->amp_count};
    d.page.foot = TL_SPREAD_HEAD_HEIGHT + (double)d.amps * amp_height(&d);
    d.page.height = d.page.foot + key_height;
    return d;
}

static tl_box area_of(const drawing* d, size_t amp, size_t index) {
    double width =
        (TL_PAGE_WIDTH - left_edge - right_edge - (COLUMNS - 1) * between) / (double)COLUMNS;
    double left = left_edge + (double)(index % COLUMNS) * (width + between);
    double top = TL_SPREAD_HEAD_HEIGHT + (double)amp * amp_height(d) +
                 (d->spread->amp_count > 1 ? amp_head : 0) +
                 (double)(index / COLUMNS) * row_height() + panel_head;
    return (tl_box){left, top, left + width, top + panel_height};
}

/// How far an axis reaches about a figure that is the same in all trials, in the unit shown.
static double reach_of(double middle, const tl_spread_scale* scale) {
    double least = 5 * pow(10, -scale->decimals); // so that tics differ in what they show
    return fmax(least, 0.02 * fabs(middle));
}

static panel panel_of(const drawing* d, size_t amp, size_t index) {
    panel p = {.figure = tl_spread_of(d->spread, amp, kinds[index]),
               .kind = kinds[index],
               .area = area_of(d, amp, index)};
    p.empty = !isfinite(p.figure->low) || !isfinite(p.figure->high);
    bool written = isfinite(p.figure->nominal);
    double low = p.empty ? (written ? p.figure->nominal : 0) : p.figure->low;
    double high = p.empty ? low : p.figure->high;
    p.scale = tl_spread_scale_of(p.kind, fmax(fabs(low), fabs(high)));
    p.low = (written ? fmin(low, p.figure->nominal) : low) / p.scale.size;
    p.high = (written ? fmax(high, p.figure->nominal) : high) / p.scale.size;
    double margin =
        p.high > p.low ? 0.04 * (p.high - p.low) : reach_of((p.low + p.high) / 2, &p.scale);
    p.low -= margin;
    p.high += margin;
    for (int i = 0; p.figure->bars && i < TL_SPREAD_BARS; ++i)
        p.most = p.figure->bars[i] > p.most ? p.figure->bars[i] : p.most;
    return p;
}

/// Where a value stands across the page.
static double across(const panel* p, double value) {
    double part = (value / p->scale.size - p->low) / (p->high - p->low);
    return p->area.left + part * (p->area.right - p->area.left);
}

/// Bars as boxes; a figure that is the same in all trials has one as wide as others would be.
static void add_bars(tl_text* script, const panel* p) {
    double from = p->figure->low / p->scale.size, to = p->figure->high / p->scale.size;
    if (!(to > from)) {
        double half = (p->high - p->low) / TL_SPREAD_BARS / 2;
        from -= half;
        to = from + 2 * half * TL_SPREAD_BARS;
    }
    tl_text_add(script, "$bars << END\n");
    for (int i = 0; !p->empty && p->figure->bars && i < TL_SPREAD_BARS; ++i) {
        double left = from + (to - from) * i / TL_SPREAD_BARS;
        double right = from + (to - from) * (i + 1) / TL_SPREAD_BARS;
        if (p->figure->bars[i])
            tl_text_addf(script, "%.9g 0 %.9g %.9g 0 %zu\n", (left + right) / 2, left, right,
                         p->figure->bars[i]);
    }
    tl_text_add(script, "NaN NaN NaN NaN NaN NaN\nEND\n");
}

/// A line down a panel, and above it what it is.
static void add_pin(tl_text* script, const drawing* d, const panel* p, double x, double words_x,
                    const char* words, bool outer) {
    tl_script_line(script, &d->page, (tl_spot){x, p->area.top - 4}, (tl_spot){x, p->area.bottom},
                   outer ? "lw 1 dt (3,3) lc rgb '" TL_SPREAD_MEDIAN "'"
                         : "lw 1.4 lc rgb '" TL_SPREAD_MEDIAN "'");
    tl_script_label(script, &d->page, (tl_spot){words_x, p->area.top - 12}, words,
                    "center textcolor rgb '" TL_SPREAD_MEDIAN "'");
}

/// Pins for 5, 50 and 95 %, their words kept off each other and in the panel.
static void add_pins(tl_text* script, const drawing* d, const panel* p) {
    static const struct {
        int percentile;
        const char* words;
    } pins[PINS] = {{TL_P05, "5 %"}, {TL_P50, "50 %"}, {TL_P95, "95 %"}};
    double x[PINS];
    double words_x[PINS];
    for (int i = 0; i < PINS; ++i) {
        double value = p->figure->percentile[pins[i].percentile];
        if (!isfinite(value))
            return;
        x[i] = across(p, value);
    }
    if (!tl_spread_varies(p->figure)) {
        add_pin(script, d, p, x[1], x[1],
                tl_spread_answered(d->spread) > 1 ? "all trials" : "the trial", false);
        return;
    }
    double least = p->area.left + pin_room, most = p->area.right - pin_room;
    words_x[1] = fmax(least, fmin(most, x[1]));
    words_x[0] = fmin(fmax(x[0], p->area.left + 8), words_x[1] - pin_room);
    words_x[2] = fmax(fmin(x[2], p->area.right - 8), words_x[1] + pin_room);
    for (int i = 0; i < PINS; ++i)
        add_pin(script, d, p, x[i], words_x[i], pins[i].words, i != 1);
}

/// What a panel cannot show: trials and rigs without the figure, and that nothing varies.
static char* note_of(const drawing* d, const panel* p) {
    tl_text words = {0};
    if (p->empty)
        tl_text_add(&words, "none in any trial");
    else if (p->figure->none) {
        char* share = tl_spread_share(tl_spread_none(d->spread, p->figure));
        tl_text_addf(&words, "none in %s of trials", share);
        free(share);
    } else if (!tl_spread_varies(p->figure) && tl_spread_answered(d->spread) > 1)
        tl_text_add(&words, "the same in all trials");
    if (!isfinite(p->figure->nominal))
        tl_text_addf(&words, "%s", words.size ? ", nor as written" : "none as written");
    return tl_text_take(&words);
}

static void add_words(tl_text* script, const drawing* d, const panel* p) {
    char* title = tl_spread_title(&p->scale, p->kind);
    tl_script_label(script, &d->page, (tl_spot){p->area.left, p->area.top - 34}, title,
                    "left textcolor rgb '#202020'");
    free(title);
    char* note = note_of(d, p);
    if (note)
        tl_script_label(script, &d->page,
                        (tl_spot){p->area.left, p->area.bottom + (p->empty ? 18 : 36)}, note,
                        "left textcolor rgb '#a03000'");
    free(note);
}

static void add_axes(tl_text* script, const drawing* d, const panel* p) {
    tl_script_margins(script, &d->page, &p->area);
    if (p->empty && !isfinite(p->figure->nominal))
        tl_text_addf(script, "set xrange [%.9g:%.9g]\nset xtics ('' %.9g)\n", p->low, p->high,
                     p->low);
    else
        tl_spread_page_tics(script, "x", p->low, p->high, tl_spread_step(p->high - p->low, 5),
                            p->scale.sign);
    double step = fmax(1, tl_spread_step((double)p->most, 4));
    tl_spread_page_tics(script, "y", 0, p->most ? 1.08 * (double)p->most : 1, step, false);
}

static void add_panel(tl_text* script, const drawing* d, size_t amp, size_t index) {
    panel p = panel_of(d, amp, index);
    add_axes(script, d, &p);
    add_words(script, d, &p);
    add_bars(script, &p);
    add_pins(script, d, &p);
    if (isfinite(p.figure->nominal)) {
        double x = across(&p, p.figure->nominal);
        tl_script_line(script, &d->page, (tl_spot){x, p.area.top}, (tl_spot){x, p.area.bottom},
                       "lw 2 dt (7,5) lc rgb '" TL_SPREAD_NOMINAL "'");
    }
    if (index % COLUMNS == 0)
        tl_script_label(script, &d->page, (tl_spot){20, (p.area.top + p.area.bottom) / 2}, "trials",
                        "center rotate by 90 textcolor rgb '#202020'");
    tl_text_add(script, "plot $bars using 1:2:3:4:5:6 with boxxyerror fillstyle solid noborder "
                        "fillcolor rgb '" TL_SPREAD_INNER "'\nunset label\nunset arrow\n");
}

static void add_key(tl_text* script, const drawing* d) {
    static const char plain[] = "left textcolor rgb '#202020'";
    double y = d->page.foot + key_height / 2 - 6;
    double x = left_edge;
    tl_script_line(script, &d->page, (tl_spot){x, y}, (tl_spot){x + 44, y},
                   "lw 2 dt (7,5) lc rgb '" TL_SPREAD_NOMINAL "'");
    tl_script_label(script, &d->page, (tl_spot){x + 52, y}, "the rig as written", plain);
    tl_script_label(script, &d->page, (tl_spot){x + 220, y},
                    "5, 50, 95 %: such a share of the trials lies to the left", plain);
}

static void add_amp(tl_text* script, const drawing* d, size_t amp) {
    if (d->spread->amp_count < 2)
        return;
    char* name = tl_spread_amp(d->spread, amp);
    char* words = tl_printf("at %s", name);
    double y = TL_SPREAD_HEAD_HEIGHT + (double)amp * amp_height(d) + amp_head / 2;
    tl_spread_page_words(script, &d->page, (tl_spot){left_edge, y}, words, TL_PAGE_WIDTH - 100,
                         "left textcolor rgb '#202020'");
    free(words);
    free(name);
}

static char* make_bars(const void* context, const char* kind, const char* output) {
    drawing d = lay_out(context);
    tl_text script = {0};
    tl_script_open(&script, d.page.height, kind, output);
    tl_text_add(&script, "set multiplot\nset border 3 back lt 1 lw 1 lc rgb '#606060'\nset tics "
                         "nomirror textcolor rgb '#202020'\n");
    tl_spread_page_head(&script, &d.page, d.spread, "How often a figure comes to what", d.amps,
                        kind);
    add_key(&script, &d);
    for (size_t amp = 0; amp < d.amps; ++amp) {
        add_amp(&script, &d, amp);
        for (size_t i = 0; i < PANELS; ++i)
            add_panel(&script, &d, amp, i);
    }
    tl_text_add(&script, "unset multiplot\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_spread_draw_histograms(const tl_spread* spread, const char* path, tl_error* error) {
    if (!spread->amp_count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    return tl_picture_draw(path, make_bars, spread, error);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A power plan drawn: how much of each output's limit is used and by whom, and below it what the
// ground loops put on the sound, by thirds of an octave, against the rig's own noise.
#include "show/picture.h"
#include "show/power.h"
#include "show/script.h"
#include "show/spread_page.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PLAIN "textcolor rgb '#202020'"
#define USED_COLOUR "#3b7fb0"
#define OVER_COLOUR "#d55e00"
#define LIMIT_COLOUR "#dde3e8"
#define NOISE_COLOUR "#d0d0d0"
#define PEAK_COLOUR "#a9b4bd"
#define ROOM_LINE "lw 1.8 dt (6,4) lc rgb '#202020'"
#define START_LINE "lw 2.4 lc rgb '#202020'"
#define OVERLOAD_LINE "lw 6 lc rgb '" OVER_COLOUR "'"

enum { MOST_ROWS = 40 };
static const double bars_left = 240, bars_right = 600, names_left = 628, edge = 20, bars_top = 104,
                    peak_height = 5, row_height = 27, bar_height = 15, key_height = 56,
                    key_row = 22, loop_left = 84, loop_height = 380, loop_gap = 52,
                    axis_height = 118;

/// Ways of wiring, told apart in print by mark as well as by colour.
static const struct {
    const char* kind;
    const char* colour;
    int mark;
    double shift; ///< off the middle of its band, as a ratio
} looks[] = {{"shared", "#d55e00", 7, 0.95},
             {"assigned", "#0072b2", 5, 1.0},
             {"isolated", "#007a55", 9, 1.05}};
enum { LOOKS = sizeof looks / sizeof *looks };

/// Where everything stands.
typedef struct {
    const tl_power_plan* plan;
    tl_page page;
    size_t rows;
    double most;    ///< share of a limit at the right end of the bars
    double foot;    ///< lower end of the bars
    tl_spot key;    ///< where the next sample of the key goes
    size_t amp;     ///< whose loops are drawn
    double low_dbv; ///< of the loops' axis
    double high_dbv;
    size_t objects;
} drawing;

static bool is_row(const tl_power_plan* plan, size_t output) {
    return plan->outputs[output].pedals > 0;
}

static double dbv(double volts) {
    return 20 * log10(volts);
}

/// The axis holds the noise and all loops, but not what lies 70 dB under the noise.
static void set_levels(drawing* d) {
    const tl_power_plan* plan = d->plan;
    double least = INFINITY;
    double most = -INFINITY;
    double noise = INFINITY;
    for (size_t band = 0; band < TL_POWER_BANDS; ++band) {
        double floor_dbv = dbv(plan->noise_band_v[d->amp][band]);
        noise = fmin(noise, floor_dbv);
        most = fmax(most, floor_dbv);
        for (size_t i = 0; i < plan->loop_count; ++i) {
            double level_v = plan->loops[i].amps[d->amp].band_v[band];
            if (level_v > 0) {
                least = fmin(least, dbv(level_v));
                most = fmax(most, dbv(level_v));
            }
        }
    }
    d->low_dbv = 10 * floor((fmax(fmin(least, noise), noise - 70) - 4) / 10);
    d->high_dbv = 10 * ceil((most + 4) / 10);
}

static bool all_fed(const tl_power_plan* plan) {
    for (size_t i = 0; i < plan->pedal_count; ++i)
        if (plan->pedals[i].output == TL_POWER_NONE)
            return false;
    return true;
}

static drawing lay_out(const tl_power_plan* plan) {
    drawing d = {.plan = plan, .most = 1};
    for (size_t i = 0; i < plan->output_count; ++i) {
        d.rows += is_row(plan, i) && d.rows < MOST_ROWS;
        const tl_power_output* output = &plan->outputs[i];
        double most_a = fmax(fmax(output->load_a, output->surge_a), output->peak_a);
        if (is_row(plan, i))
            d.most = fmax(d.most, fmin(2, most_a / output->limit_a));
    }
    double parts = d.most > 1.5 ? 2 : 4; // of a limit, at which the axis ends
    d.most = ceil(d.most * parts - 1e-9) / parts;
    d.foot = bars_top + (double)d.rows * row_height + 6;
    d.key = (tl_spot){60, d.foot + 22 + (all_fed(plan) ? 0 : key_row)};
    d.page.height = d.key.y + 8 + key_height;
    if (plan->loop_count) {
        d.amp = tl_power_worst_amp(plan);
        set_levels(&d);
        d.page.height += loop_gap + loop_height + axis_height;
    }
    return d;
}

static void add_box(tl_text* script, drawing* d, tl_box box, const char* colour) {
    tl_spread_page_box(script, &d->page, ++d->objects, box, colour);
}

static double across(const drawing* d, double share) {
    return bars_left + fmin(share / d->most, 1) * (bars_right - bars_left);
}

/// Who hangs on an output, cut where there is no room.
static void add_names(tl_text* script, const drawing* d, size_t output, double y) {
    tl_text names = {0};
    for (size_t i = 0; i < d->plan->pedal_count; ++i)
        if (d->plan->pedals[i].output == output)
            tl_text_addf(&names, "%s%s", names.size ? ", " : "", d->plan->pedals[i].name);
    if (tl_power_hanging(d->plan, d->plan->outputs[output].group) > 1)
        tl_text_add(&names, " (shared return)");
    tl_spread_page_words(script, &d->page, (tl_spot){names_left, y}, tl_text_get(&names),
                         TL_PAGE_WIDTH - edge - names_left, "left " PLAIN);
    tl_text_free(&names);
}

/// A start asks for more than the output gives for a moment.
static bool is_overloaded(const tl_power_output* output) {
    return output->surge_a > output->peak_a + 1e-7 && output->surge_a > output->load_a + 1e-9;
}

static void add_row(tl_text* script, drawing* d, size_t output, size_t row) {
    const tl_power_output* about = &d->plan->outputs[output];
    double y = bars_top + ((double)row + 0.5) * row_height;
    double share = about->load_a / about->limit_a;
    bool over = share > 1 - d->plan->headroom + 1e-9;
    char* gives = tl_power_ma(about->limit_a);
    char* label = tl_printf("%s: %.6g V, %s", about->name, about->volts_v, gives);
    tl_spread_page_words(script, &d->page, (tl_spot){bars_left - 12, y}, label,
                         bars_left - 12 - edge, "right " PLAIN);
    free(label);
    free(gives);
    tl_box bar = {bars_left, y - bar_height / 2, across(d, 1), y + bar_height / 2};
    add_box(script, d, bar, LIMIT_COLOUR);
    if (about->peak_a > about->limit_a)
        add_box(script, d,
                (tl_box){bar.right, y - peak_height / 2, across(d, about->peak_a / about->limit_a),
                         y + peak_height / 2},
                PEAK_COLOUR);
    bar.right = fmax(across(d, share), bars_left + 1.5);
    add_box(script, d, bar, over ? OVER_COLOUR : USED_COLOUR);
    double surge = about->surge_a / about->limit_a;
    if (surge > share + 1e-9) {
        double x = across(d, surge);
        tl_script_line(script, &d->page, (tl_spot){x, y - bar_height / 2 - 3},
                       (tl_spot){x, y + bar_height / 2 + 3},
                       is_overloaded(about) ? OVERLOAD_LINE : START_LINE);
        if (surge > d->most)
            tl_script_label(script, &d->page, (tl_spot){x + 4, y}, ">", "left " PLAIN);
    }
    add_names(script, d, output, y);
}

static void add_ticks(tl_text* script, const drawing* d) {
    double step = d->most > 1.5 ? 0.5 : 0.25;
    for (double share = 0; share <= d->most + 1e-9; share += step) {
        char* words = tl_printf("%.0f %%", 100 * share);
        double x = across(d, share);
        tl_script_line(script, &d->page, (tl_spot){x, bars_top - 4}, (tl_spot){x, d->foot},
                       "lw 0.7 lc rgb '#b0b0b0'");
        tl_script_label(script, &d->page, (tl_spot){x, bars_top - 14}, words, "center " PLAIN);
        free(words);
    }
    double x = across(d, 1 - d->plan->headroom);
    tl_script_line(script, &d->page, (tl_spot){x, bars_top - 4}, (tl_spot){x, d->foot}, ROOM_LINE);
}

/// A sample of a look, and what it is, on the next line when there is no room on this one.
static void add_key(tl_text* script, drawing* d, const char* look, const char* words) {
    double width = 34 + tl_text_width(words);
    if (d->key.x + width > TL_PAGE_WIDTH - edge)
        d->key = (tl_spot){60, d->key.y + key_row};
    double x = d->key.x;
    double y = d->key.y;
    double half = strcmp(look, PEAK_COLOUR) == 0 ? peak_height / 2 : 6;
    if (*look == '#')
        add_box(script, d, (tl_box){x, y - half, x + 26, y + half}, look);
    else if (*look == '>')
        tl_script_label(script, &d->page, (tl_spot){x + 12, y}, ">", "center " PLAIN);
    else
        tl_script_line(script, &d->page, (tl_spot){x + 12, y - 9}, (tl_spot){x + 12, y + 9}, look);
    tl_script_label(script, &d->page, (tl_spot){x + 34, y}, words, "left " PLAIN);
    d->key.x = x + width + 22;
}

/// What there is of each look among the bars.
typedef struct {
    bool over, peak, start, overload, beyond;
} met;

static void add_keys(tl_text* script, drawing* d, const met* met) {
    char* words = tl_printf("may be used up to here (%.4g %%)", 100 * (1 - d->plan->headroom));
    add_key(script, d, USED_COLOUR, "asked for");
    if (met->over)
        add_key(script, d, OVER_COLOUR, "asked for: too much");
    add_key(script, d, LIMIT_COLOUR, "limit");
    add_key(script, d, ROOM_LINE, words);
    free(words);
    if (met->peak)
        add_key(script, d, PEAK_COLOUR, "gives for a moment");
    if (met->start)
        add_key(script, d, START_LINE, "most at a start");
    if (met->overload)
        add_key(script, d, OVERLOAD_LINE, "start: more than it gives");
    if (met->beyond)
        add_key(script, d, ">", "off the scale");
}

/// Who hangs nowhere.
static void add_unfed(tl_text* script, const drawing* d) {
    tl_text names = {0};
    for (size_t i = 0; i < d->plan->pedal_count; ++i)
        if (d->plan->pedals[i].output == TL_POWER_NONE)
            tl_text_addf(&names, "%s%s", names.size ? ", " : "Not fed: ", d->plan->pedals[i].name);
    if (names.size)
        tl_spread_page_words(script, &d->page, (tl_spot){60, d->foot + 18}, tl_text_get(&names),
                             TL_PAGE_WIDTH - 60 - edge, "left textcolor rgb '#a63c00'");
    tl_text_free(&names);
}

static void add_bars(tl_text* script, drawing* d) {
    size_t row = 0;
    met met = {0};
    add_ticks(script, d);
    for (size_t i = 0; i < d->plan->output_count && row < MOST_ROWS; ++i) {
        const tl_power_output* output = &d->plan->outputs[i];
        if (!is_row(d->plan, i))
            continue;
        bool start = output->surge_a > output->load_a + 1e-9;
        met.over = met.over || output->load_a / output->limit_a > 1 - d->plan->headroom + 1e-9;
        met.peak = met.peak || output->peak_a > output->limit_a;
        met.start = met.start || (start && !is_overloaded(output));
        met.overload = met.overload || is_overloaded(output);
        met.beyond = met.beyond || (start && output->surge_a / output->limit_a > d->most);
        add_row(script, d, i, row++);
    }
    tl_script_label(script, &d->page, (tl_spot){(bars_left + bars_right) / 2, bars_top - 34},
                    "asked for, of each output's limit", "center " PLAIN);
    tl_script_label(script, &d->page, (tl_spot){names_left, bars_top - 34}, "who hangs on it",
                    "left " PLAIN);
    add_unfed(script, d);
    add_keys(script, d, &met);
}

static void add_head(tl_text* script, const drawing* d, const char* kind) {
    char* how = tl_printf("center font ',%.3f' " PLAIN, 17 * tl_script_letter_unit(kind));
    tl_spread_page_words(script, &d->page, (tl_spot){TL_PAGE_WIDTH / 2, 24}, d->plan->rig,
                         (TL_PAGE_WIDTH - 40) * TL_TEXT_SIZE / 17, how);
    free(how);
    char* head = tl_power_headline(d->plan);
    char* words = tl_printf("%s%s", head, all_fed(d->plan) ? "" : ": shown is who can be fed");
    tl_spread_page_words(script, &d->page, (tl_spot){TL_PAGE_WIDTH / 2, 48}, words,
                         TL_PAGE_WIDTH - 40, "center textcolor rgb '#404040'");
    free(words);
    free(head);
}

/// An empty plot: it brings labels, lines and boxes onto the page.
static void add_nothing(tl_text* script) {
    tl_text_add(script, "unset border\nunset tics\nset xrange [0:1]\nset yrange [0:1]\n"
                        "plot '-' using 1:2 with points pt 0\n-1 -1\ne\n"
                        "unset label\nunset arrow\nunset object\n");
}

static void add_axes(tl_text* script, const drawing* d, const tl_box* area) {
    tl_script_margins(script, &d->page, area);
    tl_text_add(script, "set border 31 front lt 1 lw 1 lc rgb '#606060'\nset logscale x\n"
                        "set xrange [17.5:22900]\nset xtics scale 0.4 ('20' 20,'50' 50,'100' 100,"
                        "'200' 200,'500' 500,'1k' 1000,'2k' 2000,'5k' 5000,'10k' 10000,"
                        "'20k' 20000) textcolor rgb '#202020'\n"
                        "set grid xtics ytics back lt 1 lw 0.6 lc rgb '#e0e0e0'\n");
    double step = d->high_dbv - d->low_dbv > 90 ? 20 : 10;
    tl_text_addf(script, "set yrange [%g:%g]\nset ytics scale 0.4 %g textcolor rgb '#202020'\n",
                 d->low_dbv, d->high_dbv, step);
}

/// The noise as steps from band to band, and each way of wiring as its bands' levels.
static void add_loop_data(tl_text* script, const drawing* d) {
    const tl_power_plan* plan = d->plan;
    tl_text_add(script, "$noise << END\n");
    for (size_t band = 0; band < TL_POWER_BANDS; ++band) {
        double level_dbv = fmax(dbv(plan->noise_band_v[d->amp][band]), d->low_dbv);
        double hz = tl_power_band_hz(band);
        tl_text_addf(script, "%.7g %.4f %g\n%.7g %.4f %g\n", hz * pow(10, -0.05), level_dbv,
                     d->low_dbv, hz * pow(10, 0.05), level_dbv, d->low_dbv);
    }
    tl_text_add(script, "END\n");
    for (size_t i = 0; i < LOOKS; ++i) {
        const tl_power_loop* loop = tl_power_loop_of(plan, looks[i].kind);
        tl_text_addf(script, "$loop%zu << END\n", i);
        for (size_t band = 0; loop && band < TL_POWER_BANDS; ++band) {
            double level_v = loop->amps[d->amp].band_v[band];
            if (level_v > 0 && dbv(level_v) >= d->low_dbv)
                tl_text_addf(script, "%.7g %.4f %g\n", tl_power_band_hz(band) * looks[i].shift,
                             dbv(level_v), d->low_dbv);
        }
        tl_text_add(script, "NaN NaN NaN\nEND\n");
    }
}

/// What the marks are; a way that lies below the axis says so.
static void add_loop_key(tl_text* script, const drawing* d, const tl_box* area) {
    double x = loop_left;
    double y = area->bottom + 66;
    tl_script_line(script, &d->page, (tl_spot){x, y}, (tl_spot){x + 26, y},
                   "lw 10 lc rgb '" NOISE_COLOUR "'");
    tl_script_label(script, &d->page, (tl_spot){x + 34, y}, "the rig's own noise", "left " PLAIN);
    x += 34 + tl_text_width("the rig's own noise") + 26;
    for (size_t i = 0; i < LOOKS; ++i) {
        const tl_power_loop* loop = tl_power_loop_of(d->plan, looks[i].kind);
        if (!loop)
            continue;
        bool seen = false;
        for (size_t band = 0; band < TL_POWER_BANDS; ++band)
            seen = seen || (loop->amps[d->amp].band_v[band] > 0 &&
                            dbv(loop->amps[d->amp].band_v[band]) >= d->low_dbv);
        bool ours = strcmp(loop->kind, "assigned") == 0;
        char* words = tl_printf("%s%s%s", loop->words,
                                !ours           ? ""
                                : loop->sharing ? ": with shared returns"
                                                : ": no shared return",
                                seen ? "" : " (below this)");
        tl_text_addf(script,
                     "set label '' at screen %.5f,screen %.5f front point pt %d ps 1 lc rgb "
                     "'%s'\n",
                     (x + 8) / TL_PAGE_WIDTH, 1 - y / d->page.height, looks[i].mark,
                     looks[i].colour);
        tl_script_label(script, &d->page, (tl_spot){x + 22, y}, words, "left " PLAIN);
        x += 22 + tl_text_width(words) + 26;
        free(words);
    }
}

static void add_loops(tl_text* script, const drawing* d) {
    double top = d->page.height - axis_height - loop_height;
    tl_box area = {loop_left, top, TL_PAGE_WIDTH - edge, top + loop_height};
    add_axes(script, d, &area);
    char* title = d->plan->amp_count > 1
                      ? tl_printf("What the pulsed loads put on the sound through the ground "
                                  "loops, at amp %s",
                                  d->plan->amps[d->amp])
                      : tl_copy("What the pulsed loads put on the sound through the ground loops, "
                                "at the amp");
    tl_spread_page_words(script, &d->page, (tl_spot){loop_left, top - 20}, title,
                         TL_PAGE_WIDTH - loop_left - edge, "left " PLAIN);
    free(title);
    tl_script_label(script, &d->page, (tl_spot){20, (area.top + area.bottom) / 2},
                    "level in a third of an octave (dBV)", "center rotate by 90 " PLAIN);
    tl_script_label(script, &d->page, (tl_spot){(area.left + area.right) / 2, area.bottom + 38},
                    "frequency (Hz)", "center " PLAIN);
    add_loop_data(script, d);
    add_loop_key(script, d, &area);
    tl_script_label(script, &d->page, (tl_spot){loop_left, area.bottom + 92},
                    "Marks of one band stand side by side, so that none hides another; each is the "
                    "level in its whole band.",
                    "left " PLAIN);
    tl_text_add(script,
                "plot $noise using 1:2:3 with filledcurves fillcolor rgb '" NOISE_COLOUR "'");
    for (size_t i = 0; i < LOOKS; ++i)
        if (tl_power_loop_of(d->plan, looks[i].kind))
            tl_text_addf(script,
                         ", $loop%zu using 1:3:(0):($2-$3) with vectors nohead lw 1.4 lc rgb '%s', "
                         "$loop%zu using 1:2 with points pt %d ps 0.9 lc rgb '%s'",
                         i, looks[i].colour, i, looks[i].mark, looks[i].colour);
    tl_text_add(script, "\n");
}

static char* make_picture(const void* context, const char* kind, const char* output) {
    drawing d = lay_out(context);
    tl_text script = {0};
    tl_script_open(&script, d.page.height, kind, output);
    tl_text_add(&script, "set multiplot\n");
    add_head(&script, &d, kind);
    add_bars(&script, &d);
    add_nothing(&script);
    if (d.plan->loop_count)
        add_loops(&script, &d);
    tl_text_add(&script, "unset multiplot\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_power_draw(const tl_power_plan* plan, const char* path, tl_error* error) {
    return tl_picture_draw(path, make_picture, plan, error);
}

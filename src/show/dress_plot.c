// SPDX-License-Identifier: GPL-3.0-or-later
// What leads pick up, line by line, against the rig's noise in the ear's own bandwidth.
#include "toneload/show.h"

#include "base/text.h"
#include "show/page.h"
#include "show/picture.h"
#include "show/script.h"

#include <math.h>
#include <stdlib.h>

enum { DRAWN_AMPS = 3, DRAWN_RUNS = 8, PANEL_HEIGHT = 600 };

static const double micro = 1e6;
static const double title_room = 44, note_room = 22;

/// Okabe and Ito's colours, each with a symbol of its own.
static const struct {
    const char* colour;
    int symbol;
} looks[DRAWN_RUNS] = {{"#d55e00", 7},  {"#0072b2", 5}, {"#009e73", 9}, {"#cc79a7", 11},
                       {"#202020", 13}, {"#e69f00", 6}, {"#56b4e9", 4}, {"#707070", 8}};

/// The width of the ear's band at a frequency: 24.7 (4.37 f/kHz + 1) Hz (Glasberg and Moore 1990,
/// Hearing Research 47, as quoted in encyclopedias; seen).
static double ear_band_hz(double hz) {
    return 24.7 * (4.37 * hz / 1000 + 1);
}

static bool is_drawn(double hz) {
    return hz >= TL_PLOT_LOW_HZ * (1 - 1e-6) && hz <= TL_PLOT_HIGH_HZ * (1 + 1e-6);
}

static double floor_at(const tl_dress* dress, size_t amp, size_t point) {
    return dress->floor_v_rthz[amp * dress->point_count + point] *
           sqrt(ear_band_hz(dress->hz[point])) * micro;
}

static size_t count_drawn(const tl_dress* dress) {
    size_t count = 0;
    for (size_t i = 0; i < dress->run_count; ++i)
        count += dress->runs[i].amps != NULL;
    return count < DRAWN_RUNS ? count : DRAWN_RUNS;
}

/// Whether a run has a line that a panel which begins at `low` shows.
static bool is_seen(const tl_dress_run* run, size_t amp, double low) {
    for (size_t i = 0; run->amps && i < run->amps[amp].line_count; ++i)
        if (is_drawn(run->amps[amp].lines[i].hz) && run->amps[amp].lines[i].volt * micro >= low)
            return true;
    return false;
}

/// Whole decades: from a thousandth of the noise, or from the lowest line when that is more, to
/// above everything.
static void find_range(const tl_dress* dress, size_t amp, double* low, double* high) {
    double least = INFINITY;
    double most = 0;
    double faintest = INFINITY;
    for (size_t i = 0; i < dress->point_count; ++i)
        if (is_drawn(dress->hz[i])) {
            least = fmin(least, floor_at(dress, amp, i));
            most = fmax(most, floor_at(dress, amp, i));
        }
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        for (size_t j = 0; run->amps && j < run->amps[amp].line_count; ++j) {
            most = fmax(most, run->amps[amp].lines[j].volt * micro);
            faintest = fmin(faintest, run->amps[amp].lines[j].volt * micro);
        }
    }
    *high = pow(10, ceil(log10(most * 1.2)));
    *low = pow(10, floor(log10(fmin(least / 3, fmax(faintest, least / 1000)))));
}

static void add_floor(tl_text* script, const tl_dress* dress, size_t amp) {
    tl_text_addf(script, "$floor%zu << END\n", amp);
    for (size_t i = 0; i < dress->point_count; ++i)
        if (is_drawn(dress->hz[i]))
            tl_text_addf(script, "%.7g %.6g\n", dress->hz[i], floor_at(dress, amp, i));
    tl_text_add(script, "END\n");
}

/// A run's lines that can be seen.
static void add_lines(tl_text* script, const tl_dress_amp* at, size_t amp, size_t index,
                      double low) {
    tl_text_addf(script, "$run%zu_%zu << END\n", amp, index);
    for (size_t i = 0; i < at->line_count; ++i) {
        double uv = at->lines[i].volt * micro;
        if (is_drawn(at->lines[i].hz) && uv >= low)
            tl_text_addf(script, "%.7g %.6g\n", at->lines[i].hz, uv);
    }
    tl_text_add(script, "END\n");
}

/// Words for the legend: the run, and how its sum stands to the noise.
static void add_name(tl_text* script, const tl_dress_run* run, const tl_dress_amp* at) {
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, run->name, 230);
    double db = at->as_is.floor_db;
    char* words = db < -99 ? tl_printf("%s: under -99 dB (A)", tl_text_get(&fitted))
                           : tl_printf("%s: %+.1f dB (A), %s", tl_text_get(&fitted), db,
                                       tl_dress_verdict_words(at->as_is.verdict));
    tl_script_quote(script, words);
    free(words);
    tl_text_free(&fitted);
}

static void add_axes(tl_text* script, double low, double high) {
    tl_text_addf(
        script,
        "set logscale xy\nset xrange [%.7g:%.7g]\nset xtics ('20' 20, '50' 50, '100' 100, "
        "'200' 200, '500' 500, '1k' 1000, '2k' 2000, '5k' 5000, '10k' 10000, '20k' 20000)\n"
        "set yrange [%.3g:%.3g]\nset ytics (",
        TL_PLOT_LOW_HZ * (1 - 1e-6), TL_PLOT_HIGH_HZ * (1 + 1e-6), low * (1 - 1e-6),
        high * (1 + 1e-6));
    for (double decade = low; decade < high * 1.01; decade *= 10)
        for (int times = 1; times < 10; ++times)
            tl_text_addf(script, "%s'%.4g' %.4g%s", decade > low || times > 1 ? ", " : "",
                         times == 1 ? decade : 0, decade * times, times == 1 ? "" : " 1");
    tl_text_add(script, ")\nset format y ''\n");
}

static void add_labels(tl_text* script, const tl_dress* dress, size_t amp) {
    char* label = dress->amp_count > 1 ? tl_printf("level at amp %s (uV rms)", dress->amps[amp])
                                       : tl_copy("level at the amp (uV rms)");
    tl_text_add(script, "set ylabel ");
    tl_script_quote(script, label);
    tl_text_add(script, " textcolor rgb '#202020'\nset xlabel 'frequency (Hz)' textcolor rgb "
                        "'#202020'\nset key below left Left reverse maxcols 2 width 2 height 1\n");
    free(label);
}

/// Stems first, then symbols, so that no stem goes through another run's symbol.
static void add_runs(tl_text* script, tl_text* plot, const tl_dress* dress, size_t amp,
                     double low) {
    tl_text symbols = {0};
    size_t index = 0;
    for (size_t i = 0; i < dress->run_count && index < DRAWN_RUNS; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        if (is_seen(run, amp, low)) {
            add_lines(script, &run->amps[amp], amp, index, low);
            tl_text_addf(plot, ", $run%zu_%zu using 1:2 with impulses lw 1 lc rgb '%s' notitle",
                         amp, index, looks[index].colour);
            tl_text_addf(&symbols,
                         ", $run%zu_%zu using 1:2 with points pt %d ps 1.1 lc rgb '%s' "
                         "title ",
                         amp, index, looks[index].symbol, looks[index].colour);
            add_name(&symbols, run, &run->amps[amp]);
        }
        index += run->amps != NULL;
    }
    tl_text_add(plot, tl_text_get(&symbols));
    tl_text_free(&symbols);
}

static void add_panel(tl_text* script, const tl_dress* dress, size_t amp, const tl_page* page,
                      double top) {
    double low = 0;
    double high = 0;
    find_range(dress, amp, &low, &high);
    tl_text_addf(script, "set size 1,%.5f\nset origin 0,%.5f\n", PANEL_HEIGHT / page->height,
                 1 - (top + PANEL_HEIGHT * (double)(amp + 1)) / page->height);
    add_axes(script, low, high);
    add_labels(script, dress, amp);
    add_floor(script, dress, amp);
    tl_text plot = {0};
    tl_text_addf(&plot,
                 "plot $floor%zu using 1:2 with filledcurves x1 fillcolor rgb '#e8e8e8' notitle, "
                 "$floor%zu using 1:2 with lines lw 2.4 lc rgb '#505050' title "
                 "'the rig''s own noise in one band of the ear'",
                 amp, amp);
    add_runs(script, &plot, dress, amp, low);
    tl_text_addf(script, "%s\n", tl_text_get(&plot));
    tl_text_free(&plot);
}

static bool is_seen_anywhere(const tl_dress* dress, const tl_dress_run* run, size_t amps) {
    for (size_t amp = 0; amp < amps; ++amp) {
        double low = 0;
        double high = 0;
        find_range(dress, amp, &low, &high);
        if (is_seen(run, amp, low))
            return true;
    }
    return false;
}

/// What of the rig's runs is not in the picture, and why; NULL: all is.
static char* left_out_words(const tl_dress* dress, size_t amps) {
    tl_text words = {0};
    size_t index = 0;
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        const char* why = run->leaks                            ? "audio"
                          : !run->amps                          ? "out of the path"
                          : index++ >= DRAWN_RUNS               ? "too many"
                          : !is_seen_anywhere(dress, run, amps) ? "too faint"
                                                                : NULL;
        if (why)
            tl_text_addf(&words, "%s%s (%s)", words.size ? ", " : "Not drawn: ", run->name, why);
    }
    return words.size ? tl_text_take(&words) : NULL;
}

static void add_title(tl_text* script, const tl_page* page, const tl_dress* dress, const char* kind,
                      const char* note) {
    char* how =
        tl_printf("center font ',%.3f' textcolor rgb '#202020'", 17 * tl_script_letter_unit(kind));
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, dress->rig, 700);
    tl_script_label(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 18}, tl_text_get(&fitted), how);
    tl_text_free(&fitted);
    free(how);
    tl_script_label(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 40},
                    "What its leads pick up. One band of the ear (1 ERB) is 35 Hz wide at 100 Hz, "
                    "133 Hz at 1 kHz, 1.1 kHz at 10 kHz.",
                    "center textcolor rgb '#404040'");
    if (!note)
        return;
    tl_text_add_fitted(&fitted, note, 900);
    tl_script_label(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 62}, tl_text_get(&fitted),
                    "center textcolor rgb '#404040'");
    tl_text_free(&fitted);
}

static char* make_dress(const void* context, const char* kind, const char* output) {
    const tl_dress* dress = context;
    size_t amps = dress->amp_count < DRAWN_AMPS ? dress->amp_count : DRAWN_AMPS;
    char* note = left_out_words(dress, amps);
    double top = title_room + (note ? note_room : 0);
    tl_page page = {.height = top + PANEL_HEIGHT * (double)amps};
    tl_text script = {0};
    tl_script_open(&script, page.height, kind, output);
    tl_text_add(&script, "set multiplot\n");
    add_title(&script, &page, dress, kind, note);
    free(note);
    tl_text_add(&script,
                "set border 31 back lt 1 lw 1 lc rgb '#606060'\nset tics scale 0.5 textcolor rgb "
                "'#202020'\nset grid xtics ytics back lt 1 lw 0.8 lc rgb '#d8d8d8'\nset rmargin "
                "4\nset lmargin 13\nset tmargin 1\n");
    for (size_t i = 0; i < amps; ++i) {
        add_panel(&script, dress, i, &page, top);
        if (i == 0)
            tl_text_add(&script, "unset label\n");
    }
    tl_text_add(&script, "unset multiplot\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_dress_draw(const tl_dress* dress, const char* path, tl_error* error) {
    if (!count_drawn(dress))
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: there is nothing to draw: no lead that is in the path runs beside "
                            "mains or dc",
                            path);
    return tl_picture_draw(path, make_dress, dress, error);
}

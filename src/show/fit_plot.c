// SPDX-License-Identifier: GPL-3.0-or-later
// A sweep and what was fitted to it: size, phase, and by how much they differ.
#include "base/text.h"
#include "show/fit.h"
#include "show/page.h"
#include "show/picture.h"
#include "show/script.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>

static const double title_room = 50, size_height = 360, phase_height = 230, miss_height = 230;
static const double deg = 180 / M_PI;

/// Okabe and Ito's colours: what was measured, size and phase, and what was fitted.
static const char size_colour[] = "#0072b2", phase_colour[] = "#d55e00", fit_colour[] = "#202020";

static bool is_response(const tl_fit* fit) {
    return fit->kind == TL_MEASURED_RESPONSE;
}

/// A size as it is drawn: an impedance in kohm, a response in dB.
static double drawn(const tl_fit* fit, double size) {
    return is_response(fit) ? 20 * log10(size) : size / 1000;
}

/// The phase as near to the model's as turns allow.
static double drawn_deg(const tl_fit_point* point) {
    return (point->fitted_rad + remainder(point->measured_rad - point->fitted_rad, 2 * M_PI)) * deg;
}

/// By how much a size was missed, in percent, or in dB for a response.
static double missed(const tl_fit* fit, const tl_fit_point* point) {
    double ratio = point->measured / point->fitted;
    return is_response(fit) ? 20 * log10(ratio) : 100 * (ratio - 1);
}

/// Columns: frequency, size measured and fitted, its miss, phase measured and fitted, its miss; of
/// the model frequency, size and phase.
static void add_data(tl_text* script, const tl_fit* fit) {
    tl_text_add(script, "$sweep << END\n");
    for (size_t i = 0; i < fit->point_count; ++i) {
        const tl_fit_point* point = &fit->points[i];
        tl_text_addf(script, "%.7g %.7g %.7g %.5g", point->hz, drawn(fit, point->measured),
                     drawn(fit, point->fitted), missed(fit, point));
        if (fit->phased)
            tl_text_addf(script, " %.6g %.6g %.5g", drawn_deg(point), point->fitted_rad * deg,
                         drawn_deg(point) - point->fitted_rad * deg);
        tl_text_add(script, "\n");
    }
    tl_text_add(script, "END\n$model << END\n");
    for (size_t i = 0; i < fit->curve_count; ++i)
        tl_text_addf(script, "%.7g %.7g %.6g\n", fit->curve[i].hz, drawn(fit, fit->curve[i].fitted),
                     fit->curve[i].fitted_rad * deg);
    tl_text_add(script, "END\n");
}

/// Ticks at 1, 2 and 5 times powers of ten, as many as there is room for.
static void add_frequencies(tl_text* script, const tl_fit* fit, bool named) {
    double low = fit->points[0].hz;
    double high = fit->points[fit->point_count - 1].hz;
    double decades = log10(high / low);
    tl_text_addf(script, "set logscale x\nset xrange [%.7g:%.7g]\nset xtics (", low * (1 - 1e-6),
                 high * (1 + 1e-6));
    const char* between = "";
    for (double decade = pow(10, floor(log10(low))); decade <= high; decade *= 10)
        for (int times = 1; times < 10; ++times) {
            bool major = times == 1 || (decades < 5 && (times == 2 || times == 5)) || decades < 1;
            double hz = decade * times;
            if (hz < low * 0.999 || hz > high * 1.001)
                continue;
            tl_text_add(script, between);
            if (major && named && hz >= 1000)
                tl_text_addf(script, "'%.4gk' %.6g", hz / 1000, hz);
            else if (major && named)
                tl_text_addf(script, "'%.4g' %.6g", hz, hz);
            else
                tl_text_addf(script, "'' %.6g%s", hz, major ? "" : " 1");
            between = ", ";
        }
    tl_text_addf(script, ")\nset xlabel '%s' textcolor rgb '#202020'\n",
                 named ? "frequency (Hz)" : "");
}

static void add_panel(tl_text* script, double top, double height, double page) {
    tl_text_addf(script,
                 "set origin 0,%.5f\nset size 1,%.5f\nunset logscale y\nset ytics "
                 "autofreq\nset yrange [*:*]\nset format y '%%g'\n",
                 1 - (top + height) / page, height / page);
}

static double symbol_size(const tl_fit* fit) {
    return fit->point_count > 600 ? 0.25 : fit->point_count > 150 ? 0.4 : 0.7;
}

/// An axis of an impedance: whole decades, or 1, 2, 5 when there are few.
static void add_ohms(tl_text* script, const tl_fit* fit) {
    double least = INFINITY;
    double most = 0;
    for (size_t i = 0; i < fit->point_count; ++i) {
        least = fmin(least, fmin(fit->points[i].measured, fit->points[i].fitted) / 1000);
        most = fmax(most, fmax(fit->points[i].measured, fit->points[i].fitted) / 1000);
    }
    tl_text_addf(script, "set logscale y\nset yrange [%.4g:%.4g]\nset ytics (", least / 1.15,
                 most * 1.25);
    const char* between = "";
    for (double decade = pow(10, floor(log10(least / 1.15))); decade < most * 1.25; decade *= 10)
        for (int times = 1; times < 10; ++times) {
            double tick = decade * times;
            bool major = times == 1 || (most / least < 2e3 && (times == 2 || times == 5));
            if (tick < least / 1.15 || tick > most * 1.25)
                continue;
            if (major)
                tl_text_addf(script, "%s'%.4g' %.5g", between, tick, tick);
            else
                tl_text_addf(script, "%s'' %.5g 1", between, tick);
            between = ", ";
        }
    tl_text_add(script, ")\n");
}

static void add_size(tl_text* script, const tl_fit* fit, double top, double page) {
    add_panel(script, top, size_height, page);
    if (!is_response(fit))
        add_ohms(script, fit);
    add_frequencies(script, fit, false);
    tl_text_addf(script,
                 "set ylabel '%s' textcolor rgb '#202020'\nset key top left Left reverse width 1\n"
                 "plot $sweep using 1:2 with points pt 6 ps %.3g lc rgb '%s' title 'measured', "
                 "$model using 1:2 with lines lw 2 lc rgb '%s' title 'fitted'\n",
                 is_response(fit) ? "response (dB)" : "impedance (kohm)", symbol_size(fit),
                 size_colour, fit_colour);
}

static void add_phase(tl_text* script, const tl_fit* fit, double top, double page) {
    add_panel(script, top, phase_height, page);
    add_frequencies(script, fit, false);
    tl_text_addf(script,
                 "set ylabel 'phase (deg)' textcolor rgb '#202020'\nset ytics 45\nset key bottom "
                 "left Left reverse width 1\n"
                 "plot $sweep using 1:5 with points pt 4 ps %.3g lc rgb '%s' title 'measured', "
                 "$model using 1:3 with lines lw 2 lc rgb '%s' title 'fitted'\n",
                 symbol_size(fit), phase_colour, fit_colour);
}

static void add_misses(tl_text* script, const tl_fit* fit, double top, double page) {
    add_panel(script, top, miss_height, page);
    add_frequencies(script, fit, true);
    tl_text_addf(script,
                 "set ylabel 'measured - fitted' textcolor rgb '#202020'\nset key top left Left "
                 "reverse horizontal width 1\nset offsets 0,0,graph 0.25,graph 0.05\n"
                 "plot 0 with lines lw 1 lc rgb '%s' notitle, $sweep using 1:4 with points pt 6 ps "
                 "%.3g lc rgb '%s' title '%s'",
                 fit_colour, symbol_size(fit), size_colour,
                 is_response(fit) ? "response (dB)" : "impedance (%)");
    if (fit->phased)
        tl_text_addf(script,
                     ", $sweep using 1:7 with points pt 4 ps %.3g lc rgb '%s' title "
                     "'phase (deg)'",
                     symbol_size(fit), phase_colour);
    tl_text_add(script, "\n");
}

/// What came out, in a line under the title.
static char* values_words(const tl_fit* fit) {
    tl_text words = {0};
    static const char* const signs[] = {"L", "R", "C"};
    for (size_t i = 0; i < sizeof signs / sizeof *signs; ++i) {
        const tl_fit_estimate* one = &fit->values[i];
        char* value = tl_fit_shown(one->value, one->unit);
        double off = fmax(one->high / one->value - 1, 1 - one->low / one->value);
        tl_text_addf(&words, "%s%s %s", i ? ", " : "", signs[i], value);
        if (one->known)
            tl_text_add(&words, " (held)");
        else if (off < 1)
            tl_text_addf(&words, " +-%.2g %%", 100 * off);
        else
            tl_text_add(&words, " (not told)");
        free(value);
    }
    if (fit->eddy)
        tl_text_add(&words, ", with eddy losses");
    if (isfinite(fit->resonance_hz)) {
        char* hz = tl_show_hz(fit->resonance_hz, "");
        tl_text_addf(&words, "; bare resonance %s, Q %.3g", hz, fit->q);
        free(hz);
    }
    return tl_text_take(&words);
}

static void add_title(tl_text* script, const tl_page* page, const tl_fit* fit, const char* kind) {
    char* how =
        tl_printf("center font ',%.3f' textcolor rgb '#202020'", 17 * tl_script_letter_unit(kind));
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, fit->file, 700);
    tl_script_label(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 20}, tl_text_get(&fitted), how);
    free(how);
    tl_text_clear(&fitted);
    char* values = values_words(fit);
    tl_text_add_fitted(&fitted, values, 940);
    free(values);
    tl_script_label(script, page, (tl_spot){TL_PAGE_WIDTH / 2, 42}, tl_text_get(&fitted),
                    "center textcolor rgb '#404040'");
    tl_text_free(&fitted);
}

static char* make_fit(const void* context, const char* kind, const char* output) {
    const tl_fit* fit = context;
    double phase = fit->phased ? phase_height : 0;
    tl_page page = {.height = title_room + size_height + phase + miss_height};
    tl_text script = {0};
    tl_script_open(&script, page.height, kind, output);
    tl_text_add(&script, "set multiplot\n");
    add_title(&script, &page, fit, kind);
    tl_text_add(&script,
                "set border 31 back lt 1 lw 1 lc rgb '#606060'\nset tics scale 0.5 textcolor rgb "
                "'#202020'\nset grid xtics ytics back lt 1 lw 0.8 lc rgb '#d8d8d8'\nset rmargin "
                "4\nset lmargin 11\nset tmargin 0.7\nset bmargin 1\n");
    add_data(&script, fit);
    add_size(&script, fit, title_room, page.height);
    tl_text_add(&script, "unset label\n");
    if (fit->phased)
        add_phase(&script, fit, title_room + size_height, page.height);
    tl_text_add(&script, "set bmargin 3.5\n");
    add_misses(&script, fit, title_room + size_height + phase, page.height);
    tl_text_add(&script, "unset multiplot\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_fit_draw(const tl_fit* fit, const char* path, tl_error* error) {
    return tl_picture_draw(path, make_fit, fit, error);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The density of a rig's noise: rig, direct, the band of all states, and the parts that make most.
#include "toneload/show.h"

#include "base/text.h"
#include "show/page.h"
#include "show/picture.h"
#include "show/script.h"

#include <math.h>
#include <stdlib.h>

enum { DRAWN_AMPS = 4, DRAWN_PARTS = 4, PANEL_HEIGHT = 600 };

static const double nano = 1e9;
static const double title_room = 44;

/// Okabe and Ito's colours, each with a dash and a width of its own: curves often run together.
static const struct {
    const char* colour;
    const char* dash;
    double width;
} looks[DRAWN_PARTS] = {{"#d55e00", "solid", 4.0},
                        {"#009e73", "(14,8)", 2.8},
                        {"#e69f00", "(6,10)", 2.4},
                        {"#202020", "(2,6)", 1.5}};

typedef struct {
    const tl_noise* noise;
    const char* title;
} drawing;

static bool is_drawn(double hz) {
    return hz >= TL_NOISE_LOW_HZ * (1 - 1e-6) && hz <= TL_NOISE_HIGH_HZ * (1 + 1e-6);
}

/// The nearest of 1, 2 and 5 times a power of ten: above `value`, or below it.
static double round_off(double value, bool up) {
    static const double times[] = {1, 2, 5, 10};
    double decade = pow(10, floor(log10(value)));
    size_t at = up ? 0 : 3;
    while (up ? times[at] * decade < value : times[at] * decade > value)
        at = up ? at + 1 : at - 1;
    return times[at] * decade;
}

/// Round numbers around what is to be seen of the rig and its direct.
static void find_range(const tl_noise* noise, size_t amp, double* low, double* high) {
    double least = INFINITY;
    double most = 0;
    for (int side = 0; side < 2; ++side) {
        const tl_noise_at* at = side ? &noise->direct[amp] : &noise->rig[amp];
        for (size_t i = 0; i < at->count; ++i)
            if (is_drawn(at->hz[i])) {
                least = fmin(least, at->v_rthz[i] * nano);
                most = fmax(most, at->v_rthz[i] * nano);
            }
    }
    for (size_t i = 0; noise->high_v_rthz && i < noise->rig[amp].count; ++i)
        if (is_drawn(noise->rig[amp].hz[i]))
            most = fmax(most, noise->high_v_rthz[amp * noise->rig[amp].count + i] * nano);
    *high = round_off(most * 1.05, true);
    *low = fmax(round_off(least / 5, false), *high * 1e-5);
}

/// Columns: frequency, rig, direct, lowest and highest state, then the parts that make most.
static void add_data(tl_text* script, const tl_noise* noise, size_t amp, size_t parts) {
    const tl_noise_at* rig = &noise->rig[amp];
    tl_text_addf(script, "$amp%zu << END\n", amp);
    for (size_t i = 0; i < rig->count; ++i) {
        if (!is_drawn(rig->hz[i]))
            continue;
        size_t at = amp * rig->count + i;
        bool band = noise->low_v_rthz != NULL;
        tl_text_addf(script, "%.7g %.6g %.6g %.6g %.6g", rig->hz[i], rig->v_rthz[i] * nano,
                     noise->direct[amp].v_rthz[i] * nano,
                     (band ? noise->low_v_rthz[at] : rig->v_rthz[i]) * nano,
                     (band ? noise->high_v_rthz[at] : rig->v_rthz[i]) * nano);
        for (size_t j = 0; j < parts; ++j)
            tl_text_addf(script, " %.6g", rig->parts[j].v_rthz[i] * nano);
        tl_text_add(script, "\n");
    }
    tl_text_add(script, "END\n");
}

/// A part's words for the legend: its name and its share.
static void add_part(tl_text* script, const tl_noise_part* part) {
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, part->name, 300);
    char* words =
        tl_printf("%s: %.0f %% of the power (A)", tl_text_get(&fitted), 100 * part->a_share);
    tl_script_quote(script, words);
    free(words);
    tl_text_free(&fitted);
}

static size_t count_parts(const tl_noise_at* at) {
    size_t count = 0;
    while (count < at->part_count && count < DRAWN_PARTS && at->parts[count].a_share >= 0.01)
        ++count;
    return count;
}

static void add_axes(tl_text* script, double low, double high) {
    tl_text_addf(
        script,
        "set logscale xy\nset xrange [20:20000]\nset xtics ('20' 20, '50' 50, '100' 100, "
        "'200' 200, '500' 500, '1k' 1000, '2k' 2000, '5k' 5000, '10k' 10000, '20k' 20000)\n"
        "set yrange [%.3g:%.3g]\nset ytics (",
        low * (1 - 1e-6), high * (1 + 1e-6));
    const char* between = "";
    for (double decade = pow(10, floor(log10(low) + 1e-9)); decade < high * 1.01; decade *= 10)
        for (int times = 1; times < 10; ++times) {
            bool major = times == 1 || (high / low < 2e3 && (times == 2 || times == 5));
            if (decade * times < low * 0.999 || decade * times > high * 1.001)
                continue;
            tl_text_addf(script, "%s", between);
            if (major)
                tl_text_addf(script, "'%.4g' %.4g", decade * times, decade * times);
            else
                tl_text_addf(script, "'' %.4g 1", decade * times);
            between = ", ";
        }
    tl_text_add(script, ")\nset format y ''\n");
}

static void add_panel(tl_text* script, const drawing* d, size_t amp, size_t amps) {
    const tl_noise* noise = d->noise;
    size_t parts = count_parts(&noise->rig[amp]);
    double low = 0;
    double high = 0;
    find_range(noise, amp, &low, &high);
    add_data(script, noise, amp, parts);
    double share = 1 - title_room / (title_room + PANEL_HEIGHT * (double)amps);
    tl_text_addf(script, "set size 1,%.5f\nset origin 0,%.5f\n", share / (double)amps,
                 share * (double)(amps - 1 - amp) / (double)amps);
    add_axes(script, low, high);
    tl_text_add(script, "set ylabel ");
    char* label = noise->amp_count > 1
                      ? tl_printf("noise at amp %s (nV per root Hz)", noise->rig[amp].amp)
                      : tl_copy("noise at the amp's input (nV per root Hz)");
    tl_script_quote(script, label);
    free(label);
    tl_text_add(script, " textcolor rgb '#202020'\nset xlabel 'frequency (Hz)' textcolor rgb "
                        "'#202020'\nset key below left Left reverse maxcols 2 width 2 height 1\n");
    tl_text_addf(script, "plot ");
    if (noise->state_count > 1) {
        tl_text_addf(script,
                     "$amp%zu using 1:4:5 with filledcurves fillcolor rgb '#d4e4ef' title "
                     "'where all %zu states lie', ",
                     amp, noise->state_count);
    }
    tl_text_addf(script,
                 "$amp%zu using 1:2 with lines lw 2.8 lc rgb '#0072b2' title 'rig as written', "
                 "$amp%zu using 1:3 with lines lw 1.8 dt (9,6) lc rgb '#303030' title "
                 "'direct (plugged straight in)'",
                 amp, amp);
    for (size_t j = 0; j < parts; ++j) {
        tl_text_addf(script, ", $amp%zu using 1:%zu with lines lw %g dt %s lc rgb '%s' title ", amp,
                     j + 6, looks[j].width, looks[j].dash, looks[j].colour);
        add_part(script, &noise->rig[amp].parts[j]);
    }
    tl_text_add(script, "\n");
}

static char* make_noise(const void* context, const char* kind, const char* output) {
    const drawing* d = context;
    size_t amps = d->noise->amp_count < DRAWN_AMPS ? d->noise->amp_count : DRAWN_AMPS;
    tl_page page = {.height = title_room + PANEL_HEIGHT * (double)amps};
    tl_text script = {0};
    tl_script_open(&script, page.height, kind, output);
    tl_text_add(&script, "set multiplot\n");
    char* how =
        tl_printf("center font ',%.3f' textcolor rgb '#202020'", 17 * tl_script_letter_unit(kind));
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, d->title, 700);
    tl_script_label(&script, &page, (tl_spot){TL_PAGE_WIDTH / 2, 24}, tl_text_get(&fitted), how);
    tl_text_free(&fitted);
    free(how);
    tl_text_add(&script,
                "set border 31 back lt 1 lw 1 lc rgb '#606060'\nset tics scale 0.5 textcolor rgb "
                "'#202020'\nset grid xtics ytics mytics back lt 1 lw 0.8 lc rgb '#d8d8d8', lt 1 lw "
                "0.6 lc rgb '#ececec'\nset rmargin 4\nset tmargin 1\n");
    for (size_t i = 0; i < amps; ++i) {
        add_panel(&script, d, i, amps);
        if (i == 0)
            tl_text_add(&script, "unset label\n");
    }
    tl_text_add(&script, "unset multiplot\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_noise_draw(const tl_noise* noise, const char* title, const char* path,
                        tl_error* error) {
    const drawing d = {noise, title};
    if (!noise->amp_count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    return tl_picture_draw(path, make_noise, &d, error);
}

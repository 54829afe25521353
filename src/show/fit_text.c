// SPDX-License-Identifier: GPL-3.0-or-later
// A pickup worked out of a sweep, for people.
#include "base/text.h"
#include "show/cells.h"
#include "show/fit.h"
#include "show/wrap.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double deg = 180 / M_PI;

char* tl_fit_shown(double value, const char* unit) {
    static const struct {
        double factor;
        const char* sign;
    } steps[] = {{1e-12, "p"}, {1e-9, "n"}, {1e-6, "u"}, {1e-3, "m"},
                 {1, ""},      {1e3, "k"},  {1e6, "M"}};
    if (!isfinite(value))
        return tl_copy("no limit");
    if (!*unit)
        return tl_printf("%.4g %%", 100 * value);
    size_t step = 4;
    while (value != 0 && step > 0 && value < steps[step].factor * 0.99995)
        --step;
    while (step < 6 && value >= steps[step + 1].factor * 0.99995)
        ++step;
    return tl_printf("%.4g %s%s", value / steps[step].factor, steps[step].sign, unit);
}

char* tl_fit_measured_words(const tl_fit* fit) {
    const tl_fit_point* last = &fit->points[fit->point_count - 1];
    char* low = tl_show_hz(fit->points[0].hz, "");
    char* high = tl_show_hz(last->hz, "");
    char* words = tl_printf("%s%s at %zu frequencies from %s to %s",
                            fit->kind == TL_MEASURED_IMPEDANCE ? "impedance" : "response",
                            fit->phased ? " and phase" : "", fit->measured, low, high);
    free(low);
    free(high);
    return words;
}

static void add_setting(tl_text* text, const char* what, const char* words) {
    if (!words)
        return;
    tl_text_add(text, what);
    tl_wrap_words(text, words, strlen(what), 10);
}

static void add_head(tl_text* text, const tl_fit* fit) {
    tl_wrap_words(text, fit->file, 0, 0);
    char* words = tl_fit_measured_words(fit);
    char* gathered = fit->point_count < fit->measured
                         ? tl_printf(", gathered into %zu means", fit->point_count)
                         : tl_copy("");
    char* sentence = tl_printf("%s%s; %s", words, gathered,
                               fit->robust ? "robust loss (Cauchy)" : "least squares");
    tl_text_take_paragraph(text, sentence);
    free(gathered);
    free(words);
    add_setting(text, "controls: ", fit->controls);
    add_setting(text, "cable:    ", fit->cable);
    add_setting(text, "load:     ", fit->load);
    add_setting(text, "held:     ", fit->held);
    tl_text_add(text, "\n");
}

/// How far the farther end of an interval is off, in percent of the value.
static char* off_words(double value, double low, double high) {
    double share = fmax(high / value - 1, 1 - low / value);
    return isfinite(share) && share < 10 ? tl_printf("%.2g %%", 100 * share) : tl_copy("");
}

static void add_row(tl_table* table, const char* name, double value, double low, double high,
                    const char* unit) {
    tl_table_row(table);
    tl_table_words(table, name);
    tl_table_take_number(table, value, tl_fit_shown(value, unit));
    tl_table_take_number(table, low,
                         isfinite(high) ? tl_fit_shown(low, unit) : tl_copy("not told"));
    tl_table_take_number(table, high, isfinite(high) ? tl_fit_shown(high, unit) : tl_copy(""));
    tl_table_take_words(table, off_words(value, low, high));
}

/// A row of a ratio, in dB.
static void add_level(tl_table* table, const char* name, const tl_fit_estimate* one) {
    tl_table_row(table);
    tl_table_words(table, name);
    const double ratios[] = {one->value, one->low, one->high};
    for (size_t i = 0; i < 3; ++i)
        tl_table_take_number(table, ratios[i],
                             i && !isfinite(one->high) ? tl_copy(i == 1 ? "not told" : "")
                                                       : tl_show_db(20 * log10(ratios[i]), ""));
    tl_table_words(table, "");
}

static const char* name_of(size_t value) {
    static const char* const names[TL_FIT_TOTAL] = {
        "inductance",      "resistance",
        "capacitance",     "share of the inductance under eddy losses",
        "eddy resistance", "level of the response"};
    return names[value];
}

static void add_values(tl_text* text, const tl_fit* fit) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "the pickup", "name");
    tl_table_column(table, "fitted", "value");
    tl_table_column(table, "95 % interval\nfrom", "low");
    tl_table_column(table, "\nto", "high");
    tl_table_column(table, "off by\nup to", "off");
    for (size_t i = 0; i < TL_FIT_TOTAL; ++i) {
        const tl_fit_estimate* one = &fit->values[i];
        if (one->used && i == TL_FIT_SCALE) {
            add_level(table, name_of(i), one);
        } else if (one->used && !one->known) {
            add_row(table, name_of(i), one->value, one->low, one->high, one->unit);
        } else if (one->used) {
            tl_table_row(table);
            tl_table_words(table, name_of(i));
            tl_table_take_number(table, one->value, tl_fit_shown(one->value, one->unit));
            tl_table_words(table, "held");
            tl_table_words(table, "");
            tl_table_words(table, "");
        }
    }
    if (isfinite(fit->resonance_hz) && fit->resonance_low_hz > 0 && isfinite(fit->q_high)) {
        add_row(table, "its resonance, bare", fit->resonance_hz, fit->resonance_low_hz,
                fit->resonance_high_hz, "Hz");
        tl_table_row(table);
        tl_table_words(table, "Q there");
        tl_table_take_number(table, fit->q, tl_printf("%.3g", fit->q));
        tl_table_take_number(table, fit->q_low, tl_printf("%.3g", fit->q_low));
        tl_table_take_number(table, fit->q_high, tl_printf("%.3g", fit->q_high));
        tl_table_take_words(table, off_words(fit->q, fit->q_low, fit->q_high));
    }
    tl_text_take_table(text, table);
}

static void add_misses(tl_text* text, const tl_fit* fit) {
    tl_text words = {0};
    bool response = fit->kind == TL_MEASURED_RESPONSE;
    tl_text_addf(&words, "The model misses %s by %.2g %s",
                 fit->point_count < fit->measured ? "these means" : "what was measured",
                 (response ? 20 / log(10) : 100) * fit->size_rms, response ? "dB" : "%");
    if (fit->phased)
        tl_text_addf(&words, " and %.2g deg", fit->phase_rms * deg);
    tl_text_add(&words, " (rms)");
    if (!isnan(fit->runs_z) && !fit->misses)
        tl_text_add(&words, ", from point to point as chance would have it");
    tl_text_add(&words, ".");
    if (fit->robust)
        tl_text_addf(&words, " One of %.2g %% weighs half.", 100 * fit->robust_scale);
    tl_text_add(text, "\n");
    tl_wrap_words(text, tl_text_get(&words), 0, 0);
    tl_text_free(&words);
}

static void add_list(tl_text* text, const char* head, char* const* words, size_t count) {
    for (size_t i = 0; i < count; ++i) {
        tl_text_add(text, head);
        tl_wrap_words(text, words[i], strlen(head), strlen(head));
    }
}

char* tl_fit_text(const tl_fit* fit) {
    tl_text text = {0};
    add_head(&text, fit);
    add_values(&text, fit);
    add_misses(&text, fit);
    if (fit->warning_count || fit->note_count)
        tl_text_add(&text, "\n");
    add_list(&text, "warning ", fit->warnings, fit->warning_count);
    add_list(&text, "note    ", fit->notes, fit->note_count);
    return tl_text_take(&text);
}

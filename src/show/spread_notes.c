// SPDX-License-Identifier: GPL-3.0-or-later
// Where the tolerances of a spread come from, and what is assumed.
#include "show/spread.h"
#include "show/wrap.h"

#include <stdlib.h>
#include <string.h>

enum { FEW_TRIALS = 100, PATH_COLUMNS = 34, SHOWN_COLUMNS = 26, FAR = 70 };

/// A value's tolerance, who says so, and what moves along.
static void add_value(tl_text* text, const tl_spread_value* value, size_t path_width,
                      size_t shown_width) {
    char* path = tl_spread_tail(value->path, PATH_COLUMNS);
    char* shown = tl_show_safe(value->shown ? value->shown : "");
    tl_text_add(text, "  ");
    tl_wrap_cell(text, path, path_width, false);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, shown, shown_width, false);
    tl_text_add(text, "  ");
    tl_text words = {0};
    tl_text_add(&words, value->origin && *value->origin ? value->origin : "no source");
    if (value->followed && *value->followed)
        tl_text_addf(&words, "; moves along: %s", value->followed);
    size_t taken = tl_text_columns(shown);
    size_t column = 2 + path_width + 2 + (taken > shown_width ? taken : shown_width) + 2;
    tl_wrap_words(text, tl_text_get(&words), column, column <= FAR ? column : 6);
    tl_text_free(&words);
    free(path);
    free(shown);
}

void tl_spread_add_tolerances(tl_text* text, const tl_spread* spread) {
    if (!spread->value_count)
        return;
    size_t path_width = 0;
    size_t shown_width = 0;
    for (size_t i = 0; i < spread->value_count; ++i) {
        char* path = tl_spread_tail(spread->values[i].path, PATH_COLUMNS);
        char* shown = tl_spread_tail(spread->values[i].shown, SHOWN_COLUMNS);
        tl_wrap_widen(&path_width, path);
        tl_wrap_widen(&shown_width, shown);
        free(path);
        free(shown);
    }
    tl_text_add(text, "\nWhere the tolerances come from\n");
    for (size_t i = 0; i < spread->value_count; ++i)
        add_value(text, &spread->values[i], path_width, shown_width);
}

static void add_note(tl_text* text, const char* words) {
    tl_text_add(text, "  - ");
    tl_wrap_words(text, words, 4, 4);
}

/// Where the -3 dB point lies when there is none.
static void add_cutoff(tl_text* text, const tl_spread* spread) {
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        if (tl_spread_of(spread, amp, TL_SPREAD_CUTOFF_HZ)->none) {
            add_note(text, "No -3 dB point: it lies beyond the solved band, above 100 kHz.");
            return;
        }
}

/// What so many trials are too few for.
static void add_counts(tl_text* text, const tl_spread* spread) {
    size_t answered = tl_spread_answered(spread);
    if (!answered || !spread->value_count)
        return;
    if (answered < FEW_TRIALS)
        add_note(text, "Under 100 trials: 1 % and 99 % are little more than the extremes.");
    char* chance = tl_spread_share(tl_spread_chance(spread));
    char* words =
        tl_printf("A share of variance of up to %s can be chance with so many trials.", chance);
    add_note(text, words);
    free(words);
    free(chance);
}

void tl_spread_add_notes(tl_text* text, const tl_spread* spread) {
    tl_text_add(text, "\nWhat is assumed\n");
    if (spread->direct_assumed)
        add_note(text, "The rig names no direct: 6 m of standard-coax stand in.");
    add_note(text,
             "Level, presence (2 to 5 kHz), worst band, rms and peak shift are the rig's against "
             "direct; all but the level with levels matched.");
    add_note(text, "Values are independent of each other, but for those that move along.");
    add_note(text, "Normal unless said: the tolerance is 3 sigma, and nothing lies beyond it; "
                   "uniform: every value within it is as likely.");
    add_note(text, "+1 % and + tol. (all of the tolerance) move it: to first order, from the rig "
                   "as written. Shares of "
                   "variance are first order too: interactions of values are not in them.");
    add_counts(text, spread);
    add_cutoff(text, spread);
    add_note(text, "Percentiles of curves come from bins of 0.01 dB.");
    add_note(text, "Steps of a peak's shift were tested up to 2 kHz: above it they are "
                   "extrapolated.");
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The figures at each amp over all trials, and what the ear makes of them.
#include "show/cells.h"
#include "show/spread.h"
#include "show/wrap.h"

#include <math.h>
#include <stdlib.h>

static double larger(double largest, double number) {
    return isfinite(number) ? fmax(largest, fabs(number)) : largest;
}

/// The scale that all numbers of a figure's row share.
static tl_spread_scale scale_of(const tl_spread_figure* figure, size_t kind) {
    double largest = larger(0, figure->nominal);
    for (int i = 0; i < TL_PERCENTILES; ++i)
        largest = larger(largest, figure->percentile[i]);
    return tl_spread_scale_of(kind, larger(larger(largest, figure->least), figure->most));
}

static void add_number(tl_table* table, const tl_spread_scale* scale, double number) {
    tl_table_take_number(table, number, tl_spread_number(scale, number));
}

static void add_row(tl_table* table, const tl_spread* spread, size_t amp, size_t kind) {
    const tl_spread_figure* figure = tl_spread_of(spread, amp, kind);
    tl_spread_scale scale = scale_of(figure, kind);
    char* title = tl_spread_title(&scale, kind);
    tl_table_row(table);
    tl_table_words(table, title);
    free(title);
    if (isnan(figure->nominal))
        tl_table_number(table, NAN, "none");
    else
        add_number(table, &scale, figure->nominal);
    for (int i = 0; i < TL_PERCENTILES; ++i)
        add_number(table, &scale, figure->percentile[i]);
    tl_table_take_number(table, (double)figure->none,
                         figure->none ? tl_spread_share(tl_spread_none(spread, figure))
                                      : tl_copy(""));
    if (!spread->worst_case)
        return;
    add_number(table, &scale, figure->least);
    add_number(table, &scale, figure->most);
}

static void add_table(tl_text* text, const tl_spread* spread, size_t amp) {
    static const char* const heads[] = {"1 %", "5 %", "25 %", "50 %", "75 %", "95 %", "99 %"};
    tl_table* table = tl_table_new();
    tl_table_column(table, "", "");
    tl_table_column(table, "as\nwritten", "");
    for (int i = 0; i < TL_PERCENTILES; ++i)
        tl_table_column(table, heads[i], "");
    tl_table_column(table, "none", "");
    if (spread->worst_case) {
        tl_table_column(table, "corners:\nleast", "");
        tl_table_column(table, "corners:\nmost", "");
    }
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind)
        add_row(table, spread, amp, kind);
    tl_text_take_table(text, table);
}

/// "guitar.volume.pot high, chain[0].capacitance low": where a corner has the values.
static char* corner_words(const tl_spread* spread, const signed char* at) {
    tl_text words = {0};
    for (size_t i = 0; i < spread->value_count; ++i)
        tl_text_addf(&words, "%s%s %s", i ? ", " : "", spread->values[i].path,
                     at[i] < 0 ? "low" : "high");
    return tl_text_take(&words);
}

/// Where a figure's extremes lie.
static void add_corner(tl_text* text, const tl_spread_figure* figure, const tl_spread* spread,
                       size_t kind) {
    const signed char* ends[] = {figure->least_at, figure->most_at};
    for (int i = 0; i < 2; ++i) {
        if (!ends[i])
            continue;
        char* at = corner_words(spread, ends[i]);
        char* words = tl_printf("%s, %s: %s", tl_spread_word(kind), i ? "most" : "least", at);
        tl_text_add(text, "  ");
        tl_wrap_words(text, words, 2, 6);
        free(words);
        free(at);
    }
}

/// How the corners were picked, and those without a figure.
static void add_corners(tl_text* text, const tl_spread* spread, size_t amp, bool details) {
    tl_text words = {0};
    tl_text_addf(&words, "Corners: every value at one end of its tolerance or the other, %s (%zu).",
                 spread->all_corners ? "all combinations of them"
                                     : "those combinations that the slopes point at",
                 spread->corner_count);
    tl_text_add(&words,
                " A figure that does not only rise or only fall with each value (rms, steps) can "
                "come to less or more than at any corner.");
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind) {
        const tl_spread_figure* figure = tl_spread_of(spread, amp, kind);
        if (figure->corner_none)
            tl_text_addf(&words, " No %s in %zu.", tl_spread_word(kind), figure->corner_none);
    }
    tl_wrap_words(text, tl_text_get(&words), 0, 0);
    tl_text_free(&words);
    for (size_t kind = 0; details && kind < TL_SPREAD_FIGURES; ++kind)
        add_corner(text, tl_spread_of(spread, amp, kind), spread, kind);
}

void tl_spread_add_figures(tl_text* text, const tl_spread* spread, bool details) {
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        char* name = tl_spread_amp(spread, amp);
        size_t answered = tl_spread_answered(spread);
        tl_text_addf(text, "\nFigures of %zu %s", answered, answered == 1 ? "trial" : "trials");
        if (spread->amp_count > 1)
            tl_text_addf(text, " at %s", name);
        tl_text_add(text, " (5 %: one in twenty lies below; none: trials without the figure)\n");
        free(name);
        add_table(text, spread, amp);
        if (spread->worst_case)
            add_corners(text, spread, amp, details);
    }
}

void tl_spread_add_heard(tl_text* text, const tl_spread* spread) {
    tl_text_add(text, "\nTo the ear: by the worse of the worst band (dB) and the peak's shift "
                      "(just-noticeable steps)\n");
    tl_table* table = tl_table_new();
    tl_table_column(table, "", "");
    tl_table_column(table, "not audible\nunder 0.5", "");
    tl_table_column(table, "borderline\n0.5 to 1", "");
    tl_table_column(table, "audible\n1 to 3", "");
    tl_table_column(table, "plain\n3 and more", "");
    tl_table_column(table, "the rig\nas written", "");
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        char* name = tl_spread_amp(spread, amp);
        tl_table_row(table);
        tl_table_words(table, spread->amp_count > 1 ? name : "trials");
        free(name);
        for (int i = TL_NOT_AUDIBLE; i <= TL_PLAIN; ++i) {
            double share = tl_spread_heard(spread, amp, (tl_verdict)i);
            tl_table_take_number(table, share, tl_spread_share(share));
        }
        tl_table_words(table, tl_verdict_words(spread->nominal_heard[amp]));
    }
    tl_text_take_table(text, table);
}

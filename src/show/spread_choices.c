// SPDX-License-Identifier: GPL-3.0-or-later
// What choices of parts buy: figures and verdicts before and after picking.
#include "show/cells.h"
#include "show/spread.h"
#include "show/wrap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const int shown_percentiles[] = {TL_P05, TL_P50, TL_P95};

static const double* after_of(const tl_spread_choice* choice, size_t amp, size_t kind) {
    return choice->percentile[amp * TL_SPREAD_FIGURES + kind];
}

/// The middle 90 % after picking, of what it was before; NAN when there was none.
static double span_left(const double* before, const double* after) {
    double span = before[TL_P95] - before[TL_P05];
    return span > 0 ? (after[TL_P95] - after[TL_P05]) / span : (double)NAN;
}

static void add_row(tl_table* table, const tl_spread* spread, const tl_spread_choice* choice,
                    size_t amp, size_t kind) {
    const double* sides[] = {tl_spread_of(spread, amp, kind)->percentile,
                             after_of(choice, amp, kind)};
    double largest = 0;
    for (int side = 0; side < 2; ++side)
        for (int i = 0; i < TL_PERCENTILES; ++i)
            if (isfinite(sides[side][i]))
                largest = fmax(largest, fabs(sides[side][i]));
    tl_spread_scale scale = tl_spread_scale_of(kind, largest);
    char* title = tl_spread_title(&scale, kind);
    tl_table_row(table);
    tl_table_words(table, title);
    free(title);
    for (int side = 0; side < 2; ++side)
        for (int i = 0; i < 3; ++i) {
            double number = sides[side][shown_percentiles[i]];
            tl_table_take_number(table, number, tl_spread_number(&scale, number));
        }
    double left = span_left(sides[0], sides[1]);
    tl_table_take_number(table, left,
                         isfinite(left) ? tl_printf("%.0f %%", 100 * left) : tl_copy("-"));
}

static void add_table(tl_text* text, const tl_spread* spread, const tl_spread_choice* choice,
                      size_t amp, bool details) {
    static const char* const heads[] = {
        "",           "before\n5 %", "before\n50 %", "before\n95 %",
        "after\n5 %", "after\n50 %", "after\n95 %",  "span left\n5 to 95 %"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i], "");
    for (size_t kind = 0; details && kind < TL_SPREAD_FIGURES; ++kind)
        add_row(table, spread, choice, amp, kind);
    for (size_t i = 0; !details && i < TL_SPREAD_CHIEF; ++i)
        add_row(table, spread, choice, amp, tl_spread_chief[i]);
    tl_text_take_table(text, table);
}

/// The shares of the verdicts before and after.
static void add_verdicts(tl_text* text, const tl_spread* spread, const tl_spread_choice* choice,
                         size_t amp) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "to the ear", "");
    for (int i = TL_NOT_AUDIBLE; i <= TL_PLAIN; ++i)
        tl_table_column(table, tl_verdict_words((tl_verdict)i), "");
    for (int after = 0; after < 2; ++after) {
        tl_table_row(table);
        tl_table_words(table, after ? "after" : "before");
        for (int i = TL_NOT_AUDIBLE; i <= TL_PLAIN; ++i) {
            double share =
                after ? choice->heard[amp][i] : tl_spread_heard(spread, amp, (tl_verdict)i);
            tl_table_take_number(table, share, tl_spread_share(share));
        }
    }
    tl_text_add(text, "\n");
    tl_text_take_table(text, table);
}

/// What it does to the first chief figure that varies.
static void add_narrower(tl_text* words, const tl_spread* spread, const tl_spread_choice* choice,
                         size_t amp) {
    for (size_t k = 0; k < TL_SPREAD_CHIEF; ++k) {
        size_t kind = tl_spread_chief[k];
        const double* before = tl_spread_of(spread, amp, kind)->percentile;
        const double* after = after_of(choice, amp, kind);
        double left = span_left(before, after);
        if (!isfinite(left))
            continue;
        char* moved = tl_spread_change(kind, after[TL_P50] - before[TL_P50]);
        tl_text_addf(words,
                     "It takes the middle nine tenths of %s%s to %.0f %% of their span and moves "
                     "the median by %s; ",
                     tl_spread_the(kind), tl_spread_word(kind), 100 * left, moved);
        free(moved);
        return;
    }
}

/// What picking buys, for the figures and for the ear.
static void add_sentence(tl_text* text, const tl_spread* spread, const tl_spread_choice* choice,
                         size_t amp) {
    tl_text words = {0};
    add_narrower(&words, spread, choice, amp);
    char* before = tl_spread_share(tl_spread_heard(spread, amp, TL_NOT_AUDIBLE) +
                                   tl_spread_heard(spread, amp, TL_BORDERLINE));
    char* after =
        tl_spread_share(choice->heard[amp][TL_NOT_AUDIBLE] + choice->heard[amp][TL_BORDERLINE]);
    if (strcmp(before, after) == 0)
        tl_text_addf(&words, "%s of the rigs are not audible or borderline, as before.", after);
    else
        tl_text_addf(&words, "%s of the rigs are not audible or borderline, where it was %s.",
                     after, before);
    tl_wrap_words(text, tl_text_get(&words), 0, 2);
    tl_text_free(&words);
    free(before);
    free(after);
}

static void add_choice(tl_text* text, const tl_spread* spread, const tl_spread_choice* choice,
                       bool details) {
    char* title = tl_printf("Picking %s (%s; it could pick %zu of the trials)", choice->about,
                            choice->words, choice->trials);
    tl_text_add(text, "\n");
    tl_wrap_words(text, title, 0, 2);
    free(title);
    if (!choice->trials) {
        tl_text_add(text, "No trial is one that it would pick.\n");
        return;
    }
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        char* name = tl_spread_amp(spread, amp);
        if (spread->amp_count > 1)
            tl_text_addf(text, "At %s\n", name);
        free(name);
        add_table(text, spread, choice, amp, details);
        add_verdicts(text, spread, choice, amp);
        add_sentence(text, spread, choice, amp);
    }
}

void tl_spread_add_choices(tl_text* text, const tl_spread* spread, bool details) {
    for (size_t i = 0; i < spread->choice_count; ++i)
        add_choice(text, spread, &spread->choices[i], details);
}

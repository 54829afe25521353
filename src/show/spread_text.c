// SPDX-License-Identifier: GPL-3.0-or-later
// What many trials came to, as text: the order of its parts, and its head.
#include "base/locale.h"
#include "show/spread.h"
#include "show/wrap.h"

#include <stdlib.h>
#include <string.h>

enum { FEW_FAILURES = 3 };

/// The first few trials without an answer, a line each, and what that means for the others.
static void add_failures(tl_text* text, const tl_spread* spread, bool details) {
    size_t all = spread->failure_count;
    if (!all)
        return;
    tl_text_addf(text, "%zu %s no answer; the other trials stand.\n", all,
                 all == 1 ? "trial has" : "trials have");
    size_t told = all < TL_SPREAD_FAILURES ? all : TL_SPREAD_FAILURES;
    told = details || told < FEW_FAILURES ? told : FEW_FAILURES;
    for (size_t i = 0; i < told; ++i) {
        const char* why = spread->failures[i].why ? spread->failures[i].why : "";
        char* line =
            tl_printf("trial %zu: %.*s", spread->failures[i].trial, (int)strcspn(why, "\n"), why);
        tl_text_add(text, "  ");
        tl_wrap_words(text, line, 2, 4);
        free(line);
    }
    if (told < all)
        tl_text_addf(text, "  and %zu more\n", all - told);
}

/// Who, how many, how far, and what failed.
static void add_head(tl_text* text, const tl_spread* spread, bool details) {
    tl_wrap_words(text, spread->rig && *spread->rig ? spread->rig : "(no name)", 0, 2);
    tl_text_addf(text, "%zu %s, seed %llu, %zu %s drawn\n", spread->trials,
                 spread->trials == 1 ? "trial" : "trials", (unsigned long long)spread->seed,
                 spread->value_count, spread->value_count == 1 ? "value" : "values");
    if (spread->done < spread->trials)
        tl_text_addf(text,
                     "It was stopped after %zu of %zu trials; all that follows is of those.\n",
                     spread->done, spread->trials);
    add_failures(text, spread, details);
    if (!spread->value_count)
        tl_text_add(text, "No value has a tolerance: every trial is the rig as written.\n");
    if (!tl_spread_answered(spread))
        tl_text_add(text, "No trial has an answer, so there are no figures.\n");
}

char* tl_spread_text(const tl_spread* spread, bool details) {
    tl_locale locale = tl_locale_plain();
    tl_text text = {0};
    add_head(&text, spread, details);
    if (tl_spread_answered(spread)) {
        tl_spread_add_figures(&text, spread, details);
        tl_spread_add_heard(&text, spread);
        if (spread->value_count)
            tl_spread_add_ranking(&text, spread, details);
        tl_spread_add_choices(&text, spread, details);
    }
    tl_spread_add_tolerances(&text, spread);
    tl_spread_add_notes(&text, spread);
    tl_locale_restore(locale);
    return tl_text_take(&text);
}

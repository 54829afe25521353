// SPDX-License-Identifier: GPL-3.0-or-later
// Every trial as a line of CSV (RFC 4180): its number, its values, its figures.
#include "study/spread_work.h"

#include "base/draft.h"
#include "base/file.h"
#include "base/text.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 1 << 20 };

/// A field of words. Amps are named as their users like, and a shard's file may hold any words: no
/// field is what a spreadsheet would take for a formula, none holds a control character.
static void add_words(tl_text* text, const char* words) {
    tl_text safe = {0};
    const char* start = words + strspn(words, " ");
    if (*start && strchr("=+-@\t\r\n", *start))
        tl_text_add(&safe, "'");
    tl_text_add_safe(&safe, words);
    tl_text_add(text, ",\"");
    for (const char* at = tl_text_get(&safe); *at; ++at)
        tl_text_addf(text, *at == '"' ? "\"\"" : "%c", *at);
    tl_text_add(text, "\"");
    tl_text_free(&safe);
}

static void add_number(tl_text* text, double number) {
    if (isnan(number))
        tl_text_add(text, ",");
    else
        tl_text_addf(text, ",%.17g", number);
}

static void add_head(tl_text* text, const tl_spread* spread) {
    tl_text_add(text, "trial");
    for (size_t i = 0; i < spread->value_count; ++i)
        add_words(text, spread->values[i].path);
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i) {
            const char* name = tl_spread_figure_at(i)->name;
            char* full =
                spread->amp_count > 1 ? tl_printf("%s %s", spread->amps[amp], name) : tl_copy(name);
            add_words(text, full);
            free(full);
        }
    tl_text_add(text, "\r\n");
}

static void add_trial(tl_text* text, const tl_spread* spread, const tl_spread_trials* trials,
                      size_t trial) {
    tl_text_addf(text, "%zu", trial);
    for (size_t i = 0; i < spread->value_count; ++i) {
        const tl_spread_value* value = &spread->values[i];
        double offset = tl_spread_trial_offset(spread, i, trial);
        add_number(text, value->nominal * (1 + value->share * offset));
    }
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i)
            add_number(text, tl_spread_figures_of(trials, trial, amp)[i]);
    tl_text_add(text, "\r\n");
}

static tl_status put(int descriptor, tl_text* text, const char* path, tl_error* error) {
    bool good = tl_file_put(descriptor, tl_text_get(text), text->size);
    tl_text_clear(text);
    if (good)
        return TL_OK;
    tl_error_set(error, TL_FAILURE, "cannot be written: %s", strerror(errno));
    tl_error_prefix(error, "%s", path);
    return TL_FAILURE;
}

tl_status tl_spread_dump(const tl_spread* spread, const tl_spread_trials* trials, const char* path,
                         tl_error* error) {
    tl_draft* draft = NULL;
    tl_status status = tl_draft_open(path, &draft, error);
    tl_text text = {0};
    if (status == TL_OK)
        add_head(&text, spread);
    for (size_t i = 0; status == TL_OK && i < trials->done; ++i) {
        add_trial(&text, spread, trials, trials->first + i);
        if (text.size >= BLOCK)
            status = put(tl_draft_descriptor(draft), &text, path, error);
    }
    if (status == TL_OK)
        status = put(tl_draft_descriptor(draft), &text, path, error);
    if (status == TL_OK)
        status = tl_draft_finish(draft, error);
    if (status == TL_OK)
        status = tl_draft_keep(draft, error);
    tl_draft_free(draft);
    tl_text_free(&text);
    return status;
}

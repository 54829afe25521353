// SPDX-License-Identifier: GPL-3.0-or-later
// The states of the pedals: the one furthest from direct first, those alike in one row.
#include "show/cells.h"
#include "show/figure.h"
#include "show/report.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

enum { MOST_ROWS = 12 };
static const double alike_db = 0.05; ///< tones no further apart share a row

/// A row of the table: a state, and how many sound like it.
typedef struct {
    size_t state;
    size_t count;
} row;

static bool is_alike(const tl_states* states, size_t one, size_t other) {
    for (size_t amp = 0; amp < states->amp_count; ++amp) {
        const tl_state_amp* a = &states->states[one].amps[amp];
        const tl_state_amp* b = &states->states[other].amps[amp];
        if (a->hearing.verdict != b->hearing.verdict)
            return false;
        for (size_t band = 0; band < TL_BAND_COUNT; ++band)
            if (!(fabs(a->tone_db[band] - b->tone_db[band]) <= alike_db))
                return false;
    }
    return true;
}

/// Puts every state into the row of the first it sounds like; scenes have a row each. Returns how
/// many states found no row.
static size_t make_rows(const tl_states* states, row* rows, size_t* count) {
    size_t left = 0;
    *count = 0;
    for (size_t i = 0; i < states->count; ++i) {
        size_t state = states->ranking[i];
        size_t at = 0;
        while (at < *count &&
               (states->states[state].name || !is_alike(states, rows[at].state, state)))
            ++at;
        if (at < *count)
            ++rows[at].count;
        else if (*count < MOST_ROWS)
            rows[(*count)++] = (row){state, 1};
        else
            ++left;
    }
    return left;
}

static char* words_of(const tl_states* states, size_t index) {
    const tl_state* state = &states->states[index];
    return tl_show_engaged(state->name, states->pedals, state->engaged, states->pedal_count,
                           "all off");
}

static void add_row(tl_table* table, const tl_states* states, const row* one, bool merged) {
    for (size_t i = 0; i < states->amp_count; ++i) {
        const tl_state_amp* amp = &states->states[one->state].amps[i];
        const tl_hearing* hearing = &amp->hearing;
        tl_table_row(table);
        tl_table_take_words(table, words_of(states, one->state));
        if (merged)
            tl_table_take_number(table, (double)one->count, tl_printf("%zu", one->count - 1));
        if (states->amp_count > 1)
            tl_table_words(table, amp->amp);
        tl_table_take_number(table, amp->metrics.peak_hz, tl_show_hz(amp->metrics.peak_hz, "none"));
        tl_table_take_number(table, amp->metrics.cutoff_hz,
                             tl_show_hz(amp->metrics.cutoff_hz, "above 100 kHz"));
        tl_table_take_number(table, hearing->worst_db, tl_show_db(hearing->worst_db, "-"));
        tl_table_take_number(table, hearing->worst_hz, tl_show_hz(hearing->worst_hz, "-"));
        tl_table_words(table, tl_verdict_words(hearing->verdict));
    }
}

/// The row that a state shares.
static size_t row_of(const tl_states* states, const row* rows, size_t count, size_t state) {
    size_t at = 0;
    while (at < count && !is_alike(states, rows[at].state, state))
        ++at;
    return at;
}

/// Why a row names one state and stands for many.
static void add_merging(tl_text* page, const tl_states* states, const row* rows, size_t count) {
    char* near = tl_printf("%g dB", alike_db);
    tl_html_say(page,
                "<p>Of the combinations that share a row the one furthest from plugged straight "
                "in is named. The others in it are within @s of it in every band of hearing, and "
                "the ear's verdict is the same.",
                near);
    size_t one = row_of(states, rows, count, states->apart[0]);
    if (states->spread.worst_db > 0 && one < count &&
        one == row_of(states, rows, count, states->apart[1]))
        tl_html_say(page, " That even the two furthest apart share one says that nobody hears "
                          "which pedals are on.");
    tl_html_say(page, "</p>\n");
    free(near);
}

static void add_table(tl_text* page, const tl_report* report) {
    const tl_states* states = report->states;
    row rows[MOST_ROWS];
    size_t count = 0;
    size_t left = make_rows(states, rows, &count);
    bool merged = false;
    for (size_t i = 0; i < count; ++i)
        merged = merged || rows[i].count > 1;
    tl_table* table = tl_table_new();
    tl_table_column(table, "what is on", "engaged");
    if (merged)
        tl_table_column(table, "others\nlike it", "alike");
    if (states->amp_count > 1)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "peak\nat", "peak_hz");
    tl_table_column(table, "3 dB\ndown at", "cutoff_hz");
    tl_table_column(table, "most it\nis off", "worst_db");
    tl_table_column(table, "\nat", "worst_hz");
    tl_table_column(table, "\nto the ear", "verdict");
    for (size_t i = 0; i < count; ++i)
        add_row(table, states, &rows[i], merged);
    tl_report_add_table(page, table,
                        report->scenes ? "The scenes, the one furthest from plugged straight in "
                                         "first"
                                       : "The combinations, the one furthest from plugged straight "
                                         "in first; those that sound alike share a row");
    if (merged)
        add_merging(page, states, rows, count);
    if (left)
        tl_html_say(page,
                    "<p>@n more lie nearer to plugged straight in than the last of these.</p>\n",
                    left);
}

/// The pedals that matter most, over all states.
static void add_effects(tl_text* page, const tl_states* states) {
    bool* done = tl_new(states->pedal_count, sizeof *done);
    tl_table* table = tl_table_new();
    tl_table_column(table, "pedal or loop", "pedal");
    tl_table_column(table, "on minus off,\non the average", "worst_db");
    tl_table_column(table, "\nat", "worst_hz");
    for (size_t n = 0; n < states->pedal_count; ++n) {
        size_t best = SIZE_MAX;
        for (size_t i = 0; i < states->pedal_count; ++i)
            if (!done[i] && (best == SIZE_MAX || !(fabs(states->effects[i].worst_db) <=
                                                   fabs(states->effects[best].worst_db))))
                best = i;
        const tl_tone_gap* effect = &states->effects[best];
        done[best] = true;
        tl_table_row(table);
        tl_table_words(table, states->pedals[best]);
        bool nothing = fabs(effect->worst_db) < 0.005;
        tl_table_take_number(table, effect->worst_db,
                             nothing ? tl_copy("nothing")
                                     : tl_show_db(effect->worst_db, "never moves"));
        tl_table_take_number(
            table, effect->worst_hz,
            nothing || isnan(effect->worst_db) ? tl_copy("-") : tl_show_hz(effect->worst_hz, "-"));
    }
    free(done);
    tl_report_add_table(page, table,
                        "What each pedal does to the tone merely by being on, its gain aside");
}

/// A response at the envelope's frequencies, its own level taken off; free with free().
static tl_point* level_curve(const tl_states* states, const tl_response* response) {
    double bands_db[TL_BAND_COUNT];
    tl_response_bands(response, bands_db);
    double level_db = tl_bands_level_db(bands_db);
    tl_point* points = tl_new(states->point_count, sizeof *points);
    for (size_t i = 0; i < states->point_count; ++i)
        points[i] = (tl_point){states->hz[i], tl_response_db(response, states->hz[i]) - level_db};
    return points;
}

/// Where all states lie, the two furthest apart, and direct.
static void add_figure(tl_text* page, const tl_states* states) {
    size_t amp = states->spread.amp;
    size_t count = states->spread.worst_db > 0 ? 3 : 1;
    const double* low_db = states->low_db + amp * states->point_count;
    const double* high_db = states->high_db + amp * states->point_count;
    tl_figure figure = {.about = "Where the tone of all states lies, the two furthest apart, and "
                                 "plugged straight in",
                        .low_hz = 100,
                        .high_hz = 20000,
                        .low_db = -12,
                        .high_db = 6,
                        .step_db = 6};
    for (size_t i = 0; i < states->point_count; ++i)
        if (states->hz[i] >= figure.low_hz) {
            figure.low_db = fmax(-24, fmin(figure.low_db, 6 * floor(low_db[i] / 6)));
            figure.high_db = fmin(36, fmax(figure.high_db, 6 * ceil((high_db[i] + 1) / 6)));
        }
    size_t first = 0;
    while (first < states->point_count && states->hz[first] < figure.low_hz)
        ++first;
    size_t points = states->point_count - first;
    tl_figure_open(page, &figure);
    tl_figure_add_band(page, &figure, points, states->hz + first, low_db + first, high_db + first);
    for (size_t i = count; i-- > 0;) {
        const tl_response* response = i ? states->shown[i - 1]->solved[2 * amp].response
                                        : states->direct->solved[2 * amp + 1].response;
        tl_pen pen = tl_pen_at(i ? i - 1 : 0, i == 0);
        tl_point* curve = level_curve(states, response);
        tl_figure_add_curve(page, &figure, &pen, points, curve + first);
        free(curve);
    }
    tl_figure_open_legend(page);
    tl_figure_add_swatch(page, NULL);
    tl_html_say(page, "all @n states</li>\n", states->count);
    for (size_t i = 1; i < count; ++i) {
        tl_pen pen = tl_pen_at(i - 1, false);
        char* words = words_of(states, states->apart[i - 1]);
        tl_figure_add_swatch(page, &pen);
        tl_html_say(page, "<b>@s</b></li>\n", words);
        free(words);
    }
    tl_pen pen = tl_pen_at(0, true);
    tl_figure_add_swatch(page, &pen);
    tl_html_say(page, "<b>plugged straight in</b></li>\n");
    tl_figure_close_legend(page);
    tl_html_say(page, "<figcaption>Where the tone of all states lies, the two that are furthest "
                      "apart, and plugged straight in; all equally loud between 200 Hz and 1 "
                      "kHz.</figcaption></figure>\n");
}

static void add_spread(tl_text* page, const tl_report* report) {
    const tl_states* states = report->states;
    double db = states->spread.worst_db;
    tl_html_say(page, "<p>@n @s of @n pedals and loops were gone through. ", states->count,
                report->scenes ? "scenes" : "combinations", states->pedal_count);
    if (db == 0) {
        tl_html_say(page, "All of them sound the same.</p>\n");
        return;
    }
    char* one = words_of(states, states->apart[0]);
    char* two = words_of(states, states->apart[1]);
    tl_html_say(page,
                "Furthest apart are \xe2\x80\x9c@s\xe2\x80\x9d and \xe2\x80\x9c@s\xe2\x80\x9d: @D "
                "at @h, which is @s. What is "
                "compared is the tone, at equal loudness: a pedal's gain, and what it is stepped "
                "on for, are not in it.</p>\n",
                one, two, db, states->spread.worst_hz,
                db < 0.5 ? "not audible: stepping on pedals leaves the tone alone"
                : db < 1 ? "borderline"
                : db < 3 ? "audible"
                         : "plain");
    free(one);
    free(two);
}

void tl_report_add_states(tl_text* page, const tl_report* report) {
    const tl_states* states = report->states;
    if (!states) {
        tl_html_say(page, "<p>@s</p>\n", report->no_states);
        return;
    }
    add_spread(page, report);
    add_table(page, report);
    add_figure(page, states);
    add_effects(page, states);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What hisses in a rig, for people: how much, who makes it, and in which state it is worst.
#include "base/text.h"
#include "show/cells.h"
#include "show/noise.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_STATES = 12 };

// ---- totals

static void totals_row(tl_table* table, const char* name, const tl_noise_at* at, bool amps) {
    tl_table_row(table);
    tl_table_words(table, name);
    if (amps)
        tl_table_words(table, at->amp);
    tl_noise_volts_cell(table, at->total_v);
    tl_noise_volts_cell(table, at->a_weighted_v);
    tl_noise_volts_cell(table, at->signal_v);
    tl_noise_db_cell(table, tl_noise_below_db(at->signal_v, at->total_v));
    tl_noise_db_cell(table, tl_noise_below_db(at->signal_v, at->a_weighted_v));
}

static tl_table* totals_table(const tl_noise* noise) {
    tl_table* table = tl_table_new();
    bool amps = noise->amp_count > 1;
    tl_table_column(table, "at the amp's input", "name");
    if (amps)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "20 Hz to\n20 kHz", "total_v");
    tl_table_column(table, "\nA-weighted", "a_weighted_v");
    tl_table_column(table, "playing\nlevel", "signal_v");
    tl_table_column(table, "noise\nbelow it", "below_db");
    tl_table_column(table, "below it,\nA-weighted", "a_weighted_below_db");
    for (size_t i = 0; i < noise->amp_count; ++i) {
        totals_row(table, "rig", &noise->rig[i], amps);
        totals_row(table, "direct", &noise->direct[i], amps);
    }
    return table;
}

/// How much more the rig hisses than plugged straight in.
static void add_against_direct(tl_text* text, const tl_noise* noise) {
    for (size_t i = 0; i < noise->amp_count; ++i) {
        double more_db = tl_noise_more_db(noise, i);
        tl_text_add(text, "Turned up to the same loudness");
        if (noise->amp_count > 1) {
            tl_text_add(text, ", at amp ");
            tl_text_add_safe(text, noise->rig[i].amp);
        }
        tl_text_add(text, " the rig hisses ");
        if (fabs(more_db) < 0.05)
            tl_text_add(text, "as much as plugged straight in (A-weighted).\n");
        else
            tl_text_addf(text, "%.1f dB %s than plugged straight in (A-weighted).\n", fabs(more_db),
                         more_db > 0 ? "more" : "less");
    }
}

// ---- who makes it

static void part_row(tl_table* table, const char* name, const char* path, double share,
                     double a_share, double total_v) {
    tl_table_row(table);
    tl_table_words(table, name);
    tl_table_words(table, path);
    tl_noise_share_cell(table, a_share);
    tl_noise_share_cell(table, share);
    tl_noise_volts_cell(table, total_v * sqrt(share));
}

/// A part, a lead or a joint with its number on the cut list.
static void add_part(tl_table* table, const tl_noise_part* part, double total_v) {
    char* name = tl_printf("%s%s%s", part->name, *part->where ? ": " : "", part->where);
    part_row(table, name, part->path, part->share, part->a_share, total_v);
    free(name);
}

static void add_budget(tl_text* text, const tl_noise_at* at) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "who makes it", "name");
    tl_table_column(table, "in the rig file", "path");
    tl_table_column(table, "share of power,\nA-weighted", "a_share");
    tl_table_column(table, "\n20 Hz to 20 kHz", "share");
    tl_table_column(table, "alone it\nwould be", "v");
    size_t shown = tl_noise_count_shown(at);
    for (size_t i = 0; i < shown; ++i)
        add_part(table, &at->parts[i], at->total_v);
    if (shown < at->part_count) {
        char* words = tl_printf("%zu others", at->part_count - shown);
        part_row(table, words, "", tl_noise_rest(at, shown, false), tl_noise_rest(at, shown, true),
                 at->total_v);
        free(words);
    }
    tl_text_add(text, "\n");
    tl_text_take_table(text, table);
    tl_text_add(text, "\n");
}

/// "The volume pot at 50 % makes 70 % of the noise power".
static void add_loudest(tl_text* text, const tl_noise_at* at) {
    double share = 0;
    size_t count = tl_noise_count_loudest(at, &share);
    for (size_t i = 0; i < count; ++i) {
        const char* between = i == 0 ? "" : i + 1 < count ? ", " : " and ";
        tl_text_addf(text, "%s%s", between, i == 0 ? "The " : "the ");
        tl_text_add_safe(text, at->parts[i].name);
    }
    tl_text_addf(text, " %s %.0f %% of the noise power (A-weighted).\n",
                 count > 1 ? "together make" : "makes", 100 * share);
}

// ---- states

/// Whether two states hiss alike at every amp: they differ in pedals that change nothing.
static bool are_alike(const tl_noise* noise, size_t one, size_t other) {
    const double rounding = 1e-9;
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_state_amp* a = &noise->states[one].amps[i];
        const tl_noise_state_amp* b = &noise->states[other].amps[i];
        if (fabs(a->a_weighted_v - b->a_weighted_v) > rounding * a->a_weighted_v ||
            fabs(a->total_v - b->total_v) > rounding * a->total_v ||
            fabs(a->signal_v - b->signal_v) > rounding * a->signal_v)
            return false;
    }
    return true;
}

/// States that are told apart, one of each kind, in the order of the ranking; scenes all are.
/// Returns how many; free `*states` with free().
static size_t pick_states(const tl_noise* noise, size_t** states) {
    size_t* picked = tl_new(noise->state_count + 1, sizeof *picked);
    size_t count = 0;
    for (size_t i = 0; i < noise->state_count; ++i) {
        size_t state = noise->ranking[i];
        bool known = false;
        for (size_t j = 0; !noise->states[state].name && !known && j < count; ++j)
            known = are_alike(noise, picked[j], state);
        if (!known)
            picked[count++] = state;
    }
    *states = picked;
    return count;
}

static void add_states(tl_text* text, const tl_noise* noise, const tl_noise_options* options) {
    if (noise->state_count < 2)
        return;
    char* words = tl_show_state_count(noise->state_count, noise->pedal_count, options->fixes,
                                      options->fix_count);
    tl_text_addf(text, "\n%s, the noisiest for its playing level first", words);
    free(words);
    size_t* states = NULL;
    size_t count = pick_states(noise, &states);
    if (count < noise->state_count)
        tl_text_addf(text, "\n(%zu of them, which hiss like one of these, are left out)",
                     noise->state_count - count);
    tl_text_add(text, "\n\n");
    bool all = count <= SHOWN_STATES;
    if (!all)
        states[SHOWN_STATES - 1] = states[count - 1];
    tl_text_take_table(text,
                       tl_noise_states_table(noise, options, states, all ? count : SHOWN_STATES,
                                             noise->amp_count > 1));
    if (!all)
        tl_text_add(text, "(the last row is the quietest; --csv has all of them)\n");
    free(states);
}

/// Who states no noise, for what they add is missing: words parted at the width of the page.
static void add_silent(tl_text* text, const tl_noise* noise) {
    const size_t width = 96;
    if (!noise->silent_count)
        return;
    const char* opening = "\nNo noise of their own is stated by ";
    size_t column = strlen(opening) - 1;
    tl_text_add(text, opening);
    for (size_t i = 0; i < noise->silent_count; ++i) {
        char* name = tl_show_safe(noise->silent[i]);
        bool last = i + 1 == noise->silent_count;
        const char* before = i == 0 ? "" : last ? " and " : ", ";
        size_t size = strlen(before) + strlen(name);
        if (column + size > width) {
            before = i == 0 ? "\n" : last ? " and\n" : ",\n";
            column = 0;
        }
        column += size;
        tl_text_addf(text, "%s%s%s", before, name, last ? ".\n" : "");
        free(name);
    }
    tl_text_add(text, "What they add beyond their resistances is not in the answer.\n");
}

// ---- the whole answer

/// What the figures rest on.
static void add_terms(tl_text* text, const tl_noise* noise, const tl_noise_options* options) {
    bool said = options->playing || noise->active;
    char* playing = tl_show_value(noise->playing_v, "V", "");
    tl_text_addf(text, "\nPlaying level: %s rms %s%sas it arrives at %g Hz.\n", playing,
                 noise->active ? "out of the source" : "in the pickup's coil",
                 said ? ", " : " (from memory: a single coil played with some force),\n",
                 noise->reference_hz);
    free(playing);
    tl_text_add(text, "Resistors (the pickup's real part too) at 27 degrees Celsius: 4 k T R. What "
                      "a pedal,\n"
                      "buffer or amp states of its noise stands for that of its input; those that "
                      "state none\n"
                      "count with their input and output resistance only. Hum is not in it.\n");
}

char* tl_noise_text(const tl_noise* noise, const tl_noise_options* options, const char* title) {
    tl_text text = {0};
    tl_text_add_safe(&text, title);
    tl_text_add(&text, "\n\n");
    tl_text_take_table(&text, totals_table(noise));
    tl_text_add(&text, "\n");
    add_against_direct(&text, noise);
    for (size_t i = 0; i < noise->amp_count; ++i) {
        if (noise->amp_count > 1) {
            tl_text_add(&text, "\nAt amp ");
            tl_text_add_safe(&text, noise->rig[i].amp);
            tl_text_add(&text, ", the rig as written:\n");
        }
        add_budget(&text, &noise->rig[i]);
        add_loudest(&text, &noise->rig[i]);
    }
    add_states(&text, noise, options);
    add_silent(&text, noise);
    add_terms(&text, noise, options);
    return tl_text_take(&text);
}

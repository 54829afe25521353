// SPDX-License-Identifier: GPL-3.0-or-later
// toneload noise: what hisses at the amp, and who makes it.
#include "cli/answers.h"
#include "cli/command.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_PARTS = 8, SHOWN_STATES = 12 };
static const double least_share = 0.005; ///< of the power: parts below share a row

/// How far noise lies below the playing level, dB.
static double below_db(double signal_v, double noise_v) {
    return 20 * log10(signal_v / noise_v);
}

static void volts_cell(tl_table* table, double volts) {
    char* shown = tl_show_value(volts, "V", "none");
    tl_table_number(table, volts, shown);
    free(shown);
}

static void db_cell(tl_table* table, double db) {
    char* shown = NULL;
    if (asprintf(&shown, "%.1f dB", db) < 0)
        abort();
    tl_table_number(table, db, shown);
    free(shown);
}

static void share_cell(tl_table* table, double share) {
    char* shown = NULL;
    double percent = 100 * share;
    if (asprintf(&shown, percent < 0.95 ? "%.1f %%" : "%.0f %%", percent) < 0)
        abort();
    tl_table_number(table, share, share < 0.0005 ? "< 0.1 %" : shown);
    free(shown);
}

// ---- totals

static void totals_row(tl_table* table, const char* name, const tl_noise_at* at, bool amps) {
    tl_table_row(table);
    tl_table_words(table, name);
    if (amps)
        tl_table_words(table, at->amp);
    volts_cell(table, at->total_v);
    volts_cell(table, at->a_weighted_v);
    volts_cell(table, at->signal_v);
    db_cell(table, below_db(at->signal_v, at->total_v));
    db_cell(table, below_db(at->signal_v, at->a_weighted_v));
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

/// How much more the rig hisses than plugged straight in, with the amp turned up to the same
/// loudness.
static void print_against_direct(FILE* to, const tl_noise* noise) {
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_at* rig = &noise->rig[i];
        const tl_noise_at* direct = &noise->direct[i];
        double worse_db = below_db(direct->signal_v, direct->a_weighted_v) -
                          below_db(rig->signal_v, rig->a_weighted_v);
        char* amp = tl_show_safe(rig->amp);
        fprintf(to, "Turned up to the same loudness%s%s the rig hisses ",
                noise->amp_count > 1 ? ", at amp " : "", noise->amp_count > 1 ? amp : "");
        if (fabs(worse_db) < 0.05)
            fputs("as much as plugged straight in (A-weighted).\n", to);
        else
            fprintf(to, "%.1f dB %s than plugged straight in (A-weighted).\n", fabs(worse_db),
                    worse_db > 0 ? "more" : "less");
        free(amp);
    }
}

// ---- who makes it

static double rest_of(const tl_noise_at* at, size_t shown, bool weighted) {
    double share = 0;
    for (size_t i = shown; i < at->part_count; ++i)
        share += weighted ? at->parts[i].a_share : at->parts[i].share;
    return share;
}

/// Parts worth a row of their own.
static size_t count_shown(const tl_noise_at* at) {
    size_t shown = 0;
    while (shown < at->part_count && shown < SHOWN_PARTS && at->parts[shown].a_share >= least_share)
        ++shown;
    return at->part_count == shown + 1 ? shown + 1 : shown;
}

static void part_row(tl_table* table, const char* name, const char* path, double share,
                     double a_share, double total_v) {
    tl_table_row(table);
    tl_table_words(table, name);
    tl_table_words(table, path);
    share_cell(table, a_share);
    share_cell(table, share);
    volts_cell(table, total_v * sqrt(share));
}

/// A part, a lead or a joint with its number on the cut list.
static void add_part(tl_table* table, const tl_noise_part* part, double total_v) {
    char* name = NULL;
    if (asprintf(&name, "%s%s%s", part->name, *part->where ? ": " : "", part->where) < 0)
        abort();
    part_row(table, name, part->path, part->share, part->a_share, total_v);
    free(name);
}

static void print_budget(FILE* to, const tl_noise_at* at) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "who makes it", "name");
    tl_table_column(table, "in the rig file", "path");
    tl_table_column(table, "share of power,\nA-weighted", "a_share");
    tl_table_column(table, "\n20 Hz to 20 kHz", "share");
    tl_table_column(table, "alone it\nwould be", "v");
    size_t shown = count_shown(at);
    for (size_t i = 0; i < shown; ++i)
        add_part(table, &at->parts[i], at->total_v);
    if (shown < at->part_count) {
        char* words = NULL;
        if (asprintf(&words, "%zu others", at->part_count - shown) < 0)
            abort();
        double share = rest_of(at, shown, false);
        part_row(table, words, "", share, rest_of(at, shown, true), at->total_v);
        free(words);
    }
    char* text = tl_table_text(table);
    fprintf(to, "\n%s\n", text);
    free(text);
    tl_table_free(table);
}

/// "The volume pot at 50 % makes 70 % of the noise power": the parts that make at least half of it.
static void print_loudest(FILE* to, const tl_noise_at* at) {
    double sum = 0;
    size_t count = 0;
    while (count < at->part_count && count < 3 && sum < 0.5)
        sum += at->parts[count++].a_share;
    for (size_t i = 0; i < count; ++i) {
        char* name = tl_show_safe(at->parts[i].name);
        const char* between = i == 0 ? "" : i + 1 < count ? ", " : " and ";
        fprintf(to, "%s%s%s", between, i == 0 ? "The " : "the ", name);
        free(name);
    }
    fprintf(to, " %s %.0f %% of the noise power (A-weighted).\n",
            count > 1 ? "together make" : "makes", 100 * sum);
}

// ---- states

/// "all off", "drive + delay", "solo: drive"; free with free().
static char* state_words(const request* asked, const tl_noise* noise, const tl_noise_state* state) {
    return engaged_words(state->name, noise->pedals, state->engaged, noise->pedal_count,
                         asked->fix_count ? "all others off" : "all off");
}

static void add_state(tl_table* table, const request* asked, const tl_noise* noise, size_t index,
                      bool amps) {
    const tl_noise_state* state = &noise->states[index];
    char* words = state_words(asked, noise, state);
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_state_amp* amp = &state->amps[i];
        tl_table_row(table);
        tl_table_words(table, words);
        if (amps)
            tl_table_words(table, noise->rig[i].amp);
        volts_cell(table, amp->total_v);
        volts_cell(table, amp->a_weighted_v);
        volts_cell(table, amp->signal_v);
        db_cell(table, below_db(amp->signal_v, amp->a_weighted_v));
        tl_table_words(table, amp->loudest);
        share_cell(table, amp->loudest_a_share);
    }
    free(words);
}

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
    size_t* picked = calloc(noise->state_count + 1, sizeof *picked);
    if (!picked)
        abort();
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

static tl_table* states_table(const request* asked, const tl_noise* noise, const size_t* states,
                              size_t count, size_t shown) {
    tl_table* table = tl_table_new();
    bool amps = asked->csv || noise->amp_count > 1;
    tl_table_column(table, "on", "engaged");
    if (amps)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "20 Hz to\n20 kHz", "total_v");
    tl_table_column(table, "\nA-weighted", "a_weighted_v");
    tl_table_column(table, "playing\nlevel", "signal_v");
    tl_table_column(table, "below it,\nA-weighted", "a_weighted_below_db");
    tl_table_column(table, "most of it from", "loudest");
    tl_table_column(table, "\nshare", "loudest_a_weighted_power_share");
    for (size_t i = 0; i < shown; ++i)
        add_state(table, asked, noise, states[i], amps);
    if (shown < count)
        add_state(table, asked, noise, states[count - 1], amps);
    return table;
}

static void print_states(FILE* to, const request* asked, const tl_noise* noise) {
    if (noise->state_count < 2)
        return;
    fputc('\n', to);
    print_state_count(to, asked, noise->state_count, noise->pedal_count);
    size_t* states = NULL;
    size_t count = pick_states(noise, &states);
    size_t shown = count <= SHOWN_STATES ? count : SHOWN_STATES - 1;
    fputs(", the noisiest for its playing level first", to);
    if (count < noise->state_count)
        fprintf(to, "\n(%zu of them, which hiss like one of these, are left out)",
                noise->state_count - count);
    fputs("\n\n", to);
    tl_table* table = states_table(asked, noise, states, count, shown);
    char* text = tl_table_text(table);
    fputs(text, to);
    if (shown < count)
        fputs("(the last row is the quietest; --csv has all of them)\n", to);
    free(text);
    free(states);
    tl_table_free(table);
}

/// Who states no noise, for what they add is missing: words parted at the width of the page.
static void print_silent(FILE* to, const tl_noise* noise) {
    const size_t width = 96;
    if (!noise->silent_count)
        return;
    const char* opening = "\nNo noise of their own is stated by ";
    size_t column = strlen(opening) - 1;
    fputs(opening, to);
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
        fprintf(to, "%s%s%s", before, name, last ? ".\n" : "");
        free(name);
    }
    fputs("What they add beyond their resistances is not in the answer.\n", to);
}

// ---- the whole answer

static char* noise_text(const request* asked, const tl_rig* rig, const tl_noise* noise) {
    char* words = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&words, &size);
    if (!to)
        abort();
    char* title = tl_show_safe(tl_rig_title(rig));
    fprintf(to, "%s\n\n", title);
    free(title);
    tl_table* table = totals_table(noise);
    char* text = tl_table_text(table);
    fprintf(to, "%s\n", text);
    free(text);
    tl_table_free(table);
    print_against_direct(to, noise);
    for (size_t i = 0; i < noise->amp_count; ++i) {
        if (noise->amp_count > 1) {
            char* amp = tl_show_safe(noise->rig[i].amp);
            fprintf(to, "\nAt amp %s, the rig as written:\n", amp);
            free(amp);
        }
        print_budget(to, &noise->rig[i]);
        print_loudest(to, &noise->rig[i]);
    }
    print_states(to, asked, noise);
    print_silent(to, noise);
    char* playing = tl_show_value(noise->playing_v, "V", "");
    fprintf(to, "\nPlaying level: %s rms %s%s%sas it arrives at %g Hz.\n", playing,
            noise->active ? "out of the source" : "in the pickup's coil",
            asked->level || noise->active ? ", "
                                          : " (from memory: a single coil played with some force),",
            asked->level || noise->active ? "" : "\n", noise->reference_hz);
    fputs("Resistors (the pickup's real part too) at 27 degrees Celsius: 4 k T R. What a pedal,\n"
          "buffer or amp states of its noise stands for that of its input; those that state none\n"
          "count with their input and output resistance only. Hum is not in it.\n",
          to);
    print_assumed_direct(to, rig);
    free(playing);
    fclose(to);
    return words;
}

static json_t* parts_json(const tl_noise_at* at) {
    json_t* list = json_array();
    for (size_t i = 0; i < at->part_count; ++i) {
        const tl_noise_part* part = &at->parts[i];
        json_t* row = json_object();
        json_object_set_new(row, "name", tl_json_words(part->name));
        json_object_set_new(row, "path", tl_json_words(part->path));
        json_object_set_new(row, "where", tl_json_words(part->where));
        json_object_set_new(row, "power_share", tl_json_number(part->share));
        json_object_set_new(row, "a_weighted_power_share", tl_json_number(part->a_share));
        json_array_append_new(list, row);
    }
    return list;
}

static void put_levels(json_t* json, double total_v, double a_weighted_v, double signal_v) {
    json_object_set_new(json, "total_v", tl_json_number(total_v));
    json_object_set_new(json, "a_weighted_v", tl_json_number(a_weighted_v));
    json_object_set_new(json, "signal_v", tl_json_number(signal_v));
    json_object_set_new(json, "below_db", tl_json_number(below_db(signal_v, total_v)));
    json_object_set_new(json, "a_weighted_below_db",
                        tl_json_number(below_db(signal_v, a_weighted_v)));
}

/// The density from 20 Hz to 20 kHz, ten points a decade or all.
static json_t* density_json(const tl_noise_at* at) {
    json_t* list = json_array();
    for (size_t i = 0; i < at->count; ++i) {
        if (at->hz[i] < TL_NOISE_LOW_HZ * 0.999 || at->hz[i] > TL_NOISE_HIGH_HZ * 1.001)
            continue;
        json_t* point = json_object();
        json_object_set_new(point, "hz", tl_json_number(at->hz[i]));
        json_object_set_new(point, "v_rthz", tl_json_number(at->v_rthz[i]));
        json_array_append_new(list, point);
    }
    return list;
}

static json_t* at_json(const char* name, const tl_noise_at* at) {
    json_t* json = json_object();
    json_object_set_new(json, "name", json_string(name));
    json_object_set_new(json, "amp", tl_json_words(at->amp));
    put_levels(json, at->total_v, at->a_weighted_v, at->signal_v);
    json_object_set_new(json, "parts", parts_json(at));
    json_object_set_new(json, "density", density_json(at));
    return json;
}

static json_t* state_json(const tl_noise* noise, const tl_noise_state* state) {
    json_t* json = json_object();
    json_t* engaged = json_array();
    for (size_t i = 0; i < noise->pedal_count; ++i)
        if (state->engaged[i])
            json_array_append_new(engaged, tl_json_words(noise->pedals[i]));
    if (state->name)
        json_object_set_new(json, "scene", tl_json_words(state->name));
    json_object_set_new(json, "engaged", engaged);
    json_t* amps = json_array();
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_state_amp* amp = &state->amps[i];
        json_t* row = json_object();
        json_object_set_new(row, "amp", tl_json_words(noise->rig[i].amp));
        put_levels(row, amp->total_v, amp->a_weighted_v, amp->signal_v);
        json_object_set_new(row, "loudest", tl_json_words(amp->loudest));
        json_object_set_new(row, "loudest_a_weighted_power_share",
                            tl_json_number(amp->loudest_a_share));
        json_array_append_new(amps, row);
    }
    json_object_set_new(json, "amps", amps);
    return json;
}

/// The first amp's figures stand at the top, all amps' under `amps`.
static char* noise_json(const tl_rig* rig, const tl_noise* noise) {
    json_t* json = tl_json_open("noise", tl_rig_title(rig));
    json_object_set_new(json, "playing_v", tl_json_number(noise->playing_v));
    json_object_set_new(json, "reference_hz", tl_json_number(noise->reference_hz));
    json_object_set_new(json, "total_v", tl_json_number(noise->rig[0].total_v));
    json_object_set_new(json, "a_weighted_v", tl_json_number(noise->rig[0].a_weighted_v));
    json_object_set_new(json, "parts", parts_json(&noise->rig[0]));
    json_t* amps = json_array();
    for (size_t i = 0; i < noise->amp_count; ++i) {
        json_array_append_new(amps, at_json("rig", &noise->rig[i]));
        json_array_append_new(amps, at_json("direct", &noise->direct[i]));
    }
    json_object_set_new(json, "amps", amps);
    json_t* silent = json_array();
    for (size_t i = 0; i < noise->silent_count; ++i)
        json_array_append_new(silent, tl_json_words(noise->silent[i]));
    json_object_set_new(json, "states_no_noise", silent);
    json_t* states = json_array();
    for (size_t i = 0; i < noise->state_count; ++i)
        json_array_append_new(states, state_json(noise, &noise->states[i]));
    json_object_set_new(json, "states", states);
    json_t* ranking = json_array();
    for (size_t i = 0; i < noise->state_count; ++i)
        json_array_append_new(ranking, json_integer((json_int_t)noise->ranking[i]));
    json_object_set_new(json, "ranking", ranking);
    return tl_json_text(json);
}

static char* noise_csv(const request* asked, const tl_noise* noise) {
    tl_table* table =
        states_table(asked, noise, noise->ranking, noise->state_count, noise->state_count);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_noise* noise = NULL;
    tl_noise_options options = {.reference_hz = asked->reference_hz,
                                .playing = asked->level,
                                .states = true,
                                .fixes = asked->fixes,
                                .fix_count = asked->fix_count,
                                .all = asked->all};
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_noise(session, rig, &options, &noise, error);
    if (status == TL_OK && asked->plot)
        status = tl_noise_draw(noise, tl_rig_title(rig), asked->plot, error);
    if (status == TL_OK) {
        char* text = asked->json  ? noise_json(rig, noise)
                     : asked->csv ? noise_csv(asked, noise)
                                  : noise_text(asked, rig, noise);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_noise_free(noise);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_noise = {
    "noise",
    "RIG.yaml",
    "what hisses at the amp's input, who makes it, and in which state it is worst",
    "Solves the noise at each amp's input, from 20 Hz to 20 kHz and as the ear weights it, of the\n"
    "rig as written, plugged straight in, and in every state of the pedals, and says which part\n"
    "makes how much of it. Pedals, buffers and amps may state theirs: 'noise: {voltage: 5 "
    "nV/rtHz,\n"
    "current: 0.5 pA/rtHz, corner: 100 Hz}'.\n"
    "\n"
    "  toneload noise board.yaml --level '150 mV' --plot noise.svg",
    OPTION_LEVEL | OPTION_FIX | OPTION_ALL | OPTION_PLOT | OPTION_JSON | OPTION_CSV |
        OPTION_REFERENCE | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

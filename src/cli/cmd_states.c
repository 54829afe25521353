// SPDX-License-Identifier: GPL-3.0-or-later
// toneload states: a rig in every state of its pedals.
#include "cli/answers.h"
#include "cli/command.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_STATES = 12 };

/// The pedals that are on in a state: "drive + delay", or "all off". Free with free().
static char* state_words(const tl_states* states, size_t index) {
    const tl_state* state = &states->states[index];
    return tl_show_engaged(state->name, states->pedals, state->engaged, states->pedal_count,
                           "all off");
}

static void add_columns(const tl_states* states, tl_table* table, bool csv) {
    tl_table_column(table, "on", "engaged");
    if (states->amp_count > 1 || csv)
        tl_table_column(table, "amp", "amp");
    if (csv) {
        figures_columns(table, states->direct->solved[0].metrics.reference_hz);
        hearing_columns(table);
        return;
    }
    static const char* const heads[][2] = {
        {"peak\nkHz", "peak_hz"}, {"\ndB", "peak_db"},     {"\nQ", "q"},
        {"-3 dB\nkHz", "cutoff"}, {"worst\ndB", "worst"},  {"at\nkHz", "worst_hz"},
        {"presence\ndB", "p"},    {"\nto the ear", "ear"},
    };
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i][0], heads[i][1]);
}

static void add_state(const tl_states* states, tl_table* table, size_t index, bool csv) {
    char* words = state_words(states, index);
    for (size_t i = 0; i < states->amp_count; ++i) {
        const tl_state_amp* amp = &states->states[index].amps[i];
        tl_table_row(table);
        tl_table_words(table, words);
        if (states->amp_count > 1 || csv)
            tl_table_words(table, amp->amp);
        if (csv) {
            figures_cells(table, &amp->metrics);
            hearing_cells(table, &amp->hearing);
            continue;
        }
        short_number(table, amp->metrics.peak_hz / 1000, "%.2f", "none");
        short_number(table, amp->metrics.peak_db, "%+.1f", "");
        short_number(table, isnan(amp->metrics.peak_hz) ? NAN : amp->metrics.q, "%.2f", "");
        short_number(table, amp->metrics.cutoff_hz / 1000, "%.2f", "> 100");
        short_number(table, amp->hearing.worst_db, "%+.1f", "");
        short_number(table, amp->hearing.worst_hz / 1000, "%.1f", "");
        short_number(table, amp->hearing.presence_db, "%+.1f", "");
        tl_table_words(table, tl_verdict_words(amp->hearing.verdict));
    }
    free(words);
}

/// All states in CSV; for people those that differ most from direct and the one nearest to it.
static tl_table* states_table(const tl_states* states, bool csv) {
    tl_table* table = tl_table_new();
    add_columns(states, table, csv);
    size_t shown = csv || states->count <= SHOWN_STATES ? states->count : SHOWN_STATES - 1;
    for (size_t i = 0; i < shown; ++i)
        add_state(states, table, states->ranking[i], csv);
    if (shown < states->count)
        add_state(states, table, states->ranking[states->count - 1], csv);
    return table;
}

/// Whether a pedal is on in some of the states and off in others.
static bool moves(const tl_states* states, size_t pedal) {
    return !isnan(states->effects[pedal].worst_db);
}

static bool any_moves(const tl_states* states) {
    for (size_t i = 0; i < states->pedal_count; ++i)
        if (moves(states, i))
            return true;
    return false;
}

static tl_table* effects_table(const tl_states* states) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "pedal or loop", "pedal");
    tl_table_column(table, "on minus off,\nmean, dB", "worst_db");
    tl_table_column(table, "at\nkHz", "worst_hz");
    bool* done = calloc(states->pedal_count, sizeof *done);
    if (!done)
        abort();
    for (size_t n = 0; n < states->pedal_count; ++n) {
        size_t best = SIZE_MAX;
        for (size_t i = 0; i < states->pedal_count; ++i)
            if (!done[i] && (best == SIZE_MAX || !(fabs(states->effects[i].worst_db) <=
                                                   fabs(states->effects[best].worst_db))))
                best = i;
        done[best] = true;
        tl_table_row(table);
        tl_table_words(table, states->pedals[best]);
        short_number(table, states->effects[best].worst_db, "%+.2f", "never moves");
        short_number(table, moves(states, best) ? states->effects[best].worst_hz / 1000 : NAN,
                     "%.1f", "");
    }
    free(done);
    return table;
}

/// What the spread of all states amounts to.
static void print_spread(FILE* to, const tl_states* states) {
    if (states->spread.worst_db == 0) {
        fputs(any_moves(states)
                  ? "All states sound the same: the pedals' states do not touch the tone.\n"
                  : "No pedal or loop is on in one state and off in another: nothing to compare.\n",
              to);
        return;
    }
    char* one = state_words(states, states->apart[0]);
    char* two = state_words(states, states->apart[1]);
    double db = states->spread.worst_db;
    fprintf(to, "Furthest apart are '%s' and '%s': %.2f dB at %.1f kHz%s%s, which is %s.\n", one,
            two, db, states->spread.worst_hz / 1000, states->amp_count > 1 ? ", at amp " : "",
            states->amp_count > 1 ? states->states[0].amps[states->spread.amp].amp : "",
            db < 0.5 ? "not audible: stepping on pedals leaves the tone alone"
            : db < 1 ? "borderline"
            : db < 3 ? "audible"
                     : "plain");
    free(one);
    free(two);
}

static char* states_text(const request* asked, const tl_rig* rig, const tl_states* states) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    tl_table* table = states_table(states, false);
    tl_table* effects = effects_table(states);
    char* table_text = tl_table_text(table);
    char* effects_text = tl_table_text(effects);
    fprintf(to, "%s\n\n", tl_rig_title(rig));
    print_state_count(to, asked, states->count, states->pedal_count);
    fprintf(to, ", %s\n\n%s\n",
            states->count > SHOWN_STATES
                ? "those that differ most from direct, and last the nearest to it"
                : "the one that differs most from direct first",
            table_text);
    print_spread(to, states);
    fprintf(to, "\nWhich pedal matters most, over all states:\n\n%s\n", effects_text);
    fprintf(
        to,
        "Peak and -3 dB are relative to the level at %g Hz. 'worst' is rig minus direct in a band\n"
        "of the ear after levels are matched: a pedal's gain is not its tone.\n",
        asked->reference_hz);
    print_assumed_direct(to, rig);
    fputs(verdict_source, to);
    fclose(to);
    tl_table_free(table);
    tl_table_free(effects);
    free(table_text);
    free(effects_text);
    return text;
}

static json_t* state_json(const tl_states* states, size_t index) {
    const tl_state* state = &states->states[index];
    json_t* json = json_object();
    json_t* engaged = json_array();
    for (size_t i = 0; i < states->pedal_count; ++i)
        if (state->engaged[i])
            json_array_append_new(engaged, json_string(states->pedals[i]));
    if (state->name)
        json_object_set_new(json, "scene", json_string(state->name));
    json_object_set_new(json, "engaged", engaged);
    json_t* responses = json_array();
    size_t worst = 0;
    for (size_t i = 0; i < states->amp_count; ++i) {
        const tl_state_amp* amp = &state->amps[i];
        json_t* entry =
            tl_json_response("rig", amp->amp, NULL, &amp->metrics, state->solves, amp->residual, 0);
        json_object_set_new(entry, "hearing", tl_json_hearing(&amp->hearing));
        json_array_append_new(responses, entry);
        if (tl_hearing_size(&amp->hearing) > tl_hearing_size(&state->amps[worst].hearing))
            worst = i;
    }
    json_t* hearing = tl_json_hearing(&state->amps[worst].hearing);
    json_object_set_new(hearing, "amp", json_string(state->amps[worst].amp));
    json_object_set_new(json, "responses", responses);
    json_object_set_new(json, "hearing", hearing);
    return json;
}

static char* states_json(const tl_rig* rig, const tl_states* states) {
    json_t* json = tl_json_open("states", tl_rig_title(rig));
    json_t* list = json_array();
    for (size_t i = 0; i < states->count; ++i)
        json_array_append_new(list, state_json(states, i));
    json_t* effects = json_array();
    for (size_t i = 0; i < states->pedal_count; ++i) {
        json_t* effect = json_object();
        json_object_set_new(effect, "pedal", json_string(states->pedals[i]));
        json_object_set_new(effect, "worst_db", tl_json_number(states->effects[i].worst_db));
        json_object_set_new(effect, "worst_hz", tl_json_number(states->effects[i].worst_hz));
        json_array_append_new(effects, effect);
    }
    json_t* ranking = json_array();
    for (size_t i = 0; i < states->count; ++i)
        json_array_append_new(ranking, json_integer((json_int_t)states->ranking[i]));
    json_object_set_new(json, "states", list);
    json_object_set_new(json, "effects", effects);
    json_object_set_new(json, "ranking", ranking);
    json_object_set_new(json, "spread_db", tl_json_number(states->spread.worst_db));
    json_object_set_new(json, "spread_hz", tl_json_number(states->spread.worst_hz));
    return tl_json_text(json);
}

static char* states_shown(const request* asked, const tl_rig* rig, const tl_states* states) {
    if (asked->json)
        return states_json(rig, states);
    if (!asked->csv)
        return states_text(asked, rig, states);
    tl_table* table = states_table(states, true);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

/// A response at the envelope's frequencies, its own level taken off; free with free().
static double* level_curve(const tl_states* states, const tl_response* response) {
    double bands_db[TL_BAND_COUNT];
    tl_response_bands(response, bands_db);
    double level_db = tl_bands_level_db(bands_db);
    double* db = calloc(states->point_count, sizeof *db);
    if (!db)
        abort();
    for (size_t i = 0; i < states->point_count; ++i)
        db[i] = tl_response_db(response, states->hz[i]) - level_db;
    return db;
}

/// The envelope of all states at the amp where they are furthest apart, with those two and direct.
static tl_status draw(const request* asked, const tl_rig* rig, const tl_states* states,
                      tl_error* error) {
    size_t amp = states->spread.amp;
    size_t count = states->spread.worst_db > 0 ? 3 : 1;
    const tl_response* responses[3] = {states->direct->solved[2 * amp + 1].response};
    char* labels[3] = {NULL, NULL, NULL};
    char* around = NULL;
    if (asprintf(&labels[0], "direct (plugged straight in)") < 0 ||
        asprintf(&around, states->count == 1 ? "the %zu state%s%s" : "where all %zu states lie%s%s",
                 states->count, states->amp_count > 1 ? ", at amp " : "",
                 states->amp_count > 1 ? states->states[0].amps[amp].amp : "") < 0)
        abort();
    tl_level_curve curves[3];
    for (size_t i = 0; i < count; ++i) {
        if (i) {
            responses[i] = states->shown[i - 1]->solved[2 * amp].response;
            labels[i] = state_words(states, states->apart[i - 1]);
        }
        curves[i] = (tl_level_curve){labels[i], level_curve(states, responses[i]), i == 0};
    }
    tl_envelope_plot plot = {tl_rig_title(rig),
                             around,
                             states->hz,
                             states->low_db + amp * states->point_count,
                             states->high_db + amp * states->point_count,
                             states->point_count,
                             curves,
                             count};
    tl_status status = tl_envelope_draw(&plot, asked->plot, error);
    for (size_t i = 0; i < count; ++i) {
        free((double*)(uintptr_t)curves[i].db);
        free(labels[i]);
    }
    free(around);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_states* states = NULL;
    tl_states_options options = {asked->reference_hz, asked->fixes, asked->fix_count, asked->all};
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_states(session, rig, &options, &states, error);
    if (status == TL_OK && asked->plot)
        status = draw(asked, rig, states, error);
    if (status == TL_OK) {
        char* text = states_shown(asked, rig, states);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_states_free(states);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_states = {
    "states",
    "RIG.yaml",
    "every combination of pedals on and off: which is worst, which pedal matters",
    "Solves the rig in every combination of its pedals and switcher loops (up to 2^16), or in the\n"
    "scenes it names, ranks them by how much they differ from direct, and says which two differ\n"
    "most from each other and which pedal matters most. --fix holds a pedal; --all goes through\n"
    "every combination although the rig names scenes.\n"
    "\n"
    "  toneload states board.yaml --fix 'drive=no' --plot states.svg",
    OPTION_FIX | OPTION_ALL | OPTION_PLOT | OPTION_JSON | OPTION_CSV | OPTION_REFERENCE |
        OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

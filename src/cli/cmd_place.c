// SPDX-License-Identifier: GPL-3.0-or-later
// toneload place: where a buffer does most good.
#include "cli/answers.h"
#include "cli/command.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN = 15 };

/// The first placement that may be used, from `from` on; the count when there is none.
static size_t find_allowed(const tl_placing* placing, size_t from) {
    while (from < placing->count && !placing->placements[from].allowed)
        ++from;
    return from;
}

static bool is_none(const tl_placement* at) {
    return strcmp(at->words, "no buffer") == 0;
}

static const tl_placement* find_none(const tl_placing* placing) {
    size_t i = 0;
    while (!is_none(&placing->placements[i])) // it is always there
        ++i;
    return &placing->placements[i];
}

/// What respecting the pedal that needs the pickup costs, dB; 0 when nothing.
static double respect_cost_db(const tl_placing* placing) {
    size_t best = find_allowed(placing, 0);
    return best < placing->count ? fabs(placing->placements[best].worst.worst_db) -
                                       fabs(placing->placements[0].worst.worst_db)
                                 : NAN;
}

static tl_table* placing_table(const tl_placing* placing, bool csv) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "rank", "rank");
    tl_table_column(table, "buffer", "place");
    if (csv) {
        tl_table_column(table, "allowed", "allowed");
        hearing_columns(table);
    } else {
        tl_table_column(table, "worst\ndB", "worst_db");
        tl_table_column(table, "at\nkHz", "worst_hz");
        tl_table_column(table, "\nto the ear", "verdict");
    }
    tl_table_column(table, "in the state", "state");
    size_t rank = 0;
    for (size_t i = 0; i < placing->count; ++i) {
        const tl_placement* at = &placing->placements[i];
        char shown[24];
        if (!csv && !at->allowed)
            continue;
        ++rank;
        if (!csv && rank > SHOWN && !is_none(at))
            continue;
        snprintf(shown, sizeof shown, "%zu", rank);
        tl_table_row(table);
        tl_table_number(table, (double)rank, shown);
        tl_table_words(table, at->words);
        if (csv) {
            tl_table_words(table, at->allowed ? "yes" : "no");
            hearing_cells(table, &at->worst);
        } else {
            short_number(table, at->worst.worst_db, "%+.1f", "");
            short_number(table, at->worst.worst_hz / 1000, "%.1f", "");
            tl_table_words(table, tl_verdict_words(at->worst.verdict));
        }
        tl_table_words(table, at->worst_state);
    }
    return table;
}

static void print_advice(FILE* to, const tl_placing* placing) {
    size_t best = find_allowed(placing, 0);
    const tl_placement* none = find_none(placing);
    if (best == placing->count) {
        fprintf(to, "No place leaves '%s' the pickup.\n", placing->needs_pickup);
        return;
    }
    const tl_placement* at = &placing->placements[best];
    if (fabs(none->worst.worst_db) - fabs(at->worst.worst_db) < 0.1)
        fprintf(to, "No place that is allowed is better than no buffer by as much as 0.1 dB.\n");
    else
        fprintf(to, "Best %s: at its worst %+.1f dB off direct, %+.1f dB without a buffer.\n",
                at->words, at->worst.worst_db, none->worst.worst_db);
    double cost_db = respect_cost_db(placing);
    if (placing->needs_pickup)
        fprintf(to,
                "'%s' must see the pickup (common practice with some fuzzes): that costs %.1f "
                "dB%s%s.\n",
                placing->needs_pickup, cost_db, cost_db > 0 ? "; else the best would be " : "",
                cost_db > 0 ? placing->placements[0].words : "");
}

static char* placing_text(const tl_rig* rig, const tl_placing* placing) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    tl_table* table = placing_table(placing, false);
    char* table_text = tl_table_text(table);
    fprintf(to, "%s\n\n%zu placements in %zu states of the pedals, the best first\n\n%s\n",
            tl_rig_title(rig), placing->count, placing->state_count, table_text);
    print_advice(to, placing);
    fprintf(
        to,
        "'worst' is rig minus direct in a band of the ear, levels matched, in the worst state.\n");
    fputs(verdict_source, to);
    fclose(to);
    free(table_text);
    tl_table_free(table);
    return text;
}

static char* placing_json(const tl_rig* rig, const tl_placing* placing) {
    json_t* json = tl_json_open("place", tl_rig_title(rig));
    json_t* list = json_array();
    for (size_t i = 0; i < placing->count; ++i) {
        const tl_placement* at = &placing->placements[i];
        json_t* entry = json_object();
        json_object_set_new(entry, "place", json_string(at->words));
        json_object_set_new(entry, "allowed", json_boolean(at->allowed));
        json_object_set_new(entry, "state", json_string(at->worst_state));
        json_object_set_new(entry, "amp", json_string(at->amp));
        json_object_set_new(entry, "hearing", tl_json_hearing(&at->worst));
        json_array_append_new(list, entry);
    }
    json_object_set_new(json, "states", json_integer((json_int_t)placing->state_count));
    json_object_set_new(json, "placements", list);
    json_object_set_new(json, "needs_pickup",
                        placing->needs_pickup ? json_string(placing->needs_pickup) : json_null());
    json_object_set_new(json, "cost_db",
                        placing->needs_pickup ? tl_json_number(respect_cost_db(placing))
                                              : json_null());
    return tl_json_text(json);
}

static char* placing_shown(const request* asked, const tl_rig* rig, const tl_placing* placing) {
    if (asked->json)
        return placing_json(rig, placing);
    if (!asked->csv)
        return placing_text(rig, placing);
    tl_table* table = placing_table(placing, true);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_placing* placing = NULL;
    tl_place_options options = {asked->buffer, asked->count, asked->fixes, asked->fix_count,
                                asked->reference_hz};
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_place(session, rig, &options, &placing, error);
    if (status == TL_OK) {
        char* text = placing_shown(asked, rig, placing);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_placing_free(placing);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_place = {
    "place",
    "RIG.yaml --buffer PART",
    "where a buffer does most good, in every state of the pedals",
    "Tries the buffer in every gap of the rig's chain (--count N of them in every combination of\n"
    "gaps), in every state of the pedals and loops, and ranks the places by how much the rig then\n"
    "differs from direct in its worst state. A pedal with 'needs_pickup: yes' keeps the pickup, "
    "and\n"
    "the answer says what that costs.\n"
    "\n"
    "  toneload place board.yaml --buffer op-amp-follower --count 2",
    OPTION_BUFFER | OPTION_COUNT | OPTION_FIX | OPTION_JSON | OPTION_CSV | OPTION_REFERENCE |
        OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

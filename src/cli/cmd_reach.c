// SPDX-License-Identifier: GPL-3.0-or-later
// toneload reach: how far a value may go before a limit is passed.
#include "cli/answers.h"
#include "cli/command.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char* met_words(const tl_reached* row) {
    return row->met == TL_MET_AT ? "at" : row->met == TL_MET_ALWAYS ? "always" : "never";
}

static const char* answer_words(const tl_reached* row) {
    return row->met == TL_MET_ALWAYS  ? "any (always met)"
           : row->met == TL_MET_NEVER ? "none (never met)"
                                      : row->shown;
}

/// The end that was found: the upper one when there are two.
static double found_value(const tl_reached* row) {
    return isnan(row->to) ? row->from : row->to;
}

static tl_table* reach_table(const request* asked, const tl_reach* reach) {
    tl_table* table = tl_table_new();
    const tl_reached* first = &reach->rows[0];
    for (size_t i = 0; i < first->setting_count; ++i)
        tl_table_column(table, first->settings[i].path, first->settings[i].path);
    if (!asked->csv)
        tl_table_column(table, reach->path, "value");
    if (asked->csv) {
        tl_table_column(table, "from", "from");
        tl_table_column(table, "to", "to");
        tl_table_column(table, "unit", "unit");
        tl_table_column(table, "met", "met");
    }
    tl_table_column(table, "what limits it", "limit");
    for (size_t i = 0; i < reach->count; ++i) {
        const tl_reached* row = &reach->rows[i];
        tl_table_row(table);
        for (size_t j = 0; j < row->setting_count; ++j)
            tl_table_words(table, row->settings[j].value);
        if (asked->csv) {
            tl_table_number(table, row->from, "");
            tl_table_number(table, row->to, "");
            tl_table_words(table, reach->unit);
            tl_table_words(table, met_words(row));
        } else {
            tl_table_words(table, answer_words(row));
        }
        tl_table_words(table, row->met == TL_MET_AT ? asked->limits[row->limit] : "");
    }
    return table;
}

static char* reach_text(const request* asked, const tl_rig* rig, const tl_reach* reach) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    tl_table* table = reach_table(asked, reach);
    char* table_text = tl_table_text(table);
    size_t solves = 0;
    for (size_t i = 0; i < reach->count; ++i)
        solves += reach->rows[i].solves;
    fprintf(to, "%s\n\n%s\nLimits, all of them, at every amp:\n", tl_rig_title(rig), table_text);
    for (size_t i = 0; i < asked->limit_count; ++i) {
        char* safe = tl_show_safe(asked->limits[i]);
        fprintf(to, "- %s\n", safe);
        free(safe);
    }
    fprintf(
        to,
        "Looked for from %s; a difference is rig minus direct, levels matched. %zu frequencies\n"
        "solved.\n",
        reach->range, solves);
    print_assumed_direct(to, rig);
    fclose(to);
    free(table_text);
    tl_table_free(table);
    return text;
}

static char* reach_json(const request* asked, const tl_rig* rig, const tl_reach* reach) {
    json_t* json = tl_json_open("reach", tl_rig_title(rig));
    json_object_set_new(json, "path", json_string(reach->path));
    json_t* list = json_array();
    for (size_t i = 0; i < reach->count; ++i) {
        const tl_reached* row = &reach->rows[i];
        json_t* set = json_object();
        for (size_t j = 0; j < row->setting_count; ++j)
            json_object_set_new(set, row->settings[j].path, json_string(row->settings[j].value));
        json_t* entry = json_object();
        json_object_set_new(entry, "set", set);
        json_object_set_new(entry, "value", tl_json_number(found_value(row)));
        json_object_set_new(entry, "unit", json_string(reach->unit));
        json_object_set_new(entry, "met", json_string(met_words(row)));
        bool at = row->met == TL_MET_AT;
        json_object_set_new(entry, "from", tl_json_number(row->from));
        json_object_set_new(entry, "to", tl_json_number(row->to));
        json_object_set_new(entry, "limit",
                            at ? json_string(asked->limits[row->limit]) : json_null());
        json_object_set_new(entry, "solves", json_integer((json_int_t)row->solves));
        json_array_append_new(list, entry);
    }
    json_object_set_new(json, "limits", list);
    return tl_json_text(json);
}

static char* reach_shown(const request* asked, const tl_rig* rig, const tl_reach* reach) {
    if (asked->json)
        return reach_json(asked, rig, reach);
    if (!asked->csv)
        return reach_text(asked, rig, reach);
    tl_table* table = reach_table(asked, reach);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

/// The one --vary without values is what is solved for; the others are gone through.
static tl_status split_varies(const request* asked, const char** path, const char** varies,
                              size_t* count, tl_error* error) {
    *path = NULL;
    *count = 0;
    for (size_t i = 0; i < asked->vary_count; ++i) {
        if (strchr(asked->varies[i], '='))
            varies[(*count)++] = asked->varies[i];
        else if (*path)
            return tl_error_set(error, TL_BAD_INPUT,
                                "two --vary without values, '%s' and '%s': one value is solved for",
                                *path, asked->varies[i]);
        else
            *path = asked->varies[i];
    }
    if (*path)
        return TL_OK;
    return tl_error_set(error, TL_BAD_INPUT,
                        "expected what to solve for, a --vary without values, such as --vary "
                        "'chain[0].length'");
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_reach* reach = NULL;
    const char* path = NULL;
    const char** varies = calloc(asked->vary_count + 1, sizeof *varies);
    size_t count = 0;
    if (!varies)
        abort();
    tl_status status = split_varies(asked, &path, varies, &count, error);
    if (status == TL_OK)
        status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_reach(session, rig,
                                &(tl_reach_options){path, varies, count, asked->limits,
                                                    asked->limit_count, asked->reference_hz},
                                &reach, error);
    if (status == TL_OK) {
        char* text = reach_shown(asked, rig, reach);
        status = request_write(asked, text, error);
        free(text);
    }
    free(varies);
    tl_reach_free(reach);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_reach = {
    "reach",
    "RIG.yaml --vary PATH --limit LIMIT",
    "how far a value may go: the longest lead that meets a limit",
    "Solves for the value of PATH that just meets the limits: '-1 dB at 5 kHz' (rig minus direct,\n"
    "levels matched), 'peak not below 3 kHz', '-3 dB not below 4 kHz', 'verdict not worse than\n"
    "borderline'. Further --vary with values give a row for each of their combinations.\n"
    "\n"
    "  toneload reach rig.yaml --vary 'chain[0].length' --limit '-1 dB at 5 kHz' \\\n"
    "      --vary 'chain[0].cable=standard-coax,low-capacitance-coax,coiled-lead'",
    OPTION_VARY | OPTION_LIMIT | OPTION_JSON | OPTION_CSV | OPTION_REFERENCE | OPTION_OUTPUT |
        OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

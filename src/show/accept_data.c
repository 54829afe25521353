// SPDX-License-Identifier: GPL-3.0-or-later
// Finished boards as JSON and CSV.
#include "show/accept.h"
#include "show/json.h"
#include "toneload/show.h"

#include <math.h>

static json_t* cause_json(const tl_cause* cause) {
    json_t* row = json_object();
    tl_text words = {0};
    tl_cause_add(&words, cause, true);
    tl_json_put_words(row, "kind", tl_cause_name(cause->kind));
    tl_json_put_words(row, "path", cause->path);
    tl_json_put_words(row, "about", cause->about);
    tl_json_put_words(row, "where", cause->where);
    tl_json_put_words(row, "unit", cause->unit);
    tl_json_put_number(row, "stated", cause->stated);
    tl_json_put_number(row, "value", cause->value);
    tl_json_put_number(row, "low", cause->low);
    tl_json_put_number(row, "high", cause->high);
    tl_json_put_words(row, "stated_words", cause->stated_words);
    tl_json_put_words(row, "value_words", cause->value_words);
    tl_json_put_words(row, "like", cause->like);
    tl_json_put_words(row, "words", tl_text_get(&words));
    tl_text_free(&words);
    return row;
}

static json_t* class_json(const tl_cause_class* class) {
    json_t* row = json_object();
    json_t* causes = json_array();
    for (size_t i = 0; i < class->count; ++i)
        json_array_append_new(causes, cause_json(&class->causes[i]));
    tl_json_put_number(row, "probability", class->probability);
    tl_json_put(row, "one_stretch", json_boolean(class->one_stretch));
    tl_json_put(row, "holds", json_boolean(class->holds));
    tl_json_put_number(row, "left_db", class->left_db);
    tl_json_put_number(row, "misfit", class->statistic);
    tl_json_put(row, "causes", causes);
    return row;
}

static json_t* reading_json(const tl_reading* reading) {
    json_t* row = json_object();
    tl_json_put_number(row, "hz", reading->hz);
    tl_json_put_count(row, "line", reading->line);
    tl_json_put_number(row, "measured_db", reading->measured_db);
    tl_json_put_number(row, "predicted_db", reading->predicted_db);
    tl_json_put_number(row, "difference_db", reading->measured_db - reading->predicted_db);
    tl_json_put_number(row, "low_db", reading->low_db);
    tl_json_put_number(row, "high_db", reading->high_db);
    tl_json_put(row, "inside", json_boolean(reading->inside));
    return row;
}

static json_t* blind_json(const tl_blind* blind) {
    json_t* row = json_object();
    tl_json_put_words(row, "kind", tl_cause_name(blind->kind));
    tl_json_put_words(row, "path", blind->path);
    tl_json_put_words(row, "about", blind->about);
    tl_json_put_number(row, "stated", blind->stated);
    tl_json_put_number(row, "seen_below", blind->low);
    tl_json_put_number(row, "seen_above", blind->high);
    return row;
}

static json_t* board_json(const tl_board_check* board) {
    json_t* row = json_object();
    json_t* readings = json_array();
    json_t* classes = json_array();
    json_t* blind = json_array();
    for (size_t i = 0; i < board->blind_count; ++i)
        json_array_append_new(blind, blind_json(&board->blind[i]));
    for (size_t i = 0; i < board->count; ++i)
        json_array_append_new(readings, reading_json(&board->readings[i]));
    for (size_t i = 0; i < board->class_count; ++i)
        json_array_append_new(classes, class_json(&board->classes[i]));
    tl_json_put_words(row, "file", board->file);
    tl_json_put_words(row, "verdict", board->accepted ? "accepted" : "rejected");
    tl_json_put_count(row, "rows", board->rows);
    tl_json_put_words(row, "offset", board->offset_removed ? "removed" : "kept");
    tl_json_put_number(row, "offset_db", board->offset_db);
    tl_json_put_number(row, "misfit", board->statistic);
    tl_json_put_number(row, "limit", board->limit);
    tl_json_put_count(row, "outside", board->outside);
    tl_json_put_number(row, "rms_db", board->rms_db);
    tl_json_put_number(row, "worst_hz", board->readings[board->worst].hz);
    tl_json_put(row, "explained", json_boolean(board->explained));
    tl_json_put_number(row, "none_probability", board->accepted ? NAN : board->none);
    tl_json_put(row, "classes", classes);
    tl_json_put(row, "not_seen", blind);
    tl_json_put(row, "readings", readings);
    return row;
}

json_t* tl_accept_json(const tl_accept* accept) {
    static const char* const state_from[] = {"rig", "file", "option"};
    json_t* all = tl_json_open("accept", accept->rig);
    json_t* boards = json_array();
    json_t* assumed = json_array();
    size_t rejected = 0;
    for (size_t i = 0; i < accept->count; ++i) {
        json_array_append_new(boards, board_json(&accept->boards[i]));
        rejected += !accept->boards[i].accepted;
    }
    for (size_t i = 0; tl_accept_assumed[i]; ++i)
        json_array_append_new(assumed, json_string(tl_accept_assumed[i]));
    tl_json_put_words(all, "state", accept->state);
    tl_json_put_words(all, "state_from", state_from[accept->state_from]);
    tl_json_put_words(all, "amp", accept->amp);
    tl_json_put_words(all, "through", accept->through);
    tl_json_put_number(all, "meter_deviation_db", accept->meter_db);
    tl_json_put_count(all, "values", accept->values);
    tl_json_put_count(all, "trials", accept->trials);
    tl_json_put_count(all, "suspects", accept->suspects);
    tl_json_put_count(all, "unseen", accept->unseen);
    tl_json_put_count(all, "unsolved", accept->unsolved);
    tl_json_put_count(all, "rejected", rejected);
    tl_json_put(all, "boards", boards);
    tl_json_put(all, "assumed", assumed);
    return all;
}

// ---- CSV

static char* readings_csv(const tl_board_check* board) {
    static const char* const fields[] = {"file",         "frequency_hz",  "measured_db",
                                         "predicted_db", "difference_db", "low_db",
                                         "high_db",      "verdict"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < board->count; ++i) {
        const tl_reading* reading = &board->readings[i];
        tl_table_row(table);
        tl_table_words(table, board->file);
        tl_table_number(table, reading->hz, "");
        tl_table_number(table, reading->measured_db, "");
        tl_table_number(table, reading->predicted_db, "");
        tl_table_number(table, reading->measured_db - reading->predicted_db, "");
        tl_table_number(table, reading->low_db, "");
        tl_table_number(table, reading->high_db, "");
        tl_table_words(table, reading->inside ? "inside" : "outside");
    }
    char* csv = tl_table_csv(table);
    tl_table_free(table);
    return csv;
}

static void board_row(tl_table* table, const tl_board_check* board) {
    tl_text words = {0};
    for (size_t i = 0; board->explained && i < board->classes[0].count; ++i) {
        tl_text_add(&words, i ? "; or " : "");
        tl_cause_add(&words, &board->classes[0].causes[i], true);
    }
    tl_table_row(table);
    tl_table_words(table, board->file);
    tl_table_words(table, board->accepted ? "accepted" : "rejected");
    tl_table_number(table, (double)board->count, "");
    tl_table_number(table, (double)board->outside, "");
    tl_table_number(table, board->statistic, "");
    tl_table_number(table, board->limit, "");
    tl_table_number(table, board->offset_db, "");
    tl_table_number(table, board->rms_db, "");
    tl_table_words(table, tl_text_get(&words));
    tl_table_number(table, board->explained ? board->classes[0].probability : NAN, "");
    tl_table_number(table, board->accepted ? NAN : board->none, "");
    tl_text_free(&words);
}

static char* boards_csv(const tl_accept* accept) {
    static const char* const fields[] = {"file",   "verdict",     "readings",        "outside",
                                         "misfit", "limit",       "offset_db",       "rms_db",
                                         "cause",  "probability", "none_probability"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < accept->count; ++i)
        board_row(table, &accept->boards[i]);
    char* csv = tl_table_csv(table);
    tl_table_free(table);
    return csv;
}

char* tl_accept_csv(const tl_accept* accept) {
    return accept->count == 1 ? readings_csv(&accept->boards[0]) : boards_csv(accept);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Finished boards as JSON and CSV.
#include "show/accept.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>

static void put(json_t* to, const char* field, json_t* value) {
    json_object_set_new(to, field, value);
}

static void put_number(json_t* to, const char* field, double number) {
    put(to, field, tl_json_number(number));
}

static void put_count(json_t* to, const char* field, size_t count) {
    put(to, field, json_integer((json_int_t)count));
}

static void put_words(json_t* to, const char* field, const char* words) {
    put(to, field, tl_json_words(words));
}

static json_t* cause_json(const tl_cause* cause) {
    json_t* row = json_object();
    tl_text words = {0};
    tl_cause_add(&words, cause, true);
    put_words(row, "kind", tl_cause_name(cause->kind));
    put_words(row, "path", cause->path);
    put_words(row, "about", cause->about);
    put_words(row, "where", cause->where);
    put_words(row, "unit", cause->unit);
    put_number(row, "stated", cause->stated);
    put_number(row, "value", cause->value);
    put_number(row, "low", cause->low);
    put_number(row, "high", cause->high);
    put_words(row, "stated_words", cause->stated_words);
    put_words(row, "value_words", cause->value_words);
    put_words(row, "like", cause->like);
    put_words(row, "words", tl_text_get(&words));
    tl_text_free(&words);
    return row;
}

static json_t* class_json(const tl_cause_class* class) {
    json_t* row = json_object();
    json_t* causes = json_array();
    for (size_t i = 0; i < class->count; ++i)
        json_array_append_new(causes, cause_json(&class->causes[i]));
    put_number(row, "probability", class->probability);
    put(row, "one_stretch", json_boolean(class->one_stretch));
    put(row, "holds", json_boolean(class->holds));
    put_number(row, "left_db", class->left_db);
    put_number(row, "misfit", class->statistic);
    put(row, "causes", causes);
    return row;
}

static json_t* reading_json(const tl_reading* reading) {
    json_t* row = json_object();
    put_number(row, "hz", reading->hz);
    put_count(row, "line", reading->line);
    put_number(row, "measured_db", reading->measured_db);
    put_number(row, "predicted_db", reading->predicted_db);
    put_number(row, "difference_db", reading->measured_db - reading->predicted_db);
    put_number(row, "low_db", reading->low_db);
    put_number(row, "high_db", reading->high_db);
    put(row, "inside", json_boolean(reading->inside));
    return row;
}

static json_t* board_json(const tl_board_check* board) {
    json_t* row = json_object();
    json_t* readings = json_array();
    json_t* classes = json_array();
    for (size_t i = 0; i < board->count; ++i)
        json_array_append_new(readings, reading_json(&board->readings[i]));
    for (size_t i = 0; i < board->class_count; ++i)
        json_array_append_new(classes, class_json(&board->classes[i]));
    put_words(row, "file", board->file);
    put_words(row, "verdict", board->accepted ? "accepted" : "rejected");
    put_count(row, "rows", board->rows);
    put_words(row, "offset", board->offset_removed ? "removed" : "kept");
    put_number(row, "offset_db", board->offset_db);
    put_number(row, "misfit", board->statistic);
    put_number(row, "limit", board->limit);
    put_count(row, "outside", board->outside);
    put_number(row, "rms_db", board->rms_db);
    put_number(row, "worst_hz", board->readings[board->worst].hz);
    put(row, "explained", json_boolean(board->explained));
    put_number(row, "none_probability", board->accepted ? NAN : board->none);
    put(row, "classes", classes);
    put(row, "readings", readings);
    return row;
}

json_t* tl_accept_json(const tl_accept* accept) {
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
    put_words(all, "state", accept->state);
    put_words(all, "amp", accept->amp);
    put_words(all, "through", accept->through);
    put_number(all, "meter_deviation_db", accept->meter_db);
    put_count(all, "values", accept->values);
    put_count(all, "trials", accept->trials);
    put_count(all, "suspects", accept->suspects);
    put_count(all, "unseen", accept->unseen);
    put_count(all, "rejected", rejected);
    put(all, "boards", boards);
    put(all, "assumed", assumed);
    return all;
}

// ---- CSV

static void add_number(tl_table* table, double number) {
    tl_table_number(table, number, "");
}

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
        add_number(table, reading->hz);
        add_number(table, reading->measured_db);
        add_number(table, reading->predicted_db);
        add_number(table, reading->measured_db - reading->predicted_db);
        add_number(table, reading->low_db);
        add_number(table, reading->high_db);
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
    add_number(table, (double)board->count);
    add_number(table, (double)board->outside);
    add_number(table, board->statistic);
    add_number(table, board->limit);
    add_number(table, board->offset_db);
    add_number(table, board->rms_db);
    tl_table_words(table, tl_text_get(&words));
    add_number(table, board->explained ? board->classes[0].probability : NAN);
    add_number(table, board->accepted ? NAN : board->none);
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

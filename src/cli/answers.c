// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/answers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const double difference_hz[DIFFERENCES] = {1000, 2000, 3000, 5000, 8000};

void figures_columns(tl_table* table, double reference_hz) {
    char title[64];
    snprintf(title, sizeof title, "level at\n%g Hz", reference_hz);
    tl_table_column(table, title, "reference_db");
    tl_table_column(table, "peak\nat", "peak_hz");
    tl_table_column(table, "peak\nheight", "peak_db");
    tl_table_column(table, "pole\nat", "pole_hz");
    tl_table_column(table, "Q\n(pole)", "q");
    tl_table_column(table, "Q\n(width)", "bandwidth_q");
    tl_table_column(table, "-3 dB\nat", "cutoff_hz");
}

static void cell(tl_table* table, double number, char* shown) {
    tl_table_number(table, number, shown);
    free(shown);
}

void figures_cells(tl_table* table, const tl_metrics* metrics) {
    cell(table, metrics->reference_db, tl_show_db(metrics->reference_db, "none"));
    cell(table, metrics->peak_hz, tl_show_hz(metrics->peak_hz, "none"));
    cell(table, metrics->peak_db, tl_show_db(metrics->peak_db, ""));
    cell(table, metrics->pole_hz, tl_show_hz(metrics->pole_hz, "none"));
    cell(table, metrics->q, tl_show_ratio(metrics->q, ""));
    cell(table, metrics->bandwidth_q, tl_show_ratio(metrics->bandwidth_q, "none"));
    cell(table, metrics->cutoff_hz, tl_show_hz(metrics->cutoff_hz, "above 100 kHz"));
}

void differences_columns(tl_table* table) {
    for (size_t i = 0; i < DIFFERENCES; ++i) {
        char title[32];
        char field[32];
        snprintf(title, sizeof title, "at\n%g kHz", difference_hz[i] / 1000);
        snprintf(field, sizeof field, "difference_%gkhz_db", difference_hz[i] / 1000);
        tl_table_column(table, title, field);
    }
}

void differences_cells(tl_table* table, const tl_solved* rig, const tl_solved* direct) {
    double db[DIFFERENCES] = {NAN, NAN, NAN, NAN, NAN};
    if (direct)
        tl_differences_db(rig, direct, DIFFERENCES, difference_hz, db);
    for (size_t i = 0; i < DIFFERENCES; ++i)
        cell(table, db[i], tl_show_db(db[i], ""));
}

void short_columns(tl_table* table) {
    tl_table_column(table, "level\ndB", "reference_db");
    tl_table_column(table, "peak\nkHz", "peak_hz");
    tl_table_column(table, "\ndB", "peak_db");
    tl_table_column(table, "\nQ", "q");
    tl_table_column(table, "-3 dB\nkHz", "cutoff_hz");
    for (size_t i = 0; i < DIFFERENCES; ++i) {
        char title[32];
        snprintf(title, sizeof title, "%s\n%g kHz", i == 0 ? "dB at" : "", difference_hz[i] / 1000);
        tl_table_column(table, title, "difference_db");
    }
    tl_table_column(table, "worst\ndB", "worst_db");
    tl_table_column(table, "at\nkHz", "worst_hz");
    tl_table_column(table, "\nto the ear", "verdict");
}

/// A number in a narrow cell; words when there is none.
void short_number(tl_table* table, double number, const char* format, const char* none) {
    char shown[32];
    if (isnan(number))
        snprintf(shown, sizeof shown, "%s", none);
    else if (fabs(number) < 0.05)
        snprintf(shown, sizeof shown, "0.0");
    else
        snprintf(shown, sizeof shown, format, number); // NOLINT: the formats are this file's own
    tl_table_number(table, number, shown);
}

void short_cells(tl_table* table, const tl_solved* solved, const tl_solved* direct) {
    const tl_metrics* metrics = &solved->metrics;
    double db[DIFFERENCES] = {NAN, NAN, NAN, NAN, NAN};
    if (direct)
        tl_differences_db(solved, direct, DIFFERENCES, difference_hz, db);
    short_number(table, metrics->reference_db, "%+.1f", "");
    short_number(table, metrics->peak_hz / 1000, "%.2f", "none");
    short_number(table, metrics->peak_db, "%+.1f", "");
    short_number(table, isnan(metrics->peak_hz) ? NAN : metrics->q, "%.2f", "");
    short_number(table, metrics->cutoff_hz / 1000, "%.2f", "> 100");
    for (size_t i = 0; i < DIFFERENCES; ++i)
        short_number(table, db[i], "%+.1f", "");
    short_number(table, direct ? solved->hearing.worst_db : NAN, "%+.1f", "");
    short_number(table, direct ? solved->hearing.worst_hz / 1000 : NAN, "%.1f", "");
    tl_table_words(table, direct ? tl_verdict_words(solved->hearing.verdict) : "");
}

const char verdict_source[] =
    "Verdict by the worse of dB and steps: under 0.5 not audible, under 1 borderline, under 3 "
    "audible,\n"
    "else plain. Level: 0.5 to 1 dB is just noticeable for most sounds (Open University, Hearing,\n"
    "10.3; seen). Peak: 0.079 f / sqrt(Q) (Gagne and Zurek, JASA 83, 1988; abstract seen).\n";

void hearing_columns(tl_table* table) {
    static const char* const fields[] = {
        "level_db",           "worst_db",       "worst_hz",       "rms_db",           "presence_db",
        "bands_over_half_db", "bands_over_1db", "bands_over_3db", "peak_shift_steps", "verdict"};
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
}

void hearing_cells(tl_table* table, const tl_hearing* hearing) {
    if (!hearing) {
        for (int i = 0; i < 10; ++i)
            tl_table_words(table, "");
        return;
    }
    tl_table_number(table, hearing->level_db, "");
    tl_table_number(table, hearing->worst_db, "");
    tl_table_number(table, hearing->worst_hz, "");
    tl_table_number(table, hearing->rms_db, "");
    tl_table_number(table, hearing->presence_db, "");
    tl_table_number(table, hearing->bands_over_half_db, "");
    tl_table_number(table, hearing->bands_over_1db, "");
    tl_table_number(table, hearing->bands_over_3db, "");
    tl_table_number(table, hearing->peak_shift_steps, "");
    tl_table_words(table, tl_verdict_words(hearing->verdict));
}

const tl_solved* worst_heard(const tl_answer* answer) {
    const tl_solved* worst = &answer->solved[0];
    for (size_t i = 2; i + 1 < answer->count; i += 2)
        if (tl_hearing_size(&answer->solved[i].hearing) > tl_hearing_size(&worst->hearing))
            worst = &answer->solved[i];
    return worst;
}

json_t* worst_hearing_json(const tl_answer* answer) {
    const tl_solved* worst = worst_heard(answer);
    json_t* json = tl_json_hearing(&worst->hearing);
    json_object_set_new(json, "amp", json_string(worst->amp));
    return json;
}

json_t* answer_json(const tl_answer* answer, size_t points) {
    json_t* list = json_array();
    for (size_t i = 0; i < answer->count; ++i) {
        const tl_solved* solved = &answer->solved[i];
        json_t* entry =
            tl_json_response(solved->name, solved->amp, solved->response, &solved->metrics,
                             answer->solves, solved->residual, points);
        if (strcmp(solved->name, "rig") == 0)
            json_object_set_new(entry, "hearing", tl_json_hearing(&solved->hearing));
        json_array_append_new(list, entry);
    }
    return list;
}

json_t* differences_json(const tl_answer* answer) {
    json_t* list = json_array();
    for (size_t i = 0; i + 1 < answer->count; i += 2) {
        const tl_solved* rig = &answer->solved[i];
        const tl_solved* direct = &answer->solved[i + 1];
        double db[DIFFERENCES];
        tl_differences_db(rig, direct, DIFFERENCES, difference_hz, db);
        json_t* points = json_array();
        for (size_t j = 0; j < DIFFERENCES; ++j) {
            json_t* point = json_object();
            json_object_set_new(point, "hz", tl_json_number(difference_hz[j]));
            json_object_set_new(point, "db", tl_json_number(db[j]));
            json_array_append_new(points, point);
        }
        json_t* entry = json_object();
        json_object_set_new(entry, "amp", json_string(rig->amp));
        json_object_set_new(entry, "level_db", tl_json_number(rig->hearing.level_db));
        json_object_set_new(entry, "points", points);
        json_array_append_new(list, entry);
    }
    return list;
}

bool answer_has_amps(const tl_answer* answer) {
    return answer->count > 2;
}

void print_unstable(FILE* to, const char* who, const tl_answer* answer) {
    for (size_t i = 0; i < answer->count; ++i)
        if (answer->solved[i].metrics.unstable)
            fprintf(
                to,
                "%s, %s at %s: UNSTABLE, a pole in the right half plane at %.4g Hz; the figures "
                "are not to be trusted\n",
                who, answer->solved[i].name, answer->solved[i].amp,
                answer->solved[i].metrics.unstable_hz);
}

void print_assumed_direct(FILE* to, const tl_rig* rig) {
    if (!tl_rig_has_direct(rig))
        fprintf(to, "Direct is 6 m of the library's standard-coax: the file does not say.\n");
}

void print_state_count(FILE* to, const request* asked, size_t states, size_t toggles) {
    char* words = tl_show_state_count(states, toggles, asked->fixes, asked->fix_count);
    fputs(words, to);
    free(words);
}

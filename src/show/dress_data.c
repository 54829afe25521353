// SPDX-License-Identifier: GPL-3.0-or-later
// What leads pick up, as JSON and CSV.
#include "toneload/show.h"

#include "base/text.h"
#include "show/dress.h"
#include "show/json.h"

#include <math.h>

static double told_share(const tl_dress_level* level) {
    return isnan(tl_dress_told_v(level->a_weighted_v)) ? NAN : level->electric;
}

static json_t* level_json(const tl_dress_level* level) {
    json_t* json = json_object();
    tl_json_put_number(json, "total_v", tl_dress_told_v(level->total_v));
    tl_json_put_number(json, "a_weighted_v", tl_dress_told_v(level->a_weighted_v));
    tl_json_put_number(json, "above_hearing_v", tl_dress_told_v(level->above_v));
    tl_json_put_number(json, "against_floor_db", tl_dress_told_db(level));
    tl_json_put_number(json, "electric_share", told_share(level));
    tl_json_put(json, "verdict", json_string(tl_dress_verdict_words(level->verdict)));
    return json;
}

static json_t* amp_json(const tl_dress* dress, const tl_dress_run* run, size_t amp) {
    const tl_dress_amp* at = &run->amps[amp];
    json_t* json = level_json(&at->as_is);
    tl_json_put(json, "amp", tl_json_words(dress->amps[amp]));
    tl_json_put(json, "crossing", level_json(&at->crossing));
    tl_json_put(json, "buffered", level_json(&at->buffered));
    tl_json_put_number(json, "buffered_noise_v", at->buffered_floor_v);
    tl_json_put_number(json, "enough_m", at->enough_m);
    tl_json_put_number(json, "enough_deg", at->enough_deg);
    tl_json_put_number(json, "ends_apart_m", at->ends_m);
    json_t* lines = json_array();
    for (size_t i = 0; i < at->line_count; ++i) {
        json_t* line = json_object();
        tl_json_put_number(line, "hz", at->lines[i].hz);
        tl_json_put_number(line, "v", at->lines[i].volt);
        json_array_append_new(lines, line);
    }
    tl_json_put(json, "lines", lines);
    return json;
}

static json_t* leak_json(const tl_dress* dress, const tl_dress_run* run, size_t amp) {
    const tl_dress_leak* leak = &run->leaks[amp];
    json_t* json = json_object();
    tl_json_put(json, "amp", tl_json_words(dress->amps[amp]));
    tl_json_put_number(json, "leak_db", isnan(leak->leak_hz) ? NAN : leak->leak_db);
    tl_json_put_number(json, "leak_hz", leak->leak_hz);
    tl_json_put(json, "unstable", json_boolean(leak->unstable));
    tl_json_put_number(json, "unstable_hz", leak->unstable_hz);
    tl_json_put(json, "hearing", tl_json_hearing(&leak->hearing));
    return json;
}

static void put_measured(json_t* json, const tl_dress_run* run) {
    tl_json_put_number(json, "mutual_henry", run->henry);
    tl_json_put_number(json, "impedance_ohm", run->impedance_ohm);
    tl_json_put_number(json, "buffered_ohm", run->buffered_ohm);
    tl_json_put_number(json, "unsolved_hz", run->unheard_hz > 0 ? run->unheard_hz : NAN);
    tl_json_put(json, "buffered_noise_is_todays", json_boolean(run->buffered_floor_is_todays));
    tl_json_put(json, "buffer_in_guitar", json_boolean(run->from_guitar));
}

static void put_loop(json_t* json, const tl_dress_run* run) {
    tl_json_put_number(json, "loop_gain_left_db", run->loop_db);
    tl_json_put_number(json, "loop_hz", run->loop_hz);
    tl_json_put(json, "may_lie", json_boolean(run->may_lie));
    tl_json_put_number(json, "enough_m", run->apart_m);
}

static json_t* run_json(const tl_dress* dress, const tl_dress_run* run) {
    json_t* json = json_object();
    tl_json_put(json, "name", tl_json_words(run->name));
    tl_json_put(json, "lead", tl_json_words(run->lead));
    tl_json_put(json, "beside", json_string(run->beside));
    tl_json_put(json, "source", tl_json_words(run->source));
    tl_json_put(json, "in_path", json_boolean(run->in_path));
    tl_json_put_number(json, "length_m", run->length_m);
    tl_json_put_number(json, "spacing_m", run->spacing_m);
    tl_json_put_number(json, "angle_deg", run->angle_deg);
    tl_json_put_number(json, "height_m", run->height_m);
    tl_json_put_number(json, "capacitance_farad", run->farad);
    json_t* amps = json_array();
    tl_json_put(json, "taken", tl_json_words(run->taken));
    if (run->amps)
        put_measured(json, run);
    if (run->leaks)
        put_loop(json, run);
    for (size_t amp = 0; (run->amps || run->leaks) && amp < dress->amp_count; ++amp)
        json_array_append_new(amps,
                              run->amps ? amp_json(dress, run, amp) : leak_json(dress, run, amp));
    tl_json_put(json, "amps", amps);
    return json;
}

static json_t* joints_json(const tl_dress* dress) {
    const tl_dress_joints* joints = &dress->joints;
    json_t* json = json_object();
    json_t* kinds = json_array();
    for (size_t i = 0; i < joints->kind_count; ++i) {
        const tl_dress_joint* kind = &joints->kinds[i];
        json_t* row = json_object();
        tl_json_put(row, "name", tl_json_words(kind->name));
        tl_json_put(row, "count", json_integer((json_int_t)kind->count));
        tl_json_put_number(row, "resistance_ohm", kind->ohm);
        tl_json_put_number(row, "leakage_ohm", kind->leakage_ohm);
        tl_json_put_number(row, "openings_in_1000_h", kind->openings);
        tl_json_put_number(row, "openings_a_gig", kind->a_gig);
        json_array_append_new(kinds, row);
    }
    tl_json_put(json, "count", json_integer((json_int_t)joints->count));
    tl_json_put_number(json, "series_ohm", joints->series_ohm);
    tl_json_put_number(json, "worst_ohm", joints->worst_ohm);
    tl_json_put(json, "unsaid", json_integer((json_int_t)joints->unsaid));
    tl_json_put_number(json, "leakage_ohm", joints->leakage_ohm);
    tl_json_put(json, "hearing", joints->count ? tl_json_hearing(&joints->hearing) : json_null());
    tl_json_put_number(json, "gig_h", TL_DRESS_GIG_H);
    bool known = joints->worst < joints->kind_count;
    tl_json_put_number(json, "openings_a_gig", known ? joints->openings_a_gig : NAN);
    tl_json_put_number(json, "gig_without_share", known ? joints->quiet_gig : NAN);
    tl_json_put(json, "opens_most",
                tl_json_words(known ? joints->kinds[joints->worst].name : NULL));
    tl_json_put_number(json, "gig_without_share_mended", known ? joints->mended_gig : NAN);
    tl_json_put(json, "kinds", kinds);
    return json;
}

static json_t* sum_json(const tl_dress* dress, size_t amp) {
    const tl_dress_sum* sum = &dress->together[amp];
    bool moved = sum->first < dress->run_count;
    json_t* json = level_json(&sum->level);
    tl_json_put(json, "move_first", tl_json_words(moved ? dress->runs[sum->first].name : NULL));
    tl_json_put_number(json, "move_first_to_m", sum->enough_m);
    tl_json_put_number(json, "without_it_db", moved ? sum->without_db : NAN);
    return json;
}

json_t* tl_dress_json(const tl_dress* dress) {
    json_t* json = tl_json_open("dress", dress->rig);
    json_t* floors = json_array();
    for (size_t amp = 0; amp < dress->amp_count; ++amp) {
        json_t* row = json_object();
        tl_json_put(row, "amp", tl_json_words(dress->amps[amp]));
        tl_json_put_number(row, "a_weighted_v", dress->floor_v[amp]);
        tl_json_put(row, "all_runs", sum_json(dress, amp));
        json_array_append_new(floors, row);
    }
    json_t* runs = json_array();
    for (size_t i = 0; i < dress->run_count; ++i)
        json_array_append_new(runs, run_json(dress, &dress->runs[i]));
    json_t* assumptions = json_array();
    for (size_t i = 0; i < TL_DRESS_ASSUMPTIONS; ++i)
        json_array_append_new(assumptions, json_string(tl_dress_assumptions[i].words));
    tl_json_put(json, "margin_db", tl_json_number(TL_DRESS_MARGIN_DB));
    tl_json_put(json, "fixed", tl_json_words(dress->fixed));
    tl_json_put(json, "buffer", tl_json_words(dress->buffer));
    tl_json_put(json, "amps", floors);
    tl_json_put(json, "runs", runs);
    tl_json_put(json, "joints", joints_json(dress));
    tl_json_put(json, "assumed", assumptions);
    tl_json_put(json, "cautions", tl_cautions_json(TL_DRESS_CAUTIONS));
    return json;
}

static void csv_lie(tl_table* table, const tl_dress* dress, const tl_dress_run* run, size_t amp) {
    tl_table_row(table);
    tl_table_words(table, run->name);
    tl_table_words(table, run->lead);
    tl_table_words(table, run->beside);
    tl_table_words(table, run->source);
    tl_table_words(table, run->in_path ? dress->amps[amp] : "");
    const double numbers[] = {run->length_m, run->spacing_m, run->angle_deg, run->height_m,
                              run->farad};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; ++i)
        tl_table_number(table, numbers[i], "");
}

static void csv_levels(tl_table* table, const tl_dress_run* run, size_t amp) {
    const tl_dress_amp* at = &run->amps[amp];
    const double numbers[] = {run->henry,
                              run->impedance_ohm,
                              tl_dress_told_v(at->as_is.total_v),
                              tl_dress_told_v(at->as_is.a_weighted_v),
                              tl_dress_told_v(at->as_is.above_v),
                              tl_dress_told_db(&at->as_is),
                              told_share(&at->as_is),
                              tl_dress_told_db(&at->crossing),
                              tl_dress_told_db(&at->buffered),
                              at->enough_m,
                              at->enough_deg};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; ++i)
        tl_table_number(table, numbers[i], "");
    tl_table_words(table, tl_dress_verdict_words(at->as_is.verdict));
}

static void csv_leak(tl_table* table, const tl_dress_run* run, const tl_dress_leak* leak) {
    for (int i = 0; i < 9; ++i)
        tl_table_number(table, NAN, "");
    tl_table_number(table, run->apart_m, "");
    tl_table_number(table, NAN, "");
    tl_table_words(table, leak->unstable ? "howls" : tl_verdict_words(leak->hearing.verdict));
    tl_table_number(table, isnan(leak->leak_hz) ? NAN : leak->leak_db, "");
    tl_table_number(table, leak->leak_hz, "");
    tl_table_number(table, leak->hearing.worst_db, "");
    tl_table_number(table, run->loop_db, "");
}

char* tl_dress_csv(const tl_dress* dress) {
    static const char* const fields[] = {"name",
                                         "lead",
                                         "beside",
                                         "source",
                                         "amp",
                                         "length_m",
                                         "spacing_m",
                                         "angle_deg",
                                         "height_m",
                                         "farad",
                                         "henry",
                                         "impedance_ohm",
                                         "total_v",
                                         "a_weighted_v",
                                         "above_hearing_v",
                                         "floor_db",
                                         "electric_share",
                                         "crossing_db",
                                         "buffered_db",
                                         "enough_m",
                                         "enough_deg",
                                         "verdict",
                                         "leak_db",
                                         "leak_hz",
                                         "worst_db",
                                         "loop_gain_left_db"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        size_t rows = run->in_path ? dress->amp_count : 1;
        for (size_t amp = 0; amp < rows; ++amp) {
            csv_lie(table, dress, run, amp);
            if (run->amps)
                csv_levels(table, run, amp);
            if (run->leaks)
                csv_leak(table, run, &run->leaks[amp]);
        }
    }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A pickup worked out of a sweep as JSON and CSV.
#include "show/fit.h"
#include "toneload/show.h"

#include <math.h>

static const double deg = 180 / M_PI;

static void put(json_t* to, const char* key, double number) {
    json_object_set_new(to, key, tl_json_number(number));
}

static void put_words(json_t* to, const char* key, const char* words) {
    json_object_set_new(to, key, tl_json_words(words));
}

static json_t* values_json(const tl_fit* fit) {
    json_t* values = json_array();
    for (size_t i = 0; i < TL_FIT_TOTAL; ++i) {
        const tl_fit_estimate* one = &fit->values[i];
        if (!one->used)
            continue;
        json_t* value = json_object();
        put_words(value, "name", one->name);
        put_words(value, "unit", one->unit);
        put(value, "value", one->value);
        put(value, "low", one->low);
        put(value, "high", one->high);
        json_object_set_new(value, "known", json_boolean(one->known));
        json_object_set_new(value, "told", json_boolean(one->told));
        json_array_append_new(values, value);
    }
    return values;
}

static json_t* pairs_json(const tl_fit* fit) {
    json_t* pairs = json_array();
    for (size_t i = 0; i < fit->pair_count; ++i) {
        json_t* pair = json_object();
        put_words(pair, "a", tl_fit_name(fit->pairs[i].a));
        put_words(pair, "b", tl_fit_name(fit->pairs[i].b));
        put(pair, "r", fit->pairs[i].correlation);
        json_array_append_new(pairs, pair);
    }
    return pairs;
}

static json_t* rival_json(const tl_fit* fit) {
    if (!fit->rival)
        return json_null();
    json_t* rival = json_object();
    for (size_t i = 0; i < TL_FIT_TOTAL; ++i)
        if (fit->values[i].used)
            put(rival, fit->values[i].name, fit->rival_values[i]);
    return rival;
}

static json_t* misfit_json(const tl_fit* fit) {
    json_t* misfit = json_object();
    put(misfit, "size_rms", fit->size_rms);
    put(misfit, "phase_rms_deg", fit->phase_rms * deg);
    put(misfit, "noise", fit->noise);
    put(misfit, "runs_z", fit->runs_z);
    put(misfit, "worst", fit->miss);
    put(misfit, "worst_hz", fit->miss_hz);
    json_object_set_new(misfit, "more_than_chance", json_boolean(fit->misses));
    return misfit;
}

static json_t* resonance_json(const tl_fit* fit) {
    json_t* resonance = json_object();
    put(resonance, "hz", fit->resonance_hz);
    put(resonance, "low_hz", fit->resonance_low_hz);
    put(resonance, "high_hz", fit->resonance_high_hz);
    put(resonance, "q", fit->q);
    put(resonance, "q_low", fit->q_low);
    put(resonance, "q_high", fit->q_high);
    return resonance;
}

static json_t* meter_json(const tl_fit* fit) {
    json_t* meter = json_array();
    for (size_t i = 0; i < sizeof fit->meter_hz / sizeof *fit->meter_hz; ++i) {
        json_t* reading = json_object();
        put(reading, "hz", fit->meter_hz[i]);
        put(reading, "inductance", fit->meter_henry[i]);
        json_array_append_new(meter, reading);
    }
    return meter;
}

static json_t* list_json(char* const* words, size_t count) {
    json_t* list = json_array();
    for (size_t i = 0; i < count; ++i)
        json_array_append_new(list, tl_json_words(words[i]));
    return list;
}

static json_t* curve_json(const tl_fit* fit) {
    json_t* curve = json_array();
    for (size_t i = 0; i < fit->point_count; ++i) {
        const tl_fit_point* point = &fit->points[i];
        json_t* row = json_object();
        put(row, "hz", point->hz);
        put(row, "weight", point->weight);
        put(row, "measured", point->measured);
        put(row, "fitted", point->fitted);
        put(row, "measured_deg", point->measured_rad * deg);
        put(row, "fitted_deg", point->fitted_rad * deg);
        json_array_append_new(curve, row);
    }
    return curve;
}

json_t* tl_fit_json(const tl_fit* fit) {
    json_t* json = tl_json_open("fit", NULL);
    put_words(json, "file", fit->file);
    put_words(json, "kind", fit->kind == TL_MEASURED_IMPEDANCE ? "impedance" : "response");
    json_object_set_new(json, "points", json_integer((json_int_t)fit->measured));
    json_object_set_new(json, "gathered", json_integer((json_int_t)fit->point_count));
    json_object_set_new(json, "phase", json_boolean(fit->phased));
    put_words(json, "controls", fit->controls);
    put_words(json, "cable", fit->cable);
    put_words(json, "load", fit->load);
    put_words(json, "held", fit->held);
    json_object_set_new(json, "values", values_json(fit));
    json_t* eddy = json_object();
    json_object_set_new(eddy, "kept", json_boolean(fit->eddy));
    json_object_set_new(eddy, "tried", json_boolean(fit->eddy_tried));
    put(eddy, "aicc_lower_by", fit->eddy_aicc);
    json_object_set_new(json, "eddy", eddy);
    json_t* loss = json_object();
    put_words(loss, "name", fit->robust ? "cauchy" : "squares");
    put(loss, "scale", fit->robust_scale);
    json_object_set_new(json, "loss", loss);
    json_object_set_new(json, "degrees_of_freedom", json_integer((json_int_t)fit->freedom));
    put(json, "student_t", fit->student_t);
    json_object_set_new(json, "correlations", pairs_json(fit));
    put(json, "condition", fit->condition);
    json_object_set_new(json, "rival", rival_json(fit));
    json_object_set_new(json, "misfit", misfit_json(fit));
    json_object_set_new(json, "resonance", resonance_json(fit));
    json_object_set_new(json, "meter", meter_json(fit));
    json_object_set_new(json, "warnings", list_json(fit->warnings, fit->warning_count));
    json_object_set_new(json, "notes", list_json(fit->notes, fit->note_count));
    json_object_set_new(json, "curve", curve_json(fit));
    return json;
}

static void add_row(tl_table* table, const char* name, double value, double low, double high,
                    const char* unit, const char* known) {
    tl_table_row(table);
    tl_table_words(table, name);
    tl_table_number(table, value, "");
    tl_table_number(table, low, "");
    tl_table_number(table, high, "");
    tl_table_words(table, unit);
    tl_table_words(table, known);
}

char* tl_fit_csv(const tl_fit* fit) {
    static const char* const fields[] = {"name", "value", "low", "high", "unit", "how"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < TL_FIT_TOTAL; ++i) {
        const tl_fit_estimate* one = &fit->values[i];
        if (one->used)
            add_row(table, one->name, one->value, one->low, one->high, one->unit,
                    one->known ? "held" : "fitted");
    }
    add_row(table, "resonance", fit->resonance_hz, fit->resonance_low_hz, fit->resonance_high_hz,
            "Hz", "follows");
    add_row(table, "q", fit->q, fit->q_low, fit->q_high, "", "follows");
    char* csv = tl_table_csv(table);
    tl_table_free(table);
    return csv;
}

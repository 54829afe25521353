// SPDX-License-Identifier: GPL-3.0-or-later
// A pickup worked out of a sweep as JSON and CSV.
#include "show/fit.h"
#include "show/json.h"
#include "toneload/show.h"

#include <math.h>

static const double deg = 180 / M_PI;

static json_t* values_json(const tl_fit* fit) {
    json_t* values = json_array();
    for (size_t i = 0; i < TL_FIT_TOTAL; ++i) {
        const tl_fit_estimate* one = &fit->values[i];
        if (!one->used)
            continue;
        json_t* value = json_object();
        tl_json_put_words(value, "name", one->name);
        tl_json_put_words(value, "unit", one->unit);
        tl_json_put_number(value, "value", one->value);
        tl_json_put_number(value, "low", one->low);
        tl_json_put_number(value, "high", one->high);
        tl_json_put(value, "known", json_boolean(one->known));
        tl_json_put(value, "told", json_boolean(one->told));
        json_array_append_new(values, value);
    }
    return values;
}

static json_t* pairs_json(const tl_fit* fit) {
    json_t* pairs = json_array();
    for (size_t i = 0; i < fit->pair_count; ++i) {
        json_t* pair = json_object();
        tl_json_put_words(pair, "a", tl_fit_name(fit->pairs[i].a));
        tl_json_put_words(pair, "b", tl_fit_name(fit->pairs[i].b));
        tl_json_put_number(pair, "r", fit->pairs[i].correlation);
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
            tl_json_put_number(rival, fit->values[i].name, fit->rival_values[i]);
    return rival;
}

static json_t* misfit_json(const tl_fit* fit) {
    json_t* misfit = json_object();
    tl_json_put_number(misfit, "size_rms", fit->size_rms);
    tl_json_put_number(misfit, "phase_rms_deg", fit->phase_rms * deg);
    tl_json_put_number(misfit, "noise", fit->noise);
    tl_json_put_number(misfit, "runs_z", fit->runs_z);
    tl_json_put_number(misfit, "worst", fit->miss);
    tl_json_put_number(misfit, "worst_hz", fit->miss_hz);
    tl_json_put(misfit, "more_than_chance", json_boolean(fit->misses));
    return misfit;
}

static json_t* resonance_json(const tl_fit* fit) {
    json_t* resonance = json_object();
    tl_json_put_number(resonance, "hz", fit->resonance_hz);
    tl_json_put_number(resonance, "low_hz", fit->resonance_low_hz);
    tl_json_put_number(resonance, "high_hz", fit->resonance_high_hz);
    tl_json_put_number(resonance, "q", fit->q);
    tl_json_put_number(resonance, "q_low", fit->q_low);
    tl_json_put_number(resonance, "q_high", fit->q_high);
    return resonance;
}

static json_t* meter_json(const tl_fit* fit) {
    json_t* meter = json_array();
    for (size_t i = 0; i < sizeof fit->meter_hz / sizeof *fit->meter_hz; ++i) {
        json_t* reading = json_object();
        tl_json_put_number(reading, "hz", fit->meter_hz[i]);
        tl_json_put_number(reading, "inductance", fit->meter_henry[i]);
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
        tl_json_put_number(row, "hz", point->hz);
        tl_json_put_number(row, "weight", point->weight);
        tl_json_put_number(row, "measured", point->measured);
        tl_json_put_number(row, "fitted", point->fitted);
        tl_json_put_number(row, "measured_deg", point->measured_rad * deg);
        tl_json_put_number(row, "fitted_deg", point->fitted_rad * deg);
        json_array_append_new(curve, row);
    }
    return curve;
}

json_t* tl_fit_json(const tl_fit* fit) {
    json_t* json = tl_json_open("fit", NULL);
    tl_json_put_words(json, "file", fit->file);
    tl_json_put_words(json, "kind", fit->kind == TL_MEASURED_IMPEDANCE ? "impedance" : "response");
    tl_json_put(json, "points", json_integer((json_int_t)fit->measured));
    tl_json_put(json, "gathered", json_integer((json_int_t)fit->point_count));
    tl_json_put(json, "phase", json_boolean(fit->phased));
    tl_json_put_words(json, "controls", fit->controls);
    tl_json_put_words(json, "cable", fit->cable);
    tl_json_put_words(json, "load", fit->load);
    tl_json_put_words(json, "held", fit->held);
    tl_json_put(json, "values", values_json(fit));
    json_t* eddy = json_object();
    tl_json_put(eddy, "kept", json_boolean(fit->eddy));
    tl_json_put(eddy, "tried", json_boolean(fit->eddy_tried));
    tl_json_put_number(eddy, "aicc_lower_by", fit->eddy_aicc);
    tl_json_put(json, "eddy", eddy);
    json_t* loss = json_object();
    tl_json_put_words(loss, "name", fit->robust ? "cauchy" : "squares");
    tl_json_put_number(loss, "scale", fit->robust_scale);
    tl_json_put(json, "loss", loss);
    tl_json_put(json, "degrees_of_freedom", json_integer((json_int_t)fit->freedom));
    tl_json_put_number(json, "student_t", fit->student_t);
    tl_json_put(json, "correlations", pairs_json(fit));
    tl_json_put_number(json, "condition", fit->condition);
    tl_json_put(json, "rival", rival_json(fit));
    tl_json_put(json, "misfit", misfit_json(fit));
    tl_json_put(json, "resonance", resonance_json(fit));
    tl_json_put(json, "meter", meter_json(fit));
    tl_json_put(json, "warnings", list_json(fit->warnings, fit->warning_count));
    tl_json_put(json, "notes", list_json(fit->notes, fit->note_count));
    tl_json_put(json, "curve", curve_json(fit));
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

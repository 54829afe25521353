// SPDX-License-Identifier: GPL-3.0-or-later
// What many trials came to, for other programs.
#include "show/json.h"
#include "show/spread.h"

#include <math.h>
#include <stdlib.h>

static const char* const percentile_names[TL_PERCENTILES] = {"p01", "p05", "p25", "p50",
                                                             "p75", "p95", "p99"};

/// Numbers past 2^53 - 1 are not the same in all readers of JSON (RFC 8259, section 6).
static json_t* seed_json(uint64_t seed) {
    if (seed < (UINT64_C(1) << 53))
        return json_integer((json_int_t)seed);
    char* digits = tl_printf("%llu", (unsigned long long)seed);
    json_t* json = json_string(digits);
    free(digits);
    return json;
}

static void set_percentiles(json_t* to, const double* percentile) {
    for (int i = 0; i < TL_PERCENTILES; ++i)
        tl_json_put_number(to, percentile_names[i], percentile[i]);
}

/// A corner's ends by path.
static json_t* corner_json(const tl_spread* spread, const signed char* at) {
    json_t* json = json_object();
    for (size_t i = 0; i < spread->value_count; ++i) {
        json_t* name = tl_json_words(spread->values[i].path);
        json_object_set_new(json, json_string_value(name), json_integer(at[i]));
        json_decref(name);
    }
    return json;
}

static json_t* metric_json(const tl_spread* spread, const tl_spread_figure* figure) {
    json_t* json = json_object();
    set_percentiles(json, figure->percentile);
    tl_json_put_number(json, "none_share", tl_spread_none(spread, figure));
    tl_json_put_number(json, "nominal", figure->nominal);
    tl_json_put_number(json, "mean", figure->mean);
    tl_json_put_number(json, "deviation", figure->deviation);
    tl_json_put_number(json, "low", figure->low);
    tl_json_put_number(json, "high", figure->high);
    json_t* bars = json_array();
    for (int i = 0; figure->bars && i < TL_SPREAD_BARS; ++i)
        json_array_append_new(bars, json_integer((json_int_t)figure->bars[i]));
    json_object_set_new(json, "bars", bars);
    tl_json_put_number(json, "least", spread->worst_case ? figure->least : NAN);
    tl_json_put_number(json, "most", spread->worst_case ? figure->most : NAN);
    tl_json_put_count(json, "corner_none", figure->corner_none);
    if (spread->worst_case && figure->least_at)
        json_object_set_new(json, "least_at", corner_json(spread, figure->least_at));
    if (spread->worst_case && figure->most_at)
        json_object_set_new(json, "most_at", corner_json(spread, figure->most_at));
    return json;
}

static json_t* metrics_json(const tl_spread* spread, size_t amp) {
    json_t* json = json_object();
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind)
        json_object_set_new(json, tl_spread_figure_at(kind)->name,
                            metric_json(spread, tl_spread_of(spread, amp, kind)));
    return json;
}

static json_t* sensitivity_json(const tl_spread* spread, size_t amp) {
    json_t* list = json_array();
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind)
        for (size_t i = 0; i < spread->value_count; ++i) {
            const tl_spread_effect* effect = &tl_spread_of(spread, amp, kind)->effects[i];
            json_t* entry = json_object();
            tl_json_put_words(entry, "metric", tl_spread_figure_at(kind)->name);
            tl_json_put_words(entry, "path", spread->values[i].path);
            tl_json_put_number(entry, "slope", effect->slope);
            tl_json_put_number(entry, "correlation", effect->correlation);
            tl_json_put_number(entry, "variance_share", effect->variance_share);
            json_array_append_new(list, entry);
        }
    return list;
}

static json_t* shares_json(const double shares[4]) {
    json_t* json = json_object();
    tl_json_put_number(json, "not_audible", shares[TL_NOT_AUDIBLE]);
    tl_json_put_number(json, "borderline", shares[TL_BORDERLINE]);
    tl_json_put_number(json, "audible", shares[TL_AUDIBLE]);
    tl_json_put_number(json, "plain", shares[TL_PLAIN]);
    return json;
}

static json_t* heard_json(const tl_spread* spread, size_t amp) {
    double shares[4];
    for (int i = TL_NOT_AUDIBLE; i <= TL_PLAIN; ++i)
        shares[i] = tl_spread_heard(spread, amp, (tl_verdict)i);
    json_t* json = shares_json(shares);
    tl_json_put_words(json, "nominal", tl_verdict_words(spread->nominal_heard[amp]));
    return json;
}

static json_t* numbers_json(const double* numbers, size_t count) {
    json_t* list = json_array();
    for (size_t i = 0; numbers && i < count; ++i)
        json_array_append_new(list, tl_json_number(numbers[i]));
    return list;
}

static json_t* band_json(const tl_spread* spread, const tl_spread_band* band,
                         const double* nominal) {
    json_t* json = json_object();
    for (int i = 0; i < TL_PERCENTILES; ++i)
        json_object_set_new(json, percentile_names[i],
                            numbers_json(band->db[i], spread->point_count));
    json_object_set_new(json, "nominal", numbers_json(nominal, spread->point_count));
    return json;
}

static json_t* curves_json(const tl_spread* spread, size_t amp) {
    json_t* json = json_object();
    json_object_set_new(json, "hz", numbers_json(spread->hz, spread->point_count));
    json_object_set_new(json, "level",
                        band_json(spread, &spread->levels[amp], spread->nominal_db[amp]));
    json_object_set_new(
        json, "difference",
        band_json(spread, &spread->differences[amp], spread->nominal_difference_db[amp]));
    return json;
}

static void set_amp(json_t* to, const tl_spread* spread, size_t amp) {
    tl_json_put_words(to, "amp", spread->amps[amp]);
    json_object_set_new(to, "metrics", metrics_json(spread, amp));
    json_object_set_new(to, "sensitivity", sensitivity_json(spread, amp));
    json_object_set_new(to, "heard", heard_json(spread, amp));
    json_object_set_new(to, "curves", curves_json(spread, amp));
}

static json_t* values_json(const tl_spread* spread) {
    json_t* list = json_array();
    for (size_t i = 0; i < spread->value_count; ++i) {
        const tl_spread_value* value = &spread->values[i];
        json_t* entry = json_object();
        tl_json_put_words(entry, "path", value->path);
        tl_json_put_words(entry, "about", value->about);
        tl_json_put_words(entry, "shown", value->shown);
        tl_json_put_number(entry, "nominal", value->nominal);
        tl_json_put_number(entry, "tolerance", value->share);
        tl_json_put_words(entry, "distribution", value->uniform ? "uniform" : "normal");
        tl_json_put_words(entry, "origin", value->origin);
        tl_json_put_words(entry, "followed", value->followed);
        json_array_append_new(list, entry);
    }
    return list;
}

static json_t* failures_json(const tl_spread* spread) {
    json_t* list = json_array();
    for (size_t i = 0; i < spread->failure_count && i < TL_SPREAD_FAILURES; ++i) {
        json_t* entry = json_object();
        tl_json_put_count(entry, "trial", spread->failures[i].trial);
        tl_json_put_words(entry, "why", spread->failures[i].why);
        json_array_append_new(list, entry);
    }
    return list;
}

static json_t* corners_json(const tl_spread* spread) {
    if (!spread->worst_case)
        return json_null();
    json_t* json = json_object();
    tl_json_put_count(json, "corners", spread->corner_count);
    json_object_set_new(json, "all", json_boolean(spread->all_corners));
    return json;
}

static void set_choice_amp(json_t* to, const tl_spread_choice* choice, size_t amp) {
    json_t* metrics = json_object();
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind) {
        size_t at = amp * TL_SPREAD_FIGURES + kind;
        json_t* metric = json_object();
        set_percentiles(metric, choice->percentile[at]);
        tl_json_put_number(metric, "deviation", choice->deviation[at]);
        json_object_set_new(metrics, tl_spread_figure_at(kind)->name, metric);
    }
    json_object_set_new(to, "metrics", metrics);
    json_object_set_new(to, "heard", shares_json(choice->heard[amp]));
}

static json_t* choice_json(const tl_spread* spread, const tl_spread_choice* choice) {
    json_t* json = json_object();
    tl_json_put_words(json, "words", choice->words);
    tl_json_put_words(json, "about", choice->about);
    tl_json_put_count(json, "trials", choice->trials);
    if (spread->amp_count)
        set_choice_amp(json, choice, 0);
    if (spread->amp_count < 2)
        return json;
    json_t* amps = json_array();
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        json_t* entry = json_object();
        tl_json_put_words(entry, "amp", spread->amps[amp]);
        set_choice_amp(entry, choice, amp);
        json_array_append_new(amps, entry);
    }
    json_object_set_new(json, "amps", amps);
    return json;
}

json_t* tl_spread_json(const tl_spread* spread) {
    json_t* json = tl_json_open("spread", spread->rig);
    tl_json_put_count(json, "trials", spread->trials);
    json_object_set_new(json, "seed", seed_json(spread->seed));
    tl_json_put_count(json, "done", spread->done);
    tl_json_put_number(json, "reference_hz", spread->reference_hz);
    json_object_set_new(json, "direct_assumed", json_boolean(spread->direct_assumed));
    tl_json_put_count(json, "failed", spread->failure_count);
    json_object_set_new(json, "failures", failures_json(spread));
    json_object_set_new(json, "values", values_json(spread));
    json_object_set_new(json, "worst_case", corners_json(spread));
    if (spread->amp_count)
        set_amp(json, spread, 0);
    json_t* choices = json_array();
    for (size_t i = 0; i < spread->choice_count; ++i)
        json_array_append_new(choices, choice_json(spread, &spread->choices[i]));
    json_object_set_new(json, "choices", choices);
    if (spread->amp_count < 2)
        return json;
    json_t* amps = json_array();
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        json_t* entry = json_object();
        set_amp(entry, spread, amp);
        json_array_append_new(amps, entry);
    }
    json_object_set_new(json, "amps", amps);
    return json;
}

static void add_row(tl_table* table, const tl_spread* spread, size_t amp, size_t kind) {
    const tl_spread_figure* figure = tl_spread_of(spread, amp, kind);
    tl_table_row(table);
    tl_table_words(table, spread->amps[amp]);
    tl_table_words(table, tl_spread_figure_at(kind)->name);
    tl_table_words(table, tl_spread_figure_at(kind)->unit);
    tl_table_number(table, figure->nominal, "");
    for (int i = 0; i < TL_PERCENTILES; ++i)
        tl_table_number(table, figure->percentile[i], "");
    tl_table_number(table, figure->mean, "");
    tl_table_number(table, figure->deviation, "");
    tl_table_number(table, figure->low, "");
    tl_table_number(table, figure->high, "");
    tl_table_number(table, tl_spread_none(spread, figure), "");
    if (!spread->worst_case)
        return;
    tl_table_number(table, figure->least, "");
    tl_table_number(table, figure->most, "");
}

char* tl_spread_csv(const tl_spread* spread) {
    static const char* const fields[] = {
        "amp", "metric", "unit", "nominal",   "p01", "p05",  "p25",        "p50",   "p75",
        "p95", "p99",    "mean", "deviation", "low", "high", "none_share", "least", "most"};
    enum { PLAIN = 16 };
    size_t count = spread->worst_case ? sizeof fields / sizeof *fields : PLAIN;
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < count; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind)
            add_row(table, spread, amp, kind);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

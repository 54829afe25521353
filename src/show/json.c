// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/json.h"

#include "base/locale.h"
#include "base/text.h"
#include "show/number.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

static const double pi = 3.14159265358979323846;

json_t* tl_json_number(double number) {
    if (!isfinite(number))
        return json_null();
    tl_locale locale = tl_locale_plain();
    char words[40];
    snprintf(words, sizeof words, "%.10g", number);
    double rounded = strtod(words, NULL);
    tl_locale_restore(locale);
    return json_real(isfinite(rounded) ? rounded : number);
}

json_t* tl_json_words(const char* words) {
    if (!words)
        return json_null();
    json_t* exact = json_string(words);
    if (exact)
        return exact;
    tl_text safe = {0}; // no UTF-8: JSON cannot hold it as it is
    tl_text_add_safe(&safe, words);
    json_t* shown = json_string(tl_text_get(&safe));
    tl_text_free(&safe);
    return shown;
}

void tl_json_put(json_t* to, const char* field, json_t* value) {
    json_object_set_new(to, field, value);
}

void tl_json_put_number(json_t* to, const char* field, double number) {
    tl_json_put(to, field, tl_json_number(number));
}

void tl_json_put_words(json_t* to, const char* field, const char* words) {
    tl_json_put(to, field, tl_json_words(words));
}

void tl_json_put_count(json_t* to, const char* field, size_t count) {
    tl_json_put(to, field, json_integer((json_int_t)count));
}

json_t* tl_json_open(const char* command, const char* rig) {
    json_t* opened = json_object();
    json_object_set_new(opened, "toneload", json_string(TL_VERSION));
    json_object_set_new(opened, "command", tl_json_words(command));
    json_object_set_new(opened, "rig", tl_json_words(rig));
    return opened;
}

/// Log-spaced points from 20 Hz to 20 kHz, both included: the ends of hearing, so also of a plot.
static json_t* points_of(const tl_response* response, size_t count) {
    json_t* points = json_array();
    for (size_t i = 0; i < count; ++i) {
        double hz = count < 2 ? 20 : 20 * pow(1000, (double)i / (double)(count - 1));
        double _Complex h = tl_response_at(response, hz);
        json_t* point = json_object();
        json_object_set_new(point, "hz", tl_json_number(hz));
        json_object_set_new(point, "db", tl_json_number(20 * log10(cabs(h))));
        json_object_set_new(point, "deg", tl_json_number(carg(h) * 180 / pi));
        json_array_append_new(points, point);
    }
    return points;
}

json_t* tl_json_response(const char* name, const char* amp, const tl_response* response,
                         const tl_metrics* metrics, size_t solves, double residual, size_t points) {
    json_t* all = json_object();
    json_object_set_new(all, "name", tl_json_words(name));
    json_object_set_new(all, "amp", tl_json_words(amp));
    json_object_set_new(all, "reference_hz", tl_json_number(metrics->reference_hz));
    json_object_set_new(all, "reference_db", tl_json_number(metrics->reference_db));
    json_object_set_new(all, "peak_hz", tl_json_number(metrics->peak_hz));
    json_object_set_new(all, "peak_db", tl_json_number(metrics->peak_db));
    json_object_set_new(all, "pole_hz", tl_json_number(metrics->pole_hz));
    json_object_set_new(all, "q", tl_json_number(metrics->q));
    json_object_set_new(all, "bandwidth_q", tl_json_number(metrics->bandwidth_q));
    json_object_set_new(all, "cutoff_hz", tl_json_number(metrics->cutoff_hz));
    json_object_set_new(all, "solves", json_integer((json_int_t)solves));
    json_object_set_new(all, "residual", tl_json_number(residual));
    if (points)
        json_object_set_new(all, "points", points_of(response, points));
    return all;
}

char* tl_json_text(json_t* json) {
    // All in ASCII: jansson leaves C1 controls and DEL's kin as they are, and a terminal obeys
    // them.
    char* dumped = json_dumps(json, JSON_INDENT(2) | JSON_ENSURE_ASCII | JSON_ENCODE_ANY |
                                        JSON_REAL_PRECISION(10));
    json_decref(json);
    char* text = tl_printf("%s\n", dumped ? dumped : "null");
    free(dumped);
    return text;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What the bench found, for other programs.
#include "toneload/show.h"

#include "base/text.h"
#include "show/json.h"

#include <math.h>
#include <string.h>

static const char* beyond_words(const tl_bench_figure* figure) {
    return figure->beyond > 0 ? "over" : figure->beyond < 0 ? "under" : "";
}

static json_t* grade_json(tl_grade grade) {
    return grade == TL_GRADE_NONE ? json_null() : json_string(tl_grade_words(grade));
}

static json_t* limit_json(const tl_bench_limit* limit) {
    if (!limit)
        return json_null();
    json_t* json = json_object();
    tl_json_put_words(json, "words", limit->words);
    if (limit->pass_words) {
        tl_json_put_words(json, "pass", limit->pass_words);
        tl_json_put_words(json, "marginal", limit->marginal_words);
    } else {
        tl_json_put_number(json, "pass_low", limit->pass_low);
        tl_json_put_number(json, "pass_high", limit->pass_high);
        tl_json_put_number(json, "marginal_low", limit->marginal_low);
        tl_json_put_number(json, "marginal_high", limit->marginal_high);
    }
    tl_json_put_words(json, "why", limit->why);
    tl_json_put_words(json, "source", limit->source);
    return json;
}

/// A figure's value and what goes with it.
static void set_figure(json_t* to, const tl_bench_line* line, const tl_bench_figure* figure) {
    tl_json_put_number(to, "value", figure->trouble ? NAN : figure->value);
    tl_json_put_words(to, "unit", line->unit);
    if (figure->beyond)
        tl_json_put_words(to, "beyond", beyond_words(figure));
    if (figure->words)
        tl_json_put_words(to, "words", figure->words);
    if (figure->trouble)
        tl_json_put_words(to, "trouble", figure->trouble);
}

static json_t* figures_json(const tl_bench* bench, size_t index) {
    json_t* list = json_array();
    for (size_t i = 0; i < bench->line_count; ++i) {
        const tl_bench_line* line = &bench->lines[i];
        const tl_bench_figure* figure = &bench->designs[index].figures[i];
        json_t* entry = json_object();
        tl_json_put_words(entry, "id", line->id);
        tl_json_put_words(entry, "group", line->group);
        tl_json_put_words(entry, "title", line->title);
        set_figure(entry, line, figure);
        json_object_set_new(entry, "limit", limit_json(line->limit));
        json_object_set_new(entry, "verdict", grade_json(figure->grade));
        json_object_set_new(entry, "best", json_boolean(line->best == index));
        json_array_append_new(list, entry);
    }
    return list;
}

static json_t* noises_json(const tl_bench_design* design) {
    json_t* list = json_array();
    for (size_t i = 0; i < design->noise_count; ++i) {
        const tl_bench_noise* noise = &design->noises[i];
        json_t* parts = json_array();
        for (size_t j = 0; j < noise->count; ++j) {
            json_t* part = json_object();
            tl_json_put_words(part, "name", noise->parts[j].name);
            tl_json_put_number(part, "share", noise->parts[j].share);
            json_array_append_new(parts, part);
        }
        json_t* entry = json_object();
        tl_json_put_words(entry, "source", noise->source);
        json_object_set_new(entry, "parts", parts);
        json_array_append_new(list, entry);
    }
    return list;
}

/// The curves by name, each a list of points; a curve that could not be measured is empty.
static json_t* curves_json(const tl_bench_design* design) {
    static const struct {
        const char* name;
        const char* x;
        const char* y;
    } kinds[TL_BENCH_CURVES] = {
        [TL_BENCH_GAIN] = {"gain", "hz", "db"},
        [TL_BENCH_GAIN_LOADED] = {"gain_loaded", "hz", "db"},
        [TL_BENCH_INPUT] = {"input_impedance", "hz", "ohm"},
        [TL_BENCH_THD] = {"thd", "v", "percent"},
        [TL_BENCH_NOISE] = {"noise_density", "hz", "v_rthz"},
    };
    json_t* json = json_object();
    for (size_t i = 0; i < TL_BENCH_CURVES; ++i) {
        const tl_bench_curve* curve = &design->curves[i];
        json_t* points = json_array();
        for (size_t j = 0; j < curve->count; ++j) {
            json_t* point = json_object();
            tl_json_put_number(point, kinds[i].x, curve->x[j]);
            tl_json_put_number(point, kinds[i].y, curve->y[j]);
            json_array_append_new(points, point);
        }
        json_object_set_new(json, kinds[i].name, points);
    }
    return json;
}

static json_t* corners_json(const tl_bench* bench, const tl_bench_design* design) {
    json_t* list = json_array();
    for (size_t i = 0; i < bench->line_count; ++i) {
        json_t* entry = json_object();
        tl_json_put_words(entry, "id", bench->lines[i].id);
        set_figure(entry, &bench->lines[i], &design->worst[i]);
        json_object_set_new(entry, "verdict", grade_json(design->worst[i].grade));
        tl_json_put_words(entry, "at", design->worst_at ? design->worst_at[i] : NULL);
        json_array_append_new(list, entry);
    }
    json_t* json = json_object();
    json_object_set_new(json, "specimens", json_integer((json_int_t)design->corner_count));
    json_object_set_new(json, "by_slope", json_boolean(design->by_slope));
    json_object_set_new(json, "worst", list);
    return json;
}

json_t* tl_bench_json(const tl_bench* bench, const char* rig) {
    json_t* json = tl_json_open("bench", rig);
    json_t* list = json_array();
    for (size_t i = 0; i < bench->count; ++i) {
        const tl_bench_design* design = &bench->designs[i];
        json_t* entry = json_object();
        tl_json_put_words(entry, "name", design->name);
        tl_json_put_words(entry, "file", design->file);
        json_object_set_new(entry, "figures", figures_json(bench, i));
        json_object_set_new(entry, "noise", noises_json(design));
        json_object_set_new(entry, "curves", curves_json(design));
        if (design->worst)
            json_object_set_new(entry, "corners", corners_json(bench, design));
        json_array_append_new(list, entry);
    }
    json_object_set_new(json, "designs", list);
    return json;
}

static void add_figure(tl_table* table, const tl_bench_figure* figure) {
    tl_table_number(table, figure->trouble ? NAN : figure->value, "");
    tl_table_words(table, beyond_words(figure));
    tl_table_words(table, figure->words);
    tl_table_words(table, figure->trouble);
    tl_table_words(table, tl_grade_words(figure->grade));
}

static void add_row(tl_table* table, const tl_bench* bench, size_t index, size_t at) {
    const tl_bench_line* line = &bench->lines[at];
    const tl_bench_design* design = &bench->designs[index];
    tl_table_row(table);
    tl_table_words(table, design->name);
    tl_table_words(table, design->file);
    tl_table_words(table, line->id);
    tl_table_words(table, line->group);
    tl_table_words(table, line->title);
    tl_table_words(table, line->unit);
    add_figure(table, &design->figures[at]);
    tl_table_words(table, line->limit ? line->limit->words : "");
    tl_table_words(table, line->best == index ? "yes" : "no");
    if (!design->worst)
        return;
    add_figure(table, &design->worst[at]);
    tl_table_words(table, design->worst_at ? design->worst_at[at] : "");
}

char* tl_bench_csv(const tl_bench* bench) {
    static const char* const fields[] = {
        "name",    "file",        "id",           "group",       "title",         "unit",
        "value",   "beyond",      "words",        "trouble",     "verdict",       "limit",
        "best",    "worst_value", "worst_beyond", "worst_words", "worst_trouble", "worst_verdict",
        "worst_at"};
    enum { PLAIN = 13 };
    size_t count = PLAIN;
    for (size_t i = 0; i < bench->count; ++i)
        count = bench->designs[i].worst ? sizeof fields / sizeof *fields : count;
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < count; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < bench->count; ++i)
        for (size_t j = 0; j < bench->line_count; ++j)
            add_row(table, bench, i, j);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

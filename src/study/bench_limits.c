// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/bench_limits.h"

#include "base/file.h"
#include "base/locale.h"
#include "base/names.h"
#include "base/quantity.h"
#include "base/yaml.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FILE_BYTES = 1000000 };

struct tl_limits {
    tl_bench_limit* list;
    size_t count;
    bool taken;
};

/// What the reading of a file goes by.
typedef struct {
    tl_units* units;
    const char* const* ids;
    size_t id_count;
    tl_limits* limits;
    tl_error* error;
} reader;

void tl_bench_limit_clear(tl_bench_limit* limit) {
    free(limit->figure);
    free(limit->pass_words);
    free(limit->marginal_words);
    free(limit->words);
    free(limit->why);
    free(limit->source);
    *limit = (tl_bench_limit){0};
}

void tl_limits_free(tl_limits* limits) {
    if (!limits)
        return;
    for (size_t i = 0; !limits->taken && i < limits->count; ++i)
        tl_bench_limit_clear(&limits->list[i]);
    if (!limits->taken)
        free(limits->list);
    free(limits);
}

const tl_bench_limit* tl_limits_find(const tl_limits* limits, const char* figure) {
    for (size_t i = 0; i < limits->count; ++i)
        if (strcmp(limits->list[i].figure, figure) == 0)
            return &limits->list[i];
    return NULL;
}

tl_bench_limit* tl_limits_take(tl_limits* limits, size_t* count) {
    limits->taken = true;
    *count = limits->count;
    return limits->list;
}

static bool ends_in(const char* word, const char* ending) {
    size_t size = strlen(word);
    size_t tail = strlen(ending);
    return size > tail && strcmp(word + size - tail, ending) == 0;
}

/// The unit a figure is in, by the end of its id; false for one that is a bare number or words.
static bool unit_of(const char* id, tl_unit* unit) {
    static const struct {
        const char* ending;
        tl_unit unit;
    } units[] = {{"_v_rthz", TL_UNIT_NOISE_DENSITY},
                 {"_v_per_s", TL_UNIT_VOLT_PER_S},
                 {"_ohm", TL_UNIT_OHM},
                 {"_farad", TL_UNIT_FARAD},
                 {"_hz", TL_UNIT_HERTZ},
                 {"_db", TL_UNIT_DECIBEL},
                 {"_deg", TL_UNIT_DEGREE},
                 {"_percent", TL_UNIT_FRACTION},
                 {"_v", TL_UNIT_VOLT},
                 {"_a", TL_UNIT_AMPERE}};
    for (size_t i = 0; i < sizeof units / sizeof *units; ++i)
        if (ends_in(id, units[i].ending)) {
            *unit = units[i].unit;
            return true;
        }
    *unit = TL_UNIT_COUNT;
    return false;
}

static tl_status read_value(const reader* r, const tl_yaml* node, size_t from, size_t to,
                            tl_unit unit, double* value) {
    char* text = tl_new(to - from + 1, 1);
    memcpy(text, node->text + from, to - from);
    tl_text complaint = {0};
    tl_status status = TL_OK;
    if (!tl_quantity_parse(r->units, text, unit, value, &complaint))
        status = tl_error_at(r->error, &node->place, "%s", tl_text_get(&complaint));
    else if (unit == TL_UNIT_FRACTION)
        *value *= 100; // figures in % are kept as such
    tl_text_free(&complaint);
    free(text);
    return status;
}

static bool begins(const char* text, const char* start) {
    return strncmp(text, start, strlen(start)) == 0;
}

/// Reads "below X", "above X", "within X" or "X to Y".
static tl_status read_bounds(const reader* r, const tl_yaml* node, tl_unit unit, double* low,
                             double* high) {
    const char* text = node->text;
    size_t size = strlen(text);
    *low = -INFINITY;
    *high = INFINITY;
    if (begins(text, "below "))
        return read_value(r, node, 6, size, unit, high);
    if (begins(text, "above "))
        return read_value(r, node, 6, size, unit, low);
    if (begins(text, "within ")) {
        tl_status status = read_value(r, node, 7, size, unit, high);
        if (status == TL_OK && !(*high >= 0))
            return tl_error_at(r->error, &node->place, "'%s': expected a value above 0", text);
        *low = -*high;
        return status;
    }
    const char* to = strstr(text, " to ");
    if (!to)
        return tl_error_at(
            r->error, &node->place,
            "'%s': expected a limit: 'below X', 'above X', 'within X' (-X to X) or 'X to Y'", text);
    tl_status status = read_value(r, node, 0, (size_t)(to - text), unit, low);
    if (status == TL_OK)
        status = read_value(r, node, (size_t)(to - text) + 4, size, unit, high);
    if (status == TL_OK && !(*low < *high))
        return tl_error_at(r->error, &node->place, "'%s': the first value must be the smaller one",
                           text);
    return status;
}

/// Whether a limit is written with a number: figures that are words have none.
static bool is_bounds(const char* text) {
    return begins(text, "below ") || begins(text, "above ") || begins(text, "within ") ||
           (*text && strchr("+-.0123456789", *text));
}

/// Where `marginal` is no wider than `pass`, one of them is a slip.
static tl_status check_bounds(const reader* r, const tl_yaml* marginal,
                              const tl_bench_limit* limit) {
    bool wider = limit->marginal_low <= limit->pass_low &&
                 limit->marginal_high >= limit->pass_high &&
                 (limit->marginal_low < limit->pass_low || limit->marginal_high > limit->pass_high);
    if (wider)
        return TL_OK;
    return tl_error_at(r->error, &marginal->place,
                       "'marginal: %s' must reach further than 'pass: %s' and hold all of it",
                       marginal->text, limit->words);
}

static tl_status read_words(const reader* r, const tl_yaml* pass, const tl_yaml* marginal,
                            tl_bench_limit* limit) {
    if (!*pass->text || (marginal && !*marginal->text))
        return tl_error_at(r->error, *pass->text ? &marginal->place : &pass->place,
                           "expected the words that hold, such as 'stable'");
    if (marginal && is_bounds(marginal->text))
        return tl_error_at(r->error, &marginal->place,
                           "'%s': 'pass' is in words, so this must be too", marginal->text);
    limit->pass_words = tl_copy(pass->text);
    limit->marginal_words = marginal ? tl_copy(marginal->text) : NULL;
    return TL_OK;
}

/// Reads `pass` and `marginal`, both as bounds or both as words.
static tl_status read_limit(const reader* r, const tl_yaml* pass, const tl_yaml* marginal,
                            tl_bench_limit* limit) {
    tl_unit unit = TL_UNIT_COUNT;
    limit->words = tl_copy(pass->text);
    limit->pass_low = limit->marginal_low = -INFINITY;
    limit->pass_high = limit->marginal_high = INFINITY;
    if (!unit_of(limit->figure, &unit) && !is_bounds(pass->text))
        return read_words(r, pass, marginal, limit);
    tl_status status = read_bounds(r, pass, unit, &limit->pass_low, &limit->pass_high);
    limit->marginal_low = limit->pass_low;
    limit->marginal_high = limit->pass_high;
    if (status != TL_OK || !marginal)
        return status;
    status = read_bounds(r, marginal, unit, &limit->marginal_low, &limit->marginal_high);
    return status == TL_OK ? check_bounds(r, marginal, limit) : status;
}

static tl_status check_figure(const reader* r, const tl_yaml* figure) {
    for (size_t i = 0; i < r->id_count; ++i)
        if (strcmp(r->ids[i], figure->text) == 0) {
            if (!tl_limits_find(r->limits, figure->text))
                return TL_OK;
            return tl_error_at(r->error, &figure->place, "a second limit for '%s'", figure->text);
        }
    tl_text hint = {0};
    tl_name_hint(&hint, figure->text, r->ids, r->id_count);
    tl_status status = tl_error_at(r->error, &figure->place, "unknown figure '%s'%s", figure->text,
                                   tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

/// One limit's keys, each a single value, `figure` and `pass` among them.
static tl_status check_entry(const reader* r, const tl_yaml* entry) {
    static const char* const keys[] = {"figure", "pass", "marginal", "why", "source"};
    tl_status status = tl_yaml_expect(entry, TL_YAML_MAP, "a limit", r->error);
    if (status == TL_OK)
        status = tl_yaml_check_keys(entry, keys, sizeof keys / sizeof *keys, "a limit", r->error);
    for (size_t i = 0; status == TL_OK && i < entry->count; ++i)
        status = tl_yaml_expect(entry->items[i], TL_YAML_SCALAR, entry->keys[i]->text, r->error);
    for (size_t i = 0; status == TL_OK && i < 2; ++i)
        if (!tl_yaml_get(entry, keys[i]))
            status = tl_error_at(r->error, &entry->place, "a limit needs '%s'", keys[i]);
    return status;
}

static tl_status read_entry(const reader* r, const tl_yaml* entry) {
    tl_status status = check_entry(r, entry);
    if (status != TL_OK)
        return status;
    const tl_yaml* figure = tl_yaml_get(entry, "figure");
    const tl_yaml* why = tl_yaml_get(entry, "why");
    const tl_yaml* source = tl_yaml_get(entry, "source");
    status = check_figure(r, figure);
    if (status != TL_OK)
        return status;
    tl_bench_limit limit = {.figure = tl_copy(figure->text),
                            .why = why && *why->text ? tl_copy(why->text) : NULL,
                            .source = source && *source->text ? tl_copy(source->text) : NULL};
    status = read_limit(r, tl_yaml_get(entry, "pass"), tl_yaml_get(entry, "marginal"), &limit);
    if (status != TL_OK) {
        tl_bench_limit_clear(&limit);
        return status;
    }
    tl_limits* limits = r->limits;
    limits->list = tl_grow(limits->list, limits->count + 1, sizeof *limits->list);
    limits->list[limits->count++] = limit;
    return TL_OK;
}

static tl_status read_tree(const reader* r, const tl_yaml* tree) {
    static const char* const keys[] = {"limits"};
    tl_status status = tl_yaml_expect(tree, TL_YAML_MAP, "a limits file", r->error);
    if (status == TL_OK)
        status = tl_yaml_check_keys(tree, keys, 1, "a limits file", r->error);
    const tl_yaml* list = status == TL_OK ? tl_yaml_get(tree, "limits") : NULL;
    if (status == TL_OK && !list)
        status = tl_error_at(r->error, &tree->place, "a limits file needs 'limits'");
    if (status == TL_OK)
        status = tl_yaml_expect(list, TL_YAML_LIST, "limits", r->error);
    for (size_t i = 0; status == TL_OK && i < list->count; ++i)
        status = read_entry(r, list->items[i]);
    return status;
}

tl_status tl_limits_read(const char* path, const char* const* ids, size_t count, tl_limits** limits,
                         tl_error* error) {
    *limits = NULL;
    tl_input* input = NULL;
    tl_status status = tl_input_read(path, FILE_BYTES, &input, error);
    if (status != TL_OK)
        return status;
    tl_locale locale = tl_locale_plain();
    tl_yaml* tree = NULL;
    reader r = {tl_units_new(), ids, count, tl_new(1, sizeof(tl_limits)), error};
    status = tl_yaml_read(input, &tree, error);
    if (status == TL_OK)
        status = read_tree(&r, tree);
    tl_yaml_free(tree);
    tl_input_free(input);
    tl_units_free(r.units);
    tl_locale_restore(locale);
    if (status == TL_OK)
        *limits = r.limits;
    else
        tl_limits_free(r.limits);
    return status;
}

/// Whether words begin with one of those in `list`, which ` or ` divides.
static bool words_hold(const char* words, const char* list) {
    for (const char* at = list; at;) {
        const char* next = strstr(at, " or ");
        size_t size = next ? (size_t)(next - at) : strlen(at);
        if (size && strncmp(words, at, size) == 0 && (!words[size] || strchr(" ,:;", words[size])))
            return true;
        at = next ? next + 4 : NULL;
    }
    return false;
}

static tl_grade grade_words(const tl_bench_limit* limit, const char* words) {
    if (!words)
        return TL_GRADE_NONE;
    if (words_hold(words, limit->pass_words))
        return TL_GRADE_PASS;
    bool marginal = limit->marginal_words && words_hold(words, limit->marginal_words);
    return marginal ? TL_GRADE_MARGINAL : TL_GRADE_FAIL;
}

static bool holds(double value, double low, double high) {
    return value >= low && value <= high;
}

tl_grade tl_limit_grade(const tl_bench_limit* limit, const tl_bench_figure* figure) {
    if (!limit || figure->trouble)
        return TL_GRADE_NONE;
    if (limit->pass_words)
        return grade_words(limit, figure->words);
    if (isnan(figure->value))
        return TL_GRADE_NONE;
    if (holds(figure->value, limit->pass_low, limit->pass_high))
        return TL_GRADE_PASS;
    bool may_pass = (figure->beyond > 0 && figure->value < limit->pass_low) ||
                    (figure->beyond < 0 && figure->value > limit->pass_high);
    if (may_pass || holds(figure->value, limit->marginal_low, limit->marginal_high))
        return TL_GRADE_MARGINAL;
    return TL_GRADE_FAIL;
}

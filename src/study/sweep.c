// SPDX-License-Identifier: GPL-3.0-or-later
// A rig over one or two ranges of values: a comparison whose variants lie on a grid.
#include "study/vary.h"
#include "toneload/study.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/library.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_STEPS = 1000 };

/// A range as it was written: "PATH=1 m..15 m:8".
typedef struct {
    tl_input* input;
    char* path;
    char* low;
    char* high;
    size_t steps;
    size_t low_at; ///< where they stand
    size_t high_at;
} range;

static void range_free(range* r) {
    tl_input_free(r->input);
    free(r->path);
    free(r->low);
    free(r->high);
}

static char* piece(const char* from, const char* to) {
    while (from < to && *from == ' ')
        ++from;
    while (to > from && to[-1] == ' ')
        --to;
    return tl_printf("%.*s", (int)(to - from), from);
}

static tl_status range_read(const char* text, range* r, tl_error* error) {
    r->input = tl_input_new("--vary", text, strlen(text));
    tl_place start = {r->input, 1, 1};
    if (!tl_text_is_plain(text))
        return tl_error_at(error, &start, "control characters (or broken UTF-8)");
    const char* equals = strchr(text, '=');
    const char* dots = equals ? strstr(equals, "..") : NULL;
    const char* colon = dots ? strrchr(dots, ':') : NULL;
    if (!colon || equals == text)
        return tl_error_at(error, &start,
                           "expected PATH=FROM..TO:STEPS, such as chain[0].length=1 m..15 m:15");
    char* end = NULL;
    unsigned long steps = strtoul(colon + 1, &end, 10);
    tl_place count = {r->input, 1, (size_t)(colon + 1 - text) + 1};
    if (colon[1] < '0' || colon[1] > '9' || *end || steps < 2 || steps > MOST_STEPS)
        return tl_error_at(error, &count, "'%s': expected 2 to %d steps", colon + 1, MOST_STEPS);
    r->path = piece(text, equals);
    r->low = piece(equals + 1, dots);
    r->high = piece(dots + 2, colon);
    r->low_at = (size_t)(equals + 1 - text) + strspn(equals + 1, " ");
    r->high_at = (size_t)(dots + 2 - text) + strspn(dots + 2, " ");
    r->steps = steps;
    return TL_OK;
}

/// Reads one end of a range as the field it is for would read it.
static tl_status read_end(tl_rig* rig, const range* r, const tl_target* target, const char* words,
                          size_t at, double* value, tl_error* error) {
    tl_yaml node = {.kind = TL_YAML_SCALAR, .place = {r->input, 1, at + 1}};
    node.text = tl_copy(words);
    tl_part* probe = tl_part_clone(*target->part);
    tl_status status = tl_part_read_field(rig->library, probe, (size_t)target->field, &node, error);
    *value = probe->values[target->field].number;
    tl_part_free(probe);
    free(node.text);
    return status;
}

/// The unit people would use for a value, and how many of it one SI unit is.
static char* label_unit(tl_unit unit, double largest, double* scale) {
    tl_text words = {0};
    tl_quantity_add(&words, unit, largest);
    const char* blank = strchr(tl_text_get(&words), ' ');
    double number = strtod(tl_text_get(&words), NULL);
    *scale = largest != 0 && number != 0 ? number / largest : 1;
    char* name = tl_copy(blank ? blank + 1 : "");
    tl_text_free(&words);
    return name;
}

/// Fills in an axis, and writes the range out as a vary of its values.
static char* spread_out(const range* r, const tl_target* target, double low, double high,
                        tl_axis* axis) {
    tl_unit unit = (*target->part)->kind->fields[target->field].unit;
    double scale = 1;
    char* name = label_unit(unit, fmax(fabs(low), fabs(high)), &scale);
    tl_text vary = {0};
    tl_text_addf(&vary, "%s=", r->path);
    axis->path = tl_copy(r->path);
    axis->label = *name ? tl_printf("%s (%s)", r->path, name) : tl_copy(r->path);
    axis->values = tl_new(r->steps, sizeof *axis->values);
    axis->count = r->steps;
    for (size_t i = 0; i < r->steps; ++i) {
        double value = low + (high - low) * (double)i / (double)(r->steps - 1);
        axis->values[i] = value * scale;
        tl_text_addf(&vary, "%s%.10g%s%s", i ? "," : "", value * scale, *name ? " " : "", name);
    }
    free(name);
    return tl_text_take(&vary);
}

static tl_status read_axis(tl_rig* rig, const char* text, tl_axis* axis, char** vary,
                           tl_error* error) {
    range r = {0};
    tl_target target = {0};
    double low = 0;
    double high = 0;
    tl_status status = range_read(text, &r, error);
    if (status == TL_OK)
        status = tl_rig_find(rig, r.path, r.input, &target, error);
    tl_place start = {r.input, 1, 1};
    if (status == TL_OK && (target.field < 0 || (*target.part)->kind->fields[target.field].choices))
        status = tl_error_at(error, &start, "only a number can be swept; use compare for the rest");
    if (status == TL_OK)
        status = read_end(rig, &r, &target, r.low, r.low_at, &low, error);
    if (status == TL_OK)
        status = read_end(rig, &r, &target, r.high, r.high_at, &high, error);
    if (status == TL_OK && !(low < high)) {
        tl_place at = {r.input, 1, r.high_at + 1};
        status = tl_error_at(error, &at, "a range goes up: expected more than %s", r.low);
    }
    if (status == TL_OK)
        *vary = spread_out(&r, &target, low, high, axis);
    range_free(&r);
    return status;
}

static tl_status study_sweep(tl_session* session, tl_rig* rig, const char* const* ranges,
                             size_t range_count, double reference_hz, tl_sweep** sweep,
                             tl_error* error) {
    *sweep = NULL;
    if (range_count < 1 || range_count > 2)
        return tl_error_set(error, TL_BAD_INPUT,
                            "expected one or two ranges: --vary PATH=FROM..TO:STEPS");
    tl_sweep* made = tl_new(1, sizeof *made);
    char* varies[2] = {NULL, NULL};
    tl_status status = TL_OK;
    made->axis_count = range_count;
    for (size_t i = 0; status == TL_OK && i < range_count; ++i)
        status = read_axis(rig, ranges[i], &made->axes[i], &varies[i], error);
    if (status == TL_OK)
        status = tl_study_compare(session, &rig, 1, (const char* const*)varies, range_count,
                                  reference_hz, &made->comparison, error);
    free(varies[0]);
    free(varies[1]);
    if (status != TL_OK) {
        tl_sweep_free(made);
        return status;
    }
    *sweep = made;
    return TL_OK;
}

tl_status tl_study_sweep(tl_session* session, tl_rig* rig, const char* const* ranges,
                         size_t range_count, double reference_hz, tl_sweep** sweep,
                         tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status status = study_sweep(session, rig, ranges, range_count, reference_hz, sweep, error);
    tl_locale_restore(locale);
    return status;
}

void tl_sweep_free(tl_sweep* sweep) {
    if (!sweep)
        return;
    for (size_t i = 0; i < 2; ++i) {
        free(sweep->axes[i].path);
        free(sweep->axes[i].label);
        free(sweep->axes[i].values);
    }
    tl_comparison_free(sweep->comparison);
    free(sweep);
}

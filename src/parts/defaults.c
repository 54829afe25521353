// SPDX-License-Identifier: GPL-3.0-or-later
#include "parts/defaults.h"

#include "base/e_series.h"
#include "base/names.h"
#include "base/text.h"
#include "parts/tolerance.h"

#include <stdlib.h>
#include <string.h>

static const char by_series[] = "E-series";
static const double NO_SERIES = 0.05; // of a value that stands in none of the usual ones

/// What reading a file's tolerances needs to know.
typedef struct {
    tl_units* units;
    const char* library;
    tl_defaults* defaults;
    tl_error* error;
} reading;

void tl_defaults_free(tl_defaults* defaults) {
    for (size_t i = 0; i < defaults->count; ++i)
        free(defaults->rows[i].field);
    free(defaults->rows);
    *defaults = (tl_defaults){0};
}

/// A field of that name, or (`group`) one that stands in a group of that name; several kinds may
/// share a library, as pots and tone controls do.
static const tl_field* find_field(const reading* r, const char* name, bool group) {
    size_t size = strlen(name);
    for (size_t i = 0; i < tl_part_kind_count; ++i) {
        const tl_part_kind* kind = tl_part_kinds[i];
        for (size_t j = 0; j < kind->field_count; ++j) {
            const char* field = kind->fields[j].name;
            bool fits = strncmp(field, name, size) == 0 && field[size] == (group ? '.' : '\0');
            if (fits && kind->library && strcmp(kind->library, r->library) == 0)
                return &kind->fields[j];
        }
    }
    return NULL;
}

static tl_status unknown_field(const reading* r, const char* name, const tl_place* place) {
    const char* names[64];
    size_t count = 0;
    for (size_t i = 0; i < tl_part_kind_count; ++i) {
        const tl_part_kind* kind = tl_part_kinds[i];
        bool ours = kind->library && strcmp(kind->library, r->library) == 0;
        for (size_t j = 0; ours && j < kind->field_count && count < 64; ++j)
            if (!kind->fields[j].choices)
                names[count++] = kind->fields[j].name;
    }
    tl_text hint = {0};
    tl_name_hint(&hint, name, names, count);
    tl_status status = tl_error_at(r->error, place, "unknown '%s' in the tolerances of '%s'%s",
                                   name, r->library, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

/// Fields that nobody makes within a tolerance: what is chosen, counted, or set between 0 and 100
/// %.
static tl_status check_field(const reading* r, const tl_field* field, const tl_place* place) {
    if (field->choices || field->unit == TL_UNIT_COUNT)
        return tl_error_at(r->error, place, "%s has no tolerance: it is chosen or counted",
                           field->name);
    if (field->unit == TL_UNIT_FRACTION)
        return tl_error_at(r->error, place,
                           "%s can have a tolerance only beside its value: a share's ends must "
                           "stay between 0 and 100 %%",
                           field->name);
    return TL_OK;
}

static tl_status read_share(const reading* r, const tl_field* field, const tl_yaml* node,
                            const tl_yaml* distribution, tl_default* row) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a tolerance", r->error);
    if (status != TL_OK)
        return status;
    const char* after = NULL;
    bool marked = tl_tolerance_mark(node->text, &after) == node->text;
    tl_tolerance_reading t = {r->units, field, NULL, &node->place, false};
    row->by_series = strcmp(node->text, by_series) == 0;
    if (!row->by_series)
        status = tl_tolerance_read(&t, marked ? after : node->text, &row->tolerance, r->error);
    if (status == TL_OK && distribution && t.distribution_said)
        return tl_error_at(r->error, &distribution->place,
                           "a second distribution for the same tolerance");
    if (status == TL_OK && distribution)
        status = tl_yaml_expect(distribution, TL_YAML_SCALAR, "a distribution", r->error);
    if (status == TL_OK && distribution)
        status = tl_distribution_read(distribution->text, &distribution->place,
                                      &row->tolerance.distribution, r->error);
    row->tolerance.given = true;
    row->tolerance.place = (tl_place){0};
    return status;
}

/// {tolerance, distribution, source} of one field.
static tl_status read_row(const reading* r, const tl_field* field, const tl_yaml* node) {
    static const char* const names[] = {"tolerance", "distribution", "source"};
    const tl_yaml* tolerance = tl_yaml_get(node, names[0]);
    const tl_yaml* distribution = tl_yaml_get(node, names[1]);
    const tl_yaml* source = tl_yaml_get(node, names[2]);
    for (size_t i = 0; node->kind == TL_YAML_MAP && i < node->count; ++i) {
        const tl_yaml* item = node->items[i];
        if (item == tolerance || item == distribution || item == source)
            continue;
        tl_text hint = {0};
        tl_name_hint(&hint, node->keys[i]->text, names, 3);
        tl_status status =
            tl_error_at(r->error, &node->keys[i]->place, "unknown '%s' in a tolerance%s",
                        node->keys[i]->text, tl_text_get(&hint));
        tl_text_free(&hint);
        return status;
    }
    if (!tolerance || !source || source->kind != TL_YAML_SCALAR || !*source->text)
        return tl_error_at(r->error, &node->place,
                           "%s: expected {tolerance: 10 %%, source: ..}; a tolerance needs its "
                           "source, as every library value does",
                           field->name);
    tl_default row = {0};
    tl_status status = read_share(r, field, tolerance, distribution, &row);
    if (status != TL_OK)
        return status;
    row.field = tl_copy(field->name);
    row.tolerance.source = source->text;
    tl_defaults* defaults = r->defaults;
    defaults->rows = tl_grow_one(defaults->rows, defaults->count, sizeof *defaults->rows);
    defaults->rows[defaults->count++] = row;
    return TL_OK;
}

/// Reads fields, with a dot or in a mapping of their group; `prefix` is "" or that group
/// ("input.").
static tl_status read_rows(const reading* r, const char* prefix, const tl_yaml* node) {
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "tolerances", r->error);
    for (size_t i = 0; status == TL_OK && i < node->count; ++i) {
        const tl_place* place = &node->keys[i]->place;
        char* name = tl_printf("%s%s", prefix, node->keys[i]->text);
        char* group = tl_printf("%s.", name);
        const tl_field* field = find_field(r, name, false);
        tl_value_tolerance before;
        if (field && tl_defaults_find(r->defaults, name, 1, &before))
            status = tl_error_at(r->error, place, "'%s' is given twice", name);
        else if (field)
            status = check_field(r, field, place);
        else if (*prefix || !find_field(r, name, true))
            status = unknown_field(r, name, place);
        if (status == TL_OK)
            status =
                field ? read_row(r, field, node->items[i]) : read_rows(r, group, node->items[i]);
        free(name);
        free(group);
    }
    return status;
}

tl_status tl_defaults_read(tl_units* units, const char* library, const tl_yaml* node,
                           tl_defaults* defaults, tl_error* error) {
    reading r = {units, library, defaults, error};
    return read_rows(&r, "", node);
}

bool tl_defaults_find(const tl_defaults* defaults, const char* field, double number,
                      tl_value_tolerance* tolerance) {
    for (size_t i = 0; i < defaults->count; ++i) {
        if (strcmp(defaults->rows[i].field, field) != 0)
            continue;
        *tolerance = defaults->rows[i].tolerance;
        unsigned steps = defaults->rows[i].by_series ? tl_e_series_coarsest(number) : 0;
        if (defaults->rows[i].by_series)
            tolerance->share = steps ? tl_e_series_share(steps) : NO_SERIES;
        return true;
    }
    return false;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/listing.h"

#include "base/file.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/tolerance.h"
#include "rig/follow.h"
#include "toneload/design.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

void tl_listing_add(tl_inspection* inspection, tl_listing row) {
    inspection->rows = tl_grow_one(inspection->rows, inspection->count, sizeof *inspection->rows);
    inspection->rows[inspection->count++] = row;
}

void tl_listing_remark(tl_inspection* inspection, const char* format, ...) {
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    inspection->remarks =
        tl_grow(inspection->remarks, inspection->remark_count + 1, sizeof *inspection->remarks);
    inspection->remarks[inspection->remark_count++] = tl_text_take(&words);
}

static char* value_words(const tl_field* field, const tl_value* value) {
    tl_text words = {0};
    if (field->choices)
        tl_text_add(&words, field->choices[(size_t)value->number]);
    else
        tl_quantity_add(&words, field->unit, value->number);
    return tl_text_take(&words);
}

static char* place_words(const tl_place* place) {
    return place->in ? tl_printf("%s:%zu", tl_file_name(place->in->name), place->line)
                     : tl_copy("");
}

static char* origin_words(const tl_part* part, const tl_value* value) {
    tl_text words = {0};
    bool library = value->library != NULL;
    const tl_place* place = library ? &part->place : &value->place;
    if (place->in && !(library && place->in == value->place.in))
        tl_text_addf(&words, "%s:%zu", tl_file_name(place->in->name), place->line);
    if (library)
        tl_text_addf(&words, "%slibrary part %s: %s", words.size ? ", " : "", value->library,
                     value->source ? value->source : "");
    if (value->layout)
        tl_text_addf(&words, "%sby the layout of 'board'", words.size ? ", " : "");
    if (!words.size)
        tl_text_add(&words, "not said in the file: what the rig is held against by itself");
    return tl_text_take(&words);
}

/// A row without a tolerance; takes over `value` and `origin`.
static void add_row(tl_inspection* inspection, const char* name, const char* about,
                    const char* field, char* value, char* origin) {
    tl_listing_add(inspection, (tl_listing){.part = tl_copy(name),
                                            .about = tl_copy(about),
                                            .field = tl_copy(field),
                                            .value = value,
                                            .origin = origin});
}

static void add_derived(tl_inspection* inspection, const char* name, const char* about,
                        const char* field, tl_unit unit, double number, const char* how) {
    tl_text value = {0};
    tl_quantity_add(&value, unit, number);
    add_row(inspection, name, about, field, tl_text_take(&value), tl_copy(how));
}

/// What a cable's build comes to.
static void add_built(tl_inspection* inspection, const tl_part* cable, const char* name,
                      const char* about) {
    static const char how[] = "by formula from its build";
    tl_cable_line line = tl_cable_per_metre(cable);
    add_derived(inspection, name, about, "capacitance", TL_UNIT_FARAD_PER_M, line.farad, how);
    add_derived(inspection, name, about, "resistance", TL_UNIT_OHM_PER_M, line.ohm, how);
    add_derived(inspection, name, about, "inductance", TL_UNIT_HENRY_PER_M, line.henry, how);
    add_derived(inspection, name, about, "leakage", TL_UNIT_SIEMENS_PER_M, line.siemens, how);
}

void tl_listing_part(tl_inspection* inspection, const tl_part* part, const char* name,
                     const char* about) {
    for (size_t i = 0; i < part->kind->field_count; ++i) {
        const tl_value* value = &part->values[i];
        const tl_field* field = &part->kind->fields[i];
        if (value->given)
            add_row(inspection, name, about, field->name, value_words(field, value),
                    origin_words(part, value));
    }
    if (part->design)
        add_row(inspection, name, about, "circuit", tl_copy(tl_design_name(part->design)),
                place_words(&part->design_place));
    if (part->kind != &tl_kind_cable)
        return;
    if (tl_part_has(part, "build.core"))
        add_built(inspection, part, name, about);
    if (tl_part_has(part, "length"))
        add_derived(inspection, name, about, "capacitance of it all", TL_UNIT_FARAD,
                    tl_cable_capacitance_farad(part), "per length times length");
}

/// A stated tolerance is from where its value is; a default has a source of its own.
static char* tolerance_source(const tl_part* part, const tl_value* value,
                              const tl_value_tolerance* tolerance) {
    return value->tolerance.given ? origin_words(part, value) : tl_copy(tolerance->source);
}

void tl_listing_stated(tl_inspection* inspection, size_t first, const tl_part* part) {
    size_t at = first;
    for (size_t i = 0; i < part->kind->field_count; ++i) {
        const tl_value* value = &part->values[i];
        if (!value->given)
            continue;
        tl_listing* row = &inspection->rows[at++];
        if (!value->tolerance.given)
            continue;
        row->tolerance = value->tolerance.share;
        row->distribution = tl_distribution_word(value->tolerance.distribution);
        row->tolerance_source = tolerance_source(part, value, &value->tolerance);
    }
}

tl_status tl_listing_tolerances(tl_inspection* inspection, size_t first, tl_library* library,
                                tl_rig* rig, tl_part* part, tl_error* error) {
    size_t at = first;
    for (size_t i = 0; i < part->kind->field_count; ++i) {
        const tl_value* value = &part->values[i];
        if (!value->given)
            continue;
        tl_value_tolerance tolerance;
        const tl_part* from = part;
        tl_status status = rig ? tl_rig_tolerance(rig, part, i, false, &tolerance, &from, error)
                               : tl_part_tolerance(library, part, i, &tolerance, error);
        if (status != TL_OK)
            return status;
        tl_listing* row = &inspection->rows[at++];
        if (!tolerance.given)
            continue;
        row->tolerance = tolerance.share;
        row->distribution = tl_distribution_word(tolerance.distribution);
        row->tolerance_source = from == part
                                    ? tolerance_source(part, value, &tolerance)
                                    : tl_printf("as in what it follows, %s", part->follows);
        row->tolerance_by_default = !value->tolerance.given;
    }
    return TL_OK;
}

void tl_inspection_free(tl_inspection* inspection) {
    if (!inspection)
        return;
    for (size_t i = 0; i < inspection->count; ++i) {
        free(inspection->rows[i].part);
        free(inspection->rows[i].about);
        free(inspection->rows[i].field);
        free(inspection->rows[i].value);
        free(inspection->rows[i].origin);
        free(inspection->rows[i].tolerance_source);
    }
    for (size_t i = 0; i < inspection->remark_count; ++i)
        free(inspection->remarks[i]);
    free(inspection->rows);
    free(inspection->remarks);
    free(inspection);
}

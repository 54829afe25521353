// SPDX-License-Identifier: GPL-3.0-or-later
#include "parts/value.h"

#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/tolerance.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// What reading one value needs to know.
typedef struct {
    tl_units* units;
    const tl_field* field;
    tl_value* value;
    bool distribution_said;
    tl_error* error;
} reading;

static tl_status read_choice(const reading* r, const tl_yaml* node) {
    const tl_field* field = r->field;
    const char* after = NULL;
    const char* mark = tl_tolerance_mark(node->text, &after);
    if (mark) {
        tl_place place = tl_place_inside(&node->place, node->text, (size_t)(mark - node->text));
        return tl_error_at(r->error, &place, "%s is a choice, not a number: it has no tolerance",
                           field->name);
    }
    if (field->choices == tl_no_yes) {
        bool on = false;
        tl_status status = tl_yaml_switch(node, &on, r->error);
        r->value->number = on;
        return status;
    }
    size_t count = 0;
    for (; field->choices[count]; ++count)
        if (strcmp(node->text, field->choices[count]) == 0) {
            r->value->number = (double)count;
            return TL_OK;
        }
    tl_text hint = {0};
    tl_name_hint(&hint, node->text, field->choices, count);
    tl_status status = tl_error_at(r->error, &node->place, "unknown %s '%s'%s", field->name,
                                   node->text, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

/// `mohm` is milli, `Mohm` is mega: when swapping them makes sense of a value, say so.
static void add_prefix_hint(tl_text* text, const tl_field* field, const char* written,
                            double number) {
    const char* unit = written + strspn(written, "+-.0123456789 ");
    bool prefixed = unit[0] && isalpha((unsigned char)unit[1]);
    double mega = number * 1e9;
    double milli = number / 1e9;
    tl_text other = {0};
    if (prefixed && *unit == 'm' && number < field->low && mega >= field->low &&
        mega <= field->high)
        tl_quantity_add(&other, field->unit, mega);
    else if (prefixed && *unit == 'M' && number > field->high && milli >= field->low &&
             milli <= field->high)
        tl_quantity_add(&other, field->unit, milli);
    if (other.size)
        tl_text_addf(text, "; a small m is milli, a capital M is mega: is it %s?",
                     tl_text_get(&other));
    tl_text_free(&other);
}

static tl_status check_range(const reading* r, const tl_yaml* node) {
    const tl_field* field = r->field;
    double number = r->value->number;
    if (tl_field_allows(field, number))
        return TL_OK;
    tl_text words = {0};
    if (number < 0 && field->low >= 0) {
        tl_text_addf(&words, "%s cannot be negative", field->name);
    } else {
        tl_text_addf(&words, "%s ", field->name);
        tl_quantity_add(&words, field->unit, number);
        tl_text_add(&words, " is not plausible: expected ");
        tl_quantity_add(&words, field->unit, field->low);
        tl_text_add(&words, " to ");
        tl_quantity_add(&words, field->unit, field->high);
        add_prefix_hint(&words, field, node->text, number);
    }
    tl_status status = tl_error_at(r->error, &node->place, "%s", tl_text_get(&words));
    tl_text_free(&words);
    return status;
}

/// Reads a tolerance's text and holds it against the value.
static tl_status read_tolerance(reading* r, const char* text, const tl_place* place) {
    if (r->field->choices)
        return tl_error_at(r->error, place, "%s is a choice, not a number: it has no tolerance",
                           r->field->name);
    if (r->field->unit == TL_UNIT_COUNT)
        return tl_error_at(r->error, place, "%s is counted: it has no tolerance", r->field->name);
    if (r->value->layout)
        return tl_error_at(
            r->error, place,
            "%s: the layout's has no tolerance of its own; state a length to give it "
            "one",
            r->field->name);
    if (r->value->tolerance.given)
        return tl_error_at(r->error, place, "%s: a second tolerance for the same value",
                           r->field->name);
    tl_tolerance_reading t = {r->units, r->field, &r->value->number, place, false};
    tl_status status = tl_tolerance_read(&t, text, &r->value->tolerance, r->error);
    r->distribution_said = t.distribution_said;
    return status == TL_OK
               ? tl_tolerance_check(r->field, r->value->number, &r->value->tolerance, r->error)
               : status;
}

static tl_status read_number(reading* r, const tl_yaml* node) {
    const char* after = NULL;
    const char* mark = tl_tolerance_mark(node->text, &after);
    size_t size = mark ? (size_t)(mark - node->text) : strlen(node->text);
    while (mark && size && node->text[size - 1] == ' ')
        --size;
    char* quantity = tl_printf("%.*s", (int)size, node->text);
    tl_text complaint = {0};
    tl_status status = TL_OK;
    if (!tl_quantity_parse(r->units, quantity, r->field->unit, &r->value->number, &complaint))
        status = tl_error_at(
            r->error, &node->place, "%s: %s%s", r->field->name, tl_text_get(&complaint),
            r->field->flags & TL_FIELD_LAYOUT ? ", or 'layout': as long as the board needs it"
                                              : "");
    else
        status = check_range(r, node);
    if (status == TL_OK && mark) {
        tl_place place = tl_place_inside(&node->place, node->text, (size_t)(mark - node->text));
        status = read_tolerance(r, after, &place);
    }
    free(quantity);
    tl_text_free(&complaint);
    return status;
}

static tl_status read_scalar(reading* r, const tl_yaml* node) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, r->field->name, r->error);
    r->value->place = node->place;
    if (status != TL_OK)
        return status;
    if ((r->field->flags & TL_FIELD_LAYOUT) && strcmp(node->text, "layout") == 0) {
        r->value->layout = true;
        r->value->number = NAN;
        return TL_OK;
    }
    return r->field->choices ? read_choice(r, node) : read_number(r, node);
}

static tl_status read_tolerance_key(reading* r, const tl_yaml* node) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a tolerance", r->error);
    if (status != TL_OK)
        return status;
    const char* after = NULL;
    bool marked = tl_tolerance_mark(node->text, &after) == node->text;
    return read_tolerance(r, marked ? after : node->text, &node->place);
}

static tl_status read_distribution_key(reading* r, const tl_yaml* node) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a distribution", r->error);
    if (status == TL_OK && !r->value->tolerance.given)
        return tl_error_at(r->error, &node->place,
                           "a 'distribution' says how values lie within a 'tolerance', and there "
                           "is none");
    if (status == TL_OK && r->distribution_said)
        return tl_error_at(r->error, &node->place, "a second distribution for the same value");
    return status == TL_OK ? tl_distribution_read(node->text, &node->place,
                                                  &r->value->tolerance.distribution, r->error)
                           : status;
}

/// {value, tolerance, distribution}, in a library with its source.
static tl_status read_mapping(reading* r, const tl_yaml* node, bool shelved) {
    static const char* const names[] = {"value", "tolerance", "distribution", "source"};
    const tl_yaml* value = tl_yaml_get(node, names[0]);
    const tl_yaml* tolerance = tl_yaml_get(node, names[1]);
    const tl_yaml* distribution = tl_yaml_get(node, names[2]);
    const tl_yaml* source = shelved ? tl_yaml_get(node, names[3]) : NULL;
    if (shelved && (!value || node->count == 1))
        return tl_error_at(r->error, &node->place,
                           "%s: expected a value, or {value: .., source: ..}", r->field->name);
    if (!value)
        return tl_error_at(r->error, &node->place,
                           "%s: expected a single value, or {value: .., tolerance: ..}",
                           r->field->name);
    for (size_t i = 0; i < node->count; ++i) {
        const tl_yaml* item = node->items[i];
        if (item == value || item == tolerance || item == distribution || item == source)
            continue;
        tl_text hint = {0};
        tl_name_hint(&hint, node->keys[i]->text, names, shelved ? 4 : 3);
        tl_status status =
            tl_error_at(r->error, &node->keys[i]->place, "unknown '%s' beside a value%s",
                        node->keys[i]->text, tl_text_get(&hint));
        tl_text_free(&hint);
        return status;
    }
    tl_status status = read_scalar(r, value);
    if (status == TL_OK && tolerance)
        status = read_tolerance_key(r, tolerance);
    if (status == TL_OK && distribution)
        status = read_distribution_key(r, distribution);
    if (status == TL_OK && source)
        status = tl_yaml_expect(source, TL_YAML_SCALAR, "a source", r->error);
    if (status == TL_OK && source)
        r->value->source = source->text;
    return status;
}

tl_status tl_value_read(tl_units* units, const tl_field* field, const tl_yaml* node, bool shelved,
                        tl_value* value, tl_error* error) {
    *value = (tl_value){.given = true};
    reading r = {units, field, value, false, error};
    return node->kind == TL_YAML_MAP ? read_mapping(&r, node, shelved) : read_scalar(&r, node);
}

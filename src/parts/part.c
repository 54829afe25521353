// SPDX-License-Identifier: GPL-3.0-or-later
#include "parts/part.h"

#include "base/text.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

bool tl_field_allows(const tl_field* field, double number) {
    const double rounding = 1e-9;
    return number >= field->low - fabs(field->low) * rounding &&
           number <= field->high + fabs(field->high) * rounding;
}

tl_part* tl_part_new(const tl_part_kind* kind) {
    tl_part* part = tl_new(1, sizeof *part);
    part->kind = kind;
    part->values = tl_new(kind->field_count, sizeof(tl_value));
    return part;
}

tl_part* tl_part_clone(const tl_part* part) {
    if (!part)
        return NULL;
    tl_part* clone = tl_new(1, sizeof *clone);
    *clone = *part;
    clone->library = tl_copy(part->library);
    clone->follows = tl_copy(part->follows);
    size_t count = part->kind->field_count;
    clone->values = tl_new(count, sizeof(tl_value));
    if (count)
        memcpy(clone->values, part->values, count * sizeof(tl_value));
    return clone;
}

void tl_part_free(tl_part* part) {
    if (!part)
        return;
    free(part->library);
    free(part->follows);
    free(part->values);
    free(part);
}

int tl_part_field(const tl_part_kind* kind, const char* name) {
    for (size_t i = 0; i < kind->field_count; ++i)
        if (strcmp(kind->fields[i].name, name) == 0)
            return (int)i;
    return -1;
}

const tl_value* tl_part_value(const tl_part* part, const char* field) {
    int index = tl_part_field(part->kind, field);
    assert(index >= 0);
    return &part->values[index];
}

double tl_part_number(const tl_part* part, const char* field, double otherwise) {
    const tl_value* value = tl_part_value(part, field);
    return value->given ? value->number : otherwise;
}

bool tl_part_has(const tl_part* part, const char* field) {
    return tl_part_value(part, field)->given;
}

void tl_part_set_number(tl_part* part, const char* field, double number) {
    int index = tl_part_field(part->kind, field);
    assert(index >= 0);
    part->values[index].given = true;
    part->values[index].layout = false;
    part->values[index].number = number;
}

const char* tl_part_choice(const tl_part* part, const char* field) {
    int index = tl_part_field(part->kind, field);
    assert(index >= 0 && part->kind->fields[index].choices);
    const tl_value* value = &part->values[index];
    return value->given ? part->kind->fields[index].choices[(size_t)value->number] : NULL;
}

bool tl_part_chosen(const tl_part* part, const char* field, const char* word) {
    const char* chosen = tl_part_choice(part, field);
    return chosen && strcmp(chosen, word) == 0;
}

/// What a field wants, in words: its unit, yes or no, or the words it knows.
static char* wanted_words(const tl_field* field) {
    tl_text text = {0};
    if (!field->choices)
        return tl_copy(tl_unit_words(field->unit));
    if (strcmp(field->choices[0], "no") == 0)
        return tl_copy("yes or no");
    for (size_t i = 0; field->choices[i]; ++i)
        tl_text_addf(&text, "%s%s",
                     i == 0                  ? ""
                     : field->choices[i + 1] ? ", "
                                             : " or ",
                     field->choices[i]);
    return tl_text_take(&text);
}

tl_status tl_part_check(const tl_part* part, bool with_use, tl_error* error) {
    for (size_t i = 0; i < part->kind->field_count; ++i) {
        const tl_field* field = &part->kind->fields[i];
        bool beside = field->flags & TL_FIELD_BESIDE;
        bool needed = (field->flags & TL_FIELD_NEEDED) && (beside ? with_use : !part->design);
        if (!needed || part->values[i].given)
            continue;
        char* what = wanted_words(field);
        const char* where = field->flags & TL_FIELD_BESIDE ? ", beside it"
                            : part->library                ? ", which its library part lacks"
                                                           : "";
        tl_status status = tl_error_at(error, &part->place, "%s needs '%s' (%s)%s",
                                       part->kind->about, field->name, what, where);
        free(what);
        return status;
    }
    return part->kind->check ? part->kind->check(part, error) : TL_OK;
}

bool tl_part_drives(const tl_part* part) {
    if (strcmp(part->kind->name, "buffer") == 0)
        return true;
    if (strcmp(part->kind->name, "pedal") != 0)
        return false;
    return tl_part_chosen(part, "engaged", "yes") ||
           tl_part_chosen(part, "bypass", "buffered-bypass");
}

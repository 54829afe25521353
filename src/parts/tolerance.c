// SPDX-License-Identifier: GPL-3.0-or-later
#include "parts/tolerance.h"

#include "base/e_series.h"
#include "base/names.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char* const distributions[] = {"normal", "uniform"};
enum { DISTRIBUTIONS = 2 };

const char* tl_tolerance_mark(const char* text, const char** after) {
    static const char* const marks[] = {"+-", "\u00b1", "+/-"};
    const char* first = NULL;
    for (size_t i = 0; i < sizeof marks / sizeof *marks; ++i) {
        const char* found = strstr(text, marks[i]);
        if (found && (!first || found < first)) {
            first = found;
            *after = found + strlen(marks[i]);
        }
    }
    return first;
}

const char* tl_distribution_word(tl_distribution distribution) {
    return distributions[distribution];
}

static bool is_distribution(const char* word, tl_distribution* distribution) {
    for (size_t i = 0; i < DISTRIBUTIONS; ++i)
        if (strcmp(word, distributions[i]) == 0) {
            *distribution = (tl_distribution)i;
            return true;
        }
    return false;
}

tl_status tl_distribution_read(const char* word, const tl_place* place,
                               tl_distribution* distribution, tl_error* error) {
    if (is_distribution(word, distribution))
        return TL_OK;
    tl_text hint = {0};
    tl_name_hint(&hint, word, distributions, DISTRIBUTIONS);
    tl_status status =
        tl_error_at(error, place, "unknown distribution '%s'%s", word, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

/// What can follow the mark, for errors.
static tl_status expected(const tl_tolerance_reading* r, const char* found, tl_error* error) {
    if (!r->number)
        return tl_error_at(error, r->place, "'%s': expected a share, such as 20 %%, or E-series",
                           found);
    return tl_error_at(error, r->place,
                       "%s: '%s': expected a tolerance: a share (+-10 %%), a difference in the "
                       "value's own unit, or an E series (+-E12)",
                       r->field->name, found);
}

/// The end of a decimal number without a sign; `text` itself when there is none.
static const char* skip_number(const char* text) {
    const char* at = text + strspn(text, "0123456789.");
    if (!isdigit((unsigned char)*text) && !(*text == '.' && at > text + 1))
        return text;
    const char* digits = at + 1 + ((*at == 'e' || *at == 'E') && (at[1] == '-' || at[1] == '+'));
    if ((*at == 'e' || *at == 'E') && isdigit((unsigned char)*digits))
        at = digits + strspn(digits, "0123456789");
    return at;
}

static tl_status read_rest(tl_tolerance_reading* r, const char* rest, tl_value_tolerance* tolerance,
                           tl_error* error) {
    rest += strspn(rest, " ");
    r->distribution_said = *rest != '\0';
    return *rest ? tl_distribution_read(rest, r->place, &tolerance->distribution, error) : TL_OK;
}

static tl_status not_in_series(const tl_tolerance_reading* r, const char* name, unsigned steps,
                               tl_error* error) {
    double below = 0;
    double above = 0;
    tl_text words = {0};
    tl_quantity_add(&words, r->field->unit, *r->number);
    tl_text_addf(&words, " is not one of the %s series", name);
    if (*r->number > 0) {
        tl_e_series_nearest(steps, *r->number, &below, &above);
        tl_text_add(&words, ": nearest are ");
        tl_quantity_add(&words, r->field->unit, below);
        tl_text_add(&words, " and ");
        tl_quantity_add(&words, r->field->unit, above);
    }
    tl_status status = tl_error_at(error, r->place, "%s: %s", r->field->name, tl_text_get(&words));
    tl_text_free(&words);
    return status;
}

/// `E12`: the tolerance that goes with the series, of which the value must be one.
static tl_status read_series(tl_tolerance_reading* r, const char* text,
                             tl_value_tolerance* tolerance, tl_error* error) {
    size_t size = strcspn(text, " ");
    char* name = tl_printf("%.*s", (int)size, text);
    unsigned steps = tl_e_series_find(name);
    tl_status status = TL_OK;
    if (!steps) {
        tl_text hint = {0};
        tl_name_hint(&hint, name, tl_e_series_names, tl_e_series_count);
        status = tl_error_at(error, r->place, "unknown series '%s'%s", name, tl_text_get(&hint));
        tl_text_free(&hint);
    } else if (!tl_e_series_has(steps, *r->number)) {
        status = not_in_series(r, name, steps, error);
    } else {
        tolerance->share = tl_e_series_share(steps);
        status = read_rest(r, text + size, tolerance, error);
    }
    free(name);
    return status;
}

/// A difference in the value's unit becomes a share of the value.
static tl_status read_difference(const tl_tolerance_reading* r, const char* words,
                                 tl_value_tolerance* tolerance, tl_error* error) {
    double difference = 0;
    tl_text complaint = {0};
    tl_status status = TL_OK;
    if (!r->number || r->field->unit == TL_UNIT_GAIN)
        status = expected(r, words, error);
    else if (!tl_quantity_parse(r->units, words, r->field->unit, &difference, &complaint))
        status = tl_error_at(error, r->place, "%s: tolerance %s", r->field->name,
                             tl_text_get(&complaint));
    else if (*r->number == 0)
        status = tl_error_at(error, r->place, "%s: a value of 0 has no tolerance", r->field->name);
    else
        tolerance->share = fabs(difference / *r->number);
    tl_text_free(&complaint);
    return status;
}

/// A bare number could mean two things.
static tl_status bare_number(const tl_tolerance_reading* r, const char* number, tl_error* error) {
    const char* unit = tl_unit_symbol(r->field->unit);
    if (!r->number || !*unit)
        return tl_error_at(error, r->place, "+-%s: a bare number; is it %s %%?", number, number);
    return tl_error_at(error, r->place, "+-%s: a bare number; is it %s %%, or %s %s?", number,
                       number, number, unit);
}

/// `10 %` or `0.5 kohm`, and what follows.
static tl_status read_quantity(tl_tolerance_reading* r, const char* text,
                               tl_value_tolerance* tolerance, tl_error* error) {
    const char* end = skip_number(text);
    if (end == text)
        return expected(r, text, error);
    const char* unit = end + strspn(end, " ");
    size_t size = *unit == '%' ? 1 : strcspn(unit, " ");
    char* number = tl_printf("%.*s", (int)(end - text), text);
    char* word = tl_printf("%.*s", (int)size, unit);
    char* words = tl_printf("%s %s", number, word);
    tl_distribution ignored;
    tl_status status = TL_OK;
    if (!size || is_distribution(word, &ignored)) {
        status = bare_number(r, number, error);
    } else if (*word == '%') {
        tl_text complaint = {0};
        if (!tl_quantity_parse(r->units, words, TL_UNIT_FRACTION, &tolerance->share, &complaint))
            status = expected(r, words, error);
        tl_text_free(&complaint);
    } else {
        status = read_difference(r, words, tolerance, error);
    }
    if (status == TL_OK)
        status = read_rest(r, unit + size, tolerance, error);
    free(number);
    free(word);
    free(words);
    return status;
}

tl_status tl_tolerance_read(tl_tolerance_reading* r, const char* text,
                            tl_value_tolerance* tolerance, tl_error* error) {
    *tolerance = (tl_value_tolerance){.given = true, .place = *r->place};
    r->distribution_said = false;
    text += strspn(text, " ");
    if (*text == '-')
        return tl_error_at(error, r->place,
                           "a tolerance cannot be negative: it goes to both sides already");
    bool series = (*text == 'E' || *text == 'e') && isdigit((unsigned char)text[1]);
    tl_status status = series && r->number ? read_series(r, text, tolerance, error)
                                           : read_quantity(r, text, tolerance, error);
    if (status == TL_OK && tolerance->share >= 1)
        status = tl_error_at(error, r->place,
                             "a tolerance of 100 %% or more: the value could come to 0");
    return status;
}

tl_status tl_tolerance_check(const tl_field* field, double number,
                             const tl_value_tolerance* tolerance, tl_error* error) {
    double off = fabs(number) * tolerance->share;
    if (tolerance->share == 0 ||
        (tl_field_allows(field, number - off) && tl_field_allows(field, number + off)))
        return TL_OK;
    tl_text words = {0};
    tl_text_addf(&words, "%s ", field->name);
    tl_quantity_add(&words, field->unit, number);
    tl_text_add(&words, " ");
    tl_tolerance_add(&words, tolerance->share, TL_NORMAL);
    tl_text_add(&words, " reaches from ");
    tl_quantity_add(&words, field->unit, number - off);
    tl_text_add(&words, " to ");
    tl_quantity_add(&words, field->unit, number + off);
    tl_text_add(&words, ": expected to stay within ");
    tl_quantity_add(&words, field->unit, field->low);
    tl_text_add(&words, " to ");
    tl_quantity_add(&words, field->unit, field->high);
    tl_status status = tl_error_at(error, &tolerance->place, "%s", tl_text_get(&words));
    tl_text_free(&words);
    return status;
}

void tl_tolerance_add(tl_text* text, double share, tl_distribution distribution) {
    tl_text_addf(text, "+-%.6g %%", 100 * share);
    if (distribution != TL_NORMAL)
        tl_text_addf(text, " %s", tl_distribution_word(distribution));
}

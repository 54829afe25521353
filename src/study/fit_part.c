// SPDX-License-Identifier: GPL-3.0-or-later
// What was worked out of a sweep as a part for the library.
#include "base/file.h"
#include "base/locale.h"
#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "study/fit_model.h"
#include "toneload/study.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PART_BYTES = 1000000, LONGEST_NAME = 48 };

/// A name for the part from the file's: what no name may hold becomes '-'.
static char* name_after(const char* file) {
    const char* name = tl_file_name(file);
    const char* dot = strrchr(name, '.');
    size_t size = dot && dot > name ? (size_t)(dot - name) : strlen(name);
    size = size < LONGEST_NAME ? size : LONGEST_NAME;
    char* made = tl_printf("%.*s", (int)size, name);
    for (char* at = made; *at; ++at)
        if (!strchr("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_", *at))
            *at = '-';
    if (tl_name_is_good(made))
        return made;
    free(made);
    return tl_copy("measured");
}

/// Words in single quotes, where YAML knows no escapes but the doubled quote; from outside they
/// come as printable ASCII.
static void add_quoted(tl_text* text, const char* words) {
    tl_text plain = {0};
    tl_text_add_ascii(&plain, words);
    tl_text_add(text, "'");
    for (const char* at = tl_text_get(&plain); *at; ++at)
        tl_text_add_bytes(text, *at == '\'' ? "''" : at, *at == '\'' ? 2 : 1);
    tl_text_add(text, "'");
    tl_text_free(&plain);
}

/// A share as percent, two digits, rounded away from 0 or towards it.
static double percent_of(double share, bool up) {
    double percent = fmax(100 * share, 0.001);
    double unit = pow(10, floor(log10(percent)) - 1);
    return (up ? ceil(percent / unit - 1e-9) : floor(percent / unit + 1e-9)) * unit;
}

static const tl_field* field_of(const tl_fit_estimate* one) {
    return &tl_kind_pickup.fields[tl_part_field(&tl_kind_pickup, one->name)];
}

/// Three standard errors, as a share of the value: what a part's tolerance means when it is normal,
/// as errors of many points are. The interval is Student's t times the standard error either way,
/// in the coordinate that was fitted.
static double three_errors(const tl_fit* fit, tl_fit_value value) {
    static const double errors = 3;
    const tl_fit_estimate* one = &fit->values[value];
    double at = tl_fit_coordinate(value, one->value);
    double up = (tl_fit_coordinate(value, one->high) - at) / fit->student_t;
    double down = (at - tl_fit_coordinate(value, one->low)) / fit->student_t;
    double high = tl_fit_number(value, at + errors * up);
    double low = tl_fit_number(value, at - errors * down);
    return fmax(high / one->value - 1, 1 - low / one->value);
}

/// The tolerance that is written, in percent: never less than three standard errors, unless a part
/// may not have as much.
static double tolerance_percent(const tl_fit* fit, tl_fit_value value, bool* cut) {
    static const double most = 0.99;
    const tl_fit_estimate* one = &fit->values[value];
    const tl_field* field = field_of(one);
    double room = fmin(field->high / one->value - 1, 1 - field->low / one->value);
    double limit = percent_of(fmin(fmax(room, 0), most), false);
    double percent = percent_of(three_errors(fit, value), true);
    *cut = percent > limit;
    return *cut ? limit : percent;
}

static void add_value(tl_text* text, const tl_fit* fit, tl_fit_value value, const char* key) {
    const tl_fit_estimate* one = &fit->values[value];
    tl_text_addf(text, "%s: {value: ", key);
    tl_quantity_add(text, field_of(one)->unit, one->value);
    if (one->known) {
        tl_text_add(text, ", source: 'given, not fitted'}");
        return;
    }
    bool cut = false;
    tl_text_addf(text, ", tolerance: %.4g %%}", tolerance_percent(fit, value, &cut));
}

/// TL_BAD_INPUT for values that cannot be a part's.
static tl_status check_values(const tl_fit* fit, const char* path, tl_error* error) {
    for (int i = 0; i < TL_FIT_SCALE; ++i) {
        const tl_fit_estimate* one = &fit->values[i];
        const tl_field* field = field_of(one);
        if (!one->used)
            continue;
        if (!one->told)
            return tl_error_set(error, TL_BAD_INPUT,
                                "%s: not written: the sweep does not tell the pickup's %s (if it "
                                "is known, give it with --hold)",
                                path, one->name);
        if (tl_field_allows(field, one->value))
            continue;
        tl_text shown = {0};
        tl_quantity_add(&shown, field->unit, one->value);
        tl_error_set(error, TL_BAD_INPUT,
                     "%s: not written: a pickup's %s of %s is not plausible (are the units of the "
                     "sweep right?)",
                     path, one->name, tl_text_get(&shown));
        tl_text_free(&shown);
        return TL_BAD_INPUT;
    }
    return TL_OK;
}

static char* part_text(const tl_fit* fit, const char* name) {
    tl_text source = {0};
    tl_text_addf(&source, "fitted to %s, %zu frequencies from ", tl_file_name(fit->file),
                 fit->measured);
    tl_quantity_add(&source, TL_UNIT_HERTZ, fit->points[0].hz);
    tl_text_add(&source, " to ");
    tl_quantity_add(&source, TL_UNIT_HERTZ, fit->points[fit->point_count - 1].hz);
    tl_text_add(&source, "; tolerances are three standard errors");
    for (int i = 0; i < TL_FIT_SCALE; ++i) {
        bool cut = false;
        if (fit->values[i].used && !fit->values[i].known)
            tolerance_percent(fit, (tl_fit_value)i, &cut);
        if (cut)
            tl_text_addf(&source, ", of %s as much as a part may have", fit->values[i].name);
    }
    tl_text text = {0};
    tl_text_add(&text,
                "# Written by toneload fit. In a folder of your own parts this file is called "
                "pickup.yaml.\nkind: pickup\nparts:\n  ");
    add_quoted(&text, name);
    tl_text_add(&text, ":\n    about: 'a measured pickup'\n    source: ");
    add_quoted(&text, tl_text_get(&source));
    for (int i = 0; i < TL_FIT_EDDY_FRACTION; ++i) {
        tl_text_add(&text, "\n    ");
        add_value(&text, fit, (tl_fit_value)i, fit->values[i].name);
    }
    if (fit->eddy) {
        tl_text_add(&text, "\n    eddy: {");
        add_value(&text, fit, TL_FIT_EDDY_FRACTION, "fraction");
        tl_text_add(&text, ", ");
        add_value(&text, fit, TL_FIT_EDDY_RESISTANCE, "resistance");
        tl_text_add(&text, "}");
    }
    tl_text_add(&text, "\n");
    tl_text_free(&source);
    return tl_text_take(&text);
}

/// Writes a file that is not there yet; one that says the same already will do.
static tl_status write_new(const char* path, const char* text, tl_error* error) {
    if (!tl_file_exists(path))
        return tl_file_write(path, text, strlen(text), error);
    char* there = NULL;
    size_t size = 0;
    tl_status status = tl_file_read(path, PART_BYTES, &there, &size, error);
    bool same = status == TL_OK && size == strlen(text) && memcmp(there, text, size) == 0;
    free(there);
    if (status != TL_OK || same)
        return status;
    tl_text shown = {0};
    tl_text_add_safe(&shown, path);
    tl_error_set(error, TL_BAD_INPUT,
                 "%s: not written: a file of that name is there, and parts in it would be lost",
                 tl_text_get(&shown));
    tl_text_free(&shown);
    return TL_BAD_INPUT;
}

tl_status tl_fit_write_part(const tl_fit* fit, const char* path, const char* name,
                            tl_error* error) {
    tl_locale locale = tl_locale_plain();
    char* own = name ? tl_copy(name) : name_after(fit->file);
    tl_text safe = {0};
    tl_text_add_safe(&safe, path);
    tl_status status = check_values(fit, tl_text_get(&safe), error);
    tl_text_free(&safe);
    if (status == TL_OK && !tl_name_is_good(own)) {
        tl_text shown = {0};
        tl_text_add_safe(&shown, own);
        status = tl_error_set(error, TL_BAD_INPUT,
                              "'%s' cannot name a part: use letters, digits, blank, '-' and '_'",
                              tl_text_get(&shown));
        tl_text_free(&shown);
    }
    if (status == TL_OK) {
        char* text = part_text(fit, own);
        status = write_new(path, text, error);
        free(text);
    }
    free(own);
    tl_locale_restore(locale);
    return status;
}

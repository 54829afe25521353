// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/measured.h"

#include "base/file.h"
#include "base/locale.h"
#include "base/sweep.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { SWEEP_BYTES = 200 * 1000 * 1000, LEAST_POINTS = 4, LONGEST_NUMBER = 100 };

static tl_status check_order(const tl_sweep* to, double hz, const tl_place* place,
                             tl_error* error) {
    const tl_measured* sweep = to->sweep;
    if (hz <= 0)
        return tl_error_at(error, place, "a frequency of %.6g Hz: expected more than 0", hz);
    double before = sweep->count ? sweep->hz[sweep->count - 1] : 0;
    if (hz == before)
        return tl_error_at(error, place,
                           "%.10g Hz a second time (first in line %zu): expected each frequency "
                           "once",
                           hz, to->last.line);
    if (hz < before)
        return tl_error_at(error, place,
                           "%.10g Hz after %.10g Hz: expected frequencies that rise from line to "
                           "line",
                           hz, before);
    return TL_OK;
}

tl_status tl_sweep_add(tl_sweep* to, double hz, double size, double phase_rad,
                       const tl_place* place, tl_error* error) {
    tl_measured* sweep = to->sweep;
    tl_status status = check_order(to, hz, place, error);
    if (status != TL_OK)
        return status;
    size_t at = sweep->count++;
    sweep->hz = tl_grow_one(sweep->hz, at, sizeof *sweep->hz);
    sweep->size = tl_grow_one(sweep->size, at, sizeof *sweep->size);
    sweep->line = tl_grow_one(sweep->line, at, sizeof *sweep->line);
    if (to->phased)
        sweep->phase_rad = tl_grow_one(sweep->phase_rad, at, sizeof *sweep->phase_rad);
    sweep->hz[at] = hz;
    sweep->size[at] = size;
    sweep->line[at] = place->line;
    if (to->phased)
        sweep->phase_rad[at] = phase_rad;
    to->last = *place;
    return TL_OK;
}

/// Whether all of it are signs that a decimal number is made of, so that strtod() reads no "nan",
/// no "inf" and no hexadecimal.
static bool looks_decimal(const char* bytes, size_t size) {
    for (size_t i = 0; i < size; ++i)
        if (!strchr("0123456789.+-eE", bytes[i]))
            return false;
    return size > 0;
}

/// Says why a field is no number, as far as one can guess.
static tl_status no_number(const char* bytes, size_t size, const tl_place* place, const char* what,
                           tl_error* error) {
    char shown[LONGEST_NUMBER + 1] = {0};
    if (!size)
        return tl_error_at(error, place, "an empty field: expected %s", what);
    memcpy(shown, bytes, size < LONGEST_NUMBER ? size : LONGEST_NUMBER);
    bool comma = strchr(shown, ',') && strspn(shown, "0123456789.,+-eE") == strlen(shown);
    return tl_error_at(error, place, "'%s' is no finite number: expected %s%s", shown, what,
                       comma ? " (a decimal takes a point, not a comma)" : "");
}

tl_status tl_sweep_number(const char* bytes, size_t size, const tl_place* place, const char* what,
                          double* number, tl_error* error) {
    tl_place at = *place;
    for (; size && (*bytes == ' ' || *bytes == '\t'); ++bytes, --size)
        ++at.column;
    while (size && (bytes[size - 1] == ' ' || bytes[size - 1] == '\t'))
        --size;
    char* end = NULL;
    *number = looks_decimal(bytes, size) ? strtod(bytes, &end) : NAN;
    if (end == bytes + size && isfinite(*number))
        return TL_OK;
    return no_number(bytes, size, &at, what, error);
}

static const char* suffix_of(const char* path) {
    const char* dot = strrchr(tl_file_name(path), '.');
    return dot ? dot : "";
}

/// Whether a name ends as Touchstone files do: .sNp, and the same with Z and Y; `*ports` of them.
static bool is_touchstone(const char* path, unsigned long* ports) {
    const char* suffix = suffix_of(path);
    char* end = NULL;
    if (!*suffix || !strchr("sSzZyY", suffix[1]) || !suffix[1] || suffix[2] < '0' ||
        suffix[2] > '9')
        return false;
    *ports = strtoul(suffix + 2, &end, 10);
    return strcasecmp(end, "p") == 0;
}

static tl_status read_text(const tl_input* in, tl_sweep* to, tl_error* error) {
    unsigned long ports = 0;
    tl_place place = {in, 1, 1};
    if (is_touchstone(in->name, &ports) && ports != 1)
        return tl_error_at(error, &place,
                           "a Touchstone file of %lu ports, by its name: expected one port (.s1p)",
                           ports);
    tl_status status =
        ports == 1 ? tl_sweep_read_touchstone(in, to, error) : tl_sweep_read_csv(in, to, error);
    if (status != TL_OK || to->sweep->count >= LEAST_POINTS)
        return status;
    if (to->sweep->count)
        place = to->last;
    return tl_error_at(error, &place, "%zu frequenc%s only: expected %d or more", to->sweep->count,
                       to->sweep->count == 1 ? "y" : "ies", LEAST_POINTS);
}

tl_status tl_measured_read(const char* path, tl_measured** measured, tl_error* error) {
    *measured = NULL;
    tl_input in = {0};
    tl_status status = tl_file_read(path, SWEEP_BYTES, &in.text, &in.size, error);
    if (status != TL_OK)
        return status;
    in.name = tl_copy(path);
    tl_locale locale = tl_locale_plain();
    tl_sweep sweep = {.sweep = tl_new(1, sizeof *sweep.sweep)};
    status = read_text(&in, &sweep, error);
    tl_locale_restore(locale);
    free(in.name);
    free(in.text);
    if (status == TL_OK)
        *measured = sweep.sweep;
    else
        tl_measured_free(sweep.sweep);
    return status;
}

void tl_measured_free(tl_measured* measured) {
    if (!measured)
        return;
    free(measured->hz);
    free(measured->size);
    free(measured->phase_rad);
    free(measured->line);
    free(measured->state);
    free(measured->other_state);
    free(measured);
}

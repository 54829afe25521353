// SPDX-License-Identifier: GPL-3.0-or-later
// A measured sweep as CSV: which columns there are, and what their numbers come to.
#include "base/csv.h"
#include "base/measured_columns.h"
#include "base/sweep.h"
#include "base/text.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double most_db = 400;

/// Where the columns that count stand, and what the file's numbers are to be multiplied by.
typedef struct {
    bool there;
    size_t index;
    double factor;
} column;

typedef struct {
    column columns[TL_COLUMN_TOTAL];
    size_t count; ///< of all columns
    bool polar;   ///< size and maybe phase; else real and imaginary part
    tl_column_role size;
} layout;

static tl_status bad_header(const tl_csv* csv, const char* words, tl_error* error) {
    tl_place place = csv->fields[0].place;
    return tl_error_at(error, &place, "%s", words);
}

/// What people have in their files who have no header line as RFC 4180 means it.
static tl_status check_header(const tl_csv* csv, tl_error* error) {
    static const char example[] = "frequency_hz,impedance_ohm,phase_deg";
    const tl_csv_field* first = &csv->fields[0];
    size_t left = csv->in->size - (size_t)(first->bytes - csv->in->text);
    size_t line = 0;
    while (line < left && first->bytes[line] != '\n')
        ++line;
    if (csv->count == 1 &&
        (memchr(first->bytes, ';', first->size) || memchr(first->bytes, '\t', first->size)))
        return bad_header(csv,
                          "columns parted by semicolons or tabs: expected commas between columns, "
                          "and points in decimals",
                          error);
    if (first->size && first->bytes[0] == '#')
        return bad_header(csv, "CSV has no comments: expected a line that names the columns",
                          error);
    if (first->size && strchr("0123456789+-.", first->bytes[0]))
        return tl_error_at(error, &first->place,
                           "a number: expected a first line that names the columns, such as %s",
                           example);
    return TL_OK;
}

/// Says which columns to read when there are several that could be.
static tl_status choose(const tl_csv* csv, layout* found, tl_error* error) {
    const column* columns = found->columns;
    size_t responses = 0;
    for (tl_column_role role = TL_COLUMN_LEVEL; role <= TL_COLUMN_VOLT; ++role)
        if (columns[role].there) {
            ++responses;
            found->size = role;
        }
    bool parts = columns[TL_COLUMN_REAL].there && columns[TL_COLUMN_IMAGINARY].there;
    bool size = columns[TL_COLUMN_IMPEDANCE].there;
    if (!columns[TL_COLUMN_FREQUENCY].there)
        return bad_header(csv, "no column of frequencies: expected frequency_hz or frequency_khz",
                          error);
    if (responses > 1 || (responses && (parts || size)))
        return bad_header(csv,
                          "more than one column that was measured: expected one of impedance (or "
                          "real and imaginary), level, gain and ratio",
                          error);
    if (!responses && !parts && !size &&
        (columns[TL_COLUMN_REAL].there || columns[TL_COLUMN_IMAGINARY].there))
        return bad_header(csv, "real and imaginary part go together: one of them is missing",
                          error);
    if (!responses && !parts && !size)
        return bad_header(csv,
                          "no column of what was measured: expected impedance_ohm, real_ohm and "
                          "imaginary_ohm, level_db, gain_db, level_v or ratio",
                          error);
    if (!responses)
        found->size = TL_COLUMN_IMPEDANCE;
    found->polar = responses || !parts || (size && columns[TL_COLUMN_PHASE].there);
    return TL_OK;
}

static tl_status read_header(tl_csv* csv, layout* found, tl_error* error) {
    tl_status status = check_header(csv, error);
    for (size_t i = 0; status == TL_OK && i < csv->count; ++i) {
        tl_column_role role = TL_COLUMN_IGNORED;
        double factor = 1;
        status = tl_column_read(&csv->fields[i], &role, &factor, error);
        if (status != TL_OK || role == TL_COLUMN_IGNORED)
            continue;
        if (found->columns[role].there)
            return tl_error_at(error, &csv->fields[i].place,
                               "a second column that holds %s (the first is column %zu)",
                               tl_column_words(role), found->columns[role].index + 1);
        found->columns[role] = (column){true, i, factor};
    }
    found->count = csv->count;
    return status == TL_OK ? choose(csv, found, error) : status;
}

static tl_status read_cell(const tl_csv* csv, const layout* known, tl_column_role role,
                           double* number, tl_error* error) {
    const column* from = &known->columns[role];
    const tl_csv_field* field = &csv->fields[from->index];
    tl_status status = tl_sweep_number(field->bytes, field->size, &field->place,
                                       tl_column_words(role), number, error);
    *number *= from->factor;
    return status;
}

/// What a number of the size's column comes to as ohm or as a ratio.
static tl_status take_size(const tl_csv* csv, const layout* known, double* size, tl_error* error) {
    tl_status status = read_cell(csv, known, known->size, size, error);
    if (status != TL_OK)
        return status;
    const tl_place* place = &csv->fields[known->columns[known->size].index].place;
    if (known->size == TL_COLUMN_LEVEL || known->size == TL_COLUMN_GAIN) {
        if (fabs(*size) > most_db)
            return tl_error_at(error, place, "%.6g dB: expected a level from -%g to %g dB", *size,
                               most_db, most_db);
        *size = pow(10, *size / 20);
    }
    if (*size <= 0 || !isfinite(*size))
        return tl_error_at(error, place, "%s of %.6g: expected more than 0",
                           tl_column_words(known->size), *size);
    return TL_OK;
}

static tl_status take_value(const tl_csv* csv, const layout* known, double* size, double* phase_rad,
                            tl_error* error) {
    if (known->polar) {
        tl_status status = take_size(csv, known, size, error);
        if (status == TL_OK && known->columns[TL_COLUMN_PHASE].there)
            status = read_cell(csv, known, TL_COLUMN_PHASE, phase_rad, error);
        return status;
    }
    double real = 0;
    double imaginary = 0;
    tl_status status = read_cell(csv, known, TL_COLUMN_REAL, &real, error);
    if (status == TL_OK)
        status = read_cell(csv, known, TL_COLUMN_IMAGINARY, &imaginary, error);
    *size = hypot(real, imaginary);
    *phase_rad = atan2(imaginary, real);
    if (status == TL_OK && (*size <= 0 || !isfinite(*size)))
        status = tl_error_at(error, &csv->fields[known->columns[TL_COLUMN_REAL].index].place,
                             "an impedance of %.6g ohm: expected more than 0", *size);
    return status;
}

static tl_status check_count(const tl_csv* csv, const layout* known, tl_error* error) {
    if (csv->count == known->count)
        return TL_OK;
    const tl_place* place = &csv->fields[0].place;
    if (csv->count == 1 && csv->fields[0].size == 0)
        return tl_error_at(error, place, "an empty line between the others");
    return tl_error_at(error, place, "%zu fields in this line, %zu in the line of names%s",
                       csv->count, known->count,
                       csv->count > known->count ? " (a decimal takes a point, not a comma)" : "");
}

static char* trimmed_words(const tl_csv_field* field) {
    char* words = tl_csv_words(field);
    size_t from = strspn(words, " \t");
    size_t to = strlen(words);
    while (to > from && (words[to - 1] == ' ' || words[to - 1] == '\t'))
        --to;
    char* trimmed = tl_printf("%.*s", (int)(to - from), words + from);
    free(words);
    return trimmed;
}

/// Keeps what a line says of the state it was measured in. A second state that starts the
/// frequencies over is a second sweep.
static tl_status take_state(const tl_csv* csv, const layout* known, double hz, tl_measured* sweep,
                            tl_error* error) {
    if (!known->columns[TL_COLUMN_STATE].there)
        return TL_OK;
    const tl_csv_field* field = &csv->fields[known->columns[TL_COLUMN_STATE].index];
    char* words = trimmed_words(field);
    bool other = *words && sweep->state && strcmp(words, sweep->state) != 0;
    tl_status status = TL_OK;
    if (other && hz <= sweep->hz[sweep->count - 1]) {
        status = tl_error_at(error, &field->place,
                             "a second state, '%s', after '%s' (line %zu): expected a file for "
                             "each state",
                             words, sweep->state, sweep->state_line);
    } else if (*words && !sweep->state) {
        sweep->state = tl_copy(words);
        sweep->state_line = field->place.line;
        sweep->state_column = field->place.column;
    } else if (other && !sweep->other_state) {
        sweep->other_state = tl_copy(words);
        sweep->other_line = field->place.line;
        sweep->other_column = field->place.column;
    }
    free(words);
    return status;
}

static tl_status read_row(const tl_csv* csv, const layout* known, tl_sweep* to, tl_error* error) {
    double hz = 0;
    double size = 0;
    double phase_rad = 0;
    tl_status status = check_count(csv, known, error);
    if (status == TL_OK)
        status = read_cell(csv, known, TL_COLUMN_FREQUENCY, &hz, error);
    if (status == TL_OK)
        status = take_value(csv, known, &size, &phase_rad, error);
    if (status == TL_OK)
        status = take_state(csv, known, hz, to->sweep, error);
    return status == TL_OK
               ? tl_sweep_add(to, hz, size, phase_rad,
                              &csv->fields[known->columns[TL_COLUMN_FREQUENCY].index].place, error)
               : status;
}

tl_status tl_sweep_read_csv(const tl_input* in, tl_sweep* to, tl_error* error) {
    tl_csv csv = {0};
    layout known = {0};
    bool more = false;
    tl_status status = tl_csv_open(&csv, in, error);
    if (status == TL_OK)
        status = tl_csv_next(&csv, &more, error);
    if (status == TL_OK && !more) {
        tl_place place = {in, 1, 1};
        status =
            tl_error_at(error, &place, "an empty file: expected a line that names the columns");
    }
    if (status == TL_OK)
        status = read_header(&csv, &known, error);
    to->phased = !known.polar || known.columns[TL_COLUMN_PHASE].there;
    to->sweep->kind =
        known.size == TL_COLUMN_IMPEDANCE ? TL_MEASURED_IMPEDANCE : TL_MEASURED_RESPONSE;
    to->sweep->relative = known.size == TL_COLUMN_LEVEL || known.size == TL_COLUMN_VOLT;
    while (status == TL_OK && more) {
        status = tl_csv_next(&csv, &more, error);
        if (status == TL_OK && more)
            status = read_row(&csv, &known, to, error);
    }
    tl_csv_close(&csv);
    return status;
}

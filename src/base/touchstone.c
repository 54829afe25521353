// SPDX-License-Identifier: GPL-3.0-or-later
// Touchstone of one port. Rules: version 1.1 of the format (EIA/IBIS Open Forum), seen in
// translation (blog.csdn.net/m0_37618640/article/details/137060097) and in two readers
// (scikit-rf, skrf/io/touchstone.py; Qucs, check_touchstone.h).
#include "base/sweep.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { LONGEST_WORD = 40, ONE_PORT = 3, MOST_NUMBERS = 9 };

/// A word of a line.
typedef struct {
    const char* bytes;
    size_t size;
    tl_place place;
} word;

/// The option line, and the line being read.
typedef struct {
    const tl_input* in;
    bool optioned;
    double hz;      ///< of the file's unit of frequency
    char parameter; ///< 'S', 'Z' or 'Y'
    char format;    ///< 'D' for dB and angle, 'M' magnitude and angle, 'R' real and imaginary
    double ohm;     ///< what values are relative to
    size_t line;
    const char* start; ///< of the line
    const char* at;
    const char* end; ///< of the line without its comment
} reader;

static bool is_blank(char sign) {
    return sign == ' ' || sign == '\t' || sign == '\r';
}

static bool next_word(reader* r, word* next) {
    while (r->at < r->end && is_blank(*r->at))
        ++r->at;
    next->bytes = r->at;
    next->place = (tl_place){r->in, r->line, (size_t)(r->at - r->start) + 1};
    while (r->at < r->end && !is_blank(*r->at))
        ++r->at;
    next->size = (size_t)(r->at - next->bytes);
    return next->size > 0;
}

static bool is_word(const word* one, const char* other) {
    return strlen(other) == one->size && strncasecmp(one->bytes, other, one->size) == 0;
}

static tl_status bad_word(const word* bad, const char* what, tl_error* error) {
    char shown[LONGEST_WORD + 1] = {0};
    memcpy(shown, bad->bytes, bad->size < LONGEST_WORD ? bad->size : LONGEST_WORD);
    return tl_error_at(error, &bad->place, "'%s': %s", shown, what);
}

static tl_status read_reference(reader* r, tl_error* error) {
    word value = {0};
    if (!next_word(r, &value))
        return tl_error_at(error, &value.place,
                           "expected the ohms that values are relative to, such as R 50");
    tl_status status = tl_sweep_number(value.bytes, value.size, &value.place,
                                       "the ohms that values are relative to", &r->ohm, error);
    if (status == TL_OK && r->ohm <= 0)
        status = bad_word(&value, "expected more than 0 ohm", error);
    word more = {0};
    const char* back = r->at;
    bool number = next_word(r, &more) && strchr("0123456789.", *more.bytes);
    r->at = back;
    if (status == TL_OK && number)
        status = bad_word(&more, "one port has one value after R", error);
    return status;
}

static tl_status read_option(reader* r, const word* option, tl_error* error) {
    static const struct {
        const char* unit;
        double hz;
    } units[] = {{"hz", 1}, {"khz", 1e3}, {"mhz", 1e6}, {"ghz", 1e9}};
    for (size_t i = 0; i < sizeof units / sizeof *units; ++i)
        if (is_word(option, units[i].unit)) {
            r->hz = units[i].hz;
            return TL_OK;
        }
    if (is_word(option, "s") || is_word(option, "z") || is_word(option, "y")) {
        r->parameter = (char)(*option->bytes & ~0x20);
        return TL_OK;
    }
    if (is_word(option, "g") || is_word(option, "h"))
        return bad_word(option, "belongs to two ports: expected S, Z or Y", error);
    if (is_word(option, "db") || is_word(option, "ma") || is_word(option, "ri")) {
        r->format = (char)(*option->bytes & ~0x20);
        return TL_OK;
    }
    if (is_word(option, "r"))
        return read_reference(r, error);
    return bad_word(option,
                    "unknown in an option line: expected Hz, kHz, MHz or GHz; S, Z or Y; DB, MA or "
                    "RI; R and its ohms",
                    error);
}

/// The first option line counts, later ones do not.
static tl_status read_options(reader* r, tl_error* error) {
    if (r->optioned)
        return TL_OK;
    r->optioned = true;
    ++r->at; // past '#'
    word option = {0};
    tl_status status = TL_OK;
    while (status == TL_OK && next_word(r, &option))
        status = read_option(r, &option, error);
    return status;
}

/// What two numbers of the file are as a complex one.
static double complex pair(const reader* r, double first, double second) {
    if (r->format == 'R')
        return first + I * second;
    double size = r->format == 'D' ? pow(10, first / 20) : first;
    double angle_rad = second * M_PI / 180;
    return size * cos(angle_rad) + I * (size * sin(angle_rad));
}

/// Values are relative to R, those of Z and Y as well: Z = R z, 1 / Y = R / y,
/// Z = R (1 + S) / (1 - S).
static double complex to_ohm(const reader* r, double complex value) {
    return r->parameter == 'Z'   ? r->ohm * value
           : r->parameter == 'Y' ? r->ohm / value
                                 : r->ohm * (1 + value) / (1 - value);
}

static tl_status read_line(reader* r, tl_sweep* to, tl_error* error) {
    static const char* const what[ONE_PORT] = {"a frequency", "the first number of a pair",
                                               "the second number of a pair"};
    word words[MOST_NUMBERS] = {0};
    size_t count = 0;
    while (count < MOST_NUMBERS && next_word(r, &words[count]))
        ++count;
    if (!r->optioned)
        return tl_error_at(error, &words[0].place,
                           "expected an option line before the numbers, such as # Hz Z RI R 1");
    if (count > ONE_PORT)
        return tl_error_at(error, &words[ONE_PORT].place,
                           "%s numbers in a line: expected one port, a frequency and a pair",
                           count == MOST_NUMBERS ? "9 or more" : "more than 3");
    double numbers[ONE_PORT] = {0};
    for (size_t i = 0; i < ONE_PORT; ++i) {
        if (i >= count)
            return tl_error_at(error, &words[count - 1].place,
                               "%zu number%s in this line: expected a frequency and a pair", count,
                               count == 1 ? "" : "s");
        tl_status status = tl_sweep_number(words[i].bytes, words[i].size, &words[i].place, what[i],
                                           &numbers[i], error);
        if (status != TL_OK)
            return status;
    }
    double complex ohm = to_ohm(r, pair(r, numbers[1], numbers[2]));
    double size = cabs(ohm);
    if (!isfinite(size) || size <= 0)
        return tl_error_at(error, &words[1].place,
                           "this is an impedance of %s: expected one that can be measured",
                           size <= 0 ? "0" : "no end");
    return tl_sweep_add(to, numbers[0] * r->hz, size, carg(ohm), &words[0].place, error);
}

/// A name that says Z or Y while the option line does not would be read as S, which nobody meant.
static tl_status check_parameter(const reader* r, const tl_place* place, tl_error* error) {
    const char* dot = strrchr(r->in->name, '.');
    bool says = !dot || dot[1] == 's' || dot[1] == 'S';
    if (r->parameter || says)
        return TL_OK;
    return tl_error_at(error, place,
                       "the option line does not say what the numbers are: expected S, Z or Y");
}

/// One line that is not empty, of whatever sort.
static tl_status read_any(reader* r, tl_sweep* to, tl_error* error) {
    tl_place place = {r->in, r->line, (size_t)(r->at - r->start) + 1};
    if (*r->at == '[')
        return tl_error_at(error, &place,
                           "a keyword of Touchstone 2: expected version 1.1, without keywords");
    if (*r->at != '#')
        return read_line(r, to, error);
    bool first = !r->optioned;
    tl_status status = read_options(r, error);
    if (status == TL_OK && first)
        status = check_parameter(r, &place, error);
    if (!r->parameter)
        r->parameter = 'S';
    return status;
}

tl_status tl_sweep_read_touchstone(const tl_input* in, tl_sweep* to, tl_error* error) {
    reader r = {.in = in, .hz = 1e9, .format = 'M', .ohm = 50, .start = in->text};
    const char* stop = in->text + in->size;
    const char* nul = memchr(in->text, '\0', in->size);
    to->phased = true;
    to->sweep->kind = TL_MEASURED_IMPEDANCE;
    tl_status status = TL_OK;
    while (status == TL_OK && r.start < stop) {
        const char* next = memchr(r.start, '\n', (size_t)(stop - r.start));
        const char* line_end = next ? next : stop;
        const char* comment = memchr(r.start, '!', (size_t)(line_end - r.start));
        ++r.line;
        r.end = comment ? comment : line_end;
        r.at = r.start;
        tl_place place = {in, r.line, nul ? (size_t)(nul - r.start) + 1 : 1};
        if (nul && nul < line_end)
            return tl_error_at(error, &place, "a NUL character: expected Touchstone as plain text");
        if (r.line == 1 && in->size >= 3 && memcmp(in->text, "\xef\xbb\xbf", 3) == 0)
            r.at += 3;
        while (r.at < r.end && is_blank(*r.at))
            ++r.at;
        if (r.at < r.end)
            status = read_any(&r, to, error);
        r.start = next ? next + 1 : stop;
    }
    return status;
}

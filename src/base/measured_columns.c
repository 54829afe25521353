// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/measured_columns.h"

#include "base/names.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof *(array))

/// What a column measures, which its unit says.
typedef enum { IN_HERTZ, IN_OHM, IN_ANGLE, IN_DECIBEL, IN_VOLT, BARE } dimension;

static const struct {
    const char* unit;
    dimension in;
    double factor;
    bool offered; ///< named in errors
} units[] = {
    {"hz", IN_HERTZ, 1, true},
    {"khz", IN_HERTZ, 1e3, true},
    {"mhz", IN_HERTZ, 1e6, false},
    {"ohm", IN_OHM, 1, true},
    {"ohms", IN_OHM, 1, false},
    {"kohm", IN_OHM, 1e3, true},
    {"kohms", IN_OHM, 1e3, false},
    {"deg", IN_ANGLE, M_PI / 180, true},
    {"degree", IN_ANGLE, M_PI / 180, false},
    {"degrees", IN_ANGLE, M_PI / 180, false},
    {"rad", IN_ANGLE, 1, true},
    {"radian", IN_ANGLE, 1, false},
    {"radians", IN_ANGLE, 1, false},
    {"db", IN_DECIBEL, 1, true},
    {"dbv", IN_DECIBEL, 1, false},
    {"dbu", IN_DECIBEL, 1, false},
    {"dbm", IN_DECIBEL, 1, false},
    {"dbfs", IN_DECIBEL, 1, false},
    {"v", IN_VOLT, 1, true},
    {"mv", IN_VOLT, 1e-3, true},
    {"uv", IN_VOLT, 1e-6, false},
    {"vrms", IN_VOLT, 1, false},
    {"mvrms", IN_VOLT, 1e-3, false},
};

/// Names, spaces for whatever stands between their words. A unit alone has the name "".
static const struct {
    const char* name;
    dimension in;
    tl_column_role role;
} names[] = {
    {"frequency", IN_HERTZ, TL_COLUMN_FREQUENCY},
    {"freq", IN_HERTZ, TL_COLUMN_FREQUENCY},
    {"f", IN_HERTZ, TL_COLUMN_FREQUENCY},
    {"", IN_HERTZ, TL_COLUMN_FREQUENCY},
    {"impedance", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"impedance magnitude", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"z", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"abs z", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"z abs", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"mag z", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"z mag", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"magnitude", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"measured", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"", IN_OHM, TL_COLUMN_IMPEDANCE},
    {"phase", IN_ANGLE, TL_COLUMN_PHASE},
    {"impedance phase", IN_ANGLE, TL_COLUMN_PHASE},
    {"z phase", IN_ANGLE, TL_COLUMN_PHASE},
    {"phase z", IN_ANGLE, TL_COLUMN_PHASE},
    {"arg z", IN_ANGLE, TL_COLUMN_PHASE},
    {"z arg", IN_ANGLE, TL_COLUMN_PHASE},
    {"angle", IN_ANGLE, TL_COLUMN_PHASE},
    {"theta", IN_ANGLE, TL_COLUMN_PHASE},
    {"phi", IN_ANGLE, TL_COLUMN_PHASE},
    {"", IN_ANGLE, TL_COLUMN_PHASE},
    {"real", IN_OHM, TL_COLUMN_REAL},
    {"re", IN_OHM, TL_COLUMN_REAL},
    {"re z", IN_OHM, TL_COLUMN_REAL},
    {"z re", IN_OHM, TL_COLUMN_REAL},
    {"real z", IN_OHM, TL_COLUMN_REAL},
    {"z real", IN_OHM, TL_COLUMN_REAL},
    {"resistance", IN_OHM, TL_COLUMN_REAL},
    {"rs", IN_OHM, TL_COLUMN_REAL},
    {"imaginary", IN_OHM, TL_COLUMN_IMAGINARY},
    {"imag", IN_OHM, TL_COLUMN_IMAGINARY},
    {"im", IN_OHM, TL_COLUMN_IMAGINARY},
    {"im z", IN_OHM, TL_COLUMN_IMAGINARY},
    {"z im", IN_OHM, TL_COLUMN_IMAGINARY},
    {"imag z", IN_OHM, TL_COLUMN_IMAGINARY},
    {"z imag", IN_OHM, TL_COLUMN_IMAGINARY},
    {"reactance", IN_OHM, TL_COLUMN_IMAGINARY},
    {"xs", IN_OHM, TL_COLUMN_IMAGINARY},
    {"level", IN_DECIBEL, TL_COLUMN_LEVEL},
    {"measured", IN_DECIBEL, TL_COLUMN_LEVEL},
    {"response", IN_DECIBEL, TL_COLUMN_LEVEL},
    {"magnitude", IN_DECIBEL, TL_COLUMN_LEVEL},
    {"amplitude", IN_DECIBEL, TL_COLUMN_LEVEL},
    {"", IN_DECIBEL, TL_COLUMN_LEVEL},
    {"gain", IN_DECIBEL, TL_COLUMN_GAIN},
    {"level", IN_VOLT, TL_COLUMN_VOLT},
    {"measured", IN_VOLT, TL_COLUMN_VOLT},
    {"voltage", IN_VOLT, TL_COLUMN_VOLT},
    {"amplitude", IN_VOLT, TL_COLUMN_VOLT},
    {"output", IN_VOLT, TL_COLUMN_VOLT},
    {"", IN_VOLT, TL_COLUMN_VOLT},
    {"ratio", BARE, TL_COLUMN_RATIO},
};

/// The spellings that errors and the README offer.
static const char* const offered[] = {
    "frequency_hz", "frequency_khz", "impedance_ohm", "impedance_kohm", "phase_deg", "phase_rad",
    "real_ohm",     "imaginary_ohm", "level_db",      "level_v",        "gain_db",   "ratio",
};

/// Columns that others write beside what was measured, by their first word.
static const char* const ignored[] = {
    "state", "note", "notes",   "comment", "comments", "remark", "expected", "limit",
    "low",   "high", "verdict", "rig",     "amp",      "path",   "index",    "number",
    "row",   "n",    "date",    "time",    "error",    "name",   "unit",     "deviation",
    "q",     "d",    "ls",      "lp",      "cs",       "cp",     "rp",
};

const char* tl_column_words(tl_column_role role) {
    static const char* const words[TL_COLUMN_TOTAL] = {
        "a frequency",   "an impedance", "a phase", "a resistance", "a reactance",
        "a level in dB", "a gain in dB", "a ratio", "a voltage",    "a state"};
    return role < TL_COLUMN_TOTAL ? words[role] : "";
}

/// Greek letters and signs that stand for words.
static const struct {
    const char* sign;
    const char* word;
} signs[] = {{"\u03a9", "ohm"},   {"\u2126", "ohm"}, {"\u00b0", "deg"}, {"\u00ba", "deg"},
             {"\u03b8", "theta"}, {"\u03c6", "phi"}, {"\u03d5", "phi"}};

/// The name's words in small letters with one blank between: "|Z| (ohm)" becomes "z ohm".
static char* plain_words(const char* name) {
    tl_text plain = {0};
    bool gap = false;
    while (*name) {
        const char* word = NULL;
        char letter[2] = {0};
        size_t size = 1;
        for (size_t i = 0; i < COUNT(signs) && !word; ++i)
            if (strncmp(name, signs[i].sign, strlen(signs[i].sign)) == 0) {
                word = signs[i].word;
                size = strlen(signs[i].sign);
            }
        bool capital = *name >= 'A' && *name <= 'Z';
        if (capital || (*name >= 'a' && *name <= 'z') || (*name >= '0' && *name <= '9')) {
            letter[0] = (char)(capital ? *name - 'A' + 'a' : *name);
            word = letter;
        }
        if (word && gap && plain.size)
            tl_text_add(&plain, " ");
        gap = !word;
        if (word)
            tl_text_add(&plain, word);
        name += size;
    }
    return tl_text_take(&plain);
}

/// Cuts a unit off the end of plain words; its row, or COUNT(units) when there is none.
static size_t cut_unit(char* plain) {
    char* blank = strrchr(plain, ' ');
    const char* last = blank ? blank + 1 : plain;
    for (size_t i = 0; i < COUNT(units); ++i)
        if (strcmp(units[i].unit, last) == 0) {
            *(blank ? blank : plain) = '\0';
            return i;
        }
    return COUNT(units);
}

static bool is_ignored(const char* plain) {
    size_t first = strcspn(plain, " ");
    for (size_t i = 0; i < COUNT(ignored); ++i)
        if (strlen(ignored[i]) == first && strncmp(plain, ignored[i], first) == 0)
            return true;
    return false;
}

/// The name is known, its unit is missing or another's: says which would fit.
static tl_status wrong_unit(const tl_csv_field* field, const char* shown, const char* name,
                            const char* unit, tl_error* error) {
    tl_text fits = {0};
    for (size_t i = 0; i < COUNT(names); ++i)
        for (size_t j = 0; strcmp(names[i].name, name) == 0 && j < COUNT(units); ++j)
            if (units[j].in == names[i].in && units[j].offered) {
                tl_text_add(&fits, fits.size ? " or " : "");
                for (const char* at = name; *at; ++at)
                    tl_text_add_bytes(&fits, *at == ' ' ? "_" : at, 1);
                tl_text_addf(&fits, "_%s", units[j].unit);
            }
    tl_status status =
        fits.size == 0
            ? tl_error_at(error, &field->place, "'%s' takes no unit: expected %s", shown, name)
        : unit ? tl_error_at(error, &field->place, "'%s': '%s' does not fit; expected %s", shown,
                             unit, tl_text_get(&fits))
               : tl_error_at(error, &field->place, "'%s' does not say its unit: expected %s", shown,
                             tl_text_get(&fits));
    tl_text_free(&fits);
    return status;
}

static tl_status unknown_column(const tl_csv_field* field, const char* shown, tl_error* error) {
    tl_text hint = {0};
    tl_name_hint(&hint, shown, offered, COUNT(offered));
    tl_status status = tl_error_at(error, &field->place,
                                   "unknown column '%s'%s (what is not to be read may be called "
                                   "note, state, expected.. or limit..)",
                                   shown, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

static tl_status find_role(const tl_csv_field* field, const char* shown, char* plain,
                           tl_column_role* role, double* factor, tl_error* error) {
    if (strcmp(plain, "state") == 0) {
        *role = TL_COLUMN_STATE;
        return TL_OK;
    }
    if (is_ignored(plain)) {
        *role = TL_COLUMN_IGNORED;
        return TL_OK;
    }
    size_t unit = cut_unit(plain);
    bool united = unit < COUNT(units);
    bool known = false;
    for (size_t i = 0; i < COUNT(names); ++i)
        if (strcmp(names[i].name, plain) == 0) {
            known = true;
            if (names[i].in != (united ? units[unit].in : BARE))
                continue;
            *role = names[i].role;
            *factor = united ? units[unit].factor : 1;
            return TL_OK;
        }
    if (known && (united || *plain))
        return wrong_unit(field, shown, plain, united ? units[unit].unit : NULL, error);
    return unknown_column(field, shown, error);
}

tl_status tl_column_read(const tl_csv_field* name, tl_column_role* role, double* factor,
                         tl_error* error) {
    char* words = tl_csv_words(name);
    char* plain = plain_words(words);
    tl_text shown = {0};
    tl_text_add_bytes(&shown, words, strlen(words) < 60 ? strlen(words) : 60);
    *factor = 1;
    tl_status status =
        *plain ? find_role(name, tl_text_get(&shown), plain, role, factor, error)
        : name->size
            ? unknown_column(name, tl_text_get(&shown), error)
            : tl_error_at(error, &name->place,
                          "a column without a name (is there a comma too many?): expected %s..",
                          offered[0]);
    tl_text_free(&shown);
    free(plain);
    free(words);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/quantity.h"

#include "base/names.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <udunits2.h>

/// What a unit is made of, how to say it, and spellings to offer.
typedef struct {
    const char* words;
    const char* base;    ///< its SI unit, as the unit library reads it
    const char* example; ///< as shown in errors
    const char* spellings[8];
} unit_row;

static const unit_row rows[TL_UNIT_TOTAL] = {
    [TL_UNIT_COUNT] = {"a number", NULL, "7", {0}},
    [TL_UNIT_OHM] = {"a resistance",
                     "ohm",
                     "250 kohm or 1 Mohm",
                     {"ohm", "mohm", "kohm", "Mohm", "Gohm"}},
    [TL_UNIT_FARAD] = {"a capacitance", "F", "110 pF or 22 nF", {"pF", "nF", "uF", "mF", "F"}},
    [TL_UNIT_HENRY] = {"an inductance", "H", "2.5 H or 800 mH", {"nH", "uH", "mH", "H"}},
    [TL_UNIT_METRE] = {"a length", "m", "6 m or 20 ft", {"m", "cm", "mm", "ft", "in", "km"}},
    [TL_UNIT_OHM_PER_M] = {"a resistance per length",
                           "ohm/m",
                           "80 mohm/m",
                           {"mohm/m", "ohm/m", "mohm/ft", "ohm/km", "ohm/ft"}},
    [TL_UNIT_FARAD_PER_M] = {"a capacitance per length",
                             "F/m",
                             "100 pF/m or 30 pF/ft",
                             {"pF/m", "pF/ft", "nF/m", "nF/km"}},
    [TL_UNIT_HENRY_PER_M] = {"an inductance per length",
                             "H/m",
                             "250 nH/m",
                             {"nH/m", "uH/m", "nH/ft", "mH/km"}},
    [TL_UNIT_SIEMENS_PER_M] = {"a leakage per length",
                               "S/m",
                               "10 pS/m",
                               {"pS/m", "nS/m", "uS/m", "S/m"}},
    [TL_UNIT_HERTZ] = {"a frequency", "Hz", "200 Hz or 3 kHz", {"Hz", "kHz", "MHz"}},
    [TL_UNIT_SECOND] = {"a time", "s", "10 s", {"s", "ms"}},
    [TL_UNIT_FRACTION] = {"a share", NULL, "70 %", {"%"}},
    [TL_UNIT_GAIN] = {"a gain", NULL, "2, -1 or 6 dB", {"dB"}},
    [TL_UNIT_GAUGE] = {"a wire gauge", "m", "24 AWG or 0.5 mm", {"AWG", "mm"}},
    [TL_UNIT_VOLT] = {"a voltage", "V", "9 V or 50 mV", {"V", "mV", "uV", "nV", "kV"}},
    [TL_UNIT_AMPERE] = {"a current", "A", "2 mA", {"A", "mA", "uA", "nA"}},
    [TL_UNIT_DECIBEL] = {"a level", "dB", "-0.5 dB", {"dB"}},
    [TL_UNIT_DEGREE] = {"an angle", "deg", "5 deg", {"deg"}},
    [TL_UNIT_NOISE_DENSITY] = {"a noise density",
                               "V/rtHz",
                               "10 nV/rtHz",
                               {"nV/rtHz", "uV/rtHz", "V/rtHz"}},
    [TL_UNIT_NOISE_CURRENT] = {"a noise current density",
                               "A/rtHz",
                               "0.5 pA/rtHz",
                               {"pA/rtHz", "fA/rtHz", "nA/rtHz", "A/rtHz"}},
    [TL_UNIT_WATT] = {"a power", "W", "18 W", {"W", "mW", "kW"}},
    [TL_UNIT_VOLT_PER_S] = {"a slew rate", "V/s", "0.5 V/us", {"V/us", "V/ms", "V/s"}},
    [TL_UNIT_SQUARE_METRE] = {"an area",
                              "m2",
                              "60 cm2 or 9 in2",
                              {"cm2", "mm2", "m2", "in2", "ft2"}},
    [TL_UNIT_PASCAL] = {"a force per area",
                        "Pa",
                        "170 kPa or 25 lbf/in2",
                        {"kPa", "Pa", "lbf/in2", "psi", "N/cm2", "N/mm2"}},
    [TL_UNIT_NEWTON] = {"a force", "N", "200 N or 45 lbf", {"N", "lbf", "kgf", "kN"}},
    [TL_UNIT_KILOGRAM] = {"a weight", "kg", "400 g or 14 oz", {"g", "kg", "oz", "lb"}},
};

enum { CACHE = 32, LONGEST_UNIT = 15 };

typedef struct {
    tl_unit unit;
    char name[LONGEST_UNIT + 1];
    double factor; ///< 0: the name does not fit
} cached;

struct tl_units {
    ut_system* system;
    cached cache[CACHE];
    size_t cached;
};

static void add_base(ut_system* system, const char* symbol, const char* other) {
    ut_unit* unit = ut_new_base_unit(system);
    ut_map_symbol_to_unit(symbol, UT_UTF8, unit);
    if (other)
        ut_map_symbol_to_unit(other, UT_UTF8, unit);
    ut_free(unit);
}

static void add_scaled(ut_system* system, const char* symbol, double factor, const char* of) {
    ut_unit* base = ut_get_unit_by_symbol(system, of);
    ut_unit* unit = ut_scale(factor, base);
    ut_map_symbol_to_unit(symbol, UT_UTF8, unit);
    ut_free(unit);
    ut_free(base);
}

/// A unit made of others, as the unit library reads it.
static void add_made(ut_system* system, const char* symbol, const char* of) {
    ut_unit* unit = ut_parse(system, of, UT_UTF8);
    ut_map_symbol_to_unit(symbol, UT_UTF8, unit);
    ut_free(unit);
}

/// The unit library's full database takes 9 ms to read; a builder's units are these.
tl_units* tl_units_new(void) {
    ut_set_error_message_handler(ut_ignore);
    tl_units* units = tl_new(1, sizeof *units);
    ut_system* system = ut_new_system();
    units->system = system;
    add_base(system, "m", NULL);
    add_base(system, "ohm", "\u03a9");
    add_base(system, "F", NULL);
    add_base(system, "H", NULL);
    add_base(system, "S", NULL);
    add_base(system, "Hz", NULL);
    add_base(system, "s", NULL);
    add_base(system, "V", NULL);
    add_base(system, "A", NULL);
    add_base(system, "W", NULL);
    add_base(system, "dB", NULL);
    add_base(system, "deg", NULL);
    add_base(system, "rtHz", NULL);        // the root of 1 Hz, which no unit library knows
    add_scaled(system, "ft", 0.3048, "m"); // exact, international foot
    add_scaled(system, "in", 0.0254, "m"); // exact
    add_base(system, "g", NULL);           // gram
    add_made(system, "N", "1000 g.m.s-2");
    add_made(system, "Pa", "N.m-2");
    add_scaled(system, "lb", 453.59237, "g");    // exact, international pound
    add_scaled(system, "oz", 28.349523125, "g"); // a sixteenth of it
    add_scaled(system, "kgf", TL_STANDARD_GRAVITY, "N");
    add_scaled(system, "lbf", 0.45359237 * TL_STANDARD_GRAVITY, "N");
    static const struct {
        const char* symbol;
        double factor;
    } prefixes[] = {{"f", 1e-15},     {"p", 1e-12},     {"n", 1e-9}, {"u", 1e-6},
                    {"\u00b5", 1e-6}, {"\u03bc", 1e-6}, {"m", 1e-3}, {"c", 1e-2},
                    {"k", 1e3},       {"M", 1e6},       {"G", 1e9}};
    for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; ++i)
        ut_add_symbol_prefix(system, prefixes[i].symbol, prefixes[i].factor);
    add_made(system, "psi", "lbf.in-2");
    return units;
}

void tl_units_free(tl_units* units) {
    if (!units)
        return;
    ut_free_system(units->system);
    free(units);
}

const char* tl_unit_words(tl_unit unit) {
    return rows[unit].words;
}

const char* tl_unit_symbol(tl_unit unit) {
    return rows[unit].base ? rows[unit].base : "";
}

double tl_gauge_diameter_m(double gauge) {
    return 0.127e-3 * pow(92.0, (36.0 - gauge) / 39.0);
}

char* tl_gauge_words(double diameter_m) {
    double gauge = 36 - 39 * log(diameter_m / 0.127e-3) / log(92);
    bool whole = fabs(gauge - round(gauge)) < 0.01;
    return whole ? tl_printf("%.0f AWG", gauge) : tl_printf("%.3g mm", 1e3 * diameter_m);
}

/// Whether a unit's name can be read: no numbers in it but, where squares are among what it is made
/// of, a 2 that ends a symbol.
static bool is_readable(const char* name, tl_unit unit) {
    bool squares = unit == TL_UNIT_SQUARE_METRE || unit == TL_UNIT_PASCAL;
    if (strlen(name) > LONGEST_UNIT || strpbrk(name, "013456789.^*() \t"))
        return false;
    for (const char* two = strchr(name, '2'); two; two = strchr(two + 1, '2'))
        if (!squares || two == name || !isalpha((unsigned char)two[-1]) ||
            (two[1] && two[1] != '/'))
            return false;
    return true;
}

/// How many of the unit's SI unit one of `name` is; 0 when it is no such unit.
static double unit_factor(tl_units* units, const char* name, tl_unit unit) {
    if (!is_readable(name, unit))
        return 0;
    for (size_t i = 0; i < units->cached; ++i)
        if (units->cache[i].unit == unit && strcmp(units->cache[i].name, name) == 0)
            return units->cache[i].factor;
    ut_unit* given = ut_parse(units->system, name, UT_UTF8);
    ut_unit* base = ut_parse(units->system, rows[unit].base, UT_UTF8);
    double factor = 0;
    cv_converter* converter =
        given && base && ut_are_convertible(given, base) ? ut_get_converter(given, base) : NULL;
    if (converter)
        factor = cv_convert_double(converter, 1.0);
    if (converter && !(cv_convert_double(converter, 2.0) > factor)) // m/pF "converts" to F/m as 1/x
        factor = 0;
    cv_free(converter);
    ut_free(given);
    ut_free(base);
    if (units->cached < CACHE) {
        cached* entry = &units->cache[units->cached++];
        entry->unit = unit;
        entry->factor = factor;
        strcpy(entry->name, name); // fits: checked above
    }
    return factor;
}

/// A plain decimal number at the start of a text; NULL when there is none.
static const char* parse_number(const char* text, double* number) {
    const char* at = text + (*text == '-' || *text == '+');
    if (!isdigit((unsigned char)*at) && !(*at == '.' && isdigit((unsigned char)at[1])))
        return NULL;
    if (at[0] == '0' && (at[1] == 'x' || at[1] == 'X'))
        return NULL;
    char* end = NULL;
    *number = strtod(text, &end);
    return isfinite(*number) ? end : NULL;
}

static void add_fitting(tl_text* complaint, tl_unit unit) {
    tl_text_addf(complaint, "expected %s, such as %s", rows[unit].words, rows[unit].example);
    tl_text_add(complaint, " (units that fit: ");
    for (size_t i = 0; rows[unit].spellings[i]; ++i)
        tl_text_addf(complaint, "%s%s", i ? ", " : "", rows[unit].spellings[i]);
    tl_text_add(complaint, ")");
}

/// The spelling somebody meant who wrote `250k`, `20'` or `KOhm`; NULL when it is anyone's guess.
static const char* meant_unit(const char* name, tl_unit unit) {
    static const struct {
        tl_unit unit;
        const char* wrote;
        const char* meant;
    } habits[] = {{TL_UNIT_OHM, "k", "kohm"},
                  {TL_UNIT_OHM, "K", "kohm"},
                  {TL_UNIT_OHM, "M", "Mohm"},
                  {TL_UNIT_OHM, "meg", "Mohm"},
                  {TL_UNIT_OHM, "Meg", "Mohm"},
                  {TL_UNIT_OHM, "MEG", "Mohm"},
                  {TL_UNIT_OHM, "R", "ohm"},
                  {TL_UNIT_OHM, "Mohms", "Mohm"},
                  {TL_UNIT_METRE, "'", "ft"},
                  {TL_UNIT_METRE, "\"", "in"},
                  {TL_UNIT_METRE, "feet", "ft"},
                  {TL_UNIT_METRE, "foot", "ft"},
                  {TL_UNIT_METRE, "metres", "m"},
                  {TL_UNIT_METRE, "meters", "m"},
                  {TL_UNIT_FARAD, "p", "pF"},
                  {TL_UNIT_FARAD, "n", "nF"},
                  {TL_UNIT_FARAD, "u", "uF"},
                  {TL_UNIT_FARAD, "PF", "pF"},
                  {TL_UNIT_GAUGE, "awg", "AWG"},
                  {TL_UNIT_DEGREE, "\u00b0", "deg"},
                  {TL_UNIT_DEGREE, "\u00ba", "deg"},
                  {TL_UNIT_DEGREE, "degree", "deg"},
                  {TL_UNIT_DEGREE, "degrees", "deg"},
                  {TL_UNIT_SQUARE_METRE, "cm^2", "cm2"},
                  {TL_UNIT_SQUARE_METRE, "in^2", "in2"},
                  {TL_UNIT_SQUARE_METRE, "sq cm", "cm2"},
                  {TL_UNIT_SQUARE_METRE, "sqcm", "cm2"},
                  {TL_UNIT_SQUARE_METRE, "sq in", "in2"},
                  {TL_UNIT_SQUARE_METRE, "sqin", "in2"},
                  {TL_UNIT_SQUARE_METRE, "cm", "cm2"},
                  {TL_UNIT_SQUARE_METRE, "in", "in2"},
                  {TL_UNIT_PASCAL, "lb/in2", "lbf/in2"},
                  {TL_UNIT_PASCAL, "lbs/in2", "lbf/in2"},
                  {TL_UNIT_PASCAL, "lbf/in^2", "lbf/in2"},
                  {TL_UNIT_PASCAL, "PSI", "psi"},
                  {TL_UNIT_NEWTON, "kg", "kgf"},
                  {TL_UNIT_NEWTON, "lb", "lbf"},
                  {TL_UNIT_NEWTON, "lbs", "lbf"},
                  {TL_UNIT_KILOGRAM, "lbs", "lb"},
                  {TL_UNIT_KILOGRAM, "gr", "g"},
                  {TL_UNIT_KILOGRAM, "grams", "g"},
                  {TL_UNIT_KILOGRAM, "G", "g"},
                  {TL_UNIT_KILOGRAM, "Kg", "kg"},
                  {TL_UNIT_KILOGRAM, "KG", "kg"}};
    for (size_t i = 0; i < sizeof habits / sizeof *habits; ++i)
        if (habits[i].unit == unit && strcmp(habits[i].wrote, name) == 0)
            return habits[i].meant;
    for (size_t i = 0; i < TL_UNIT_TOTAL; ++i) // a good unit of something else is no slip
        for (const char* const* other = rows[i].spellings; *other; ++other)
            if (strcmp(*other, name) == 0)
                return NULL;
    size_t count = 0;
    while (rows[unit].spellings[count])
        ++count;
    const char* nearest = tl_name_nearest(name, rows[unit].spellings, count);
    return nearest && tl_name_distance(name, nearest) < strlen(name) ? nearest : NULL;
}

static bool wrong_unit(const char* text, const char* name, double number, tl_unit unit,
                       tl_text* complaint) {
    tl_text_addf(complaint, "'%s': ", text);
    const char* meant = meant_unit(name, unit);
    if (!*name)
        tl_text_add(complaint,
                    "a bare number, without a unit (a decimal takes a point, not a comma); ");
    else if (meant)
        tl_text_addf(complaint, "'%s' is not a unit that fits; did you mean '%.10g %s'? ", name,
                     number, meant);
    else if (strchr(name, '%') && unit != TL_UNIT_FRACTION)
        tl_text_addf(complaint, "'%s' is not a unit that fits (a tolerance is written +-10 %%); ",
                     name);
    else
        tl_text_addf(complaint, "'%s' is not a unit that fits; ", name);
    add_fitting(complaint, unit);
    return false;
}

static bool parse_fraction(const char* text, const char* name, double number, double* value,
                           tl_text* complaint) {
    if (strcmp(name, "%") != 0)
        return wrong_unit(text, name, number, TL_UNIT_FRACTION, complaint);
    *value = number / 100;
    return true;
}

static bool parse_gain(const char* text, const char* name, double number, double* value,
                       tl_text* complaint) {
    if (*name && strcmp(name, "dB") != 0)
        return wrong_unit(text, name, number, TL_UNIT_GAIN, complaint);
    *value = *name ? pow(10, number / 20) : number;
    return true;
}

bool tl_quantity_parse(tl_units* units, const char* text, tl_unit unit, double* value,
                       tl_text* complaint) {
    double number = 0;
    const char* name = parse_number(text, &number);
    if (!name) {
        tl_text_addf(complaint, "'%s': ", text);
        add_fitting(complaint, unit);
        return false;
    }
    while (*name == ' ')
        ++name;
    if (unit == TL_UNIT_FRACTION)
        return parse_fraction(text, name, number, value, complaint);
    if (unit == TL_UNIT_GAIN)
        return parse_gain(text, name, number, value, complaint);
    if (unit == TL_UNIT_COUNT) {
        if (*name) {
            tl_text_addf(complaint, "'%s': expected a bare number", text);
            return false;
        }
        *value = number;
        return true;
    }
    if (unit == TL_UNIT_GAUGE && strcmp(name, "AWG") == 0) {
        *value = tl_gauge_diameter_m(number);
        return true;
    }
    double factor = *name ? unit_factor(units, name, unit) : 0;
    if (factor == 0)
        return wrong_unit(text, name, number, unit, complaint);
    *value = number * factor;
    return true;
}

void tl_quantity_add(tl_text* text, tl_unit unit, double value) {
    static const struct {
        double factor;
        const char* symbol;
    } steps[] = {{1e-12, "p"}, {1e-9, "n"}, {1e-6, "u"}, {1e-3, "m"},
                 {1, ""},      {1e3, "k"},  {1e6, "M"},  {1e9, "G"}};
    if (unit == TL_UNIT_FRACTION) {
        tl_text_addf(text, "%.6g %%", 100 * value);
    } else if (unit == TL_UNIT_COUNT || unit == TL_UNIT_GAIN) {
        tl_text_addf(text, "%.6g", value);
    } else if (unit == TL_UNIT_DECIBEL) {
        tl_text_addf(text, "%.6g dB", value);
    } else if (unit == TL_UNIT_GAUGE) {
        tl_text_addf(text, "%.4g mm", 1e3 * value);
    } else if (unit == TL_UNIT_METRE) {
        bool small = fabs(value) > 0 && fabs(value) < 0.01;
        bool middle = fabs(value) > 0 && fabs(value) < 1;
        double scale = small ? 1e3 : middle ? 100 : 1;
        tl_text_addf(text, "%.6g %s", value * scale, small ? "mm" : middle ? "cm" : "m");
    } else if (unit == TL_UNIT_SQUARE_METRE) {
        tl_text_addf(text, "%.6g cm2", 1e4 * value);
    } else if (unit == TL_UNIT_KILOGRAM) {
        bool small = fabs(value) < 1;
        tl_text_addf(text, "%.6g %s", small ? 1e3 * value : value, small ? "g" : "kg");
    } else {
        size_t step = 4;
        while (value != 0 && step > 0 && fabs(value) < steps[step].factor * 0.9999999)
            --step;
        while (step < 7 && fabs(value) >= steps[step + 1].factor * 0.9999999)
            ++step;
        tl_text_addf(text, "%.6g %s%s", value / steps[step].factor, steps[step].symbol,
                     rows[unit].base);
    }
}

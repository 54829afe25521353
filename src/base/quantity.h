// SPDX-License-Identifier: GPL-3.0-or-later
/// @file quantity.h Numbers with units, as a builder writes them.
#ifndef TL_BASE_QUANTITY_H
#define TL_BASE_QUANTITY_H

#include "base/text.h"

#include <stdbool.h>

/// What a number measures. Values are kept in the SI unit named.
typedef enum {
    TL_UNIT_COUNT,         ///< a bare number
    TL_UNIT_OHM,           ///< ohm
    TL_UNIT_FARAD,         ///< F
    TL_UNIT_HENRY,         ///< H
    TL_UNIT_METRE,         ///< m
    TL_UNIT_OHM_PER_M,     ///< ohm/m
    TL_UNIT_FARAD_PER_M,   ///< F/m
    TL_UNIT_HENRY_PER_M,   ///< H/m
    TL_UNIT_SIEMENS_PER_M, ///< S/m
    TL_UNIT_HERTZ,         ///< Hz
    TL_UNIT_SECOND,        ///< s
    TL_UNIT_FRACTION,      ///< 0 to 1, written in %
    TL_UNIT_GAIN,          ///< a ratio: bare, negative inverts; or in dB
    TL_UNIT_GAUGE,         ///< a wire's diameter in m, as a length or in AWG
    TL_UNIT_VOLT,          ///< V
    TL_UNIT_AMPERE,        ///< A
    TL_UNIT_DECIBEL,       ///< dB, kept as dB
    TL_UNIT_DEGREE,        ///< deg, kept as degrees
    TL_UNIT_NOISE_DENSITY, ///< V/rtHz: volts per root hertz
    TL_UNIT_VOLT_PER_S,    ///< V/s
    TL_UNIT_NOISE_CURRENT, ///< A/rtHz: amperes per root hertz
    TL_UNIT_WATT,          ///< W
    TL_UNIT_SQUARE_METRE,  ///< m2
    TL_UNIT_PASCAL,        ///< Pa: also the strength of what holds by its area
    TL_UNIT_NEWTON,        ///< N
    TL_UNIT_KILOGRAM,      ///< kg
    TL_UNIT_TOTAL
} tl_unit;

/// The units that are known. Holds a cache: one thread at a time.
typedef struct tl_units tl_units;

tl_units* tl_units_new(void);
void tl_units_free(tl_units* units);

/// Reads "6 m" or "110 pF/m". On false, `complaint` says what is wrong and which units fit.
bool tl_quantity_parse(tl_units* units, const char* text, tl_unit unit, double* value,
                       tl_text* complaint);

/// Adds a value as people write it: "250 kohm", "6 m", "100 %".
void tl_quantity_add(tl_text* text, tl_unit unit, double value);

/// What the unit measures, in words: "a resistance".
const char* tl_unit_words(tl_unit unit);

/// The SI unit values are kept in: "ohm/m"; "" for plain numbers and shares.
const char* tl_unit_symbol(tl_unit unit);

/// Diameter of an American wire gauge, m: 0.127 mm x 92^((36 - n)/39) (ASTM B258, as described in
/// "American wire gauge, formula", liquisearch.com; seen).
double tl_gauge_diameter_m(double gauge);
/// A diameter as the trade names it: "22 AWG" when it is a whole gauge, else "0.6 mm"; free with
/// free().
char* tl_gauge_words(double diameter_m);

/// Standard acceleration of free fall, m/s2, exact (CGPM 1901; from memory).
#define TL_STANDARD_GRAVITY 9.80665

#endif

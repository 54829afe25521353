// SPDX-License-Identifier: GPL-3.0-or-later
// How a finished board is measured: the generator that drives it, the voltmeter that ends it, and
// what of guitar and amp stays in its place. None of it stands in the chain.
#include "parts/kinds.h"

static const char* const amps[] = {"off", "connected", NULL};

static const tl_field measure_fields[] = {
    {"amp", 0, 0, 0, amps, 0},           // at the end: the meter alone, or the amp beside it
    {"controls", 0, 0, 0, tl_no_yes, 0}, // the guitar's volume and tone behind the dummy
};

static const tl_field generator_fields[] = {
    {"resistance", TL_UNIT_OHM, 0, 100e3, NULL, 0},
    {"level", TL_UNIT_VOLT, 1e-3, 20, NULL, 0}, // root mean square, with nothing plugged in
};

static const tl_field meter_fields[] = {
    {"resistance", TL_UNIT_OHM, 10e3, 1e13, NULL, 0},
    {"capacitance", TL_UNIT_FARAD, 0, 10e-9, NULL, 0},
    {"uncertainty", TL_UNIT_DECIBEL, 0, 3, NULL, 0}, // of one reading against another
};

/// Where the response is wanted, for reading a list of them.
static const tl_field frequency_fields[] = {
    {"frequencies", TL_UNIT_HERTZ, 10, 100e3, NULL, 0},
};

const tl_part_kind tl_kind_measure = {
    "measure", "'measure'", NULL, false, TL_FIELDS(measure_fields), NULL, NULL};
const tl_part_kind tl_kind_generator = {
    "generator", "a generator", NULL, false, TL_FIELDS(generator_fields), NULL, NULL};
const tl_part_kind tl_kind_meter = {"meter", "a voltmeter", NULL, false, TL_FIELDS(meter_fields),
                                    NULL,    NULL};
const tl_field* const tl_measure_frequency = &frequency_fields[0];

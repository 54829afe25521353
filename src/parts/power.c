// SPDX-License-Identifier: GPL-3.0-or-later
// What feeds the pedals: supplies and their outputs, what a pedal draws, the DC leads, the mains.
// None of it stands in the chain or writes itself into the circuit of the sound.
#include "parts/kinds.h"

static const char* const makes[] = {"switching", "linear", NULL};
static const char* const polarities[] = {"centre-negative", "centre-positive", "ac", NULL};
static const char* const connectors[] = {"barrel-2.1",   "barrel-2.5", "jack-3.5",
                                         "battery-snap", "usb-c",      NULL};

static const tl_field power_fields[] = {
    {"headroom", TL_UNIT_FRACTION, 0, 0.9, NULL, 0}, // of every limit, kept free
    {"shields", TL_UNIT_FRACTION, 0, 1, NULL, 0},    // of an audio lead's resistance
    {"stray", TL_UNIT_FARAD, 0, 100e-9, NULL, 0},    // between two isolated outputs
};

static const tl_field mains_fields[] = {
    {"voltage", TL_UNIT_VOLT, 80, 280, NULL, TL_FIELD_NEEDED},
    {"frequency", TL_UNIT_HERTZ, 45, 65, NULL, TL_FIELD_NEEDED},
};

static const tl_field supply_fields[] = {
    {"kind", 0, 0, 0, makes, TL_FIELD_NEEDED},
    {"mains.low", TL_UNIT_VOLT, 80, 280, NULL, 0}, // the volts it takes, and those it takes
    {"mains.high", TL_UNIT_VOLT, 80, 280, NULL, 0},
    {"mains.frequency_low", TL_UNIT_HERTZ, 40, 440, NULL, 0},
    {"mains.frequency_high", TL_UNIT_HERTZ, 40, 440, NULL, 0},
    {"selector.low", TL_UNIT_VOLT, 80, 280, NULL, 0}, // with its selector the other way
    {"selector.high", TL_UNIT_VOLT, 80, 280, NULL, 0},
    {"efficiency", TL_UNIT_FRACTION, 0.05, 1, NULL, 0},
    {"power_factor", TL_UNIT_FRACTION, 0.2, 1, NULL, 0},
    {"power", TL_UNIT_WATT, 0.1, 2000, NULL, 0}, // of all outputs together
};

static const tl_field output_fields[] = {
    {"voltage", TL_UNIT_VOLT, 1, 60, NULL, 0},
    {"current", TL_UNIT_AMPERE, 1e-3, 50, NULL, TL_FIELD_NEEDED},
    {"peak", TL_UNIT_AMPERE, 1e-3, 200, NULL, 0}, // for the tens of ms of a start
    {"polarity", 0, 0, 0, polarities, 0},
    {"isolated", 0, 0, 0, tl_no_yes, 0},
    {"connector", 0, 0, 0, connectors, 0},
};

static const tl_field draw_fields[] = {
    {"voltage", TL_UNIT_VOLT, 1, 60, NULL, TL_FIELD_NEEDED},
    {"polarity", 0, 0, 0, polarities, TL_FIELD_NEEDED},
    {"current", TL_UNIT_AMPERE, 1e-6, 10, NULL, TL_FIELD_NEEDED}, // the most it draws in use
    {"inrush", TL_UNIT_AMPERE, 1e-6, 100, NULL, 0},               // for tens of ms at the start
    {"pulse.current", TL_UNIT_AMPERE, 1e-6, 10, NULL, 0},         // height of a square ripple
    {"pulse.frequency", TL_UNIT_HERTZ, 10, 1e6, NULL, 0},
    {"pulse.duty", TL_UNIT_FRACTION, 0.001, 0.999, NULL, 0},
    {"connector", 0, 0, 0, connectors, 0},
    {"digital", 0, 0, 0, tl_no_yes, 0},
    {"high_gain", 0, 0, 0, tl_no_yes, 0},
    {"positive_ground", 0, 0, 0, tl_no_yes, 0},
};

static const tl_field lead_fields[] = {
    {"gauge", TL_UNIT_GAUGE, 0.05e-3, 5e-3, NULL, TL_FIELD_NEEDED},
    {"length", TL_UNIT_METRE, 0.01, 50, NULL, TL_FIELD_NEEDED},
    {"strands", TL_UNIT_COUNT, 1, 1000, NULL, 0},
    {"outer", TL_UNIT_METRE, 0.5e-3, 20e-3, NULL, 0}, // over both conductors and all
    {"bend", TL_UNIT_COUNT, 1, 50, NULL, 0},          // least radius, in outer diameters
};

/// A range has two ends, the lower one first.
static tl_status check_range(const tl_part* part, const char* low, const char* high,
                             tl_error* error) {
    const tl_value* one = tl_part_value(part, low);
    const tl_value* two = tl_part_value(part, high);
    if (one->given != two->given)
        return tl_error_at(error, &(one->given ? one : two)->place,
                           "'%s' and '%s' are the two ends of a range: give both", low, high);
    if (one->given && one->number > two->number)
        return tl_error_at(error, &one->place, "'%s' is more than '%s'", low, high);
    return TL_OK;
}

static tl_status check_supply(const tl_part* supply, tl_error* error) {
    tl_status status = check_range(supply, "mains.low", "mains.high", error);
    if (status == TL_OK)
        status = check_range(supply, "mains.frequency_low", "mains.frequency_high", error);
    if (status == TL_OK)
        status = check_range(supply, "selector.low", "selector.high", error);
    if (status == TL_OK && tl_part_has(supply, "selector.low") && !tl_part_has(supply, "mains.low"))
        status =
            tl_error_at(error, &tl_part_value(supply, "selector.low")->place,
                        "a 'selector' gives a second range: the first is 'mains: {low, high}'");
    return status;
}

static tl_status check_output(const tl_part* output, tl_error* error) {
    const tl_value* peak = tl_part_value(output, "peak");
    if (peak->given && peak->number < tl_part_number(output, "current", 0))
        return tl_error_at(
            error, &peak->place,
            "'peak' is what it gives for a moment: it cannot be less than 'current'");
    return TL_OK;
}

static tl_status check_pulse(const tl_part* draw, tl_error* error) {
    static const char* const fields[] = {"pulse.current", "pulse.frequency", "pulse.duty"};
    const tl_value* given = NULL;
    const tl_value* height = tl_part_value(draw, fields[0]);
    if (height->given && height->number > tl_part_number(draw, "current", 0))
        return tl_error_at(error, &height->place,
                           "a 'pulse' is the part of 'current', the most it draws, that comes and "
                           "goes: it cannot be more than that");
    for (size_t i = 0; i < 3; ++i)
        given = tl_part_has(draw, fields[i]) ? tl_part_value(draw, fields[i]) : given;
    for (size_t i = 0; given && i < 3; ++i)
        if (!tl_part_has(draw, fields[i]))
            return tl_error_at(error, &given->place,
                               "a 'pulse' needs current, frequency and duty: '%s' is missing",
                               fields[i]);
    return TL_OK;
}

static tl_status check_draw(const tl_part* draw, tl_error* error) {
    const tl_value* inrush = tl_part_value(draw, "inrush");
    if (inrush->given && inrush->number < tl_part_number(draw, "current", 0))
        return tl_error_at(error, &inrush->place,
                           "'inrush' is the surge at the start: it cannot be less than 'current'");
    const tl_value* ground = tl_part_value(draw, "positive_ground");
    if (tl_part_chosen(draw, "positive_ground", "yes") && tl_part_chosen(draw, "polarity", "ac"))
        return tl_error_at(error, &ground->place, "a pedal fed with AC has no positive ground");
    return check_pulse(draw, error);
}

const tl_part_kind tl_kind_power = {"power", "'power'", NULL, false, TL_FIELDS(power_fields),
                                    NULL,    NULL};
const tl_part_kind tl_kind_mains = {"mains", "the mains", NULL, false, TL_FIELDS(mains_fields),
                                    NULL,    NULL};
const tl_part_kind tl_kind_supply = {
    "supply", "a supply", "supply", false, TL_FIELDS(supply_fields), check_supply, NULL};
const tl_part_kind tl_kind_output = {
    "output", "an output", NULL, false, TL_FIELDS(output_fields), check_output, NULL};
const tl_part_kind tl_kind_draw = {
    "draw", "a pedal's power", "draw", false, TL_FIELDS(draw_fields), check_draw, NULL};
const tl_part_kind tl_kind_dc_lead = {"lead", "a DC lead", NULL, false, TL_FIELDS(lead_fields),
                                      NULL,   NULL};

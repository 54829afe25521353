// SPDX-License-Identifier: GPL-3.0-or-later
// A run: an audio lead and another lead beside each other. It is no part of a chain; it says how
// the two lie, what the audio lead's shield is like, and what moves in the other lead.
#include "parts/run.h"

#include "parts/kinds.h"

#include <math.h>
#include <string.h>

/// Under this a return is as good as on its core.
static const double least_return_m = 0.01e-3;

static const char* const kinds_beside[] = {"mains", "dc", "audio", NULL};
static const char* const loads[] = {"rectifier", "plain", NULL};
static const char* const waves[] = {"sine", "triangle", "square", NULL};

static const tl_field fields[] = {
    {"beside", 0, 0, 0, kinds_beside, TL_FIELD_NEEDED},
    {"length", TL_UNIT_METRE, 1e-3, 300, NULL, TL_FIELD_NEEDED},
    {"spacing", TL_UNIT_METRE, 0.1e-3, 100, NULL, TL_FIELD_NEEDED},
    {"angle", TL_UNIT_DEGREE, 0, 90, NULL, 0},
    {"height", TL_UNIT_METRE, 0.1e-3, 100, NULL, 0}, // of both over what is grounded below them
    {"diameter", TL_UNIT_METRE, 0.1e-3, 0.1, NULL, TL_FIELD_NEEDED}, // over its jacket
    {"copper", TL_UNIT_METRE, 0.1e-3, 0.1, NULL, 0},                 // over its conductors
    {"pair", TL_UNIT_METRE, 0.1e-3, 10, NULL, 0},
    {"jacket", TL_UNIT_METRE, 0.5e-3, 0.1, NULL, 0}, // over the audio lead's
    {"shield.coverage", TL_UNIT_FRACTION, 0.5, 1, NULL, 0},
    {"shield.diameter", TL_UNIT_METRE, 0.5e-3, 30e-3, NULL, 0},
    {"shield.carriers", TL_UNIT_COUNT, 4, 100, NULL, 0},
    {"return", TL_UNIT_METRE, 0, 1, NULL, 0},
    {"bare", TL_UNIT_METRE, 0, 1, NULL, 0},
    {"voltage", TL_UNIT_VOLT, 1, 1000, NULL, 0},
    {"current", TL_UNIT_AMPERE, 0, 100, NULL, 0},
    {"frequency", TL_UNIT_HERTZ, 10, 1000, NULL, 0},
    {"load", 0, 0, 0, loads, 0},
    {"ripple.voltage", TL_UNIT_VOLT, 1e-9, 100, NULL, 0},
    {"ripple.frequency", TL_UNIT_HERTZ, 10, 100e6, NULL, 0},
    {"ripple.wave", 0, 0, 0, waves, 0},
    {"pulse.current", TL_UNIT_AMPERE, 1e-9, 100, NULL, 0},
    {"pulse.frequency", TL_UNIT_HERTZ, 10, 100e6, NULL, 0},
    {"pulse.duty", TL_UNIT_FRACTION, 0.001, 0.999, NULL, 0},
};

/// Which values go with which kind of lead, and what to say of the others.
static const struct {
    const char* field;
    const char* beside;
    const char* instead; ///< what a builder may have meant
} belongings[] = {
    {"voltage", "mains",
     "; of a dc lead only what moves counts: ripple: {voltage, frequency, wave} or pulse: "
     "{current, frequency, duty}"},
    {"current", "mains",
     "; of a dc lead only what moves counts: pulse: {current, frequency, duty}"},
    {"frequency", "mains", ""},
    {"load", "mains", ""},
    {"ripple.voltage", "dc", ""},
    {"ripple.frequency", "dc", ""},
    {"ripple.wave", "dc", ""},
    {"pulse.current", "dc", ""},
    {"pulse.frequency", "dc", ""},
    {"pulse.duty", "dc", ""},
};

static tl_status check_belongings(const tl_part* run, tl_error* error) {
    const char* beside = tl_part_choice(run, "beside");
    for (size_t i = 0; i < sizeof belongings / sizeof *belongings; ++i) {
        const tl_value* value = tl_part_value(run, belongings[i].field);
        if (value->given && strcmp(beside, belongings[i].beside) != 0)
            return tl_error_at(error, &value->place,
                               "'%s' goes with a run beside %s, and this one is beside %s%s",
                               belongings[i].field, belongings[i].beside, beside,
                               strcmp(beside, "dc") == 0 ? belongings[i].instead : "");
    }
    return TL_OK;
}

/// Values that need each other: with the first, the others must be there; and the other way round.
static tl_status check_together(const tl_part* run, const char* const names[3], tl_error* error) {
    const tl_value* given = NULL;
    for (size_t i = 0; i < 3; ++i)
        if (tl_part_has(run, names[i]))
            given = tl_part_value(run, names[i]);
    for (size_t i = 0; given && i < 3; ++i)
        if (!tl_part_has(run, names[i]))
            return tl_error_at(error, &given->place,
                               "'%s', '%s' and '%s' go together: '%s' is "
                               "missing",
                               names[0], names[1], names[2], names[i]);
    return TL_OK;
}

static tl_status check_source(const tl_part* run, tl_error* error) {
    static const char* const ripple[] = {"ripple.voltage", "ripple.frequency", "ripple.wave"};
    static const char* const pulse[] = {"pulse.current", "pulse.frequency", "pulse.duty"};
    static const char* const mains[] = {"voltage", "frequency"};
    tl_status status = check_belongings(run, error);
    if (status == TL_OK)
        status = check_together(run, ripple, error);
    if (status == TL_OK)
        status = check_together(run, pulse, error);
    for (size_t i = 0; status == TL_OK && tl_part_chosen(run, "beside", "mains") && i < 2; ++i)
        if (!tl_part_has(run, mains[i]))
            return tl_error_at(error, &run->place, "a run beside mains needs '%s', such as %s",
                               mains[i], i ? "50 Hz" : "230 V");
    if (status == TL_OK && tl_part_chosen(run, "beside", "dc") &&
        !tl_part_has(run, "ripple.voltage") && !tl_part_has(run, "pulse.current"))
        return tl_error_at(error, &run->place,
                           "a run beside dc needs what moves in it: ripple: {voltage: 10 mV, "
                           "frequency: 100 kHz, wave: triangle} or pulse: {current: 40 mA, "
                           "frequency: 1 kHz, duty: 30 %%}");
    if (status == TL_OK && tl_part_has(run, "load") && !tl_part_has(run, "current"))
        return tl_error_at(error, &tl_part_value(run, "load")->place,
                           "'load' says how the 'current' is drawn, and there is none");
    return status;
}

static tl_status check_wires(const tl_part* run, tl_error* error) {
    double diameter_m = tl_part_number(run, "diameter", 0);
    double copper_m = tl_part_number(run, "copper", diameter_m);
    double pair_m = tl_part_number(run, "pair", 0);
    if (copper_m > diameter_m * (1 + 1e-6))
        return tl_error_at(error, &tl_part_value(run, "copper")->place,
                           "more copper (%.4g mm) than the whole lead is thick ('diameter', %.4g "
                           "mm)",
                           1e3 * copper_m, 1e3 * diameter_m);
    if (tl_part_has(run, "copper") && pair_m <= diameter_m && pair_m > copper_m * (1 + 1e-6))
        return tl_error_at(error, &tl_part_value(run, "pair")->place,
                           "two wires in one lead, %.4g mm apart, are thicker together than its "
                           "'copper' (%.4g mm); two separate leads are more than the 'diameter' "
                           "apart",
                           1e3 * pair_m, 1e3 * copper_m);
    if (tl_part_number(run, "return", 1) < least_return_m)
        return tl_error_at(error, &tl_part_value(run, "return")->place,
                           "a lead whose return is nowhere off its core picks up nothing, and no "
                           "lead is built so: leave 'return' out for the usual %.4g mm",
                           1e3 * TL_RUN_RETURN_M);
    if (tl_part_number(run, "bare", 0) > tl_part_number(run, "length", 0))
        return tl_error_at(error, &tl_part_value(run, "bare")->place,
                           "more core is bare than the leads run beside each other ('length')");
    return TL_OK;
}

static tl_status check(const tl_part* run, tl_error* error) {
    tl_status status = check_wires(run, error);
    return status == TL_OK ? check_source(run, error) : status;
}

// ---- what needs the cable too

double tl_run_copper_m(const tl_part* run) {
    bool audio = tl_part_chosen(run, "beside", "audio");
    double share = audio ? TL_RUN_SHIELD_SHARE : TL_RUN_COPPER_SHARE;
    return tl_part_number(run, "copper", share * tl_part_number(run, "diameter", 0));
}

double tl_run_shield_m(const tl_part* run, const tl_part* cable) {
    if (tl_part_has(run, "shield.diameter"))
        return tl_part_number(run, "shield.diameter", 0);
    if (tl_part_has(cable, "build.diameter"))
        return tl_part_number(cable, "build.diameter", 0) + TL_RUN_BRAID_M;
    return TL_RUN_SHIELD_SHARE *
           tl_part_number(run, "jacket", TL_RUN_SHIELD_M / TL_RUN_SHIELD_SHARE);
}

double tl_run_jacket_m(const tl_part* run, const tl_part* cable) {
    return tl_part_number(run, "jacket", tl_run_shield_m(run, cable) + TL_RUN_JACKET_M);
}

/// What is stated of the audio lead fits inside each other.
static tl_status check_shield(const tl_part* run, const tl_part* cable, tl_error* error) {
    double shield_m = tl_run_shield_m(run, cable);
    double jacket_m = tl_run_jacket_m(run, cable);
    double inside_m = tl_part_number(cable, "build.diameter", 0);
    if (shield_m < inside_m * (1 - 1e-6))
        return tl_error_at(error, &tl_part_value(run, "shield.diameter")->place,
                           "a shield of %.4g mm over an insulation of %.4g mm (the cable's "
                           "'build.diameter')",
                           1e3 * shield_m, 1e3 * inside_m);
    if (jacket_m < shield_m * (1 - 1e-6))
        return tl_error_at(error, &tl_part_value(run, "jacket")->place,
                           "a jacket of %.4g mm over a shield of %.4g mm", 1e3 * jacket_m,
                           1e3 * shield_m);
    return TL_OK;
}

/// Jackets may touch, not more; the metal inside may not.
static tl_status check_spacing(const tl_part* run, const tl_part* cable, tl_error* error) {
    double other_m = tl_part_number(run, "diameter", 0);
    double jacket_m = tl_run_jacket_m(run, cable);
    double copper_m = tl_run_copper_m(run);
    double shield_m = tl_run_shield_m(run, cable);
    double spacing_m = tl_part_number(run, "spacing", 0);
    const tl_place* place = &tl_part_value(run, "spacing")->place;
    if (spacing_m < (other_m + jacket_m) / 2 * (1 - 1e-6))
        return tl_error_at(error, place,
                           "%.4g mm from centre to centre: leads of %.4g mm ('diameter') and %.4g "
                           "mm ('jacket'%s) would lie inside each other; it must be %.4g mm at "
                           "least",
                           1e3 * spacing_m, 1e3 * other_m, 1e3 * jacket_m,
                           tl_part_has(run, "jacket") ? "" : ", not said: the shield and 1 mm",
                           1e3 * (other_m + jacket_m) / 2);
    if (spacing_m > (copper_m + shield_m) / 2 * (1 + 1e-6))
        return TL_OK;
    return tl_error_at(error, place,
                       "%.4g mm from centre to centre: copper of %.4g mm and a shield of %.4g mm "
                       "would touch; it must be more than %.4g mm",
                       1e3 * spacing_m, 1e3 * copper_m, 1e3 * shield_m,
                       1e3 * (copper_m + shield_m) / 2);
}

/// They lie on what is below them, at the lowest.
static tl_status check_height(const tl_part* run, const tl_part* cable, tl_error* error) {
    double thickest_m = fmax(tl_part_number(run, "diameter", 0), tl_run_jacket_m(run, cable));
    double metal_m = fmax(tl_run_copper_m(run), tl_run_shield_m(run, cable));
    double height_m = tl_part_number(run, "height", INFINITY);
    const tl_place* place = &tl_part_value(run, "height")->place;
    if (height_m < thickest_m / 2 * (1 - 1e-6))
        return tl_error_at(error, place,
                           "%.4g mm up to the middle of the leads: a lead of %.4g mm would lie in "
                           "the ground; it must be %.4g mm at least",
                           1e3 * height_m, 1e3 * thickest_m, 1e3 * thickest_m / 2);
    if (height_m > metal_m / 2 * (1 + 1e-6))
        return TL_OK;
    return tl_error_at(error, place,
                       "%.4g mm up to the middle of the leads: metal of %.4g mm would touch the "
                       "ground; it must be more than %.4g mm",
                       1e3 * height_m, 1e3 * metal_m, 1e3 * metal_m / 2);
}

tl_status tl_run_check_lie(const tl_part* run, const tl_part* cable, tl_error* error) {
    tl_status status = check_shield(run, cable, error);
    if (status == TL_OK)
        status = check_spacing(run, cable, error);
    return status == TL_OK ? check_height(run, cable, error) : status;
}

const tl_part_kind tl_kind_run = {"run", "a run of leads", NULL, false, TL_FIELDS(fields), check,
                                  NULL};

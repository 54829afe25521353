// SPDX-License-Identifier: GPL-3.0-or-later
// A cable: resistance, inductance, capacitance and leakage per length, as equal pi sections; or how
// it is built, which gives the same four by formula.
#include "parts/kinds.h"

#include <complex.h>
#include <math.h>
#include <string.h>

static const char* const insulations[] = {"polyethylene", "foam-polyethylene", "pvc", "ptfe", NULL};

static const tl_field fields[] = {
    {"capacitance", TL_UNIT_FARAD_PER_M, 1e-12, 2e-9, NULL, 0},
    {"resistance", TL_UNIT_OHM_PER_M, 0, 20, NULL, 0},
    {"inductance", TL_UNIT_HENRY_PER_M, 0, 20e-6, NULL, 0},
    {"leakage", TL_UNIT_SIEMENS_PER_M, 0, 1e-4, NULL, 0},
    {"build.core", TL_UNIT_GAUGE, 0.05e-3, 5e-3, NULL, 0},
    {"build.strands", TL_UNIT_COUNT, 1, 1000, NULL, 0},
    {"build.insulation", 0, 0, 0, insulations, 0},
    {"build.diameter", TL_UNIT_METRE, 0.2e-3, 30e-3, NULL, 0},
    {"build.shield", TL_UNIT_OHM_PER_M, 0, 20, NULL, 0},
    {"outer", TL_UNIT_METRE, 0.5e-3, 30e-3, NULL, 0}, // over its jacket
    {"bend", TL_UNIT_COUNT, 1, 50, NULL, 0},          // least radius, in outer diameters
    {"length", TL_UNIT_METRE, 0, 300, NULL, TL_FIELD_NEEDED | TL_FIELD_BESIDE | TL_FIELD_LAYOUT},
};

/// What an insulation is: relative permittivity and volume conductivity. Permittivities lie in the
/// ranges seen in published tables (solid polyethylene 2.26-2.29, foamed 1.56: wire makers' tables;
/// PVC 4: radiopolyus.ru/spravka; PTFE 2.0-2.1: thelen.us/1dielectric.php). Conductivities are from
/// memory, orders of magnitude.
static const struct {
    double permittivity;
    double siemens_per_m;
} insulation_values[] = {{2.26, 1e-15}, {1.56, 1e-15}, {4.0, 1e-12}, {2.05, 1e-16}};

/// A coaxial lead from its build. C' = 2 pi e0 er / ln(b/a) and L' = mu0/2pi ln(b/a) + mu0/8pi
/// (solid core, low frequency): J. O. Bird, Electrical Circuit Theory and Technology, ch. 40
/// (transcribed). Copper 1.7241e-8 ohm m (100 % IACS, 20 C). A stranded core of the same gauge runs
/// 4 % higher (AWG 18, 7 strands: 6.636 against 6.385 ohm/1000 ft; seen).
static tl_cable_line from_build(const tl_part* cable) {
    const double pi = 3.14159265358979323846;
    const double e0 = 8.8541878128e-12;
    const double mu0 = 4e-7 * pi;
    double core_m = tl_part_number(cable, "build.core", 0);
    double ratio = tl_part_number(cable, "build.diameter", 0) / core_m;
    size_t which = (size_t)tl_part_number(cable, "build.insulation", 0);
    double stranded = tl_part_number(cable, "build.strands", 1) > 1 ? 1.04 : 1;
    tl_cable_line values;
    values.farad = 2 * pi * e0 * insulation_values[which].permittivity / log(ratio);
    values.henry = mu0 / (2 * pi) * log(ratio) + mu0 / (8 * pi);
    values.siemens = 2 * pi * insulation_values[which].siemens_per_m / log(ratio);
    values.ohm = stranded * 1.7241e-8 / (pi * core_m * core_m / 4) +
                 tl_part_number(cable, "build.shield", 0);
    return values;
}

tl_cable_line tl_cable_per_metre(const tl_part* cable) {
    if (tl_part_has(cable, "build.core"))
        return from_build(cable);
    return (tl_cable_line){
        tl_part_number(cable, "resistance", 0), tl_part_number(cable, "inductance", 0),
        tl_part_number(cable, "capacitance", 0), tl_part_number(cable, "leakage", 0)};
}

/// How far n pi sections are off the telegrapher's line at one frequency, dB, driven from 0 ohm
/// into an open end: 1/cosh(gamma l) against the ladder's 1/cosh(n acosh(1 + ZY/2n^2)).
static double sections_error_db(const tl_cable_line* line, double length_m, unsigned n, double hz) {
    double omega = 2 * 3.14159265358979323846 * hz;
    double complex z = (line->ohm + I * omega * line->henry) * length_m;
    double complex y = (line->siemens + I * omega * line->farad) * length_m;
    double complex exact = ccosh(csqrt(z * y));
    double complex ladder = ccosh(n * cacosh(1 + z * y / (2.0 * n * n)));
    return fabs(20 * log10(cabs(ladder) / cabs(exact)));
}

/// Whether n sections do around a frequency: `steps` steps either way, each of the given ratio.
static bool suffice_around(const tl_cable_line* line, double length_m, unsigned n, double hz,
                           int steps, double ratio) {
    for (int i = -steps; i <= steps; ++i) {
        double at_hz = hz * pow(ratio, i);
        if (at_hz <= 100e3 && sections_error_db(line, length_m, n, at_hz) > 0.0095)
            return false;
    }
    return true;
}

/// Looks over the decade below 100 kHz (lower down the line is shorter still), and closely around
/// the resonances that lie in it, at odd multiples of 1/(4 l sqrt(L'C')).
static bool sections_suffice(const tl_cable_line* line, double length_m, unsigned n) {
    if (!suffice_around(line, length_m, n, 31.6e3, 12, 1.1))
        return false;
    if (!suffice_around(line, length_m, n, 100e3, 0, 1))
        return false;
    double quarter_hz = 1 / (4 * length_m * sqrt(line->henry * line->farad));
    for (double hz = quarter_hz; hz < 120e3; hz += 2 * quarter_hz)
        if (!suffice_around(line, length_m, n, hz, 24, 1.01))
            return false;
    return true;
}

/// |gamma l| at 100 kHz: how long the line is to the fastest signal that counts.
static double electrical_length(const tl_cable_line* line, double length_m) {
    double omega = 2 * 3.14159265358979323846 * 100e3;
    double z = hypot(line->ohm, omega * line->henry) * length_m;
    double y = hypot(line->siemens, omega * line->farad) * length_m;
    return sqrt(z * y);
}

static unsigned sections_for(const tl_cable_line* line, double length_m) {
    // To first order n sections are off by |gamma l|^4 / (24 n^2): under 0.36, 0.006 dB for one.
    if (electrical_length(line, length_m) < 0.36)
        return 1;
    unsigned n = 1;
    while (n < 256 && !sections_suffice(line, length_m, n))
        n += n < 16 ? 1 : n / 4;
    return n;
}

unsigned tl_cable_sections(const tl_part* cable) {
    tl_cable_line line = tl_cable_per_metre(cable);
    return sections_for(&line, tl_part_number(cable, "length", 0));
}

double tl_cable_capacitance_farad(const tl_part* cable) {
    return tl_cable_per_metre(cable).farad * tl_part_number(cable, "length", 0);
}

/// An end of what a value's own tolerance allows: `side` is 1 for the upper, -1 for the lower.
static double tolerance_end(const tl_part* cable, const char* field, int side) {
    const tl_value* value = tl_part_value(cable, field);
    return value->number * (1 + side * value->tolerance.share);
}

static tl_status check_build(const tl_part* cable, tl_error* error) {
    static const char* const needed[] = {"build.core", "build.insulation", "build.diameter"};
    for (size_t i = 0; i < sizeof needed / sizeof *needed; ++i)
        if (!tl_part_has(cable, needed[i]))
            return tl_error_at(error, &cable->place, "a cable's build needs '%s'", needed[i]);
    static const char* const doubled[] = {"capacitance", "resistance", "inductance", "leakage"};
    for (size_t i = 0; i < sizeof doubled / sizeof *doubled; ++i)
        if (tl_part_has(cable, doubled[i]))
            return tl_error_at(error, &tl_part_value(cable, doubled[i])->place,
                               "'%s' and 'build' both say how this cable is: give one", doubled[i]);
    if (tl_part_number(cable, "build.diameter", 0) <= 1.05 * tl_part_number(cable, "build.core", 0))
        return tl_error_at(error, &tl_part_value(cable, "build.diameter")->place,
                           "the diameter over the insulation must be larger than the core");
    if (tolerance_end(cable, "build.diameter", -1) <= 1.05 * tolerance_end(cable, "build.core", 1))
        return tl_error_at(error, &tl_part_value(cable, "build.diameter")->place,
                           "within these tolerances the core could be larger than the diameter "
                           "over the insulation");
    return TL_OK;
}

/// Its jacket lies over all the rest.
static tl_status check_outer(const tl_part* cable, tl_error* error) {
    const tl_value* outer = tl_part_value(cable, "outer");
    double inside_m = tl_part_number(cable, "build.diameter", 0);
    if (outer->given && outer->number <= inside_m)
        return tl_error_at(error, &outer->place,
                           "%.4g mm over the jacket, but %.4g mm over the insulation inside it",
                           1e3 * outer->number, 1e3 * inside_m);
    return TL_OK;
}

static tl_status check(const tl_part* cable, tl_error* error) {
    bool build = false;
    tl_status status = check_outer(cable, error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < cable->kind->field_count; ++i)
        build = build ||
                (cable->values[i].given && strncmp(cable->kind->fields[i].name, "build.", 6) == 0);
    if (build)
        return check_build(cable, error);
    if (!tl_part_has(cable, "capacitance"))
        return tl_error_at(error, &cable->place,
                           "a cable needs 'capacitance' (a capacitance per length) or 'build'");
    return TL_OK;
}

static tl_node emit(const tl_part* cable, const tl_sink* sink, tl_node in, tl_node low) {
    tl_cable_line line = tl_cable_per_metre(cable);
    double length_m = tl_part_number(cable, "length", 0);
    unsigned n = cable->sections ? cable->sections : sections_for(&line, length_m);
    double part_m = length_m / n;
    bool wire = line.ohm == 0 && line.henry == 0;
    tl_node at = in;
    if (part_m == 0)
        return in;
    double half_siemens = line.siemens * part_m / 2;
    for (unsigned i = 0; i < n; ++i) {
        tl_node next = tl_sink_along(sink, 'r', at, line.ohm * part_m, "inside the cable");
        next = tl_sink_along(sink, 'l', next, line.henry * part_m, "inside the cable");
        // Neighbouring half shunts are one element; a wire has only one node for all of them.
        double halves = wire ? 2.0 * n : i == 0 ? 1 : 2;
        tl_sink_across(sink, 'c', at, low, line.farad * part_m / 2 * halves);
        if (half_siemens > 0)
            tl_sink_across(sink, 'r', at, low, 1 / (half_siemens * halves));
        at = next;
        if (wire)
            return at;
    }
    tl_sink_across(sink, 'c', at, low, line.farad * part_m / 2);
    if (half_siemens > 0)
        tl_sink_across(sink, 'r', at, low, 1 / half_siemens);
    return at;
}

const tl_part_kind tl_kind_cable = {"cable",           "a cable", "cable", true,
                                    TL_FIELDS(fields), check,     emit};

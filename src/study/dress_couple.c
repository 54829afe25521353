// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/dress_couple.h"

#include "parts/kinds.h"
#include "parts/run.h"

#include <math.h>

static const double pi = 3.14159265358979323846;
static const double e0 = 8.8541878128e-12;

tl_run_geometry tl_run_geometry_of(const tl_part* run, const tl_part* cable, const tl_part* other) {
    return (tl_run_geometry){
        .length_m = tl_part_number(run, "length", 0),
        .spacing_m = tl_part_number(run, "spacing", 0),
        .angle_deg = tl_part_number(run, "angle", 0),
        .height_m = tl_part_number(run, "height", INFINITY),
        .diameter_m = tl_part_number(run, "diameter", 0),
        .copper_m = tl_run_copper_m(run),
        .pair_m = tl_part_number(run, "pair", INFINITY),
        .return_m = tl_part_number(run, "return", TL_RUN_RETURN_M),
        .coverage = tl_part_number(run, "shield.coverage", TL_RUN_COVERAGE),
        .shield_m = tl_run_shield_m(run, cable),
        .carriers = tl_part_number(run, "shield.carriers", TL_RUN_CARRIERS),
        .bare_m = tl_part_number(run, "bare", 0),
        .core_m = tl_part_number(cable, "build.core", TL_RUN_CORE_M),
        .farad_per_m = tl_cable_per_metre(cable).farad,
        .other_farad_per_m = other ? tl_cable_per_metre(other).farad : 0,
    };
}

double tl_two_wires_farad_per_m(double spacing_m, double diameter_m, double other_diameter_m) {
    double a = diameter_m / 2;
    double b = other_diameter_m / 2;
    return 2 * pi * e0 / acosh((spacing_m * spacing_m - a * a - b * b) / (2 * a * b));
}

double tl_wires_over_ground_farad_per_m(double spacing_m, double height_m, double diameter_m,
                                        double other_diameter_m) {
    double a = diameter_m / 2;
    double b = other_diameter_m / 2;
    double one = acosh(height_m / a);
    double two = acosh(height_m / b);
    double up = sqrt(height_m * height_m - a * a);
    double other_up = sqrt(height_m * height_m - b * b);
    double both = log(hypot(spacing_m, up + other_up) / hypot(spacing_m, up - other_up));
    double thin = 2 * pi * e0 / log(spacing_m * spacing_m / (a * b));
    double thick = tl_two_wires_farad_per_m(spacing_m, diameter_m, other_diameter_m);
    return 2 * pi * e0 * both / (one * two - both * both) * thick / thin;
}

double tl_wires_henry(double length_m, double spacing_m) {
    const double mu0 = 4e-7 * pi;
    double ratio = spacing_m / length_m;
    return mu0 * length_m / (2 * pi) * (asinh(1 / ratio) - sqrt(1 + ratio * ratio) + ratio);
}

/// Share of the field lines ending on a braid that its holes let through to the core: C1 (1 -
/// K)^1.5 / (3 e n) with C1 the capacitance core to shield, K the coverage, n the carriers; holes
/// round and small (E. F. Vance, Coupling to Shielded Cables, Wiley 1978, from memory; the theory
/// of small holes gives the same within a factor of 2). The insulation's permittivity is left out,
/// which errs to the loud side.
static double holes_share(const tl_run_geometry* run, double farad_per_m) {
    return farad_per_m * pow(1 - run->coverage, 1.5) / (3 * e0 * run->carriers);
}

/// Capacitance per metre to something so thick along the audio lead.
static double wires_farad_per_m(const tl_run_geometry* run, double spacing_m, double diameter_m) {
    return isfinite(run->height_m) ? tl_wires_over_ground_farad_per_m(spacing_m, run->height_m,
                                                                      run->copper_m, diameter_m)
                                   : tl_two_wires_farad_per_m(spacing_m, run->copper_m, diameter_m);
}

/// Capacitance per metre to the core where the leads are `spacing_m` apart.
static double farad_per_m_at(const tl_run_geometry* run, double spacing_m) {
    double shield = wires_farad_per_m(run, spacing_m, run->shield_m);
    double bare = run->bare_m / run->length_m;
    double core = wires_farad_per_m(run, spacing_m, run->core_m);
    double share = run->other_farad_per_m > 0 ? holes_share(run, run->other_farad_per_m) : 1;
    return share * ((1 - bare) * holes_share(run, run->farad_per_m) * shield + bare * core);
}

/// Side by side it is capacitance per metre times length. At an angle the leads cross in the
/// middle, and a place s from there is sqrt(D^2 + (s sin(angle))^2) away from the other lead: the
/// capacitance per metre of that distance, summed over the length. (Field lines are taken to run as
/// between parallel leads; crossing leads have somewhat less.) With s sin(angle) = D sinh(u) the
/// sum is smooth and Simpson's rule good to nine digits.
double tl_coupling_farad(const tl_run_geometry* run) {
    enum { STEPS = 128 };
    double sine = sin(run->angle_deg * pi / 180);
    double end = asinh(run->length_m * sine / (2 * run->spacing_m));
    double sum = 0;
    if (end < 1e-6)
        return run->length_m * farad_per_m_at(run, run->spacing_m);
    for (int i = 0; i <= STEPS; ++i) {
        double far = cosh(end * i / STEPS);
        double weight = i == 0 || i == STEPS ? 1 : i % 2 ? 4 : 2;
        sum += weight * far * farad_per_m_at(run, run->spacing_m * far);
    }
    return 2 * run->spacing_m / sine * sum * end / (3 * STEPS);
}

/// The four wires lie in one plane, which is the worst way round: what the other lead's go and
/// return induce in the audio lead's core, less what they induce in its return. A copper shield
/// does not keep out magnetic fields this slow; what protects a coaxial lead is that its return
/// runs around its core. At an angle the EMF goes with its cosine: H. W. Ott, Noise Reduction
/// Techniques in Electronic Systems, 2nd ed., ch. 2, V = j w B A cos(angle) (from memory).
double tl_coupling_henry(const tl_run_geometry* run) {
    bool one_lead = run->pair_m <= run->diameter_m;
    double near_m = run->spacing_m - (one_lead ? run->pair_m / 2 : 0);
    double henry = tl_wires_henry(run->length_m, near_m) -
                   tl_wires_henry(run->length_m, near_m + run->return_m);
    if (isfinite(run->pair_m))
        henry -= tl_wires_henry(run->length_m, near_m + run->pair_m) -
                 tl_wires_henry(run->length_m, near_m + run->pair_m + run->return_m);
    return run->angle_deg >= 90 ? 0 : henry * cos(run->angle_deg * pi / 180);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The pickup of parts/pickup.c in closed form: Zs = R + j w L (1 - f) + (j w L f || Re) in series
// with the EMF, C across the terminals.
#include "study/fit_model.h"

#include <math.h>

/// Ends of the values that are searched: far beyond what parts/pickup.c takes for plausible.
static const struct {
    double low;
    double high;
} ends[TL_FIT_TOTAL] = {{1e-6, 1e4},    {1e-2, 1e7}, {1e-15, 1e-6},
                        {1e-4, 0.9999}, {1, 1e10},   {1e-20, 1e20}};

static double to_coordinate(tl_fit_value value, double number) {
    return value == TL_FIT_EDDY_FRACTION ? log(number / (1 - number)) : log(number);
}

double tl_fit_coordinate(tl_fit_value value, double number) {
    return to_coordinate(value, fmin(fmax(number, ends[value].low), ends[value].high));
}

bool tl_fit_is_end(tl_fit_value value, double coordinate) {
    return !(coordinate > to_coordinate(value, ends[value].low) &&
             coordinate < to_coordinate(value, ends[value].high));
}

double tl_fit_number(tl_fit_value value, double coordinate) {
    double low = to_coordinate(value, ends[value].low);
    double high = to_coordinate(value, ends[value].high);
    double inside = fmin(fmax(coordinate, low), high);
    return value == TL_FIT_EDDY_FRACTION ? 1 / (1 + exp(-inside)) : exp(inside);
}

tl_fit_coil tl_fit_coil_at(const double at[TL_FIT_TOTAL], bool eddy) {
    tl_fit_coil coil = {.eddy = eddy};
    for (int i = 0; i < TL_FIT_TOTAL; ++i) {
        coil.number[i] = tl_fit_number((tl_fit_value)i, at[i]);
        coil.is_end[i] = tl_fit_is_end((tl_fit_value)i, at[i]);
    }
    return coil;
}

/// The series impedance, and by how much it changes with the coordinates it depends on.
static double complex series(double omega, const tl_fit_coil* coil,
                             double complex change[TL_FIT_TOTAL]) {
    double ohm = coil->number[TL_FIT_RESISTANCE];
    double reactance = omega * coil->number[TL_FIT_INDUCTANCE];
    change[TL_FIT_RESISTANCE] = ohm;
    change[TL_FIT_INDUCTANCE] = I * reactance;
    change[TL_FIT_EDDY_FRACTION] = change[TL_FIT_EDDY_RESISTANCE] = 0;
    if (!coil->eddy)
        return ohm + I * reactance;
    double share = coil->number[TL_FIT_EDDY_FRACTION];
    double bridge_ohm = coil->number[TL_FIT_EDDY_RESISTANCE];
    double bridged = share * reactance;
    // How the current divides: what of it goes through the bridged part of the coil.
    double complex inside = 1 / (1 + I * (bridged / bridge_ohm));
    double complex square = inside * inside;
    double complex outside = 1 - inside;
    change[TL_FIT_INDUCTANCE] = I * (reactance - bridged) + I * bridged * square;
    change[TL_FIT_EDDY_FRACTION] = I * ((1 - share) * bridged) * (square - 1);
    change[TL_FIT_EDDY_RESISTANCE] = bridge_ohm * outside * outside;
    return ohm + I * (reactance - bridged) + I * bridged * inside;
}

double complex tl_fit_model(tl_measured_kind kind, double omega, const tl_two_port* port,
                            const tl_fit_coil* coil, double complex slopes[TL_FIT_TOTAL]) {
    double complex change[TL_FIT_TOTAL];
    double complex zs = series(omega, coil, change);
    double complex ys = 1 / zs;
    double complex shunt = I * (omega * coil->number[TL_FIT_CAPACITANCE]);
    double complex y = ys + shunt; // of the pickup's terminals
    double complex into = port->c + port->a * y;
    bool impedance = kind == TL_MEASURED_IMPEDANCE;
    double complex above = impedance ? port->d + port->b * y : coil->number[TL_FIT_SCALE] * ys;
    double complex value = clog(above / into);
    if (!slopes)
        return value;
    double complex by_y = (impedance ? port->b / above : 0) - port->a / into;
    double complex by_zs = -ys * ys * by_y - (impedance ? 0 : ys);
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        slopes[i] = i == TL_FIT_CAPACITANCE ? shunt * by_y
                    : i == TL_FIT_SCALE     ? (impedance ? 0 : 1)
                                            : change[i] * by_zs;
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        if (coil->is_end[i])
            slopes[i] = 0;
    return value;
}

/// All roots of s^3 + c[2] s^2 + c[1] s + c[0]. Method: Weierstrass's iteration (Durand 1960,
/// Kerner 1966), from points on a circle.
static void cubic_roots(const double c[3], double complex roots[3]) {
    for (int i = 0; i < 3; ++i)
        roots[i] = cpow(0.4 + 0.9 * I, i);
    for (int step = 0; step < 200; ++step)
        for (int i = 0; i < 3; ++i) {
            double complex s = roots[i];
            double complex value = ((s + c[2]) * s + c[1]) * s + c[0];
            double complex others = (s - roots[(i + 1) % 3]) * (s - roots[(i + 2) % 3]);
            roots[i] -= value / others;
        }
}

/// With s in units of 1 / sqrt(L C), the terminals' voltage falls to the EMF over
/// (s a + r)(1 + s C R + s^2 C b) + s^2 C a r, over (s a + r), where a = f L is bridged by r and
/// b = (1 - f) L is not.
bool tl_fit_pole(const tl_fit_coil* coil, double* hz, double* q) {
    double henry = coil->number[TL_FIT_INDUCTANCE];
    double farad = coil->number[TL_FIT_CAPACITANCE];
    double omega = 1 / sqrt(henry * farad);
    double damping = coil->number[TL_FIT_RESISTANCE] * farad * omega;
    double complex pole = 0;
    if (!coil->eddy) {
        pole = -damping / 2 + csqrt(damping * damping / 4 - 1);
    } else {
        double share = coil->number[TL_FIT_EDDY_FRACTION];
        double bridge = coil->number[TL_FIT_EDDY_RESISTANCE] / (omega * henry);
        double third = share * (1 - share);
        double second = bridge * (1 - share) + share * damping + share * bridge;
        double first = bridge * damping + share;
        double complex roots[3];
        const double c[3] = {bridge / third, first / third, second / third};
        cubic_roots(c, roots);
        for (int i = 0; i < 3; ++i)
            if (cimag(roots[i]) > cimag(pole))
                pole = roots[i];
    }
    if (!(cimag(pole) > 1e-9 * cabs(pole)))
        return false;
    *hz = cabs(pole) * omega / (2 * M_PI);
    *q = cabs(pole) / (2 * fabs(creal(pole)));
    return isfinite(*hz) && isfinite(*q);
}

double tl_fit_meter_henry(const tl_fit_coil* coil, double hz) {
    const tl_two_port wire = {.a = 1, .d = 1};
    double omega = 2 * M_PI * hz;
    double complex z = cexp(tl_fit_model(TL_MEASURED_IMPEDANCE, omega, &wire, coil, NULL));
    return cimag(z) / omega;
}

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

/// The series impedance, and by how much it changes with the coordinates it depends on.
static double complex series(double omega, const double at[TL_FIT_TOTAL], bool eddy,
                             double complex change[TL_FIT_TOTAL]) {
    double ohm = tl_fit_number(TL_FIT_RESISTANCE, at[TL_FIT_RESISTANCE]);
    double complex coil = I * omega * tl_fit_number(TL_FIT_INDUCTANCE, at[TL_FIT_INDUCTANCE]);
    change[TL_FIT_RESISTANCE] = ohm;
    change[TL_FIT_INDUCTANCE] = coil;
    change[TL_FIT_EDDY_FRACTION] = change[TL_FIT_EDDY_RESISTANCE] = 0;
    if (!eddy)
        return ohm + coil;
    double share = tl_fit_number(TL_FIT_EDDY_FRACTION, at[TL_FIT_EDDY_FRACTION]);
    double bridge_ohm = tl_fit_number(TL_FIT_EDDY_RESISTANCE, at[TL_FIT_EDDY_RESISTANCE]);
    double complex bridged = share * coil;
    double complex of_bridge = bridge_ohm / (bridged + bridge_ohm); // divided current, coil's part
    double complex of_coil = bridged / (bridged + bridge_ohm);
    change[TL_FIT_INDUCTANCE] = coil - bridged + bridged * of_bridge * of_bridge;
    change[TL_FIT_EDDY_FRACTION] = share * (1 - share) * coil * (of_bridge * of_bridge - 1);
    change[TL_FIT_EDDY_RESISTANCE] = bridge_ohm * of_coil * of_coil;
    return ohm + coil - bridged + bridged * of_bridge;
}

double complex tl_fit_model(tl_measured_kind kind, double omega, const tl_two_port* port,
                            const double at[TL_FIT_TOTAL], bool eddy,
                            double complex slopes[TL_FIT_TOTAL]) {
    double complex change[TL_FIT_TOTAL];
    double complex zs = series(omega, at, eddy, change);
    double complex shunt = I * omega * tl_fit_number(TL_FIT_CAPACITANCE, at[TL_FIT_CAPACITANCE]);
    double complex y = 1 / zs + shunt; // of the pickup's terminals
    double complex into = port->c + port->a * y;
    bool impedance = kind == TL_MEASURED_IMPEDANCE;
    double complex above = impedance ? port->d + port->b * y : 1;
    double scale = impedance ? 1 : tl_fit_number(TL_FIT_SCALE, at[TL_FIT_SCALE]);
    double complex value = impedance ? clog(above / into) : clog(scale / (zs * into));
    if (!slopes)
        return value;
    double complex by_y = (impedance ? port->b / above : 0) - port->a / into;
    for (int i = 0; i < TL_FIT_TOTAL; ++i) {
        double complex by = 0;
        if (i <= TL_FIT_EDDY_RESISTANCE && i != TL_FIT_CAPACITANCE)
            by = -change[i] / (zs * zs) * by_y - (impedance ? 0 : change[i] / zs);
        else if (i == TL_FIT_CAPACITANCE)
            by = shunt * by_y;
        else
            by = impedance ? 0 : 1;
        slopes[i] = tl_fit_is_end((tl_fit_value)i, at[i]) ? 0 : by;
    }
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
bool tl_fit_pole(const double at[TL_FIT_TOTAL], bool eddy, double* hz, double* q) {
    double henry = tl_fit_number(TL_FIT_INDUCTANCE, at[TL_FIT_INDUCTANCE]);
    double farad = tl_fit_number(TL_FIT_CAPACITANCE, at[TL_FIT_CAPACITANCE]);
    double omega = 1 / sqrt(henry * farad);
    double damping = tl_fit_number(TL_FIT_RESISTANCE, at[TL_FIT_RESISTANCE]) * farad * omega;
    double complex pole = 0;
    if (!eddy) {
        pole = -damping / 2 + csqrt(damping * damping / 4 - 1);
    } else {
        double share = tl_fit_number(TL_FIT_EDDY_FRACTION, at[TL_FIT_EDDY_FRACTION]);
        double bridge =
            tl_fit_number(TL_FIT_EDDY_RESISTANCE, at[TL_FIT_EDDY_RESISTANCE]) / (omega * henry);
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

double tl_fit_meter_henry(const double at[TL_FIT_TOTAL], bool eddy, double hz) {
    const tl_two_port wire = {.a = 1, .d = 1};
    double omega = 2 * M_PI * hz;
    double complex z = cexp(tl_fit_model(TL_MEASURED_IMPEDANCE, omega, &wire, at, eddy, NULL));
    return cimag(z) / omega;
}

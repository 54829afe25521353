// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/fit_start.h"

#include <math.h>
#include <stdint.h>

/// The frequency of the highest point that has lower ones on both sides; SIZE_MAX when there is
/// none.
static size_t find_peak(const tl_fit_data* data) {
    size_t peak = SIZE_MAX;
    for (size_t i = 1; i + 1 < data->count; ++i)
        if (data->ln_size[i] > data->ln_size[0] &&
            data->ln_size[i] > data->ln_size[data->count - 1] &&
            (peak == SIZE_MAX || data->ln_size[i] > data->ln_size[peak]))
            peak = i;
    return peak;
}

/// What an impedance's first point says of the resistance.
static double guess_ohm(const tl_fit_data* data) {
    if (data->kind == TL_MEASURED_RESPONSE)
        return 6e3;
    double turn = data->phase_rad ? fabs(cos(data->phase_rad[0])) : 1;
    return fmin(fmax(exp(data->ln_size[0]) * turn, 50), 50e3);
}

/// What an impedance says of the inductance where it rises, well below its peak (half its
/// frequency, or the end of the sweep).
static double guess_henry(const tl_fit_data* data, size_t peak, double ohm) {
    if (data->kind == TL_MEASURED_RESPONSE)
        return 3;
    double limit = peak == SIZE_MAX ? data->omega[data->count - 1]
                                    : fmax(data->omega[peak] / 2, data->omega[0]);
    size_t at = 0;
    while (at + 1 < data->count && data->omega[at + 1] <= limit)
        ++at;
    double size = exp(data->ln_size[at]);
    double reactance = size > 1.05 * ohm ? sqrt(size * size - ohm * ohm) : 0.3 * size;
    // Below the peak the capacitance makes it look larger, by 1 / (1 - (w/w0)^2).
    double share = peak == SIZE_MAX ? 0 : data->omega[at] / data->omega[peak];
    return reactance / data->omega[at] * fmax(1 - share * share, 0.1);
}

/// The capacitance that puts the resonance at the peak, less what hangs outside.
static double guess_farad(const tl_fit_data* data, size_t peak, double henry) {
    if (peak == SIZE_MAX)
        return 150e-12;
    double omega = data->omega[peak];
    double outside = cimag(data->ports[peak].c) / omega;
    double farad = 1 / (omega * omega * henry) - fmax(outside, 0);
    return fmin(fmax(farad, 20e-12), 5e-9);
}

/// The level where a response is still flat, which is that of its lowest frequencies.
static double guess_scale(const tl_fit_data* data) {
    double ratio = exp(data->ln_size[0]);
    double passes = cabs(data->ports[0].a);
    return ratio * fmax(passes, 1e-6);
}

size_t tl_fit_starts(const tl_fit_data* data, double starts[TL_FIT_STARTS][TL_FIT_TOTAL]) {
    static const double henry_times[] = {1, 0.4, 2.5};
    static const double farad_times[] = {1, 0.3, 10};
    size_t peak = find_peak(data);
    double ohm = guess_ohm(data);
    double henry = guess_henry(data, peak, ohm);
    size_t count = 0;
    for (size_t i = 0; i < 3; ++i)
        for (size_t j = 0; j < 3; ++j) {
            double* at = starts[count++];
            double coil = henry * henry_times[i];
            at[TL_FIT_INDUCTANCE] = tl_fit_coordinate(TL_FIT_INDUCTANCE, coil);
            at[TL_FIT_RESISTANCE] = tl_fit_coordinate(TL_FIT_RESISTANCE, ohm);
            at[TL_FIT_CAPACITANCE] = tl_fit_coordinate(
                TL_FIT_CAPACITANCE, guess_farad(data, peak, coil) * farad_times[j]);
            at[TL_FIT_EDDY_FRACTION] = at[TL_FIT_EDDY_RESISTANCE] = 0;
            at[TL_FIT_SCALE] = tl_fit_coordinate(TL_FIT_SCALE, guess_scale(data));
        }
    return count;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/weighting.h"

#include <math.h>

// The poles follow from fr = 1 kHz, fL = 10^1.5, fH = 10^3.9, fA = 10^2.45 and D^2 = 1/2 (from
// memory); rounded, they are the standard's 20.60, 107.7, 737.9 and 12194 Hz.
double tl_a_weighting(double hz) {
    static const double f1 = 20.598997;
    static const double f2 = 107.652649;
    static const double f3 = 737.862231;
    static const double f4 = 12194.217148;
    static const double at_1khz_db = 1.99966;
    double square = hz * hz;
    double ratio =
        f4 * f4 * square * square /
        ((square + f1 * f1) * sqrt(square + f2 * f2) * sqrt(square + f3 * f3) * (square + f4 * f4));
    return ratio * pow(10, at_1khz_db / 20);
}

static double power_of(double hz, double density, bool a_weighted) {
    double volts = a_weighted ? density * tl_a_weighting(hz) : density;
    return volts * volts;
}

double tl_noise_rms_v(size_t count, const double* hz, const double* density_v_rthz, double low_hz,
                      double high_hz, bool a_weighted) {
    double sum = 0;
    for (size_t i = 0; i + 1 < count; ++i) {
        double from = fmax(hz[i], low_hz);
        double to = fmin(hz[i + 1], high_hz);
        double width = log(hz[i + 1] / hz[i]);
        if (from >= to)
            continue;
        double left = hz[i] * power_of(hz[i], density_v_rthz[i], a_weighted);
        double right = hz[i + 1] * power_of(hz[i + 1], density_v_rthz[i + 1], a_weighted);
        double at_from = left + (right - left) * log(from / hz[i]) / width;
        double at_to = left + (right - left) * log(to / hz[i]) / width;
        sum += 0.5 * (at_from + at_to) * log(to / from);
    }
    return sqrt(sum);
}

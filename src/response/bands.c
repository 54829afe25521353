// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bands.c The response as the ear's bands see it.
///
/// Bands are one ERB wide in the ERB number n = 21.4 log10(4.37 f/kHz + 1) (Glasberg and Moore,
/// Hearing Research 47, 1990). A band's level is the mean of |H|^2 over it, uniform in n.

#include "response/response_internal.h"

#include <math.h>

static const double first_number = 3.0;
static const double matched_low_hz = 200.0;
static const double matched_high_hz = 1000.0;

static double hz_of_number(double number) {
    return 1000.0 / 4.37 * (pow(10.0, number / 21.4) - 1.0);
}

double tl_band_hz(size_t index) {
    return hz_of_number(first_number + (double)index);
}

static double power_at_number(const tl_response* response, double number) {
    return tl_response_power(response, tl_response_scaled(response, hz_of_number(number)));
}

// Five-point Gauss-Legendre integral (Abramowitz and Stegun, table 25.4).
static double integrate_once(const tl_response* response, double low, double high) {
    static const double node[] = {0.538469310105683091, 0.906179845938663993};
    static const double weight[] = {0.478628670499366468, 0.236926885056189088};
    static const double weight_middle = 0.568888888888888889;
    const double middle = 0.5 * (low + high);
    const double reach = 0.5 * (high - low);
    double sum = weight_middle * power_at_number(response, middle);
    for (int i = 0; i < 2; i++) {
        sum += weight[i] * (power_at_number(response, middle - reach * node[i]) +
                            power_at_number(response, middle + reach * node[i]));
    }
    return reach * sum;
}

// Halves the interval until both halves together say what the whole did. The tolerance is so small
// that even the skirts of a resonance far narrower than the nodes' spacing lead to it.
static double integrate_power(const tl_response* response, double low, double high, double whole,
                              int depth) {
    const double tolerance = 1e-9;
    const double middle = 0.5 * (low + high);
    const double left = integrate_once(response, low, middle);
    const double right = integrate_once(response, middle, high);
    if (depth == 0 || fabs(left + right - whole) <= tolerance * (left + right)) {
        return left + right;
    }
    return integrate_power(response, low, middle, left, depth - 1) +
           integrate_power(response, middle, high, right, depth - 1);
}

// Level of a band; NAN when it reaches beyond the solved band.
static double band_db(const tl_response* response, size_t index) {
    const int most_halvings = 30;
    const double low = first_number + (double)index - 0.5;
    const double high = low + 1.0;
    if (hz_of_number(low) < response->low_hz || hz_of_number(high) > response->high_hz) {
        return NAN;
    }
    const double whole = integrate_once(response, low, high);
    return 10.0 * log10(integrate_power(response, low, high, whole, most_halvings));
}

void tl_response_bands(const tl_response* response, double levels_db[TL_BAND_COUNT]) {
    for (size_t i = 0; i < TL_BAND_COUNT; i++) {
        levels_db[i] = band_db(response, i);
    }
}

double tl_matched_level_db(const tl_response* rig, const tl_response* direct) {
    double sum = 0.0;
    double count = 0.0;
    for (size_t i = 0; i < TL_BAND_COUNT; i++) {
        const double hz = tl_band_hz(i);
        if (hz >= matched_low_hz && hz <= matched_high_hz) {
            sum += band_db(rig, i) - band_db(direct, i);
            count += 1.0;
        }
    }
    return sum / count;
}

double tl_bands_mean_db(const double levels_db[TL_BAND_COUNT], double low_hz, double high_hz) {
    double sum = 0.0;
    double count = 0.0;
    for (size_t i = 0; i < TL_BAND_COUNT; i++) {
        const double hz = tl_band_hz(i);
        if (hz >= low_hz && hz <= high_hz) {
            sum += levels_db[i];
            count += 1.0;
        }
    }
    return sum / count;
}

double tl_bands_level_db(const double levels_db[TL_BAND_COUNT]) {
    return tl_bands_mean_db(levels_db, matched_low_hz, matched_high_hz);
}

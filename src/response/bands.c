// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bands.c The response as the ear's bands see it.
///
/// Bands are one ERB wide in the ERB number n = 21.4 log10(4.37 f/kHz + 1) (Glasberg and Moore,
/// Hearing Research 47, 1990). A band's level is the mean of |H|^2 over it, uniform in n.

#include "response/response_internal.h"

#include <math.h>
#include <pthread.h>

static const double first_number = 3.0;
static const double matched_low_hz = 200.0;
static const double matched_high_hz = 1000.0;

static double hz_of_number(double number) {
    return 1000.0 / 4.37 * (pow(10.0, number / 21.4) - 1.0);
}

/// Five-point Gauss-Legendre rule (Abramowitz and Stegun, table 25.4).
enum { NODES = 5 };
static const double rule_node[NODES] = {-0.906179845938663993, -0.538469310105683091, 0.0,
                                        0.538469310105683091, 0.906179845938663993};
static const double rule_weight[NODES] = {0.236926885056189088, 0.478628670499366468,
                                          0.568888888888888889, 0.478628670499366468,
                                          0.236926885056189088};

/// Frequencies of the rule over every band, of bands' centres and of
/// the edges between them, Hz. Filled in once and only read after that.
static double node_hz[TL_BAND_COUNT][NODES];
static double centre_hz[TL_BAND_COUNT];
static double edge_hz[TL_BAND_COUNT + 1];
static pthread_once_t once = PTHREAD_ONCE_INIT;

static void fill_nodes(double low, double high, double hz[NODES]) {
    for (size_t i = 0; i < NODES; i++) {
        hz[i] = hz_of_number(0.5 * (low + high) + 0.5 * (high - low) * rule_node[i]);
    }
}

static void fill_bands(void) {
    for (size_t i = 0; i < TL_BAND_COUNT; i++) {
        const double middle = first_number + (double)i;
        fill_nodes(middle - 0.5, middle + 0.5, node_hz[i]);
        centre_hz[i] = hz_of_number(middle);
        edge_hz[i] = hz_of_number(middle - 0.5);
        edge_hz[i + 1] = hz_of_number(middle + 0.5);
    }
}

double tl_band_hz(size_t index) {
    pthread_once(&once, fill_bands);
    return centre_hz[index];
}

static double weigh(const double power[NODES], double width) {
    double sum = 0.0;
    for (size_t i = 0; i < NODES; i++) {
        sum += rule_weight[i] * power[i];
    }
    return 0.5 * width * sum;
}

static double integrate_once(const tl_response* response, double low, double high) {
    double x[NODES];
    double power[NODES];
    fill_nodes(low, high, x);
    for (size_t i = 0; i < NODES; i++) {
        x[i] = tl_response_scaled(response, x[i]);
    }
    tl_response_powers(response, NODES, x, power, NULL);
    return weigh(power, high - low);
}

// Two halves say what the whole did: what is left of the error is then a thousandth of that.
static bool agree(double whole, double left, double right) {
    const double tolerance = 1e-8;
    return fabs(left + right - whole) <= tolerance * (left + right);
}

// Halves the interval until both halves together say what the whole did. The tolerance is so small
// that even the skirts of a resonance far narrower than the nodes' spacing lead to it.
static double integrate_power(const tl_response* response, double low, double high, double whole,
                              int depth) {
    const double middle = 0.5 * (low + high);
    const double left = integrate_once(response, low, middle);
    const double right = integrate_once(response, middle, high);
    if (depth == 0 || agree(whole, left, right)) {
        return left + right;
    }
    return integrate_power(response, low, middle, left, depth - 1) +
           integrate_power(response, middle, high, right, depth - 1);
}

// Whether all poles lie so far from a band that the rule alone is exact. Its error falls with the
// tenth power of the largest ellipse about the band that holds no pole (Trefethen, SIAM Review
// 50(1), 2008): from four half widths off it is some 1e-9 of the power.
static bool is_smooth(const tl_response* response, size_t index) {
    const double clear = 4.0;
    const double artefact = 1e-9;
    const double middle = 0.5 * (edge_hz[index] + edge_hz[index + 1]);
    const double reach = 0.5 * (edge_hz[index + 1] - edge_hz[index]);
    for (size_t i = 0; i < response->pole_count; i++) {
        const tl_pole* pole = &response->poles[i];
        const double re_hz = pole->re / (2.0 * M_PI);
        const double off_hz = pole->im / (2.0 * M_PI) - middle;
        const double wanted = clear * reach;
        if (pole->weight > artefact * response->max_abs &&
            re_hz * re_hz + off_hz * off_hz < wanted * wanted) {
            return false;
        }
    }
    return response->pole_count > 0;
}

// Level of a band, whose powers at the rule's nodes are known.
static double band_db(const tl_response* response, size_t index, const double power[NODES]) {
    const int most_halvings = 30;
    const double low = first_number + (double)index - 0.5;
    double mean = weigh(power, 1.0);
    if (!is_smooth(response, index)) {
        mean = integrate_power(response, low, low + 1.0, mean, most_halvings);
    }
    return 10.0 * log10(mean);
}

static bool is_solved(const tl_response* response, size_t index) {
    return edge_hz[index] >= response->low_hz && edge_hz[index + 1] <= response->high_hz;
}

void tl_response_bands(const tl_response* response, double levels_db[TL_BAND_COUNT]) {
    double x[TL_BAND_COUNT * NODES];
    double power[TL_BAND_COUNT * NODES];
    pthread_once(&once, fill_bands);
    for (size_t i = 0; i < TL_BAND_COUNT * NODES; i++) {
        x[i] = tl_response_scaled(response, node_hz[i / NODES][i % NODES]);
    }
    tl_response_powers(response, TL_BAND_COUNT * NODES, x, power, NULL);
    for (size_t i = 0; i < TL_BAND_COUNT; i++) {
        levels_db[i] = is_solved(response, i) ? band_db(response, i, power + i * NODES) : NAN;
    }
}

double tl_matched_level_db(const tl_response* rig, const tl_response* direct) {
    double rig_db[TL_BAND_COUNT];
    double direct_db[TL_BAND_COUNT];
    tl_response_bands(rig, rig_db);
    tl_response_bands(direct, direct_db);
    return tl_bands_level_db(rig_db) - tl_bands_level_db(direct_db);
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

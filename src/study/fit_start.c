// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/fit_start.h"

#include "base/text.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { HENRIES = 12, OHMS = 4, FARADS = 10, NODES = HENRIES * OHMS * FARADS };

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

// ---- a net over all coils

static bool is_free(const tl_fit_problem* problem, tl_fit_value value) {
    for (size_t j = 0; j < problem->free_count; ++j)
        if (problem->free[j] == value)
            return true;
    return false;
}

/// The sum of squares at a place, the level at its best there. `misses` is room for them.
static double net_cost(tl_fit_problem* problem, double* misses) {
    const tl_fit_data* data = problem->data;
    bool scaled = is_free(problem, TL_FIT_SCALE);
    if (scaled)
        problem->at[TL_FIT_SCALE] = 0;
    tl_fit_misses(problem, misses);
    double sum = 0;
    double weights = 0;
    for (size_t i = 0; i < data->count; ++i) {
        sum += misses[i] * data->root_weight[i];
        weights += data->root_weight[i] * data->root_weight[i];
    }
    double shift = scaled ? sum / weights : 0;
    if (scaled)
        problem->at[TL_FIT_SCALE] = -shift;
    double cost = 0;
    for (size_t i = 0; i < tl_fit_miss_count(problem); ++i) {
        double miss = misses[i] - (i < data->count ? shift * data->root_weight[i] : 0);
        cost += miss * miss;
    }
    return cost;
}

/// A node of the net.
typedef struct {
    double at[TL_FIT_TOTAL];
    double cost;
} node;

/// Whether none of a node's neighbours is better; of those that are as good the first counts.
static bool is_hollow(const node* net, const size_t size[3], size_t i) {
    size_t place[3] = {i / (size[1] * size[2]), i / size[2] % size[1], i % size[2]};
    size_t stride[3] = {size[1] * size[2], size[2], 1};
    for (int k = 0; k < 3; ++k) {
        if (place[k] > 0 && !(net[i].cost < net[i - stride[k]].cost))
            return false;
        if (place[k] + 1 < size[k] && net[i + stride[k]].cost < net[i].cost)
            return false;
    }
    return isfinite(net[i].cost);
}

static int by_cost(const void* a, const void* b) {
    double x = ((const node*)a)->cost;
    double y = ((const node*)b)->cost;
    return (x > y) - (x < y);
}

/// The hollows of a net, best first.
static size_t take_hollows(const node* net, const size_t size[3],
                           double starts[TL_FIT_WIDE][TL_FIT_TOTAL]) {
    node* hollows = tl_new(NODES, sizeof *hollows);
    size_t count = 0;
    for (size_t i = 0; i < size[0] * size[1] * size[2]; ++i)
        if (is_hollow(net, size, i))
            hollows[count++] = net[i];
    qsort(hollows, count, sizeof *hollows, by_cost);
    count = count < TL_FIT_WIDE ? count : TL_FIT_WIDE;
    for (size_t i = 0; i < count; ++i)
        memcpy(starts[i], hollows[i].at, sizeof hollows[i].at);
    free(hollows);
    return count;
}

size_t tl_fit_wide_starts(const tl_fit_problem* plain, double starts[TL_FIT_WIDE][TL_FIT_TOTAL]) {
    // From below to beyond what pickups have, in factors of 2, 6 and 2.
    static const double first[3] = {0.02, 100, 5e-12};
    static const double times[3] = {2, 6, 2};
    size_t size[3] = {HENRIES, OHMS, FARADS};
    for (int k = 0; k < 3; ++k)
        if (!is_free(plain, (tl_fit_value)k))
            size[k] = 1;
    tl_fit_problem problem = *plain;
    double* misses = tl_new(tl_fit_miss_count(&problem), sizeof *misses);
    node* net = tl_new(NODES, sizeof *net);
    for (size_t i = 0; i < size[0] * size[1] * size[2]; ++i) {
        const size_t place[3] = {i / (size[1] * size[2]), i / size[2] % size[1], i % size[2]};
        for (int k = 0; k < 3; ++k)
            if (size[k] > 1)
                problem.at[k] = log(first[k] * pow(times[k], (double)place[k]));
        net[i].cost = net_cost(&problem, misses);
        memcpy(net[i].at, problem.at, sizeof problem.at);
    }
    size_t count = take_hollows(net, size, starts);
    free(net);
    free(misses);
    return count;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/low_cut.h"

#include <math.h>
#include <stddef.h>

enum { MOST_POINTS = 120, POINTS_AN_OCTAVE = 8, MOST_ORDER = 8 };

static const double lowest_hz = 0.1;
static const double split_low_hz = 20.0;
static const double split_high_hz = 2000.0;
static const double engage_share = 0.9; // of the limit: nearer to it the low end has to give way
static const double target_share = 0.6; // up to here the limit itself leaves as good as all

/// The ratio's magnitude from the lowest frequency up to where it is smallest.
typedef struct {
    double hz[MOST_POINTS];
    double size[MOST_POINTS];
    size_t count;
} low_end;

static low_end read_low_end(const tl_response* rig, const tl_response* through) {
    low_end end = {.count = 0};
    size_t smallest = 0;
    for (size_t i = 0; i < MOST_POINTS; i++) {
        const double hz = lowest_hz * exp2((double)i / POINTS_AN_OCTAVE);
        if (hz > split_high_hz) {
            break;
        }
        end.hz[i] = hz;
        end.size[i] = cabs(tl_response_at(rig, hz)) / cabs(tl_response_at(through, hz));
        if (hz < split_low_hz || end.size[i] < end.size[smallest]) {
            smallest = i;
        }
    }
    end.count = smallest + 1;
    return end;
}

/// The largest size that a low-cut leaves.
static double largest(const low_end* end, tl_low_cut cut) {
    double most = 0.0;
    for (size_t i = 0; i < end->count; i++) {
        most = fmax(most, end->size[i] * cabs(tl_low_cut_at(cut, end->hz[i])));
    }
    return most;
}

/// How many first-order high-passes were passed, by how steeply the ratio rises downwards.
static unsigned find_order(const low_end* end) {
    double steepest = 0.0;
    for (size_t i = 1; i < end->count; i++) {
        steepest = fmax(steepest, log2(end->size[i - 1] / end->size[i]) * POINTS_AN_OCTAVE);
    }
    return (unsigned)fmin(MOST_ORDER, fmax(1.0, ceil(steepest - 0.1)));
}

tl_low_cut tl_low_cut_find(const tl_response* rig, const tl_response* through, double limit) {
    const low_end end = read_low_end(rig, through);
    tl_low_cut cut = {0.0, 0};
    const double most = largest(&end, cut);
    if (!isfinite(most) || most <= engage_share * limit) {
        return cut;
    }
    const double target = fmax(target_share * limit, 1.05 * end.size[end.count - 1]);
    double low_hz = 0.1 * lowest_hz;
    double high_hz = end.hz[end.count - 1];
    cut.order = find_order(&end);
    for (int i = 0; i < 60; i++) {
        cut.hz = sqrt(low_hz * high_hz);
        if (largest(&end, cut) > target) {
            low_hz = cut.hz;
        } else {
            high_hz = cut.hz;
        }
    }
    cut.hz = high_hz;
    return cut;
}

double _Complex tl_low_cut_at(tl_low_cut cut, double hz) {
    double _Complex value = 1.0;
    for (unsigned i = 0; i < cut.order; i++) {
        value *= I * hz / (I * hz + cut.hz);
    }
    return value;
}

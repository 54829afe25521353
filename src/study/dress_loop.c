// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/dress_loop.h"

#include "base/root.h"
#include "study/dress_level.h"

#include <math.h>

enum { STEPS = 860 };
static const double lowest_hz = 5, highest_hz = 100e3;
static const double pi = 3.14159265358979323846;

double tl_loop_hz(size_t point) {
    return 20 * pow(1000, (double)point / (TL_LOOP_POINTS - 1));
}

double _Complex tl_loop_gain(const tl_dress_loop* loop, double hz) {
    double _Complex ohm = tl_response_at(loop->between, hz) - TL_DRESS_KNOWN_OHM;
    return 2 * pi * hz * loop->farad * (double _Complex)I * ohm;
}

static double imaginary_at(void* context, double log_hz) {
    return cimag(tl_loop_gain(context, exp(log_hz)));
}

double tl_loop_margin_db(const tl_dress_loop* loop, double* hz) {
    tl_dress_loop asked = *loop;
    double margin_db = INFINITY;
    double step = log(highest_hz / lowest_hz) / STEPS;
    double before = log(lowest_hz);
    double at_before = imaginary_at(&asked, before);
    *hz = NAN;
    for (int i = 1; i <= STEPS; ++i) {
        double here = log(lowest_hz) + i * step;
        double at_here = imaginary_at(&asked, here);
        if ((at_before < 0) != (at_here < 0)) {
            double root =
                tl_root_find(imaginary_at, &asked, before, at_before, here, at_here, 1e-9);
            double real = creal(tl_loop_gain(loop, exp(root)));
            double left_db = -20 * log10(fabs(real));
            if (real < 0 && left_db < margin_db) {
                margin_db = left_db;
                *hz = exp(root);
            }
        }
        before = here;
        at_before = at_here;
    }
    return margin_db;
}

/// Looking for a spacing.
typedef struct {
    const tl_dress_loop* loop;
    tl_run_geometry lie;
    const double _Complex* shares;
    size_t amp_count;
    double margin_db;
} search;

/// The most that is added to the signal when the capacitance is `factor` of what it was: the share
/// goes with the capacitance over 1 + loop gain.
static double leak_db(const search* s, double factor) {
    double most = 0;
    for (size_t i = 0; i < TL_LOOP_POINTS; ++i) {
        double _Complex gain = tl_loop_gain(s->loop, tl_loop_hz(i));
        double moved = factor * cabs((1 + gain) / (1 + factor * gain));
        for (size_t amp = 0; amp < s->amp_count; ++amp)
            most = fmax(most, moved * cabs(s->shares[amp * TL_LOOP_POINTS + i]));
    }
    return 20 * log10(most);
}

/// How far from good it is at a spacing, dB.
static double excess(void* context, double log_m) {
    search* s = context;
    s->lie.spacing_m = exp(log_m);
    double factor = tl_coupling_farad(&s->lie) / s->loop->farad;
    double loop_db = TL_DRESS_LOOP_DB - s->margin_db + 20 * log10(factor);
    return fmax(loop_db, leak_db(s, factor) - TL_DRESS_LEAK_DB);
}

double tl_loop_apart_m(const tl_dress_loop* loop, const tl_run_geometry* lie,
                       const double _Complex* shares, size_t amp_count) {
    double where_hz = 0;
    search s = {loop, *lie, shares, amp_count, tl_loop_margin_db(loop, &where_hz)};
    double low = log(lie->spacing_m);
    double high = log(TL_DRESS_FAR_M);
    if (!(loop->farad > 0) || low >= high)
        return NAN;
    double at_low = excess(&s, low);
    double at_high = excess(&s, high);
    if (!(at_low > 0) || !(at_high <= 0))
        return NAN;
    return exp(tl_root_find(excess, &s, low, at_low, high, at_high, 1e-9));
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/tracker.h"

#include "base/text.h"
#include "response/lapack.h"
#include "response/null_vector.h"
#include "response/response_internal.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

/// Poles of the pattern that weigh less, relative to max |H|, are artefacts of its fit.
static const double followed_weight = 1e-8;

struct tl_tracker {
    size_t count;
    size_t pairs;
    size_t fitted;     ///< samples that are neither supports nor held out
    size_t held;       ///< samples that are held out
    size_t pole_count; ///< of the pattern's that are followed
    double* x;         ///< by sample: scaled frequency
    double* re;        ///< this fit's samples
    double* im;
    double* unit;
    double* row;       ///< by fitted sample: 1 / |D| of the pattern
    double* near;      ///< 1 / (x - x_k), [pair * fitted + sample]
    double* far;       ///< 1 / (x + x_k)
    size_t* supports;  ///< samples
    size_t* fitted_at; ///< samples
    size_t* held_at;   ///< samples
    tl_pole* followed;
    tl_null_problem problem;
    tl_response response; ///< the result
};

// The sample a support was made of; the count when there is none.
static size_t find_sample(const tl_tracker* t, double x) {
    for (size_t i = 0; i < t->count; i++) {
        if (t->x[i] == x) {
            return i;
        }
    }
    return t->count;
}

static bool is_support(const tl_tracker* t, size_t sample) {
    for (size_t k = 0; k < t->pairs; k++) {
        if (t->supports[k] == sample) {
            return true;
        }
    }
    return false;
}

// Sorts the samples by what they are for; false when a support is none of them.
static bool sort_samples(tl_tracker* t, const tl_response* pattern) {
    for (size_t k = 0; k < t->pairs; k++) {
        t->supports[k] = find_sample(t, pattern->supports[k].x);
        if (t->supports[k] == t->count || tl_fit_holds_out(t->count, t->supports[k])) {
            return false;
        }
    }
    for (size_t i = 0; i < t->count; i++) {
        if (tl_fit_holds_out(t->count, i)) {
            t->held_at[t->held++] = i;
        } else if (!is_support(t, i)) {
            t->fitted_at[t->fitted++] = i;
        }
    }
    return t->held > 0 && t->fitted >= t->pairs;
}

// What the equations of all fits have in common.
static void prepare_rows(tl_tracker* t, const tl_response* pattern) {
    for (size_t i = 0; i < t->fitted; i++) {
        const double x = t->x[t->fitted_at[i]];
        tl_fraction sum;
        tl_response_sum(pattern, x, &sum);
        t->row[i] = 1.0 / hypot(sum.den_re, sum.den_im);
        for (size_t k = 0; k < t->pairs; k++) {
            const double support = t->x[t->supports[k]];
            t->near[k * t->fitted + i] = 1.0 / (x - support);
            t->far[k * t->fitted + i] = 1.0 / (x + support);
        }
    }
}

static void choose_poles(tl_tracker* t, const tl_response* pattern) {
    for (size_t i = 0; i < pattern->pole_count; i++) {
        if (pattern->poles[i].weight >= followed_weight * pattern->max_abs) {
            t->followed[t->pole_count++] = pattern->poles[i];
        }
    }
}

tl_tracker* tl_tracker_new(const tl_response* pattern, size_t count, const double* hz) {
    if (pattern->pairs == 0 || count <= pattern->pairs || !tl_lapack_get()) {
        return NULL;
    }
    tl_tracker* t = tl_new(1, sizeof *t);
    const size_t pairs = pattern->pairs;
    const size_t room = tl_null_room(2 * count, 2 * pairs);
    t->count = count;
    t->pairs = pairs;
    t->x = tl_new(5 * count + 2 * pairs * count + room, sizeof(double));
    t->re = t->x + count;
    t->im = t->re + count;
    t->unit = t->im + count;
    t->row = t->unit + count;
    t->near = t->row + count;
    t->far = t->near + pairs * count;
    tl_null_share(&t->problem, t->far + pairs * count, 2 * count, 2 * pairs);
    t->supports = tl_new(pairs + 2 * count, sizeof(size_t));
    t->fitted_at = t->supports + pairs;
    t->held_at = t->fitted_at + count;
    t->followed = tl_new(pattern->pole_count + 1, sizeof(tl_pole));
    t->response = (tl_response){.scale_rad_s = pattern->scale_rad_s,
                                .low_hz = pattern->low_hz,
                                .high_hz = pattern->high_hz,
                                .pairs = pairs,
                                .supports = tl_new(pairs, sizeof(tl_support))};
    for (size_t i = 0; i < count; i++) {
        t->x[i] = tl_response_scaled(pattern, hz[i]);
    }
    if (!sort_samples(t, pattern)) {
        tl_tracker_free(t);
        return NULL;
    }
    prepare_rows(t, pattern);
    choose_poles(t, pattern);
    return t;
}

void tl_tracker_free(tl_tracker* tracker) {
    if (!tracker) {
        return;
    }
    free(tracker->x);
    free(tracker->supports);
    free(tracker->followed);
    free(tracker->response.supports);
    free(tracker->response.poles);
    free(tracker);
}

static void load_samples(tl_tracker* t, const double _Complex* h) {
    double largest = 0.0;
    for (size_t i = 0; i < t->count; i++) {
        t->re[i] = creal(h[i]);
        t->im[i] = cimag(h[i]);
        t->unit[i] = hypot(t->re[i], t->im[i]);
        largest = fmax(largest, t->unit[i]);
    }
    for (size_t i = 0; i < t->count; i++) {
        t->unit[i] = 1.0 / fmax(t->unit[i], TL_FIT_FLOOR * largest);
    }
    t->response.max_abs = largest;
}

// Fills the Loewner matrix: see fit.c. Its rows are weighted so that they count relative to the
// sample, as if the denominator were the pattern's.
static void fill_loewner(tl_tracker* t) {
    const size_t rows = 2 * t->fitted;
    for (size_t k = 0; k < t->pairs; k++) {
        const size_t at = t->supports[k];
        double* of_re = t->problem.matrix + 2 * k * rows;
        double* of_im = of_re + rows;
        for (size_t i = 0; i < t->fitted; i++) {
            const size_t sample = t->fitted_at[i];
            const double weight = t->row[i] * t->unit[sample];
            const double near = weight * t->near[k * t->fitted + i];
            const double far = weight * t->far[k * t->fitted + i];
            const double re = t->re[sample] - t->re[at];
            const double im_near = (t->im[sample] - t->im[at]) * near;
            const double im_far = (t->im[sample] + t->im[at]) * far;
            of_re[2 * i] = re * (near + far);
            of_re[2 * i + 1] = im_near + im_far;
            of_im[2 * i] = im_far - im_near;
            of_im[2 * i + 1] = re * (near - far);
        }
    }
    t->problem.rows = rows;
    t->problem.columns = 2 * t->pairs;
}

static void store_supports(tl_tracker* t) {
    for (size_t k = 0; k < t->pairs; k++) {
        const size_t at = t->supports[k];
        t->response.supports[k] = tl_support_make(
            t->x[at], t->re[at], t->im[at], t->problem.vector[2 * k], t->problem.vector[2 * k + 1]);
    }
}

// The largest miss at the samples that are no supports, in units of the sample.
static double measure_error(const tl_tracker* t, size_t count, const size_t* samples) {
    double largest = 0.0;
    for (size_t i = 0; i < count; i++) {
        const size_t at = samples[i];
        const double _Complex value = tl_response_value(&t->response, t->x[at]);
        const double error =
            hypot(creal(value) - t->re[at], cimag(value) - t->im[at]) * t->unit[at];
        largest = isfinite(error) ? fmax(largest, error) : HUGE_VAL;
    }
    return largest;
}

const tl_response* tl_tracker_fit(tl_tracker* tracker, const double _Complex* h, double* residual) {
    tl_tracker* t = tracker;
    *residual = HUGE_VAL;
    load_samples(t, h);
    if (!isfinite(t->response.max_abs) || t->response.max_abs == 0.0) {
        return NULL;
    }
    fill_loewner(t);
    if (!tl_null_vector(&t->problem)) {
        return NULL;
    }
    store_supports(t);
    *residual = measure_error(t, t->held, t->held_at);
    if (!(*residual <= TL_FIT_ACCEPTED) ||
        !(measure_error(t, t->fitted, t->fitted_at) <= TL_FIT_ACCEPTED)) {
        return NULL;
    }
    if (!tl_response_follow_poles(&t->response, t->pole_count, t->followed, t->count, t->x, t->re,
                                  t->im) &&
        !tl_response_find_poles(&t->response)) {
        return NULL;
    }
    return &t->response;
}

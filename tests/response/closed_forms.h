// SPDX-License-Identifier: GPL-3.0-or-later
/// @file closed_forms.h Responses known in closed form, sampled for the tests of src/response.
#ifndef TESTS_RESPONSE_CLOSED_FORMS_H
#define TESTS_RESPONSE_CLOSED_FORMS_H

#include "toneload/response.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

enum { MOST_SAMPLES = 321 };

/// A response in closed form: H(j 2 pi f) from its parameters.
typedef double _Complex closed_form(double hz, const double* parameters);

static inline double _Complex s_of_hz(double hz) {
    return I * (2.0 * M_PI * hz);
}

/// Low-pass 1 / (1 + s/(Q w0) + s^2/w0^2); parameters f0 in Hz and Q.
static inline double _Complex second_order(double hz, const double* f0_q) {
    const double u = hz / f0_q[0];
    return 1.0 / (1.0 - u * u + I * (u / f0_q[1]));
}

static inline double uniform(unsigned short state[3], double low, double high) {
    return low + (high - low) * erand48(state);
}

static inline double uniform_log(unsigned short state[3], double low, double high) {
    return low * pow(high / low, erand48(state));
}

/// Complex noise of unit mean square (Box and Muller 1958).
static inline double _Complex gauss(unsigned short state[3]) {
    const double radius = sqrt(-log(1.0 - erand48(state)));
    return radius * cexp(I * (2.0 * M_PI * erand48(state)));
}

/// `count` frequencies from low to high, evenly spaced in log.
static inline void space_hz(size_t count, double low, double high, double* hz) {
    for (size_t i = 0; i < count; i++) {
        hz[i] = low * pow(high / low, (double)i / (double)(count - 1));
    }
}

/// Fits `count` samples from 10 Hz to 100 kHz of a closed form, with noise relative to each.
static inline tl_response* fit_noisy(closed_form* form, const double* parameters, size_t count,
                                     double noise, unsigned short state[3], double* residual) {
    double hz[MOST_SAMPLES];
    double _Complex h[MOST_SAMPLES];
    space_hz(count, 10.0, 100e3, hz);
    for (size_t i = 0; i < count; i++) {
        h[i] = form(hz[i], parameters);
        if (noise > 0.0) {
            h[i] *= 1.0 + noise * gauss(state);
        }
    }
    return tl_response_fit(count, hz, h, residual);
}

static inline tl_response* fit_form(closed_form* form, const double* parameters, size_t count) {
    double residual;
    return fit_noisy(form, parameters, count, 0.0, NULL, &residual);
}

#endif

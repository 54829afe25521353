// SPDX-License-Identifier: GPL-3.0-or-later
/// @file response_internal.h The fitted response from inside: supports, weights, poles.
///
/// Frequencies are scaled: x = omega / scale_rad_s, with the scale in the (log) middle of the band.
/// With w = a + jb a support's weight and f = H(jx_k) its value, the response is
///   H(s) = N(s) / D(s),  D = sum of w/(s - j x_k) + conj(w)/(s + j x_k),  N the same with w f.
/// Two conjugate terms come to 2 (a s - b x_k) / (s^2 + x_k^2), which is what is kept and summed.
#ifndef TL_RESPONSE_INTERNAL_H
#define TL_RESPONSE_INTERNAL_H

#include "toneload/response.h"

#include <stdbool.h>
#include <stddef.h>

/// One conjugate pair of support points at +-jx.
typedef struct {
    double x;      ///< scaled frequency
    double f_re;   ///< H there
    double f_im;   ///<
    double den_re; ///< Re w
    double den_im; ///< x Im w
    double num_re; ///< Re (w f)
    double num_im; ///< x Im (w f)
} tl_support;

struct tl_response {
    double scale_rad_s;
    double low_hz;
    double high_hz;
    double max_abs; ///< largest |H| among the samples
    size_t pairs;   ///< supports in use; 0: the response is 0 everywhere
    tl_support* supports;
    size_t pole_count;
    tl_pole* poles;
};

/// Numerator and denominator at s = jx, but for a common factor.
typedef struct {
    double num_re, num_im, den_re, den_im;
} tl_fraction;

/// Scaled frequency of a frequency in Hz, and back.
double tl_response_scaled(const tl_response* response, double hz);
double tl_response_hz(const tl_response* response, double x);

/// Sums the fraction at a scaled frequency. Returns the support when x is one (its value is then
/// known outright and there is no sum), else NULL.
const tl_support* tl_response_sum(const tl_response* response, double x, tl_fraction* sum);

/// H(jx), x scaled.
double _Complex tl_response_value(const tl_response* response, double x);
/// |H(jx)|^2, x scaled.
double tl_response_power(const tl_response* response, double x);
/// d ln |H|^2 / d ln x at a scaled frequency: its sign changes are the maxima and minima.
double tl_response_slope(const tl_response* response, double x);

/// Finds poles and weights of a response whose supports are final; replaces earlier ones.
/// `false` when LAPACK could not.
bool tl_response_find_poles(tl_response* response);

/// Mean of the bands centred in a range of frequencies, dB.
double tl_bands_mean_db(const double levels_db[TL_BAND_COUNT], double low_hz, double high_hz);

#endif

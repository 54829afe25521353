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

/// A support at x with the value f and the weight w.
tl_support tl_support_make(double x, double f_re, double f_im, double w_re, double w_im);

/// |H(jx)|^2 at many scaled frequencies and, unless `slope` is NULL, what tl_response_slope() gives
/// there; the same numbers as one by one, at a fraction of the time.
void tl_response_powers(const tl_response* response, size_t count, const double* x, double* power,
                        double* slope);

/// Whether a fit of `count` samples leaves sample `index` out, to be checked against it.
bool tl_fit_holds_out(size_t count, size_t index);
/// Largest held-out error of a fit that is accepted, relative to max(|H|, max|H|/1000).
#define TL_FIT_ACCEPTED 1e-7
/// What |H| is not counted below, relative to the largest.
#define TL_FIT_FLOOR 1e-3

/// Finds poles and weights of a response whose supports are final; replaces earlier ones.
/// `false` when LAPACK could not.
bool tl_response_find_poles(tl_response* response);
/// The same by Newton steps from where `count` poles lie that a response alike has. False, with no
/// poles, when that does not lead to all that matter: told by the partial fractions they leave,
/// which must give `samples` values at jx back.
bool tl_response_follow_poles(tl_response* response, size_t count, const tl_pole* start,
                              size_t samples, const double* x, const double* re, const double* im);

/// Mean of the bands centred in a range of frequencies, dB.
double tl_bands_mean_db(const double levels_db[TL_BAND_COUNT], double low_hz, double high_hz);

#endif

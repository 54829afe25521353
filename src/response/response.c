// SPDX-License-Identifier: GPL-3.0-or-later
/// @file response.c Evaluating a fitted response.

#include "response/response_internal.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

void tl_response_free(tl_response* response) {
    if (response) {
        free(response->supports);
        free(response->poles);
        free(response);
    }
}

double tl_response_scaled(const tl_response* response, double hz) {
    return 2.0 * M_PI * hz / response->scale_rad_s;
}

double tl_response_hz(const tl_response* response, double x) {
    return x * response->scale_rad_s / (2.0 * M_PI);
}

// Real arithmetic on purpose: on the axis s^2 is real, and this is the innermost loop of it all.
const tl_support* tl_response_sum(const tl_response* response, double x, tl_fraction* sum) {
    double num_re = 0.0;
    double num_im = 0.0;
    double den_re = 0.0;
    double den_im = 0.0;
    for (size_t i = 0; i < response->pairs; i++) {
        const tl_support* support = &response->supports[i];
        const double gap = (x - support->x) * (x + support->x);
        if (gap == 0.0) {
            return support;
        }
        const double r = 1.0 / gap;
        num_re += support->num_re * r;
        num_im += support->num_im * r;
        den_re += support->den_re * r;
        den_im += support->den_im * r;
    }
    *sum = (tl_fraction){
        .num_re = x * num_re, .num_im = num_im, .den_re = x * den_re, .den_im = den_im};
    return NULL;
}

double _Complex tl_response_value(const tl_response* response, double x) {
    if (response->pairs == 0) {
        return 0.0;
    }
    tl_fraction sum;
    const tl_support* hit = tl_response_sum(response, x, &sum);
    if (hit) {
        return hit->f_re + I * hit->f_im;
    }
    const double norm = sum.den_re * sum.den_re + sum.den_im * sum.den_im;
    const double re = (sum.num_re * sum.den_re + sum.num_im * sum.den_im) / norm;
    const double im = (sum.num_im * sum.den_re - sum.num_re * sum.den_im) / norm;
    return re + I * im;
}

double tl_response_power(const tl_response* response, double x) {
    if (response->pairs == 0) {
        return 0.0;
    }
    tl_fraction sum;
    const tl_support* hit = tl_response_sum(response, x, &sum);
    if (hit) {
        return hit->f_re * hit->f_re + hit->f_im * hit->f_im;
    }
    return (sum.num_re * sum.num_re + sum.num_im * sum.num_im) /
           (sum.den_re * sum.den_re + sum.den_im * sum.den_im);
}

tl_support tl_support_make(double x, double f_re, double f_im, double w_re, double w_im) {
    return (tl_support){
        .x = x,
        .f_re = f_re,
        .f_im = f_im,
        .den_re = w_re,
        .den_im = w_im * x,
        .num_re = w_re * f_re - w_im * f_im,
        .num_im = (w_re * f_im + w_im * f_re) * x,
    };
}

double _Complex tl_response_at(const tl_response* response, double hz) {
    return tl_response_value(response, tl_response_scaled(response, hz));
}

double tl_response_db(const tl_response* response, double hz) {
    return 10.0 * log10(tl_response_power(response, tl_response_scaled(response, hz)));
}

// Moves a frequency off a support: closer than this the two terms of the slope would cancel.
static double step_aside(const tl_response* response, double x) {
    const double nearest = 1e-7;
    for (size_t i = 0; i < response->pairs; i++) {
        const double support = response->supports[i].x;
        if (fabs(x - support) < nearest * support) {
            return support * (1.0 + nearest);
        }
    }
    return x;
}

// With r = 1/(x^2 - x_k^2): d/dx of x sum(c r) is sum(c r) - 2 x^2 sum(c r^2), and of sum(c r) it
// is -2 x sum(c r^2).
double tl_response_slope(const tl_response* response, double x) {
    x = step_aside(response, x);
    tl_fraction sum = {0};
    tl_fraction slope = {0};
    for (size_t i = 0; i < response->pairs; i++) {
        const tl_support* support = &response->supports[i];
        const double r = 1.0 / ((x - support->x) * (x + support->x));
        const double steep = -2.0 * x * r * r;
        sum.num_re += support->num_re * r;
        sum.num_im += support->num_im * r;
        sum.den_re += support->den_re * r;
        sum.den_im += support->den_im * r;
        slope.num_re += support->num_re * steep;
        slope.num_im += support->num_im * steep;
        slope.den_re += support->den_re * steep;
        slope.den_im += support->den_im * steep;
    }
    slope.num_re = sum.num_re + x * slope.num_re;
    slope.den_re = sum.den_re + x * slope.den_re;
    sum.num_re *= x;
    sum.den_re *= x;
    const double num = sum.num_re * sum.num_re + sum.num_im * sum.num_im;
    const double den = sum.den_re * sum.den_re + sum.den_im * sum.den_im;
    if (num == 0.0 || den == 0.0) {
        return 0.0;
    }
    return 2.0 * x *
           ((sum.num_re * slope.num_re + sum.num_im * slope.num_im) / num -
            (sum.den_re * slope.den_re + sum.den_im * slope.den_im) / den);
}

enum { BLOCK = 64 };

/// Sums over the supports at many frequencies at once; the last four only when slopes are wanted.
typedef struct {
    double num_re[BLOCK], num_im[BLOCK], den_re[BLOCK], den_im[BLOCK];
    double num_re2[BLOCK], num_im2[BLOCK], den_re2[BLOCK], den_im2[BLOCK];
} block_sums;

static void clear(size_t count, double* one, double* two, double* three, double* four) {
    memset(one, 0, count * sizeof(double));
    memset(two, 0, count * sizeof(double));
    memset(three, 0, count * sizeof(double));
    memset(four, 0, count * sizeof(double));
}

// Support after support, so that the compiler can go through several frequencies in one step.
static void sum_block(const tl_response* response, size_t count, const double* restrict x,
                      block_sums* restrict sums) {
    for (size_t i = 0; i < response->pairs; i++) {
        const tl_support s = response->supports[i];
        for (size_t j = 0; j < count; j++) {
            const double r = 1.0 / ((x[j] - s.x) * (x[j] + s.x));
            sums->num_re[j] += s.num_re * r;
            sums->num_im[j] += s.num_im * r;
            sums->den_re[j] += s.den_re * r;
            sums->den_im[j] += s.den_im * r;
        }
    }
}

static void sum_slopes(const tl_response* response, size_t count, const double* restrict x,
                       block_sums* restrict sums) {
    for (size_t i = 0; i < response->pairs; i++) {
        const tl_support s = response->supports[i];
        for (size_t j = 0; j < count; j++) {
            const double r = 1.0 / ((x[j] - s.x) * (x[j] + s.x));
            const double steep = -2.0 * x[j] * r * r;
            sums->num_re2[j] += s.num_re * steep;
            sums->num_im2[j] += s.num_im * steep;
            sums->den_re2[j] += s.den_re * steep;
            sums->den_im2[j] += s.den_im * steep;
        }
    }
}

static void fill_powers(size_t count, const double* restrict x, const block_sums* restrict sums,
                        double* restrict power) {
    for (size_t j = 0; j < count; j++) {
        const double num_re = x[j] * sums->num_re[j];
        const double den_re = x[j] * sums->den_re[j];
        power[j] = (num_re * num_re + sums->num_im[j] * sums->num_im[j]) /
                   (den_re * den_re + sums->den_im[j] * sums->den_im[j]);
    }
}

static void fill_slopes(size_t count, const double* restrict x, const block_sums* restrict sums,
                        double* restrict slope) {
    for (size_t j = 0; j < count; j++) {
        const double num_slope = sums->num_re[j] + x[j] * sums->num_re2[j];
        const double den_slope = sums->den_re[j] + x[j] * sums->den_re2[j];
        const double num_re = x[j] * sums->num_re[j];
        const double den_re = x[j] * sums->den_re[j];
        const double num = num_re * num_re + sums->num_im[j] * sums->num_im[j];
        const double den = den_re * den_re + sums->den_im[j] * sums->den_im[j];
        slope[j] = 2.0 * x[j] *
                   ((num_re * num_slope + sums->num_im[j] * sums->num_im2[j]) / num -
                    (den_re * den_slope + sums->den_im[j] * sums->den_im2[j]) / den);
    }
}

// A frequency at or next to a support gives no number, or too rough a slope: it is done by itself.
static void mend_block(const tl_response* response, size_t count, const double* x, double* power,
                       double* slope) {
    for (size_t j = 0; j < count; j++) {
        if (!isfinite(power[j])) {
            power[j] = tl_response_power(response, x[j]);
        }
        if (slope && (!isfinite(slope[j]) || step_aside(response, x[j]) != x[j])) {
            slope[j] = tl_response_slope(response, x[j]);
        }
    }
}

void tl_response_powers(const tl_response* response, size_t count, const double* x, double* power,
                        double* slope) {
    for (size_t from = 0; from < count; from += BLOCK) {
        const size_t size = count - from < BLOCK ? count - from : BLOCK;
        block_sums sums;
        clear(size, sums.num_re, sums.num_im, sums.den_re, sums.den_im);
        sum_block(response, size, x + from, &sums);
        fill_powers(size, x + from, &sums, power + from);
        if (slope) {
            clear(size, sums.num_re2, sums.num_im2, sums.den_re2, sums.den_im2);
            sum_slopes(response, size, x + from, &sums);
            fill_slopes(size, x + from, &sums, slope + from);
        }
        mend_block(response, size, x + from, power + from, slope ? slope + from : NULL);
    }
}

double tl_response_low_hz(const tl_response* response) {
    return response->low_hz;
}

double tl_response_high_hz(const tl_response* response) {
    return response->high_hz;
}

const tl_pole* tl_response_poles(const tl_response* response, size_t* count) {
    *count = response->pole_count;
    return response->poles;
}

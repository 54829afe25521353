// SPDX-License-Identifier: GPL-3.0-or-later
// Splines and harmonics, against closed forms.
#include "response/harmonics.h"
#include "response/spline.h"

#include "base/text.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
// cmocka wants the above
#include <cmocka.h>

static void assert_near(double value, double expected, double tolerance) {
    if (!(fabs(value - expected) <= tolerance))
        fail_msg("%.17g is not %.17g to %g", value, expected, tolerance);
}

enum { POINTS = 4001 };

/// A signal at uneven times, as a transient gives it.
typedef struct {
    double time_s[POINTS];
    double volts[POINTS];
} signal;

/// `periods` periods of 1 kHz, steps longer and shorter by a third in turn.
static signal* make(double periods, double (*of)(double time_s)) {
    signal* made = tl_new(1, sizeof *made);
    double step_s = periods * 1e-3 / (POINTS - 1);
    for (int i = 0; i < POINTS; ++i) {
        made->time_s[i] = step_s * (i + (i % 3 == 1 ? 0.33 : 0));
        made->volts[i] = of(made->time_s[i]);
    }
    return made;
}

static double sine(double time_s) {
    return sin(2 * M_PI * 1e3 * time_s);
}

static tl_harmonics measure(const signal* of, double end_s, size_t periods) {
    tl_harmonics harmonics;
    tl_error* error = tl_error_new();
    assert_int_equal(
        tl_harmonics_measure(POINTS, of->time_s, of->volts, 1e3, end_s, periods, &harmonics, error),
        TL_OK);
    tl_error_free(error);
    return harmonics;
}

static void test_clean_sine(void** state) {
    (void)state;
    signal* made = make(10, sine);
    tl_harmonics harmonics = measure(made, 10e-3, 6);
    assert_near(harmonics.fundamental_v, 1, 1e-7);
    assert_true(harmonics.thd_share < 1e-7);
    assert_true(harmonics.floor_share < 1e-7);
    free(made);
}

static double bent(double time_s) {
    double x = 0.5 * sine(time_s);
    return x + 0.01 * x * x + 0.002 * x * x * x;
}

// sin^2 = (1 - cos 2wt)/2 and sin^3 = (3 sin wt - sin 3wt)/4.
static void test_polynomial(void** state) {
    (void)state;
    signal* made = make(10, bent);
    tl_harmonics harmonics = measure(made, 10e-3, 6);
    double first = 0.5 + 0.002 * 0.125 * 0.75;
    double second = 0.01 * 0.25 / 2 / first;
    double third = 0.002 * 0.125 / 4 / first;
    assert_near(harmonics.fundamental_v, first, 1e-7);
    assert_near(harmonics.share[2] / second, 1, 1e-4);
    assert_near(harmonics.share[3] / third, 1, 1e-3);
    assert_near(harmonics.thd_share / hypot(second, third), 1, 1e-4);
    assert_true(harmonics.share[4] < 1e-7 && harmonics.share[5] < 1e-7);
    free(made);
}

static double drifting(double time_s) {
    return bent(time_s) + 0.01 * exp(-time_s / 50e-3);
}

// A coupling capacitor that still settles is no distortion.
static void test_drift(void** state) {
    (void)state;
    signal* made = make(12, drifting);
    tl_harmonics with = measure(made, 12e-3, 6);
    double second = 0.01 * 0.25 / 2 / 0.5001875;
    assert_near(with.share[2] / second, 1, 2e-3);
    assert_true(with.floor_share < 5e-6);
    free(made);
}

static double clipped(double time_s) {
    return fmin(fmax(sine(time_s), -0.5), 0.5);
}

// Fourier series of a sine clipped at half its height: with a = asin(1/2), b1 = (2 a + sin 2a)/pi,
// b_n = (2/pi) [ sin((n-1)a)/(n-1) - sin((n+1)a)/(n+1) + (2/n) (1/2) cos(n a) ] for odd n.
static void test_limiter(void** state) {
    (void)state;
    signal* made = make(8, clipped);
    tl_harmonics harmonics = measure(made, 8e-3, 4);
    double a = asin(0.5);
    double first = (2 * a + sin(2 * a)) / M_PI;
    for (int n = 3; n <= 9; n += 2) {
        double own =
            2 / M_PI * (sin((n - 1) * a) / (n - 1) - sin((n + 1) * a) / (n + 1) + cos(n * a) / n);
        assert_near(harmonics.share[n], fabs(own) / first, 2e-4);
    }
    assert_true(harmonics.share[2] < 1e-4);
    assert_near(harmonics.fundamental_v, first, 2e-4);
    free(made);
}

static void test_refusals(void** state) {
    (void)state;
    signal* made = make(4, sine);
    tl_harmonics harmonics;
    tl_error* error = tl_error_new();
    assert_int_equal(
        tl_harmonics_measure(POINTS, made->time_s, made->volts, 1e3, 4e-3, 6, &harmonics, error),
        TL_FAILURE); // shorter than asked about
    made->volts[100] = NAN;
    assert_int_equal(
        tl_harmonics_measure(POINTS, made->time_s, made->volts, 1e3, 4e-3, 3, &harmonics, error),
        TL_FAILURE);
    double x[] = {0, 1, 1, 2};
    double y[] = {0, 1, 2, 3};
    double place = 0.5;
    double value = 0;
    assert_int_equal(tl_spline(4, x, y, 1, &place, &value, error), TL_FAILURE); // out of order
    x[2] = 1.5;
    assert_int_equal(tl_spline(4, x, y, 1, &place, &value, error), TL_OK);
    place = 3;
    assert_int_equal(tl_spline(4, x, y, 1, &place, &value, error), TL_FAILURE); // outside
    assert_int_equal(tl_spline(2, x, y, 1, x, &value, error), TL_FAILURE);
    tl_error_free(error);
    free(made);
}

// The natural cubic spline through 0, 1, 0 at 0, 1, 2 has the bend -3 in the middle: at 0.5 it is
// 1.5 x - x^3/2 = 0.6875 (closed form, computed).
static void test_spline(void** state) {
    (void)state;
    const double x[] = {0, 1, 2};
    const double y[] = {0, 1, 0};
    const double places[] = {0, 0.5, 1, 1.5, 2};
    const double expected[] = {0, 0.6875, 1, 0.6875, 0};
    double values[5];
    tl_error* error = tl_error_new();
    assert_int_equal(tl_spline(3, x, y, 5, places, values, error), TL_OK);
    for (int i = 0; i < 5; ++i)
        assert_near(values[i], expected[i], 1e-12);
    tl_error_free(error);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_clean_sine), cmocka_unit_test(test_polynomial),
        cmocka_unit_test(test_drift),      cmocka_unit_test(test_limiter),
        cmocka_unit_test(test_refusals),   cmocka_unit_test(test_spline),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

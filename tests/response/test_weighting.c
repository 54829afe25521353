// SPDX-License-Identifier: GPL-3.0-or-later
// A-weighting against the standard's table, and noise over a band against closed forms.
#include "response/weighting.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
// cmocka wants the above
#include <cmocka.h>

static void assert_near(double value, double expected, double tolerance) {
    if (!(fabs(value - expected) <= tolerance))
        fail_msg("%.17g is not %.17g to %g", value, expected, tolerance);
}

// IEC 61672-1:2013, Table 3 (seen in a transcription: python-acoustics, iec_61672_1_2013.csv), at
// the exact base-ten frequencies 1000 x 10^(n/10), to which the table belongs.
static const double table_db[] = {-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2,
                                  -22.5, -19.1, -16.1, -13.4, -10.9, -8.6,  -6.6,  -4.8,  -3.2,
                                  -1.9,  -0.8,  0.0,   0.6,   1.0,   1.2,   1.3,   1.2,   1.0,
                                  0.5,   -0.1,  -1.1,  -2.5,  -4.3,  -6.6,  -9.3};

static void test_table(void** state) {
    (void)state;
    for (int i = 0; i < (int)(sizeof table_db / sizeof *table_db); ++i) {
        double hz = 1000 * pow(10, (i - 20) / 10.0);
        assert_near(20 * log10(tl_a_weighting(hz)), table_db[i], 0.05 + 1e-9);
    }
}

enum { POINTS = 401 }; // 100 a decade, 10 Hz to 100 kHz
static double hz[POINTS];
static double density[POINTS];

static void fill(double (*of)(double hz)) {
    for (int i = 0; i < POINTS; ++i) {
        hz[i] = 10 * pow(10, i / 100.0);
        density[i] = of(hz[i]);
    }
}

static double white(double at_hz) {
    (void)at_hz;
    return 12.8e-9;
}

// Franco, Design with Operational Amplifiers, ex. 7.4: 10 kohm at 25 C, 12.8 nV/sqrt(Hz), comes to
// 1.81 uV from 20 Hz to 20 kHz (transcribed).
static void test_white(void** state) {
    (void)state;
    fill(white);
    double volts = tl_noise_rms_v(POINTS, hz, density, 20, 20e3, false);
    assert_near(volts / (12.8e-9 * sqrt(19980)), 1, 5e-5);
    assert_near(volts, 1.81e-6, 0.005e-6);
}

static double pink(double at_hz) {
    return 1e-6 / sqrt(at_hz);
}

static void test_pink(void** state) {
    (void)state;
    fill(pink);
    assert_near(tl_noise_rms_v(POINTS, hz, density, 20, 20e3, false), 1e-6 * sqrt(log(1000)),
                1e-13);
}

// Against Simpson's rule over the same formula; check_bench.py asks SciPy.
static void test_a_weighted(void** state) {
    (void)state;
    fill(white);
    enum { STEPS = 20000 };
    double sum = 0;
    for (int i = 0; i <= STEPS; ++i) {
        double at = 20 + 19980.0 * i / STEPS;
        double power = tl_a_weighting(at) * tl_a_weighting(at);
        sum += power * (i == 0 || i == STEPS ? 1 : i % 2 ? 4 : 2);
    }
    double expected = 12.8e-9 * sqrt(sum * 19980.0 / STEPS / 3);
    assert_near(tl_noise_rms_v(POINTS, hz, density, 20, 20e3, true) / expected, 1, 1e-4);
}

static void test_edges(void** state) {
    (void)state;
    fill(white);
    const double two[] = {100, 200};
    const double none[] = {0, 0};
    assert_near(tl_noise_rms_v(2, two, none, 20, 20e3, false), 0, 0);
    assert_near(tl_noise_rms_v(POINTS, hz, density, 123, 456, false), 12.8e-9 * sqrt(333), 1e-11);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_table), cmocka_unit_test(test_white),
        cmocka_unit_test(test_pink),  cmocka_unit_test(test_a_weighted),
        cmocka_unit_test(test_edges),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

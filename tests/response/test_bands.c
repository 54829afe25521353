// SPDX-License-Identifier: GPL-3.0-or-later
// The ear's bands against published formula values and plain numerical integration.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "closed_forms.h"

#include <cmocka.h>

// ERB number 21.4 log10(4.37 f/kHz + 1) at 100, 500, 1000, 4000 and 10000 Hz (Glasberg and Moore,
// Hearing Research 47:103-138, 1990, as encyclopedia copies have it, seen; values computed).
static void test_band_centres(void** unused) {
    (void)unused;
    static const double rows[][2] = {
        {100.0, 3.370}, {500.0, 10.767}, {1000.0, 15.621}, {4000.0, 27.107}, {10000.0, 35.317}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        // The published number lies between two centres, a step of one each; inside a step log
        // (4.37 f/kHz + 1) runs straight.
        const size_t below = (size_t)rows[i][1] - 3;
        const double low = log(4.37e-3 * tl_band_hz(below) + 1.0);
        const double high = log(4.37e-3 * tl_band_hz(below + 1) + 1.0);
        const double here = log(4.37e-3 * rows[i][0] + 1.0);
        const double number = 3.0 + (double)below + (here - low) / (high - low);
        assert_true(fabs(number - rows[i][1]) < 0.0006);
    }
    // 87 Hz to 12 kHz.
    assert_true(fabs(tl_band_hz(0) - 87.0) < 0.5);
    assert_true(fabs(tl_band_hz(TL_BAND_COUNT - 1) - 12e3) < 100.0);
}

// A band's width is the ERB at its centre, 24.7 (4.37 f/kHz + 1) Hz (same source); the number's
// scale was made to have it so, within the rounding of 21.4.
static void test_band_widths(void** unused) {
    (void)unused;
    for (size_t i = 1; i + 1 < TL_BAND_COUNT; i++) {
        const double width = 0.5 * (tl_band_hz(i + 1) - tl_band_hz(i - 1));
        const double erb = 24.7 * (4.37e-3 * tl_band_hz(i) + 1.0);
        assert_true(fabs(width / erb - 1.0) < 0.005);
    }
}

// Mean power over one ERB by the midpoint rule on the closed form.
static double integrate_band(closed_form* form, const double* v, int number) {
    enum { STEPS = 40000 };
    double sum = 0.0;
    for (int i = 0; i < STEPS; i++) {
        const double n = number - 0.5 + (i + 0.5) / STEPS;
        const double h = cabs(form(1000.0 * (pow(10.0, n / 21.4) - 1.0) / 4.37, v));
        sum += h * h / STEPS;
    }
    return 10.0 * log10(sum);
}

static void test_band_levels(void** unused) {
    (void)unused;
    static const double rows[][2] = {
        {4000.0, 2.0}, {2500.0, 0.5}, {3333.0, 30.0}, {700.0, 500.0}, {3000.0, 2e4}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        tl_response* response = fit_form(second_order, rows[i], 81);
        assert_non_null(response);
        double levels_db[TL_BAND_COUNT];
        tl_response_bands(response, levels_db);
        for (int k = 0; k < TL_BAND_COUNT; k++) {
            assert_true(fabs(levels_db[k] - integrate_band(second_order, rows[i], 3 + k)) < 1e-5);
        }
        tl_response_free(response);
    }
}

// A broad response with a needle on it, f0 and Q for each and the needle's share.
static double _Complex with_needle(double hz, const double* v) {
    return second_order(hz, v) + v[4] * second_order(hz, v + 2);
}

// A needle a hundredth of a band wide or less must not slip between the nodes.
static void test_needle(void** unused) {
    (void)unused;
    static const double rows[][5] = {{4000.0, 0.7, 3000.0, 1e4, 1e-3},
                                     {4000.0, 0.7, 1517.0, 2e4, 1e-4},
                                     {2000.0, 0.5, 6123.0, 1e3, 1e-2}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        tl_response* response = fit_form(with_needle, rows[i], 161);
        assert_non_null(response);
        double levels_db[TL_BAND_COUNT];
        tl_response_bands(response, levels_db);
        for (int k = 0; k < TL_BAND_COUNT; k++) {
            assert_true(fabs(levels_db[k] - integrate_band(with_needle, rows[i], 3 + k)) < 1e-4);
        }
        tl_response_free(response);
    }
}

// Mean difference over the centres from 200 Hz to 1 kHz: numbers 6 to 15, since the published
// formula gives 5.85 at 200 Hz and 15.62 at 1 kHz.
static void test_matched_level(void** unused) {
    (void)unused;
    static const double rig[] = {3000.0, 1.0};
    static const double direct[] = {4500.0, 2.0};
    double expected = 0.0;
    for (int number = 6; number <= 15; number++) {
        expected += (integrate_band(second_order, rig, number) -
                     integrate_band(second_order, direct, number)) /
                    10.0;
    }
    tl_response* a = fit_form(second_order, rig, 21);
    tl_response* b = fit_form(second_order, direct, 21);
    assert_non_null(a);
    assert_non_null(b);
    assert_true(fabs(tl_matched_level_db(a, b) - expected) < 1e-7);
    assert_true(fabs(tl_matched_level_db(b, a) + expected) < 1e-7);
    tl_response_free(a);
    tl_response_free(b);
}

// A band that reaches beyond the solved band has no level.
static void test_beyond_solved(void** unused) {
    (void)unused;
    static const double v[] = {2000.0, 1.0};
    double hz[21];
    double _Complex h[21];
    double residual;
    space_hz(21, 100.0, 5e3, hz);
    for (size_t i = 0; i < 21; i++) {
        h[i] = second_order(hz[i], v);
    }
    tl_response* response = tl_response_fit(21, hz, h, &residual);
    assert_non_null(response);
    double levels_db[TL_BAND_COUNT];
    tl_response_bands(response, levels_db);
    assert_true(isnan(levels_db[0]) && isnan(levels_db[TL_BAND_COUNT - 1]));
    assert_false(isnan(levels_db[1]) || isnan(levels_db[20]));
    tl_response_free(response);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_band_centres),  cmocka_unit_test(test_band_widths),
        cmocka_unit_test(test_band_levels),   cmocka_unit_test(test_needle),
        cmocka_unit_test(test_matched_level), cmocka_unit_test(test_beyond_solved)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

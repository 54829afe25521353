// SPDX-License-Identifier: GPL-3.0-or-later
// Peak, pole, Q, bandwidth and -3 dB against closed forms and published check values.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "closed_forms.h"
#include "response/response_internal.h"

#include <cmocka.h>
#include <stdbool.h>

#define assert_close(value, expected, relative)                                                    \
    assert_true(fabs((value) - (expected)) <= (relative)*fabs(expected))

// Series R and L, shunt C and load: H = 1 / (1 + (R + sL)(sC + 1/load)).
static double _Complex pickup(double hz, const double* r_l_c_load) {
    const double _Complex s = s_of_hz(hz);
    return 1.0 /
           (1.0 + (r_l_c_load[0] + s * r_l_c_load[1]) * (s * r_l_c_load[2] + 1.0 / r_l_c_load[3]));
}

// With v = (f/f0)^2 a second-order low-pass has |H|^2 = K^2/g, g = v^2 - 2 a v + 1 and
// a = 1 - 1/(2 Q^2). Its least g is 1 - a^2, at v = a. Where g equals c the greater root is
// v = a + sqrt(a^2 - 1 + c). (Worked out here from H = 1/(1 + s/(Q w0) + s^2/w0^2).)
static double g_of(double a, double v) {
    return v * v - 2.0 * a * v + 1.0;
}

static void check_second_order(const tl_metrics* metrics, double f0, double q, double gain) {
    const double a = 1.0 - 1.0 / (2.0 * q * q);
    const double reference = pow(metrics->reference_hz / f0, 2.0);
    const double g = g_of(a, reference);
    const double exact = 1e-8; // the demand is 1e-4
    assert_true(fabs(metrics->reference_db - 20.0 * log10(gain / sqrt(g))) < 1e-9);
    const double height = 10.0 * log10(g / (1.0 - a * a));
    if (a > reference && height >= 0.1) {
        assert_close(metrics->peak_hz, f0 * sqrt(a), exact);
        assert_true(fabs(metrics->peak_db - height) < 1e-9);
        const double reach = sqrt(1.0 - a * a);
        if (a - reach > reference) {
            const double width = f0 * (sqrt(a + reach) - sqrt(a - reach));
            assert_close(metrics->bandwidth_q, f0 * sqrt(a) / width, exact);
        } else {
            assert_true(isnan(metrics->bandwidth_q));
        }
    } else {
        assert_true(isnan(metrics->peak_hz) && isnan(metrics->peak_db));
        assert_true(isnan(metrics->bandwidth_q));
    }
    // A low peak (Q below 0.816) lies more than an octave below its pole, which is then not its
    // own.
    const bool is_far = !isnan(metrics->peak_hz) && sqrt(a) < 0.5;
    if (q > 0.5 && !is_far) {
        assert_close(metrics->pole_hz, f0, exact);
        assert_close(metrics->q, q, exact);
    } else {
        assert_true(isnan(metrics->pole_hz) && isnan(metrics->q));
    }
    assert_close(metrics->cutoff_hz, f0 * sqrt(a + sqrt(a * a - 1.0 + 2.0 * g)), exact);
    assert_false(metrics->unstable);
}

// H = K / (1 + s/(Q w0) + s^2/w0^2) with K = load/(load + R), w0^2 = (1 + R/load)/(L C) and
// w0/Q = R/L + 1/(load C), by multiplying out.
static void test_random_pickups(void** unused) {
    (void)unused;
    unsigned short state[3] = {21, 22, 23};
    int peaks = 0;
    for (int trial = 0; trial < 50; trial++) {
        const double v[] = {uniform(state, 2e3, 15e3), uniform(state, 1.0, 9.0),
                            uniform_log(state, 80e-12, 2.5e-9), uniform_log(state, 20e3, 1e6)};
        const double w0 = sqrt((1.0 + v[0] / v[3]) / (v[1] * v[2]));
        const double q = w0 / (v[0] / v[1] + 1.0 / (v[3] * v[2]));
        tl_response* response = fit_form(pickup, v, 21);
        assert_non_null(response);
        const tl_metrics metrics = tl_response_metrics(response, 200.0);
        check_second_order(&metrics, w0 / (2.0 * M_PI), q, v[3] / (v[3] + v[0]));
        peaks += !isnan(metrics.peak_hz);
        tl_response_free(response);
    }
    assert_true(peaks > 10 && peaks < 50);
}

// Peak, fpk/f0 and 20 log Q by Q: computed from the closed form (formulas from memory), table of
// second-order responses. f3dB/f0 for Q 0.7071, 1, 2, 3: f0 sqrt(a + sqrt(a^2 + 1)), computed.
// The reference of 10 Hz stands for the table's 0 Hz (its level differs by less than 1e-4 dB).
static void test_table(void** unused) {
    (void)unused;
    static const struct {
        double q, peak_db, peak_ratio, cutoff_ratio;
    } rows[] = {{0.5, NAN, NAN, NAN},        {M_SQRT1_2, NAN, NAN, 1.000},
                {1.0, 1.249, 0.7071, 1.272}, {1.5, 4.033, 0.8819, NAN},
                {2.0, 6.301, 0.9354, 1.485}, {3.0, 9.665, 0.9718, 1.523},
                {4.0, 12.110, 0.9843, NAN},  {5.0, 14.023, 0.9899, NAN}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const double v[] = {4000.0, rows[i].q};
        tl_response* response = fit_form(second_order, v, 21);
        assert_non_null(response);
        const tl_metrics metrics = tl_response_metrics(response, 10.0);
        if (isnan(rows[i].peak_db)) {
            assert_true(isnan(metrics.peak_hz) && isnan(metrics.peak_db));
        } else {
            assert_true(fabs(metrics.peak_db - rows[i].peak_db) < 0.0006);
            assert_true(fabs(metrics.peak_hz / v[0] - rows[i].peak_ratio) < 0.00006);
            assert_close(metrics.q, rows[i].q, 1e-8);
        }
        if (!isnan(rows[i].cutoff_ratio)) {
            assert_true(fabs(metrics.cutoff_hz / v[0] - rows[i].cutoff_ratio) < 0.0006);
        }
        tl_response_free(response);
    }
}

// Butterworth: no peak and -3 dB at f0, but for what the level at 200 Hz lacks of that at 0 Hz:
// 1 + u^4 = 2 (1 + r^4) with r = 200 Hz / f0.
static void test_butterworth(void** unused) {
    (void)unused;
    static const double v[] = {5000.0, M_SQRT1_2};
    tl_response* response = fit_form(second_order, v, 21);
    assert_non_null(response);
    const tl_metrics metrics = tl_response_metrics(response, 200.0);
    assert_true(isnan(metrics.peak_hz) && isnan(metrics.bandwidth_q));
    assert_close(metrics.cutoff_hz, v[0] * pow(1.0 + 2.0 * pow(200.0 / v[0], 4.0), 0.25), 1e-9);
    assert_close(metrics.cutoff_hz, v[0], 1e-5);
    assert_close(metrics.q, M_SQRT1_2, 1e-8);
    tl_response_free(response);
}

static const double no_load = HUGE_VAL;

// Exercise of a course (unit EGB120): series L-R source with shunt C, 5.35 kohm and 4.5 H, given
// |Vout/Vs| = 1.651 at 2640 Hz (seen); C = 319.0 pF or 1288.0 pF (computed). And with the
// deliberately wrong 319 nF and 100 mV: 92.85 mV at -55.23 deg (82.5 Hz), 15.96 mV at -145.62 deg
// (330 Hz) (data seen, answers computed).
static void test_exercise(void** unused) {
    (void)unused;
    static const double farads[] = {319.0e-12, 1288.0e-12};
    for (int i = 0; i < 2; i++) {
        const double v[] = {5.35e3, 4.5, farads[i], no_load};
        tl_response* response = fit_form(pickup, v, 21);
        assert_non_null(response);
        assert_true(fabs(cabs(tl_response_at(response, 2640.0)) - 1.651) < 0.001);
        tl_response_free(response);
    }
    static const struct {
        double hz, millivolt, degrees;
    } rows[] = {{82.5, 92.85, -55.23}, {330.0, 15.96, -145.62}};
    static const double v[] = {5.35e3, 4.5, 319e-9, no_load};
    tl_response* response = fit_form(pickup, v, 21);
    assert_non_null(response);
    for (int i = 0; i < 2; i++) {
        const double _Complex h = tl_response_at(response, rows[i].hz);
        assert_true(fabs(100.0 * cabs(h) - rows[i].millivolt) < 0.006);
        assert_true(fabs(carg(h) * 180.0 / M_PI - rows[i].degrees) < 0.006);
    }
    tl_response_free(response);
}

// A narrow single-coil of 2.4 H: about 6 kHz with a lead of 300 pF, a little above 2 kHz with
// 2400 pF (article "Instrument Cable and Sound", seen; 5931 and 2097 Hz computed).
static void test_leads(void** unused) {
    (void)unused;
    static const double rows[][2] = {{300e-12, 5931.0}, {2400e-12, 2097.0}};
    for (int i = 0; i < 2; i++) {
        const double v[] = {6e3, 2.4, rows[i][0], no_load};
        tl_response* response = fit_form(pickup, v, 21);
        assert_non_null(response);
        assert_true(fabs(tl_response_metrics(response, 200.0).pole_hz - rows[i][1]) < 0.6);
        tl_response_free(response);
    }
}

// A known inductor, 210 ohm, 100 mH, 25.33 pF: self-resonance 100 kHz and (1/R) sqrt(L/C) = 299.2
// (C. E. LaForest, Characterizing Magnetic Guitar Pickups, seen; agrees computed). So narrow a
// resonance lies between the samples and must still be found.
static void test_narrow_resonance(void** unused) {
    (void)unused;
    static const double v[] = {210.0, 0.1, 25.33e-12, no_load};
    double hz[101];
    double _Complex h[101];
    double residual;
    space_hz(101, 10.0, 1e6, hz);
    for (size_t i = 0; i < 101; i++) {
        hz[i] *= 1.003; // off 100 kHz itself
        h[i] = pickup(hz[i], v);
    }
    tl_response* response = tl_response_fit(101, hz, h, &residual);
    assert_non_null(response);
    const tl_metrics metrics = tl_response_metrics(response, 200.0);
    assert_true(fabs(metrics.pole_hz / 100e3 - 1.0) < 5e-4);
    assert_true(fabs(metrics.q - 299.2) < 0.06);
    check_second_order(&metrics, 1.0 / (2.0 * M_PI * sqrt(v[1] * v[2])), sqrt(v[1] / v[2]) / v[0],
                       1.0);
    tl_response_free(response);
}

static double _Complex first_order(double hz, const double* corner_hz) {
    return 1.0 / (1.0 + I * (hz / corner_hz[0]));
}

// A first-order low-pass, which a low input resistance makes of a pickup's inductance, has no peak
// and no resonance; 1 + u^2 = 2 (1 + r^2).
static void test_first_order(void** unused) {
    (void)unused;
    static const double corners[] = {300.0, 1234.0, 8e3, 60e3};
    for (int i = 0; i < 4; i++) {
        tl_response* response = fit_form(first_order, &corners[i], 21);
        assert_non_null(response);
        const tl_metrics metrics = tl_response_metrics(response, 200.0);
        assert_true(isnan(metrics.peak_hz) && isnan(metrics.peak_db) && isnan(metrics.pole_hz));
        assert_true(isnan(metrics.q) && isnan(metrics.bandwidth_q));
        const double r = 200.0 / corners[i];
        assert_close(metrics.cutoff_hz, corners[i] * sqrt(1.0 + 2.0 * r * r), 1e-9);
        tl_response_free(response);
    }
    static const double beyond[] = {300e3};
    tl_response* response = fit_form(first_order, beyond, 21);
    assert_non_null(response);
    assert_true(isnan(tl_response_metrics(response, 200.0).cutoff_hz));
    tl_response_free(response);
}

static double _Complex rising(double hz, const double* corner_hz) {
    return I * (hz / corner_hz[0]) * first_order(hz, corner_hz);
}

// A response that climbs to the end of the band has no peak there, and never falls.
static void test_rising(void** unused) {
    (void)unused;
    static const double corner_hz[] = {30e3};
    tl_response* response = fit_form(rising, corner_hz, 21);
    assert_non_null(response);
    const tl_metrics metrics = tl_response_metrics(response, 200.0);
    assert_true(isnan(metrics.peak_hz) && isnan(metrics.cutoff_hz));
    tl_response_free(response);
}

// Notch (s^2 + wz^2)/(s^2 + s wz/Qn + wz^2) times a second-order low-pass.
static double _Complex notched(double hz, const double* v) {
    const double u = hz / v[2];
    return second_order(hz, v) * (1.0 - u * u) / (1.0 - u * u + I * (u / v[3]));
}

// Two second-order low-passes side by side: two peaks.
static double _Complex two_peaks(double hz, const double* v) {
    return second_order(hz, v) + v[4] * second_order(hz, v + 2);
}

// What a fine search of the closed form itself finds: highest inner maximum above the reference,
// and the first fall to half power above it (above the reference when it is under 0.1 dB).
typedef struct {
    double peak_hz, peak_db, cutoff_hz;
} searched;

static searched search_form(closed_form* form, const double* v, double reference_hz) {
    enum { STEPS = 400000 };
    static double power[STEPS + 1];
    const double ratio = 100e3 / reference_hz;
    size_t best = 0;
    for (size_t i = 0; i <= STEPS; i++) {
        const double h = cabs(form(reference_hz * pow(ratio, (double)i / STEPS), v));
        power[i] = h * h / (i > 0 ? power[0] : 1.0);
    }
    power[0] = 1.0;
    for (size_t i = 1; i < STEPS; i++) {
        if (power[i] > power[i - 1] && power[i] >= power[i + 1] &&
            (best == 0 || power[i] > power[best])) {
            best = i;
        }
    }
    searched found = {NAN, NAN, NAN};
    if (best > 0 && 10.0 * log10(power[best]) >= 0.1) {
        found.peak_hz = reference_hz * pow(ratio, (double)best / STEPS);
        found.peak_db = 10.0 * log10(power[best]);
    } else {
        best = 0;
    }
    for (size_t i = best; i <= STEPS; i++) {
        if (power[i] <= 0.5) {
            found.cutoff_hz = reference_hz * pow(ratio, (double)i / STEPS);
            break;
        }
    }
    return found;
}

static void check_search(closed_form* form, const double* v) {
    const searched found = search_form(form, v, 200.0);
    tl_response* response = fit_form(form, v, 41);
    assert_non_null(response);
    const tl_metrics metrics = tl_response_metrics(response, 200.0);
    const double step = 4e-5; // of the search
    assert_int_equal(isnan(metrics.peak_hz), isnan(found.peak_hz));
    if (!isnan(found.peak_hz)) {
        assert_close(metrics.peak_hz, found.peak_hz, step);
        assert_true(fabs(metrics.peak_db - found.peak_db) < 1e-6);
    }
    assert_int_equal(isnan(metrics.cutoff_hz), isnan(found.cutoff_hz));
    if (!isnan(found.cutoff_hz)) {
        assert_close(metrics.cutoff_hz, found.cutoff_hz, step);
    }
    tl_response_free(response);
}

// Dips before, in and after the peak, narrow and wide: a notch before the peak is no cut-off, one
// without a peak is; a peak on a notch's shoulder counts.
static void test_notches(void** unused) {
    (void)unused;
    static const double rows[][4] = {{4000.0, 3.0, 1000.0, 5.0}, {4000.0, 3.0, 1000.0, 200.0},
                                     {4000.0, 3.0, 7000.0, 2.0}, {4000.0, 3.0, 3950.0, 100.0},
                                     {4000.0, 0.6, 1000.0, 5.0}, {4000.0, 0.6, 1003.0, 500.0},
                                     {4000.0, 0.6, 50e3, 1.0},   {9000.0, 0.4, 2000.0, 0.5}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        check_search(notched, rows[i]);
    }
}

// The higher of two peaks is the peak, whichever comes first.
static void test_two_peaks(void** unused) {
    (void)unused;
    static const double rows[][5] = {{1500.0, 4.0, 6000.0, 2.0, 1.0},
                                     {1500.0, 2.0, 6000.0, 6.0, 1.0},
                                     {3000.0, 20.0, 3300.0, 20.0, 0.9},
                                     {400.0, 3.0, 9000.0, 40.0, 0.05}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        check_search(two_peaks, rows[i]);
    }
}

// The same rows at random, so that no lucky place of a sample or grid point decides.
static void test_random_shapes(void** unused) {
    (void)unused;
    unsigned short state[3] = {31, 32, 33};
    for (int trial = 0; trial < 15; trial++) {
        const double v[] = {uniform_log(state, 300.0, 15e3), uniform_log(state, 0.4, 30.0),
                            uniform_log(state, 300.0, 15e3), uniform_log(state, 0.4, 30.0),
                            uniform(state, 0.05, 2.0)};
        check_search(trial % 2 ? notched : two_peaks, v);
    }
}

// A reference outside the solved band leaves what hangs on it undefined; the pole does not.
static void test_reference_outside(void** unused) {
    (void)unused;
    static const double v[] = {4000.0, 2.0};
    static const double references[] = {1.0, 200e3, 0.0, -5.0, NAN, INFINITY};
    tl_response* response = fit_form(second_order, v, 21);
    assert_non_null(response);
    for (int i = 0; i < 6; i++) {
        const tl_metrics metrics = tl_response_metrics(response, references[i]);
        assert_true(isnan(metrics.reference_db) && isnan(metrics.peak_hz));
        assert_true(isnan(metrics.peak_db) && isnan(metrics.cutoff_hz));
        assert_true(isnan(metrics.bandwidth_q));
        assert_close(metrics.q, 2.0, 1e-8);
    }
    // At the peak itself and above it there is no peak above the reference.
    assert_true(isnan(tl_response_metrics(response, 4000.0).peak_hz));
    assert_true(isnan(tl_response_metrics(response, 99e3).cutoff_hz));
    assert_close(tl_response_low_hz(response), 10.0, 1e-12);
    assert_close(tl_response_high_hz(response), 100e3, 1e-12);
    tl_response_free(response);
}

// The reference on a sample, where the fit may have a support, and the peak just above it.
static void test_reference_on_sample(void** unused) {
    (void)unused;
    double hz[21];
    space_hz(21, 10.0, 100e3, hz);
    for (size_t i = 2; i < 18; i++) {
        const double v[] = {hz[i] * 1.05, 10.0};
        tl_response* response = fit_form(second_order, v, 21);
        assert_non_null(response);
        const tl_metrics metrics = tl_response_metrics(response, hz[i]);
        check_second_order(&metrics, v[0], v[1], 1.0);
        assert_true(!isnan(metrics.peak_hz));
        tl_response_free(response);
    }
}

// The slope d ln|H|^2 / d ln f is -4 v (v - a) / g, on the fit's own supports as anywhere else.
static void test_slope(void** unused) {
    (void)unused;
    static const double v[] = {4000.0, 3.0};
    const double a = 1.0 - 1.0 / (2.0 * v[1] * v[1]);
    tl_response* response = fit_form(second_order, v, 21);
    assert_non_null(response);
    for (size_t i = 0; i < response->pairs; i++) {
        for (int k = -1; k <= 1; k++) {
            const double x = response->supports[i].x * (1.0 + k * 1e-9);
            const double ratio = pow(tl_response_hz(response, x) / v[0], 2.0);
            const double expected = -4.0 * ratio * (ratio - a) / g_of(a, ratio);
            assert_true(fabs(tl_response_slope(response, x) - expected) <
                        1e-5 * fmax(1.0, fabs(expected)));
        }
    }
    tl_response_free(response);
}

// A peak under 0.1 dB is none. With a = 1 - 1/(2Q^2) its height above 0 Hz is 1/(1 - a^2).
static void test_least_peak(void** unused) {
    (void)unused;
    static const double heights_db[] = {0.09, 0.11};
    for (int i = 0; i < 2; i++) {
        const double a = sqrt(1.0 - pow(10.0, -heights_db[i] / 10.0));
        const double v[] = {4000.0, sqrt(1.0 / (2.0 * (1.0 - a)))};
        tl_response* response = fit_form(second_order, v, 21);
        assert_non_null(response);
        assert_int_equal(isnan(tl_response_metrics(response, 10.0).peak_hz), i == 0);
        tl_response_free(response);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_random_pickups),
                                       cmocka_unit_test(test_table),
                                       cmocka_unit_test(test_butterworth),
                                       cmocka_unit_test(test_exercise),
                                       cmocka_unit_test(test_leads),
                                       cmocka_unit_test(test_narrow_resonance),
                                       cmocka_unit_test(test_first_order),
                                       cmocka_unit_test(test_rising),
                                       cmocka_unit_test(test_notches),
                                       cmocka_unit_test(test_two_peaks),
                                       cmocka_unit_test(test_random_shapes),
                                       cmocka_unit_test(test_reference_outside),
                                       cmocka_unit_test(test_reference_on_sample),
                                       cmocka_unit_test(test_slope),
                                       cmocka_unit_test(test_least_peak)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

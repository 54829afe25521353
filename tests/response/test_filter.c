// SPDX-License-Identifier: GPL-3.0-or-later
// Filters against the closed forms they were made from, and convolution against its definition.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "closed_forms.h"
#include "toneload/sound.h"

#include <cmocka.h>
#include <string.h>

static const double rates_hz[] = {8000, 22050, 44100, 48000, 88200, 96000, 192000};
enum { RATES = sizeof rates_hz / sizeof *rates_hz };

/// A low-pass as second_order(), behind a coupling capacitor whose corner is v[2] Hz.
static double _Complex coupled(double hz, const double* v) {
    const double _Complex s = I * hz;
    return second_order(hz, v) * (v[2] > 0.0 ? s / (s + v[2]) : 1.0);
}

static tl_filter* make(const tl_response* response, const tl_response* through, double rate_hz,
                       double max_gain_db) {
    const tl_filter_options options = {rate_hz, through, max_gain_db};
    tl_error* error = tl_error_new();
    tl_filter* filter = NULL;
    if (tl_filter_new(response, &options, &filter, error) != TL_OK) {
        fail_msg("%s", tl_error_text(error));
    }
    tl_error_free(error);
    return filter;
}

/// What the taps do at a frequency, by the definition of the transform; the delay taken out.
static double _Complex transform(const tl_filter* filter, double hz, double rate_hz) {
    size_t count = 0;
    const double* taps = tl_filter_taps(filter, &count);
    const double delay = (double)tl_filter_get_facts(filter).delay_samples;
    double _Complex sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        sum += taps[i] * cexp(-I * (2.0 * M_PI * hz * ((double)i - delay) / rate_hz));
    }
    return sum;
}

static void hold(const tl_filter* filter, double _Complex wanted, double hz, double rate_hz) {
    const double _Complex ratio = transform(filter, hz, rate_hz) / wanted;
    const double off_db = fabs(20.0 * log10(cabs(ratio)));
    const double off_degrees = fabs(carg(ratio)) * 180.0 / M_PI;
    if (!(off_db < 0.01 && off_degrees < 0.1)) {
        fail_msg("%g Hz at %g Hz: %g dB, %g degrees", hz, rate_hz, off_db, off_degrees);
    }
}

static const double shapes[][3] = {{3000, 2, 0},   {3000, 0.5, 0},  {5000, 3, 16},
                                   {3000, 30, 0},  {3000, 2, 0.16}, {800, 0.7, 2},
                                   {50000, 1, 0},  {200, 0.7, 0},   {1000, 300, 0},
                                   {9000, 1, 160}, {2500, 4, 1.6},  {400, 0.7, 0.03}};

static void test_follows_response(void** unused) {
    (void)unused;
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        tl_response* response = fit_form(coupled, shapes[i], 81);
        assert_non_null(response);
        for (size_t r = 0; r < RATES; r++) {
            tl_filter* filter = make(response, NULL, rates_hz[r], 0.0);
            const double high_hz = fmin(18000.0, rates_hz[r] * (0.5 - 4050.0 / 44100.0));
            assert_true(fabs(tl_filter_get_facts(filter).checked_hz - high_hz) < 1e-9);
            for (int k = 0; k <= 12; k++) {
                const double hz = 50.0 * pow(high_hz / 50.0, k / 12.0);
                hold(filter, coupled(hz, shapes[i]), hz, rates_hz[r]);
            }
            assert_true(tl_filter_get_facts(filter).error_db <= 0.005);
            assert_true(tl_filter_get_facts(filter).error_degrees <= 0.05);
            tl_filter_free(filter);
        }
        tl_response_free(response);
    }
}

// 1 ms at most from 44.1 kHz on; and the band's end does not ring within it either: an impulse's
// first sign is 80 dB down half a millisecond before it.
static void test_rings_late(void** unused) {
    (void)unused;
    static const double wide[] = {50000, 1, 0};
    tl_response* response = fit_form(coupled, wide, 41);
    assert_non_null(response);
    for (size_t r = 0; r < RATES; r++) {
        tl_filter* filter = make(response, NULL, rates_hz[r], 0.0);
        size_t count = 0;
        const double* taps = tl_filter_taps(filter, &count);
        const size_t delay = tl_filter_get_facts(filter).delay_samples;
        double peak = 0.0;
        for (size_t i = 0; i < count; i++) {
            peak = fmax(peak, fabs(taps[i]));
        }
        if (rates_hz[r] >= 44100.0) {
            assert_true((double)delay <= rates_hz[r] / 1000.0);
        }
        for (size_t i = 0; i + 9 * delay / 10 < delay; i++) {
            assert_true(fabs(taps[i]) < 1e-4 * peak);
        }
        // Beyond the taper nothing is left.
        assert_true(cabs(transform(filter, 0.4999 * rates_hz[r], rates_hz[r])) < 1e-4);
        tl_filter_free(filter);
    }
    tl_response_free(response);
}

// The ratio where it stays under half the limit; never above the limit anywhere.
static void test_takes_out(void** unused) {
    (void)unused;
    static const double rig[][3] = {{4000, 2, 0}, {6000, 3, 0}, {50000, 1, 0}, {5000, 1, 5}};
    static const double before[][3] = {{2000, 1, 0}, {2000, 1, 0}, {1000, 0.7, 0}, {3000, 1, 8}};
    static const double limits_db[] = {6, 20, 40};
    for (size_t i = 0; i < sizeof rig / sizeof *rig; i++) {
        tl_response* response = fit_form(coupled, rig[i], 81);
        tl_response* through = fit_form(coupled, before[i], 81);
        assert_true(response && through);
        for (int k = 0; k < 6; k++) {
            const double rate_hz = k % 2 ? 96000.0 : 44100.0;
            const double limit = pow(10.0, limits_db[k / 2] / 20.0);
            tl_filter* filter = make(response, through, rate_hz, limits_db[k / 2]);
            for (double hz = 5.0; hz < 0.5 * rate_hz; hz *= 1.1) {
                const double _Complex ratio = coupled(hz, rig[i]) / coupled(hz, before[i]);
                const double _Complex found = transform(filter, hz, rate_hz);
                assert_true(cabs(found) <= limit);
                if (hz >= 50.0 && hz <= 18000.0 && cabs(ratio) < 0.5 * limit) {
                    assert_true(fabs(20.0 * log10(cabs(found / ratio))) < 0.05);
                    assert_true(fabs(carg(found / ratio)) * 180.0 / M_PI < 0.1);
                }
            }
            tl_filter_free(filter);
        }
        tl_response_free(response);
        tl_response_free(through);
    }
}

/// Holds one filter that takes a coupling capacitor out: what the limit and the low-cut leave.
static void hold_coupled(const tl_filter* filter, const double* rig, const double* before,
                         double limit) {
    const tl_filter_facts facts = tl_filter_get_facts(filter);
    assert_true(facts.cut_order == 1 && facts.cut_hz <= before[2]);
    for (double hz = 0.05; hz < 24000.0; hz *= 1.1) {
        assert_true(cabs(transform(filter, hz, 48000.0)) <= limit);
    }
    for (double hz = 50.0; hz <= 18000.0; hz *= 1.1) {
        const double _Complex s = I * hz;
        const double _Complex ratio =
            coupled(hz, rig) / coupled(hz, before) * s / (s + facts.cut_hz);
        if (cabs(ratio) < 0.5 * limit) {
            assert_true(fabs(20.0 * log10(cabs(transform(filter, hz, 48000.0) / ratio))) < 0.05);
        }
    }
}

// A coupling capacitor lets nothing through at 0 Hz and could be raised there without end. The
// limit must not touch what is heard for that: the rig's peak is left where and as high as it is.
static void test_takes_coupling_out(void** unused) {
    (void)unused;
    static const double rig[] = {4000, 1.5, 0};
    static const double before[][3] = {{20000, 0.7, 2}, {20000, 0.7, 7}, {20000, 0.7, 30}};
    static const double limits_db[] = {9, 12, 20};
    tl_response* response = fit_form(coupled, rig, 81);
    for (size_t i = 0; i < sizeof before / sizeof *before; i++) {
        tl_response* through = fit_form(coupled, before[i], 81);
        assert_true(response && through);
        for (size_t k = 0; k < sizeof limits_db / sizeof *limits_db; k++) {
            tl_filter* filter = make(response, through, 48000.0, limits_db[k]);
            hold_coupled(filter, rig, before[i], pow(10.0, limits_db[k] / 20.0));
            tl_filter_free(filter);
        }
        tl_response_free(through);
    }
    tl_response_free(response);
}

// What was recorded through the rig itself comes out as it went in.
static void test_takes_itself_out(void** unused) {
    (void)unused;
    static const double v[] = {2500, 1.5, 3};
    tl_response* response = fit_form(coupled, v, 81);
    assert_non_null(response);
    tl_filter* filter = make(response, response, 48000.0, 20.0);
    for (double hz = 50.0; hz < 18000.0; hz *= 1.2) {
        hold(filter, 1.0, hz, 48000.0);
    }
    assert_true(isnan(tl_filter_get_facts(filter).limited_low_hz));
    tl_filter_free(filter);
    tl_response_free(response);
}

static void test_refuses(void** unused) {
    (void)unused;
    static const double v[] = {3000, 2, 0};
    static const double ringing[] = {100, 1e4, 0}; // falls by 60 dB in 220 s
    static const double wrong_hz[] = {0.0, 7999.0, 192001.0, -48000.0, NAN, INFINITY};
    tl_response* response = fit_form(coupled, v, 41);
    tl_response* bell = fit_form(coupled, ringing, 321);
    assert_true(response && bell);
    tl_error* error = tl_error_new();
    tl_filter* filter = NULL;
    for (size_t i = 0; i < sizeof wrong_hz / sizeof *wrong_hz; i++) {
        const tl_filter_options options = {wrong_hz[i], NULL, 0.0};
        assert_int_equal(tl_filter_new(response, &options, &filter, error), TL_BAD_INPUT);
        assert_null(filter);
        assert_non_null(strstr(tl_error_text(error), "8000 Hz to 192000 Hz"));
    }
    const tl_filter_options options = {44100.0, NULL, 0.0};
    assert_int_equal(tl_filter_new(bell, &options, &filter, error), TL_BAD_INPUT);
    assert_null(filter);
    assert_non_null(strstr(tl_error_text(error), "rings for longer"));
    tl_error_free(error);
    tl_response_free(response);
    tl_response_free(bell);
}

/// Sends noise through the convolver and holds every sample against the sum that defines it.
static void convolve(const double* shape, double rate_hz) {
    tl_response* response = fit_form(coupled, shape, 81);
    assert_non_null(response);
    tl_filter* filter = make(response, NULL, rate_hz, 0.0);
    tl_convolver* convolver = tl_convolver_new(filter, NULL);
    assert_non_null(convolver);
    size_t taps_count = 0;
    const double* taps = tl_filter_taps(filter, &taps_count);
    const size_t block = tl_convolver_block(convolver);
    const size_t blocks = 2 * taps_count / block + 3;
    double* in = calloc(blocks * block, sizeof *in);
    double* out = calloc(blocks * block, sizeof *out);
    assert_true(in && out);
    unsigned short state[3] = {1, 2, 3};
    for (size_t i = 0; i < blocks * block; i++) {
        in[i] = uniform(state, -1.0, 1.0);
    }
    for (size_t i = 0; i < blocks; i++) {
        tl_convolver_run(convolver, in + i * block, out + i * block);
    }
    for (size_t i = 0; i < blocks * block; i += 1 + i / 50) {
        double sum = 0.0;
        for (size_t k = 0; k < taps_count && k <= i; k++) {
            sum += taps[k] * in[i - k];
        }
        assert_true(fabs(out[i] - sum) < 1e-12);
    }
    free(in);
    free(out);
    tl_convolver_free(convolver);
    tl_filter_free(filter);
    tl_response_free(response);
}

static void test_convolves(void** unused) {
    (void)unused;
    static const double brief[] = {3000, 2, 0};
    static const double coupling[] = {3000, 2, 6}; // several parts
    convolve(brief, 44100.0);
    convolve(coupling, 48000.0);
    convolve(coupling, 192000.0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_follows_response), cmocka_unit_test(test_rings_late),
        cmocka_unit_test(test_takes_out),        cmocka_unit_test(test_takes_coupling_out),
        cmocka_unit_test(test_takes_itself_out), cmocka_unit_test(test_refuses),
        cmocka_unit_test(test_convolves),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

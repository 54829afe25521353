// SPDX-License-Identifier: GPL-3.0-or-later
// Plucked strings against ISO 16, and true peak against sines whose peak is known.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "toneload/sound.h"

#include <cmocka.h>
#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Notes by their distance in semitones from A4 = 440 Hz (ISO 16); equal temperament (computed).
static const struct {
    const char* name;
    int semitones;
} scale[] = {{"E2", -29}, {"A2", -24}, {"B2", -22},  {"D3", -19}, {"E3", -17},
             {"G3", -14}, {"B3", -10}, {"G#3", -13}, {"E4", -5}};

static double pitch_of(const char* name) {
    for (size_t i = 0; i < sizeof scale / sizeof *scale; i++) {
        if (strcmp(scale[i].name, name) == 0) {
            return 440.0 * pow(2.0, scale[i].semitones / 12.0);
        }
    }
    fail_msg("no such note: %s", name);
    return NAN;
}

static void test_notes(void** unused) {
    (void)unused;
    size_t count = 0;
    for (; tl_pluck_at(count); count++) {
        const tl_pluck* note = tl_pluck_at(count);
        assert_true(fabs(note->hz / pitch_of(note->name) - 1.0) < 1e-12);
    }
    assert_int_equal(count, 12);
    static const char* const open[] = {"E2", "A2", "D3", "G3", "B3", "E4"};
    for (size_t i = 0; i < 6; i++) {
        assert_string_equal(tl_pluck_at(i)->name, open[i]);
    }
}

/// Level of a stretch of sound at a frequency, with a Hann window.
static double level_at(const double* samples, size_t count, double hz, double rate_hz) {
    double _Complex sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        const double window = 0.5 - 0.5 * cos(2.0 * M_PI * (double)i / (double)count);
        sum += window * samples[i] * cexp(-I * (2.0 * M_PI * hz * (double)i / rate_hz));
    }
    return cabs(sum);
}

/// The frequency near `hz` where a stretch is strongest, by golden section.
static double find_pitch(const double* samples, size_t count, double hz, double rate_hz) {
    const double golden = 0.6180339887498949;
    double low = hz * pow(2.0, -20.0 / 1200.0);
    double high = hz * pow(2.0, 20.0 / 1200.0);
    while (high - low > 1e-6 * hz) {
        const double a = high - golden * (high - low);
        const double b = low + golden * (high - low);
        if (level_at(samples, count, a, rate_hz) > level_at(samples, count, b, rate_hz)) {
            high = b;
        } else {
            low = a;
        }
    }
    return 0.5 * (low + high);
}

// Each open string within a cent, at rates that leave any rest for the all-pass.
static void test_pitch(void** unused) {
    (void)unused;
    static const double rates_hz[] = {44100.0, 48000.0, 96000.0};
    for (size_t r = 0; r < 3; r++) {
        size_t count = 0;
        double* samples = tl_pluck_play(rates_hz[r], &count);
        for (size_t i = 0; i < 6; i++) {
            const tl_pluck* note = tl_pluck_at(i);
            const size_t start = (size_t)((note->start_s + 0.1) * rates_hz[r]);
            const size_t size = (size_t)(1.3 * rates_hz[r]);
            assert_true(start + size < count);
            const double hz = find_pitch(samples + start, size, note->hz, rates_hz[r]);
            const double cents = 1200.0 * log2(hz / pitch_of(note->name));
            if (!(fabs(cents) < 1.0)) {
                fail_msg("%s at %g Hz: %g cents off", note->name, rates_hz[r], cents);
            }
        }
        free(samples);
    }
}

// The same every time, full scale, no constant, every note still sounding before it is damped.
static void test_piece(void** unused) {
    (void)unused;
    size_t count = 0;
    size_t again_count = 0;
    double* samples = tl_pluck_play(48000.0, &count);
    double* again = tl_pluck_play(48000.0, &again_count);
    assert_int_equal(count, 12 * 48000);
    assert_int_equal(again_count, count);
    assert_memory_equal(samples, again, count * sizeof *samples);
    double largest = 0.0;
    double mean = 0.0;
    for (size_t i = 0; i < count; i++) {
        largest = fmax(largest, fabs(samples[i]));
        mean += samples[i] / (double)count;
    }
    assert_true(fabs(largest - 1.0) < 1e-12);
    assert_true(fabs(mean) < 1e-3);
    for (size_t i = 0; i < 6; i++) {
        double power = 0.0;
        const size_t from = (size_t)((tl_pluck_at(i)->start_s + 1.3) * 48000.0);
        for (size_t k = 0; k < 4800; k++) {
            power += samples[from + k] * samples[from + k] / 4800.0;
        }
        assert_true(power > 1e-5); // -50 dB
    }
    free(samples);
    free(again);
}

static double measure(const double* samples, size_t count, size_t step) {
    static const double silence[11];
    tl_true_peak meter = {0};
    for (size_t at = 0; at < count; at += step) {
        tl_true_peak_add(&meter, count - at < step ? count - at : step, samples + at);
    }
    tl_true_peak_add(&meter, 11, silence);
    return meter.peak;
}

// A sine whose samples miss its crests, as ITU-R BS.1770 annex 2 explains true peak by: at a
// quarter of the rate and 45 degrees every sample reads 3.01 dB too little. The standard's own
// filter reads up to 0.3 dB too much there.
static void test_peak_of_sines(void** unused) {
    (void)unused;
    enum { COUNT = 4000 };
    static const double per_sample[] = {0.25, 0.02, 0.1, 1.0 / 6.0, 0.2};
    double samples[COUNT];
    for (size_t k = 0; k < sizeof per_sample / sizeof *per_sample; k++) {
        double largest = 0.0;
        for (int i = 0; i < COUNT; i++) { // with slow ends, so that only the sine itself counts
            const double fade = fmin(1.0, fmin(i, COUNT - 1 - i) / 400.0);
            samples[i] = 0.5 * fade * sin(2.0 * M_PI * per_sample[k] * i + M_PI / 4.0);
            largest = fmax(largest, fabs(samples[i]));
        }
        const double peak_db = 20.0 * log10(measure(samples, COUNT, COUNT) / 0.5);
        assert_true(peak_db > -0.1 && peak_db < 0.35);
        if (k == 0) {
            assert_true(fabs(20.0 * log10(largest / 0.5) + 3.0103) < 1e-3);
        }
    }
}

// However the samples are handed over, and wherever the peak lies, the last sample included.
static void test_peak_in_pieces(void** unused) {
    (void)unused;
    enum { COUNT = 3000 };
    double samples[COUNT];
    unsigned short state[3] = {5, 6, 7};
    for (int i = 0; i < COUNT; i++) {
        samples[i] = 2.0 * erand48(state) - 1.0;
    }
    const double whole = measure(samples, COUNT, COUNT);
    static const size_t steps[] = {1, 7, 11, 12, 255, 256, 257, 1000};
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
        assert_true(measure(samples, COUNT, steps[i]) == whole);
    }
    for (int place = 0; place < 1000; place += 37) {
        memset(samples, 0, sizeof samples);
        samples[place] = -0.75;
        assert_true(fabs(measure(samples, 1000, 256) - 0.75) < 1e-15);
        samples[place] = 0.0;
        samples[999] = 0.5;
        assert_true(fabs(measure(samples, 1000, 256) - 0.5) < 1e-15);
    }
    memset(samples, 0, sizeof samples);
    assert_true(measure(samples, COUNT, 256) == 0.0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_notes),          cmocka_unit_test(test_pitch),
        cmocka_unit_test(test_piece),          cmocka_unit_test(test_peak_of_sines),
        cmocka_unit_test(test_peak_in_pieces),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

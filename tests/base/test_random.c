// SPDX-License-Identifier: GPL-3.0-or-later
// Random numbers by place, and what of GSL's statistics is used.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/random.h"
#include "base/statistics.h"

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// The generator's own known answers (kat_vectors of the Random123 library, Salmon et al. 2011;
/// from memory, and confirmed by coming out).
static void known_answers(void** state) {
    (void)state;
    static const struct {
        uint32_t counter[4], key[2], words[4];
    } rows[] = {
        {{0, 0, 0, 0}, {0, 0}, {0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8}},
        {{0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff},
         {0xffffffff, 0xffffffff},
         {0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd}},
        {{0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344},
         {0xa4093822, 0x299f31d0},
         {0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
        uint32_t words[4];
        tl_random_words(rows[i].counter, rows[i].key, words);
        assert_memory_equal(words, rows[i].words, sizeof words);
    }
}

/// Evenly spread, and no place is another's: mean 1/2, variance 1/12, neighbours unrelated.
static void uniform_numbers(void** state) {
    (void)state;
    enum { COUNT = 200000 };
    double sum = 0;
    double squares = 0;
    double along = 0;
    double across = 0;
    double seeds = 0;
    for (uint64_t i = 0; i < COUNT; ++i) {
        double u = tl_random_uniform(7, i, 0) - 0.5;
        assert_true(u > -0.5 && u < 0.5);
        sum += u;
        squares += u * u;
        along += u * (tl_random_uniform(7, i + 1, 0) - 0.5);
        across += u * (tl_random_uniform(7, i, 1) - 0.5);
        seeds += u * (tl_random_uniform(8, i, 0) - 0.5);
    }
    const double root = sqrt(COUNT);
    assert_true(fabs(sum / COUNT) < 4 * sqrt(1.0 / 12) / root);
    assert_true(fabs(squares / COUNT - 1.0 / 12) < 4 * sqrt(1.0 / 180) / root);
    assert_true(fabs(along / COUNT) < 4.0 / 12 / root);
    assert_true(fabs(across / COUNT) < 4.0 / 12 / root);
    assert_true(fabs(seeds / COUNT) < 4.0 / 12 / root);
}

static void all_bits_of_seed_and_trial_count(void** state) {
    (void)state;
    double first = tl_random_uniform(0, 0, 0);
    for (int bit = 0; bit < 64; ++bit) {
        assert_true(tl_random_uniform((uint64_t)1 << bit, 0, 0) != first);
        assert_true(tl_random_uniform(0, (uint64_t)1 << bit, 0) != first);
    }
    for (uint32_t index = 1; index < 100; ++index)
        assert_true(tl_random_uniform(0, 0, index) != first);
}

/// Normal quantiles of any table; quantiles of numbers by definition 7 of Hyndman and Fan.
static void statistics(void** state) {
    (void)state;
    tl_error* error = tl_error_new();
    assert_int_equal(tl_statistics_prepare(error), TL_OK);
    assert_true(fabs(tl_normal_quantile(0.975) - 1.959963984540054) < 1e-12);
    assert_true(fabs(tl_normal_quantile(0.5)) < 1e-15);
    assert_true(fabs(tl_normal_share(-3) - 0.0013498980316300946) < 1e-15);
    static const double numbers[] = {1, 2, 4, 8, 16};
    assert_true(tl_quantile_sorted(numbers, 5, 0) == 1);
    assert_true(tl_quantile_sorted(numbers, 5, 1) == 16);
    assert_true(tl_quantile_sorted(numbers, 5, 0.5) == 4);
    assert_true(fabs(tl_quantile_sorted(numbers, 5, 0.05) - 1.2) < 1e-15);
    assert_true(isnan(tl_quantile_sorted(numbers, 0, 0.5)));
    tl_error_free(error);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(known_answers),
        cmocka_unit_test(uniform_numbers),
        cmocka_unit_test(all_bits_of_seed_and_trial_count),
        cmocka_unit_test(statistics),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

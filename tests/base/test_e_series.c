// SPDX-License-Identifier: GPL-3.0-or-later
// The series of preferred values against printed tables.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/e_series.h"

#include <cmocka.h>
#include <math.h>

#define COUNT(list) (sizeof(list) / sizeof *(list))

// qsl.net/g4usp, "Preferred values" (after IEC 60063; seen): E6, E12, E24, E48 and E96. E3 and the
// whole of E192 as several public programs print it, which agree with each other (seen).
static const unsigned e3[] = {100, 220, 470};
static const unsigned e6[] = {100, 150, 220, 330, 470, 680};
static const unsigned e12[] = {100, 120, 150, 180, 220, 270, 330, 390, 470, 560, 680, 820};
static const unsigned e24[] = {100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300,
                               330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820, 910};
static const unsigned e48[] = {100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169,
                               178, 187, 196, 205, 215, 226, 237, 249, 261, 274, 287, 301,
                               316, 332, 348, 365, 383, 402, 422, 442, 464, 487, 511, 536,
                               562, 590, 619, 649, 681, 715, 750, 787, 825, 866, 909, 953};
static const unsigned e192[] = {
    100, 101, 102, 104, 105, 106, 107, 109, 110, 111, 113, 114, 115, 117, 118, 120, 121, 123,
    124, 126, 127, 129, 130, 132, 133, 135, 137, 138, 140, 142, 143, 145, 147, 149, 150, 152,
    154, 156, 158, 160, 162, 164, 165, 167, 169, 172, 174, 176, 178, 180, 182, 184, 187, 189,
    191, 193, 196, 198, 200, 203, 205, 208, 210, 213, 215, 218, 221, 223, 226, 229, 232, 234,
    237, 240, 243, 246, 249, 252, 255, 258, 261, 264, 267, 271, 274, 277, 280, 284, 287, 291,
    294, 298, 301, 305, 309, 312, 316, 320, 324, 328, 332, 336, 340, 344, 348, 352, 357, 361,
    365, 370, 374, 379, 383, 388, 392, 397, 402, 407, 412, 417, 422, 427, 432, 437, 442, 448,
    453, 459, 464, 470, 475, 481, 487, 493, 499, 505, 511, 517, 523, 530, 536, 542, 549, 556,
    562, 569, 576, 583, 590, 597, 604, 612, 619, 626, 634, 642, 649, 657, 665, 673, 681, 690,
    698, 706, 715, 723, 732, 741, 750, 759, 768, 777, 787, 796, 806, 816, 825, 835, 845, 856,
    866, 876, 887, 898, 909, 920, 931, 942, 953, 965, 976, 988};

static const struct {
    unsigned steps;
    const unsigned* values;
    const char* name;
    double share;
} series[] = {{3, e3, "E3", 0.4},     {6, e6, "E6", 0.2},     {12, e12, "E12", 0.1},
              {24, e24, "E24", 0.05}, {48, e48, "E48", 0.02}, {192, e192, "E192", 0.005}};

static void figures_are_those_printed(void** state) {
    (void)state;
    assert_int_equal(COUNT(e192), 192);
    for (size_t i = 0; i < COUNT(series); i++)
        for (unsigned j = 0; j < series[i].steps; j++)
            if (tl_e_series_figures(series[i].steps, j) != series[i].values[j])
                fail_msg("E%u has %u, not %u", series[i].steps,
                         tl_e_series_figures(series[i].steps, j), series[i].values[j]);
    for (unsigned j = 0; j < 96; j++) // every second one, 9.20 not among them
        assert_int_equal(tl_e_series_figures(96, j), e192[2 * j]);
    assert_int_equal(tl_e_series_figures(192, 185), 920);
    assert_int_equal(lround(100 * pow(10, 185.0 / 192)), 919); // so the formula alone is wrong
}

static void names_and_tolerances(void** state) {
    (void)state;
    assert_int_equal(tl_e_series_count, 7);
    for (size_t i = 0; i < COUNT(series); i++) {
        assert_int_equal(tl_e_series_find(series[i].name), series[i].steps);
        assert_true(tl_e_series_share(series[i].steps) == series[i].share);
    }
    assert_int_equal(tl_e_series_find("E96"), 96);
    assert_true(tl_e_series_share(96) == 0.01);
    assert_int_equal(tl_e_series_find("E13"), 0);
    assert_int_equal(tl_e_series_find("e12"), 0);
}

// Every value of every series is in it in every decade a part can have, and just off is not.
static void decades(void** state) {
    (void)state;
    for (size_t i = 0; i < COUNT(series); i++)
        for (unsigned j = 0; j < series[i].steps; j++)
            for (int decade = -15; decade < 12; decade++) {
                const double value = series[i].values[j] * pow(10, decade);
                assert_true(tl_e_series_has(series[i].steps, value));
                assert_false(tl_e_series_has(series[i].steps, value * 1.0001));
                assert_false(tl_e_series_has(series[i].steps, value * 0.9999));
            }
    assert_false(tl_e_series_has(12, 0));
    assert_false(tl_e_series_has(12, -10));
    assert_false(tl_e_series_has(12, INFINITY));
}

static void nearest_is(unsigned steps, double value, double below, double above) {
    double is_below = 0;
    double is_above = 0;
    tl_e_series_nearest(steps, value, &is_below, &is_above);
    assert_true(fabs(is_below - below) < 1e-9 * below);
    assert_true(fabs(is_above - above) < 1e-9 * above);
}

static void neighbours(void** state) {
    (void)state;
    nearest_is(12, 23e-9, 22e-9, 27e-9);
    nearest_is(12, 90e3, 82e3, 100e3); // the next decade begins above 82
    nearest_is(6, 99e-12, 68e-12, 100e-12);
    nearest_is(192, 9.19e3, 9.09e3, 9.20e3);
    nearest_is(24, 0.1, 0.1, 0.1);
}

static void coarsest(void** state) {
    (void)state;
    assert_int_equal(tl_e_series_coarsest(22e-9), 6);
    assert_int_equal(tl_e_series_coarsest(27e-9), 12);
    assert_int_equal(tl_e_series_coarsest(20e-9), 24);
    assert_int_equal(tl_e_series_coarsest(10.2e-9), 96);
    assert_int_equal(tl_e_series_coarsest(10.1e-9), 0); // of E192 alone
    assert_int_equal(tl_e_series_coarsest(25e-9), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(figures_are_those_printed),
        cmocka_unit_test(names_and_tolerances),
        cmocka_unit_test(decades),
        cmocka_unit_test(neighbours),
        cmocka_unit_test(coarsest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

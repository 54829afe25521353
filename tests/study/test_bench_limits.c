// SPDX-License-Identifier: GPL-3.0-or-later
// Limits of the buffer bench: what is read, what each figure gets, and what is refused where.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "study/bench_limits.h"

#include "base/text.h"

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char* const ids[] = {"supply_current_a",
                                  "output_dc_v",
                                  "gain_1khz_db",
                                  "phase_20hz_deg",
                                  "low_cutoff_hz",
                                  "thd_1v_percent",
                                  "stability",
                                  "output_impedance_1khz_ohm",
                                  "slew_v_per_s",
                                  "noise_density_1khz_v_rthz",
                                  "cable_100mdb_20khz_farad",
                                  "noise_short_a_v",
                                  "pickup_single-coil_3m_q"};
enum { IDS = sizeof ids / sizeof *ids };

static tl_error* error;
static char path[] = "/tmp/toneload-limits-XXXXXX";

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    int descriptor = mkstemp(path);
    return descriptor < 0 || close(descriptor) != 0;
}

static int stop(void** state) {
    (void)state;
    tl_error_free(error);
    return unlink(path);
}

static tl_status read_text(const char* text, tl_limits** limits) {
    FILE* file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    assert_int_equal(fclose(file), 0);
    return tl_limits_read(path, ids, IDS, limits, error);
}

static tl_limits* good(const char* text) {
    tl_limits* limits = NULL;
    if (read_text(text, &limits) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    return limits;
}

/// Refused, and the words are in the message.
static void refuse(const char* text, const char* const* needed) {
    tl_limits* limits = NULL;
    assert_int_equal(read_text(text, &limits), TL_BAD_INPUT);
    assert_null(limits);
    for (; *needed; ++needed)
        if (!strstr(tl_error_text(error), *needed))
            fail_msg("no '%s' in: %s", *needed, tl_error_text(error));
}
#define REFUSE(text, ...) refuse(text, (const char* const[]){__VA_ARGS__, NULL})

static tl_grade grade(const tl_limits* limits, const char* figure, double value, int beyond) {
    const tl_bench_figure got = {.value = value, .beyond = beyond};
    return tl_limit_grade(tl_limits_find(limits, figure), &got);
}

static tl_grade grade_words(const tl_limits* limits, const char* figure, char* words) {
    const tl_bench_figure got = {.value = NAN, .words = words};
    return tl_limit_grade(tl_limits_find(limits, figure), &got);
}

static void each_form_holds_its_figure(void** state) {
    (void)state;
    tl_limits* limits = good("limits:\n"
                             "- {figure: output_impedance_1khz_ohm, pass: below 1 kohm,\n"
                             "   marginal: below 5 kohm, why: It dulls., source: common practice}\n"
                             "- {figure: gain_1khz_db, pass: -0.5 dB to 0.5 dB}\n"
                             "- {figure: output_dc_v, pass: within 10 mV, marginal: within 50 mV}\n"
                             "- {figure: slew_v_per_s, pass: above 0.5 V/us}\n"
                             "- {figure: thd_1v_percent, pass: below 0.1 %}\n"
                             "- {figure: noise_density_1khz_v_rthz, pass: below 40 nV/rtHz}\n"
                             "- {figure: supply_current_a, pass: below 2 mA}\n"
                             "- {figure: noise_short_a_v, pass: below 3 uV}\n"
                             "- {figure: pickup_single-coil_3m_q, pass: 1 to 4}\n");
    static const char impedance[] = "output_impedance_1khz_ohm";
    assert_int_equal(grade(limits, impedance, 999, 0), TL_GRADE_PASS);
    assert_int_equal(grade(limits, impedance, 1001, 0), TL_GRADE_MARGINAL);
    assert_int_equal(grade(limits, impedance, 5001, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "gain_1khz_db", -0.49, 0), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "gain_1khz_db", -0.51, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "gain_1khz_db", 0.51, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "output_dc_v", -0.009, 0), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "output_dc_v", -0.011, 0), TL_GRADE_MARGINAL);
    assert_int_equal(grade(limits, "output_dc_v", -4.5, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "slew_v_per_s", 4.9e5, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "slew_v_per_s", 5.1e5, 0), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "thd_1v_percent", 0.099, 0), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "thd_1v_percent", 0.101, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "noise_density_1khz_v_rthz", 39e-9, 0), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "noise_density_1khz_v_rthz", 41e-9, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "supply_current_a", 1.9e-3, 0), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "noise_short_a_v", 3.1e-6, 0), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "pickup_single-coil_3m_q", 2, 0), TL_GRADE_PASS);
    const tl_bench_limit* kept = tl_limits_find(limits, impedance);
    assert_string_equal(kept->words, "below 1 kohm");
    assert_string_equal(kept->why, "It dulls.");
    assert_string_equal(kept->source, "common practice");
    assert_true(kept->pass_low == -INFINITY && kept->marginal_high == 5000);
    assert_null(tl_limits_find(limits, "gain_1khz_db")->why);
    assert_null(tl_limits_find(limits, "low_cutoff_hz"));
    tl_limits_free(limits);
}

static void words_are_held_by_how_they_begin(void** state) {
    (void)state;
    tl_limits* limits =
        good("limits: [{figure: stability, pass: stable, marginal: rings or rolls}]");
    assert_int_equal(grade_words(limits, "stability", "stable"), TL_GRADE_PASS);
    assert_int_equal(grade_words(limits, "stability", "stable with all loads"), TL_GRADE_PASS);
    assert_int_equal(grade_words(limits, "stability", "stables"), TL_GRADE_FAIL);
    assert_int_equal(grade_words(limits, "stability", "rings, at 10 nF"), TL_GRADE_MARGINAL);
    assert_int_equal(grade_words(limits, "stability", "rolls"), TL_GRADE_MARGINAL);
    assert_int_equal(grade_words(limits, "stability", "oscillates"), TL_GRADE_FAIL);
    assert_int_equal(grade_words(limits, "stability", "unstable"), TL_GRADE_FAIL);
    assert_int_equal(grade_words(limits, "stability", NULL), TL_GRADE_NONE);
    tl_limits_free(limits);
}

static void what_lies_beyond_is_not_failed_unseen(void** state) {
    (void)state;
    tl_limits* limits = good("limits:\n"
                             "- {figure: slew_v_per_s, pass: above 1 V/us}\n"
                             "- {figure: low_cutoff_hz, pass: below 20 Hz}\n");
    assert_int_equal(grade(limits, "slew_v_per_s", 2e6, 1), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "slew_v_per_s", 0.5e6, 1), TL_GRADE_MARGINAL);
    assert_int_equal(grade(limits, "slew_v_per_s", 0.5e6, -1), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "low_cutoff_hz", 1, -1), TL_GRADE_PASS);
    assert_int_equal(grade(limits, "low_cutoff_hz", 30, -1), TL_GRADE_MARGINAL);
    assert_int_equal(grade(limits, "low_cutoff_hz", 30, 1), TL_GRADE_FAIL);
    assert_int_equal(grade(limits, "low_cutoff_hz", NAN, 0), TL_GRADE_NONE);
    const tl_bench_figure broken = {.value = 1, .trouble = "no operating point"};
    assert_int_equal(tl_limit_grade(tl_limits_find(limits, "low_cutoff_hz"), &broken),
                     TL_GRADE_NONE);
    assert_int_equal(tl_limit_grade(NULL, &(tl_bench_figure){.value = 1}), TL_GRADE_NONE);
    tl_limits_free(limits);
}

static void limits_can_be_handed_over(void** state) {
    (void)state;
    tl_limits* limits = good("limits: [{figure: stability, pass: stable}]");
    const tl_bench_limit* found = tl_limits_find(limits, "stability");
    size_t count = 0;
    tl_bench_limit* taken = tl_limits_take(limits, &count);
    tl_limits_free(limits);
    assert_int_equal(count, 1);
    assert_ptr_equal(taken, found);
    assert_string_equal(found->pass_words, "stable");
    tl_bench_limit_clear(taken);
    free(taken);
}

static void what_cannot_be_used_is_refused_at_its_place(void** state) {
    (void)state;
    REFUSE("", "nothing in it");
    REFUSE("[1]", ":1:1: error: ", "a limits file");
    REFUSE("limit: []", "unknown 'limit'", "did you mean 'limits'?");
    REFUSE("{}", "needs 'limits'");
    REFUSE("limits: 7", ":1:9: error: ", "expected a list");
    REFUSE("limits: [7]", "a limit: expected a mapping");
    REFUSE("limits:\n- {figure: stability}\n", ":2:3: error: ", "a limit needs 'pass'", "^");
    REFUSE("limits:\n- {pass: below 1 V}\n", "a limit needs 'figure'");
    REFUSE("limits:\n- {figure: stabilty, pass: stable}\n",
           ":2:12: error: ", "unknown figure 'stabilty'; did you mean 'stability'?",
           "           ^");
    REFUSE("limits:\n- {figure: stability, pas: stable}\n", "unknown 'pas' in a limit",
           "did you mean 'pass'?");
    REFUSE("limits:\n- {figure: stability, pass: [stable]}\n", "pass: expected a single value");
    REFUSE("limits:\n- {figure: stability, pass: stable}\n- {figure: stability, pass: rings}\n",
           ":3:12: error: ", "a second limit for 'stability'");
    REFUSE("limits:\n- {figure: output_dc_v, pass: below 10}\n", ":2:31: error: ", "bare number",
           "V, mV");
    REFUSE("limits:\n- {figure: output_dc_v, pass: below 10 mA}\n", "'mA' is not a unit that fits");
    REFUSE("limits:\n- {figure: output_dc_v, pass: beneath 10 mV}\n", "'below X'", "'X to Y'");
    REFUSE("limits:\n- {figure: output_dc_v, pass: 10 mV}\n", "'below X'");
    REFUSE("limits:\n- {figure: output_dc_v, pass: 5 V to 4 V}\n", "smaller one");
    REFUSE("limits:\n- {figure: output_dc_v, pass: within -1 V}\n", "above 0");
    REFUSE("limits:\n- {figure: output_dc_v, pass: below nan V}\n", "'nan V'");
    REFUSE("limits:\n- {figure: output_dc_v, pass: below 5 V, marginal: below 4 V}\n",
           "must reach further");
    REFUSE("limits:\n- {figure: output_dc_v, pass: below 5 V, marginal: above 4 V}\n",
           "must reach further");
    REFUSE("limits:\n- {figure: output_dc_v, pass: below 5 V, marginal: below 5 V}\n",
           "must reach further");
    REFUSE("limits:\n- {figure: stability, pass: stable, marginal: below 5 V}\n", "in words");
    REFUSE("limits:\n- {figure: stability, pass: ''}\n", "expected the words");
    tl_limits* limits = NULL;
    assert_int_equal(tl_limits_read("/nowhere/limits.yaml", ids, IDS, &limits, error),
                     TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "/nowhere/limits.yaml"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_form_holds_its_figure),
        cmocka_unit_test(words_are_held_by_how_they_begin),
        cmocka_unit_test(what_lies_beyond_is_not_failed_unseen),
        cmocka_unit_test(limits_can_be_handed_over),
        cmocka_unit_test(what_cannot_be_used_is_refused_at_its_place),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "closed_form.h"
#include "toneload/show.h"

#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef char* show_function(double number, const char* none);

static void check(show_function* show, double number, const char* expected) {
    char* words = show(number, "none");
    assert_string_equal(words, expected);
    free(words);
}

static void frequencies_keep_four_digits(void** state) {
    (void)state;
    check(tl_show_hz, 20, "20.0 Hz");
    check(tl_show_hz, 99.94, "99.9 Hz");
    check(tl_show_hz, 99.96, "100 Hz");
    check(tl_show_hz, 873.2, "873 Hz");
    check(tl_show_hz, 999.4, "999 Hz");
    check(tl_show_hz, 999.6, "1.000 kHz");
    check(tl_show_hz, 3214.4, "3.214 kHz");
    check(tl_show_hz, 9999.4, "9.999 kHz");
    check(tl_show_hz, 9999.6, "10.00 kHz");
    check(tl_show_hz, 99994, "99.99 kHz");
    check(tl_show_hz, 99996, "100.0 kHz");
    check(tl_show_hz, NAN, "none");
    check(tl_show_hz, INFINITY, "none");
}

static void levels_carry_their_sign(void** state) {
    (void)state;
    check(tl_show_db, 6.3249, "+6.32 dB");
    check(tl_show_db, -0.4, "-0.40 dB");
    check(tl_show_db, -0.0051, "-0.01 dB");
    check(tl_show_db, -0.0049, "0.00 dB");
    check(tl_show_db, 0, "0.00 dB");
    check(tl_show_db, NAN, "none");
    check(tl_show_db, -INFINITY, "none");
}

static void ratios_have_two_decimals(void** state) {
    (void)state;
    check(tl_show_ratio, 2.346, "2.35");
    check(tl_show_ratio, NAN, "none");
}

static void check_value(double value, const char* unit, const char* expected) {
    char* words = tl_show_value(value, unit, "none");
    assert_string_equal(words, expected);
    free(words);
}

static void values_have_three_digits_and_a_prefix(void** state) {
    (void)state;
    check_value(1234, "ohm", "1.23 kohm");
    check_value(999.4, "ohm", "999 ohm");
    check_value(999.6, "ohm", "1.00 kohm");
    check_value(99.96e3, "ohm", "100 kohm");
    check_value(9.996e6, "ohm", "10.0 Mohm");
    check_value(2.5e15, "ohm", "2500 Tohm");
    check_value(-4.5, "V", "-4.50 V");
    check_value(0, "V", "0 V");
    check_value(1e-21, "V", "0 V");
    check_value(812e-6, "A", "812 uA");
    check_value(3.2e-15, "A", "3.20 fA");
    check_value(22.4e-12, "F", "22.4 pF");
    check_value(0.82, "Hz", "820 mHz");
    check_value(1.5e6, "Hz", "1.50 MHz");
    check_value(4.07e-9, "V/rtHz", "4.07 nV/rtHz");
    check_value(NAN, "ohm", "none");
    check_value(INFINITY, "F", "none");
}

static void other_values_go_without_a_prefix(void** state) {
    (void)state;
    check_value(0.5e6, "V/s", "0.50 V/us");
    check_value(2e7, "V/s", "20.0 V/us");
    check_value(1500, "V/s", "1.50 V/ms");
    check_value(12, "V/s", "12.0 V/s");
    check_value(-0.123, "dB", "-0.12 dB");
    check_value(-0.004, "dB", "0.00 dB");
    check_value(62.34, "dB", "62.3 dB");
    check_value(123.4, "dB", "123 dB");
    check_value(-14.26, "deg", "-14.3 deg");
    check_value(0.01234, "%", "0.0123 %");
    check_value(0.4, "%", "0.40 %");
    check_value(0.00022, "%", "0.00022 %");
    check_value(1, "%", "1.00 %");
    check_value(31.26, "%", "31.3 %");
    check_value(3.2e-7, "%", "3.2e-07 %");
    check_value(0, "%", "0 %");
    check_value(2.346, "", "2.35");
    check_value(NAN, "dB", "none");
}

static void a_missing_peak_is_not_laid_on_one_side(void** state) {
    (void)state;
    const tl_hearing hearing = {.worst_db = 3.6, .worst_hz = 12030, .peak_shift_steps = NAN};
    char* words = tl_show_hearing(&hearing);
    assert_non_null(strstr(words, "; no peak shift: one or both have no peak."));
    free(words);
}

/// A host program may run in a country that writes 3,2. The locale is made on the spot, since few
/// machines have one installed; where the C library's sources for it are missing, nothing is
/// tested.
static void a_host_with_decimal_commas_changes_nothing(void** state) {
    (void)state;
    char folder[64];
    enter_folder(folder);
    int made = system("localedef -i de_DE -f UTF-8 ./comma >made 2>&1");
    setenv("LOCPATH", folder, 1);
    if (made != 0 || !setlocale(LC_ALL, "comma")) {
        leave_folder(folder);
        skip();
    }
    char host[20];
    snprintf(host, sizeof host, "%.1f", 3.2);
    assert_string_equal(host, "3,2");
    check(tl_show_hz, 3214.4, "3.214 kHz");
    check_value(3214.4, "ohm", "3.21 kohm");
    check_value(0.0123, "%", "0.0123 %");
    char* json = tl_json_text(tl_json_number(3214.567891));
    assert_string_equal(json, "3214.567891\n");
    free(json);
    tl_table* table = tl_table_new();
    tl_table_column(table, "n", "n");
    tl_table_row(table);
    tl_table_number(table, 0.5, "");
    char* csv = tl_table_csv(table);
    assert_string_equal(csv, "n\r\n0.5\r\n");
    free(csv);
    tl_table_free(table);
    tl_response* response = low_pass(3000.5, 2.5, 1);
    tl_metrics metrics = tl_response_metrics(response, 200);
    tl_curve curve = {response, &metrics, "rig", false, NULL};
    tl_plot plot = {"a comma", &curve, 1};
    assert_int_equal(tl_plot_draw(&plot, "comma.svg", NULL), TL_OK);
    tl_response_free(response);
    snprintf(host, sizeof host, "%.1f", 3.2);
    assert_string_equal(host, "3,2"); // and the host keeps its own
    setlocale(LC_ALL, "C");
    unsetenv("LOCPATH");
    leave_folder(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(frequencies_keep_four_digits),
        cmocka_unit_test(levels_carry_their_sign),
        cmocka_unit_test(ratios_have_two_decimals),
        cmocka_unit_test(values_have_three_digits_and_a_prefix),
        cmocka_unit_test(other_values_go_without_a_prefix),
        cmocka_unit_test(a_missing_peak_is_not_laid_on_one_side),
        cmocka_unit_test(a_host_with_decimal_commas_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

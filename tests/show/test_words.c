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
        cmocka_unit_test(a_host_with_decimal_commas_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static tl_table* cables(void) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "cable", "cable");
    tl_table_column(table, "peak\n(kHz)", "peak_hz");
    tl_table_column(table, "verdict", "verdict");
    return table;
}

static void add(tl_table* table, const char* name, double hz, const char* shown,
                const char* verdict) {
    tl_table_row(table);
    tl_table_words(table, name);
    tl_table_number(table, hz, shown);
    tl_table_words(table, verdict);
}

static void check_text(tl_table* table, const char* expected) {
    char* text = tl_table_text(table);
    assert_string_equal(text, expected);
    free(text);
    tl_table_free(table);
}

static void check_csv(tl_table* table, const char* expected) {
    char* csv = tl_table_csv(table);
    assert_string_equal(csv, expected);
    free(csv);
    tl_table_free(table);
}

static void text_stands_in_columns(void** state) {
    (void)state;
    tl_table* table = cables();
    add(table, "B\xc3\xbchne", 3214.567891, "3.21", "plain");
    add(table, "short", 12345.6, "12.35", "not audible");
    add(table, "none", NAN, "-", "");
    check_text(table, "        peak\n"
                      "cable  (kHz)  verdict\n"
                      "-----  -----  -----------\n"
                      "B\xc3\xbchne   3.21  plain\n"
                      "short  12.35  not audible\n"
                      "none       -\n");
}

static void words_in_a_number_column_stand_left(void** state) {
    (void)state;
    tl_table* table = tl_table_new();
    tl_table_column(table, "q", "q");
    tl_table_column(table, "x", "x");
    tl_table_row(table);
    tl_table_number(table, 2.5, "2.50");
    tl_table_number(table, 1, "1");
    tl_table_row(table);
    tl_table_words(table, "n/a");
    check_text(table, "   q  x\n----  -\n2.50  1\nn/a\n");
}

static void terminal_sequences_are_shown_and_not_sent(void** state) {
    (void)state;
    tl_table* table = tl_table_new();
    tl_table_column(table, "na\x1bme", "name");
    tl_table_row(table);
    tl_table_words(table, "\x1b[2J\n\xff\xc2\x9b");
    check_text(table, "na\\x1bme\n-----------------------\n\\x1b[2J\\x0a\\xff\\xc2\\x9b\n");
}

static void empty_tables_have_heads_only(void** state) {
    (void)state;
    check_text(cables(), "       peak\ncable  (kHz)  verdict\n-----  -----  -------\n");
    check_csv(cables(), "cable,peak_hz,verdict\r\n");
}

static void csv_follows_rfc_4180(void** state) {
    (void)state;
    tl_table* table = cables();
    add(table, "6 m, coiled", 3214.567891, "3.21 kHz", "a \"plain\" one");
    add(table, " padded ", NAN, "none", "B\xc3\xbchne");
    add(table, "line\nend\r\n", -1.0 / 3, "x", "\xff");
    add(table, "", INFINITY, "", NULL);
    check_csv(table, "cable,peak_hz,verdict\r\n"
                     "\"6 m, coiled\",3214.567891,\"a \"\"plain\"\" one\"\r\n"
                     "\" padded \",,B\xc3\xbchne\r\n"
                     "line\\x0aend\\x0d\\x0a,-0.3333333333,\\xff\r\n"
                     ",,\r\n");
}

static void csv_keeps_ten_digits(void** state) {
    (void)state;
    tl_table* table = tl_table_new();
    tl_table_column(table, "n", "n");
    const double numbers[] = {1234567890.4, 12345678904, 1e-12, 0.1, 200, 20000.000000004};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; ++i) {
        tl_table_row(table);
        tl_table_number(table, numbers[i], "");
    }
    check_csv(table, "n\r\n1234567890\r\n1.23456789e+10\r\n1e-12\r\n0.1\r\n200\r\n20000\r\n");
}

// A spreadsheet would reckon out every one of these fields (list of opening characters: OWASP, CSV
// Injection, from memory).
static void csv_words_are_no_formulas(void** state) {
    (void)state;
    static const char* const attacks[][2] = {
        {"=1+1", "'=1+1"},
        {"=cmd|'/c calc'!A1", "'=cmd|'/c calc'!A1"},
        {"+1", "'+1"},
        {"-1", "'-1"},
        {"@SUM(A1)", "'@SUM(A1)"},
        {"\t=1", "'\\x09=1"},
        {"\r=1", "'\\x0d=1"},
        {"  =1", "'  =1"},
        {"=\"a\",b", "\"'=\"\"a\"\",b\""},
        {"harmless = 1", "harmless = 1"},
    };
    for (size_t i = 0; i < sizeof attacks / sizeof *attacks; ++i) {
        tl_table* table = tl_table_new();
        tl_table_column(table, "n", "n");
        tl_table_row(table);
        tl_table_words(table, attacks[i][0]);
        char expected[100] = "n\r\n";
        strcat(expected, attacks[i][1]);
        strcat(expected, "\r\n");
        check_csv(table, expected);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(text_stands_in_columns),
        cmocka_unit_test(words_in_a_number_column_stand_left),
        cmocka_unit_test(terminal_sequences_are_shown_and_not_sent),
        cmocka_unit_test(empty_tables_have_heads_only),
        cmocka_unit_test(csv_follows_rfc_4180),
        cmocka_unit_test(csv_keeps_ten_digits),
        cmocka_unit_test(csv_words_are_no_formulas),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

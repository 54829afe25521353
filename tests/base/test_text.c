// SPDX-License-Identifier: GPL-3.0-or-later
// Texts that are safe to show, and names that users give and mistype.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/names.h"
#include "base/text.h"
#include "toneload/error.h"

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

static void is_shown_as(const char* words, const char* safe, const char* ascii) {
    tl_text text = {0};
    tl_text_add_safe(&text, words);
    assert_string_equal(tl_text_get(&text), safe);
    tl_text_clear(&text);
    tl_text_add_ascii(&text, words);
    assert_string_equal(tl_text_get(&text), ascii);
    tl_text_free(&text);
    assert_int_equal(tl_text_is_plain(words), strcmp(words, safe) == 0);
}

static void visible_words_stay(void** state) {
    (void)state;
    is_shown_as("", "", "");
    is_shown_as("plain ~ words\\", "plain ~ words\\", "plain ~ words\\");
    is_shown_as("caf\u00e9", "caf\u00e9", "caf\\xc3\\xa9");
    is_shown_as("\u266f", "\u266f", "\\xe2\\x99\\xaf");
    is_shown_as("\U0001f3b8", "\U0001f3b8", "\\xf0\\x9f\\x8e\\xb8");
    is_shown_as("\xf4\x8f\xbf\xbf", "\xf4\x8f\xbf\xbf", "\\xf4\\x8f\\xbf\\xbf"); // U+10FFFF
}

static void controls_are_shown_not_obeyed(void** state) {
    (void)state;
    is_shown_as("a\nb", "a\\x0ab", "a\\x0ab");
    is_shown_as("\t", "\\x09", "\\x09");
    is_shown_as("\x1b[31m", "\\x1b[31m", "\\x1b[31m");
    is_shown_as("\x01\x1f\x7f", "\\x01\\x1f\\x7f", "\\x01\\x1f\\x7f");
    is_shown_as("\xc2\x9b[m", "\\xc2\\x9b[m", "\\xc2\\x9b[m"); // C1: CSI in one character
    is_shown_as("\xc2\x80", "\\xc2\\x80", "\\xc2\\x80");
}

// Unicode's UAX 9: characters that turn a line's direction around (from memory).
static void direction_turners_are_shown(void** state) {
    (void)state;
    static const char* const turners[] = {"\u202a", "\u202b", "\u202c", "\u202d", "\u202e",
                                          "\u2066", "\u2067", "\u2068", "\u2069", "\u200e",
                                          "\u200f", "\u061c", "\u2028", "\u2029"};
    for (size_t i = 0; i < sizeof turners / sizeof *turners; i++) {
        tl_text text = {0};
        tl_text_add_safe(&text, turners[i]);
        assert_false(tl_text_is_plain(turners[i]));
        assert_int_equal(text.size, 4 * strlen(turners[i]));
        assert_true(strncmp(tl_text_get(&text), "\\x", 2) == 0);
        tl_text_free(&text);
    }
}

// RFC 3629, section 4: what is no UTF-8 (overlong forms, surrogates, beyond U+10FFFF, cut short).
static void broken_utf8_is_shown(void** state) {
    (void)state;
    is_shown_as("\x80", "\\x80", "\\x80");
    is_shown_as("\xff\xfe", "\\xff\\xfe", "\\xff\\xfe");
    is_shown_as("\xc3", "\\xc3", "\\xc3");
    is_shown_as("\xc3(", "\\xc3(", "\\xc3(");
    is_shown_as("\xe2\x82", "\\xe2\\x82", "\\xe2\\x82");
    is_shown_as("\xf0\x9f\x8e", "\\xf0\\x9f\\x8e", "\\xf0\\x9f\\x8e");
    is_shown_as("\xc0\xaf", "\\xc0\\xaf", "\\xc0\\xaf");
    is_shown_as("\xc1\xbf", "\\xc1\\xbf", "\\xc1\\xbf");
    is_shown_as("\xe0\x80\xaf", "\\xe0\\x80\\xaf", "\\xe0\\x80\\xaf");
    is_shown_as("\xe0\x9f\xbf", "\\xe0\\x9f\\xbf", "\\xe0\\x9f\\xbf");
    is_shown_as("\xf0\x80\x80\xaf", "\\xf0\\x80\\x80\\xaf", "\\xf0\\x80\\x80\\xaf");
    is_shown_as("\xf0\x8f\xbf\xbf", "\\xf0\\x8f\\xbf\\xbf", "\\xf0\\x8f\\xbf\\xbf");
    is_shown_as("\xed\xa0\x80", "\\xed\\xa0\\x80", "\\xed\\xa0\\x80");
    is_shown_as("\xf4\x90\x80\x80", "\\xf4\\x90\\x80\\x80", "\\xf4\\x90\\x80\\x80");
    is_shown_as("\xf8\x88\x80\x80\x80", "\\xf8\\x88\\x80\\x80\\x80", "\\xf8\\x88\\x80\\x80\\x80");
}

static void a_text_grows(void** state) {
    (void)state;
    tl_text text = {0};
    assert_string_equal(tl_text_get(&text), "");
    for (int i = 0; i < 1000; i++)
        tl_text_addf(&text, "%03d", i);
    assert_int_equal(text.size, 3000);
    assert_memory_equal(tl_text_get(&text) + 3 * 567, "567", 3);
    char* taken = tl_text_take(&text);
    assert_int_equal(strlen(taken), 3000);
    assert_string_equal(tl_text_get(&text), "");
    free(taken);
    taken = tl_text_take(&text);
    assert_string_equal(taken, "");
    free(taken);
    assert_null(tl_copy(NULL));
}

static void columns_are_characters(void** state) {
    (void)state;
    assert_int_equal(tl_text_columns(""), 0);
    assert_int_equal(tl_text_columns("caf\u00e9"), 4);
    assert_int_equal(tl_text_columns("\u266f\U0001f3b8"), 2);
}

// An error keeps its line breaks and nothing else that a terminal obeys.
static void errors_are_safe(void** state) {
    (void)state;
    tl_error* error = tl_error_new();
    assert_string_equal(tl_error_text(error), "");
    assert_int_equal(tl_error_set(error, TL_FAILURE, "%s", "a\x1b[2J\nb\r\x07"), TL_FAILURE);
    assert_int_equal(tl_error_status(error), TL_FAILURE);
    assert_string_equal(tl_error_text(error), "a\\x1b[2J\nb\\x0d\\x07");
    tl_error_prefix(error, "%s", "x\x9b");
    assert_string_equal(tl_error_text(error), "x\\x9b: a\\x1b[2J\nb\\x0d\\x07");
    tl_error_free(error);
    assert_int_equal(tl_error_set(NULL, TL_BAD_INPUT, "nobody listens"), TL_BAD_INPUT);
}

// Optimal string alignment (Damerau, Comm. ACM 7(3), 1964).
static void distance_counts_slips(void** state) {
    (void)state;
    assert_int_equal(tl_name_distance("", ""), 0);
    assert_int_equal(tl_name_distance("cable", "cable"), 0);
    assert_int_equal(tl_name_distance("", "cable"), 5);
    assert_int_equal(tl_name_distance("cable", "cabel"), 1); // swapped
    assert_int_equal(tl_name_distance("cable", "able"), 1);
    assert_int_equal(tl_name_distance("cable", "cables"), 1);
    assert_int_equal(tl_name_distance("cable", "cuble"), 1);
    assert_int_equal(tl_name_distance("Cable", "cable"), 0);
    assert_int_equal(tl_name_distance("kitten", "sitting"), 3); // the usual textbook pair
    assert_int_equal(tl_name_distance("length", "lenght"), tl_name_distance("lenght", "length"));
    char longer[101];
    memset(longer, 'x', 100);
    longer[100] = '\0';
    assert_int_equal(tl_name_distance(longer, "x"), 100);
}

static void the_nearest_name_is_offered(void** state) {
    (void)state;
    static const char* const names[] = {"standard-coax", "patch-coax", "coiled-lead"};
    assert_string_equal(tl_name_nearest("standart-coax", names, 3), "standard-coax");
    assert_string_equal(tl_name_nearest("standard", names, 3), "standard-coax");
    assert_string_equal(tl_name_nearest("path-coax", names, 3), "patch-coax");
    assert_null(tl_name_nearest("microphone", names, 3));
    assert_null(tl_name_nearest("x", names, 0));
    tl_text text = {0};
    tl_name_hint(&text, "path-coax", names, 3);
    assert_string_equal(tl_text_get(&text), "; did you mean 'patch-coax'?");
    tl_text_clear(&text);
    tl_name_hint(&text, "microphone", names, 3);
    assert_string_equal(tl_text_get(&text), "; known are standard-coax, patch-coax, coiled-lead");
    tl_text_free(&text);
}

static void good_names_fit_into_paths(void** state) {
    (void)state;
    static const char* const good[] = {"drive", "Drive 2", "a-b_c", "2nd", "x"};
    static const char* const bad[] = {"",   " a",        "a ",   "2",    "12 34", "a.b", "a[0]",
                                      "a]", "caf\u00e9", "a\nb", "a`b`", "a\x1b", "-",   "a=b"};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        assert_true(tl_name_is_good(good[i]));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        if (tl_name_is_good(bad[i]))
            fail_msg("'%s' was taken for a name", bad[i]);
    char name[50];
    memset(name, 'x', 49);
    name[48] = name[49] = '\0';
    assert_true(tl_name_is_good(name));
    name[48] = 'x';
    assert_false(tl_name_is_good(name));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(visible_words_stay),
        cmocka_unit_test(controls_are_shown_not_obeyed),
        cmocka_unit_test(direction_turners_are_shown),
        cmocka_unit_test(broken_utf8_is_shown),
        cmocka_unit_test(a_text_grows),
        cmocka_unit_test(columns_are_characters),
        cmocka_unit_test(errors_are_safe),
        cmocka_unit_test(distance_counts_slips),
        cmocka_unit_test(the_nearest_name_is_offered),
        cmocka_unit_test(good_names_fit_into_paths),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

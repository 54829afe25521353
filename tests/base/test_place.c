// SPDX-License-Identifier: GPL-3.0-or-later
// Errors that point: the caret stands below the character it is about.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/place.h"
#include "base/text.h"

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

static tl_error* error;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return 0;
}

static int stop(void** state) {
    (void)state;
    tl_error_free(error);
    return 0;
}

static const char* point(const char* text, size_t size, size_t line, size_t column) {
    tl_input* input = tl_input_new("rig.yaml", text, size);
    const tl_place place = {input, line, column};
    assert_int_equal(tl_error_at(error, &place, "what is %s", "wrong"), TL_BAD_INPUT);
    tl_input_free(input);
    return tl_error_text(error);
}

static void the_line_and_a_caret_follow(void** state) {
    (void)state;
    assert_string_equal(point("a: 1\nb: oops\n", 13, 2, 4), "rig.yaml:2:4: error: what is wrong\n"
                                                            "  b: oops\n"
                                                            "     ^");
    assert_string_equal(point("a: 1\r\nb: oops\r\n", 15, 2, 1), "rig.yaml:2:1: error: what is "
                                                                "wrong\n"
                                                                "  b: oops\n"
                                                                "  ^");
    assert_string_equal(point("abc", 3, 1, 4), "rig.yaml:1:4: error: what is wrong\n  abc\n     ^");
    assert_string_equal(point("abc", 3, 1, 99), "rig.yaml:1:99: error: what is wrong\n"
                                                "  abc\n     ^");
    assert_string_equal(point("abc", 3, 7, 2), "rig.yaml:7:2: error: what is wrong\n  \n  ^");
    assert_string_equal(point("", 0, 1, 1), "rig.yaml:1:1: error: what is wrong\n  \n  ^");
}

// A character of several bytes is one column; a tab is one blank; what is unsafe is four.
static void the_caret_counts_what_is_shown(void** state) {
    (void)state;
    assert_string_equal(point("\u00e9\u266f\U0001f3b8: x", 12, 1, 12),
                        "rig.yaml:1:12: error: what is wrong\n  \u00e9\u266f\U0001f3b8: x\n"
                        "       ^");
    assert_string_equal(point("\ta:\tx", 5, 1, 5), "rig.yaml:1:5: error: what is wrong\n"
                                                   "   a: x\n"
                                                   "      ^");
    assert_string_equal(point("\x1b[mx", 4, 1, 4), "rig.yaml:1:4: error: what is wrong\n"
                                                   "  \\x1b[mx\n"
                                                   "        ^");
    assert_string_equal(point("a\0b", 3, 1, 3), "rig.yaml:1:3: error: what is wrong\n"
                                                "  a b\n"
                                                "    ^");
}

// The column of the caret and what stands above it.
static void check_caret(const char* shown, const char* above) {
    const char* line = strchr(shown, '\n') + 1;
    const char* caret = strchr(line, '\n') + 1;
    size_t columns = strlen(caret) - 1;
    assert_int_equal(caret[columns], '^');
    while (columns) {
        ++line;
        columns -= ((unsigned char)*line & 0xc0) != 0x80;
    }
    assert_int_equal(strncmp(line, above, strlen(above)), 0);
}

static void a_very_long_line_is_cut_around_the_place(void** state) {
    (void)state;
    enum { SIZE = 1000000 };
    char* text = tl_new(SIZE, 1);
    memset(text, 'x', SIZE);
    memcpy(text + 700000, "HERE", 4);
    const char* shown = point(text, SIZE, 1, 700001);
    assert_true(strlen(shown) < 400);
    assert_non_null(strstr(shown, "\n  ... xxx"));
    assert_non_null(strstr(shown, "xxx ...\n"));
    check_caret(shown, "HERE");
    for (size_t i = 0; i + 1 < SIZE; i += 2) // characters of two bytes are not cut apart
        memcpy(text + i, "\u00e9", 2);
    memcpy(text + 700000, "HERE", 4);
    for (size_t shift = 0; shift < 2; shift++) {
        text[0] = 'x'; // then all of them lie one byte further on
        shown = point(text + shift, SIZE - shift, 1, 700001 - shift);
        assert_true(strlen(shown) < 600);
        assert_null(strstr(shown, "\\x"));
        check_caret(shown, "HERE");
    }
    free(text);
}

/// Bytes that go on with a character which never began.
static void a_line_that_is_no_utf8(void** state) {
    (void)state;
    enum { SIZE = 400 };
    char text[SIZE];
    memset(text, 0x80, SIZE);
    text[300] = '`';
    const char* shown = point(text, SIZE, 1, 301);
    assert_true(strlen(shown) < 2000);
    check_caret(shown, "`");
}

static void names_of_files_are_not_trusted(void** state) {
    (void)state;
    tl_input* input = tl_input_new("a\x1b\nb.yaml", "x", 1);
    const tl_place place = {input, 1, 1};
    tl_error_at(error, &place, "%s", "w\nrong\x07");
    assert_string_equal(tl_error_text(error),
                        "a\\x1b\\x0ab.yaml:1:1: error: w\\x0arong\\x07\n  x\n  ^");
    tl_input_free(input);
}

static void without_a_place_only_words(void** state) {
    (void)state;
    const tl_place nowhere = {0};
    assert_int_equal(tl_error_at(error, &nowhere, "what"), TL_BAD_INPUT);
    assert_string_equal(tl_error_text(error), "what");
    assert_int_equal(tl_error_at(error, NULL, "what"), TL_BAD_INPUT);
    assert_int_equal(tl_error_at(NULL, &nowhere, "what"), TL_BAD_INPUT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_line_and_a_caret_follow),
        cmocka_unit_test(the_caret_counts_what_is_shown),
        cmocka_unit_test(a_very_long_line_is_cut_around_the_place),
        cmocka_unit_test(a_line_that_is_no_utf8),
        cmocka_unit_test(names_of_files_are_not_trusted),
        cmocka_unit_test(without_a_place_only_words),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

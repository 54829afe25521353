// SPDX-License-Identifier: GPL-3.0-or-later
// YAML trees whose nodes know their places, and the YAML that is refused.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"
#include "base/yaml.h"

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static tl_error* error;
static tl_input* input;
static tl_yaml* tree;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return 0;
}

static int stop(void** state) {
    (void)state;
    tl_yaml_free(tree);
    tl_input_free(input);
    tl_error_free(error);
    return 0;
}

static tl_status read_bytes(const char* text, size_t size) {
    tl_yaml_free(tree);
    tl_input_free(input);
    tree = NULL;
    input = tl_input_new("f.yaml", text, size);
    return tl_yaml_read(input, &tree, error);
}

static void read_good(const char* text) {
    if (read_bytes(text, strlen(text)) != TL_OK)
        fail_msg("refused: %s", tl_error_text(error));
}

// Refused, and the error begins with the place and holds the words.
static void refuse_bytes(const char* text, size_t size, const char* place, const char* words) {
    assert_int_equal(read_bytes(text, size), TL_BAD_INPUT);
    assert_null(tree);
    tl_text begin = {0};
    tl_text_addf(&begin, "f.yaml:%s: error: ", place);
    if (strncmp(tl_error_text(error), tl_text_get(&begin), begin.size) != 0 ||
        !strstr(tl_error_text(error), words))
        fail_msg("expected '%s' at %s, found: %s", words, place, tl_error_text(error));
    tl_text_free(&begin);
}

static void refuse(const char* text, const char* place, const char* words) {
    refuse_bytes(text, strlen(text), place, words);
}

static void stands_at(const tl_yaml* node, size_t line, size_t column) {
    assert_non_null(node);
    assert_int_equal(node->place.line, line);
    assert_int_equal(node->place.column, column);
    assert_ptr_equal(node->place.in, input);
}

static void every_node_has_its_place(void** state) {
    (void)state;
    read_good("a: 1\nb: {c: 2, d: [x, 'y z']}\ne:\n  - f: |\n      g\n");
    assert_int_equal(tree->kind, TL_YAML_MAP);
    assert_int_equal(tree->count, 3);
    stands_at(tree->keys[1], 2, 1);
    stands_at(tl_yaml_get(tree, "a"), 1, 4);
    const tl_yaml* b = tl_yaml_get(tree, "b");
    stands_at(b, 2, 4);
    stands_at(tl_yaml_get(b, "c"), 2, 8);
    const tl_yaml* d = tl_yaml_get(b, "d");
    assert_int_equal(d->kind, TL_YAML_LIST);
    stands_at(d, 2, 14);
    stands_at(d->items[1], 2, 18);
    assert_string_equal(d->items[1]->text, "y z");
    const tl_yaml* f = tl_yaml_get(tl_yaml_get(tree, "e")->items[0], "f");
    assert_string_equal(f->text, "g\n");
    assert_null(tl_yaml_get(tree, "x"));
    assert_null(tl_yaml_get(d, "x"));
}

// Columns are bytes, so that a caret can be put below characters of any size.
static void places_behind_other_characters(void** state) {
    (void)state;
    read_good("a: {\"\u00e9\u266f\": 1,\tb: 2}\r\nc: 3\r\n");
    const tl_yaml* a = tl_yaml_get(tree, "a");
    stands_at(a->keys[0], 1, 5);
    stands_at(a->items[0], 1, 14);
    stands_at(a->items[1], 1, 20);
    stands_at(tl_yaml_get(tree, "c"), 2, 4);
    read_good("# \u2028 breaks no line here\na: \"x\u2029y\"\nb: 2\n");
    stands_at(tl_yaml_get(tree, "b"), 3, 4);
    refuse("\u00e9\u00e9: [x, }\n", "1:11", "YAML: ");
    refuse("a: {\u00e9: 1, b: &x 1}\n", "1:15", "an anchor ('&')");
}

// A value that was forgotten is reported at its key.
static void empty_values_stand_at_their_key(void** state) {
    (void)state;
    read_good("a: 1\nb:\nc:\n  d:\n  e: {f: , g}\n");
    stands_at(tl_yaml_get(tree, "b"), 2, 1);
    const tl_yaml* c = tl_yaml_get(tree, "c");
    stands_at(tl_yaml_get(c, "d"), 4, 3);
    stands_at(tl_yaml_get(tl_yaml_get(c, "e"), "f"), 5, 7);
    stands_at(tl_yaml_get(tl_yaml_get(c, "e"), "g"), 5, 12);
    assert_string_equal(tl_yaml_get(tree, "b")->text, "");
}

static void what_a_rig_needs_not_is_refused(void** state) {
    (void)state;
    refuse("a: 1\nb: 2\na: 3\n", "3:1", "'a' stands here a second time");
    refuse("a: {b: 1, 'b': 2}\n", "1:11", "'b' stands here a second time");
    refuse("a: &x 1\n", "1:4", "an anchor ('&') is not used");
    refuse("a: 1\nb: *x\n", "2:4", "an alias ('*') is not used");
    refuse("a: !!str 1\n", "1:4", "a tag ('!') is not used");
    refuse("a: !python/object 1\n", "1:4", "a tag ('!') is not used");
    refuse("a: !!map {b: 1}\n", "1:4", "a tag ('!') is not used");
    refuse("a: &x\n  - 1\n", "1:4", "an anchor ('&') is not used");
    refuse("a: 1\n---\nb: 2\n", "2:1", "a second document ('---') is not used");
    refuse("? [a]\n: 1\n", "1:3", "a name must be plain words");
    refuse("", "1:1", "there is nothing in it");
    refuse("# only words\n", "1:1", "there is nothing in it");
}

static void what_is_no_yaml_is_refused(void** state) {
    (void)state;
    refuse("a: [1, 2\n", "2:1", "YAML: ");
    refuse("a: b: c\n", "1:5", "YAML: ");
    refuse("a: 'x\n", "1:5", "YAML: ");
    refuse("\ta: 1\n", "1:1", "YAML: ");
    refuse("a: 1\n b: 2\n", "1:4", "YAML: ");
    refuse("a: @b\n", "1:4", "YAML: ");
}

// The YAML library cuts a value at a NUL and passes control characters on.
static void bytes_that_are_no_text_are_refused(void** state) {
    (void)state;
    refuse_bytes("a: x\0y\n", 7, "1:5", "a control character, or broken UTF-8");
    refuse_bytes("a: 1\n# \0\n", 9, "2:3", "a control character, or broken UTF-8");
    refuse("a: \"x\\0y\"\n", "1:4", "NUL");
    refuse("a: \x1b[2J\n", "1:4", "a control character");
    refuse("a: \xc2\x9b\n", "1:4", "a control character");
    refuse("a: b\x7f\n", "1:5", "a control character");
    refuse("a: \xff\xfe\n", "1:4", "broken UTF-8");
    refuse("a: \xc0\xaf\n", "1:4", "broken UTF-8");
    refuse("a: \xed\xa0\x80\n", "1:4", "broken UTF-8");
    refuse("a: 1\nb: \xc3", "2:4", "broken UTF-8");
    refuse("\x1f\x8b\x08", "1:1", "a control character");
    read_good("\ufeff" // a byte order mark is allowed
              "a: caf\u00e9 \u202e\n");
}

static char* repeat(const char* words, size_t times, size_t* size) {
    tl_text text = {0};
    for (size_t i = 0; i < times; i++)
        tl_text_add(&text, words);
    *size = text.size;
    return tl_text_take(&text);
}

static void deep_nesting_is_refused(void** state) {
    (void)state;
    static const char* const nests[] = {"[", "{a: ", "- ", "? "};
    for (size_t i = 0; i < sizeof nests / sizeof *nests; i++) {
        size_t size = 0;
        char* text = repeat(nests[i], 10000, &size);
        assert_int_equal(read_bytes(text, size), TL_BAD_INPUT);
        free(text);
    }
    size_t size = 0;
    char* text = repeat("[", 61, &size);
    refuse(text, "1:61", "nested deeper than 60 levels");
    free(text);
}

// Names are compared pair by pair: without a limit a file of 1 MB would take minutes.
static void a_mapping_of_very_many_names_is_refused(void** state) {
    (void)state;
    tl_text text = {0};
    tl_text_add(&text, "{a");
    for (int i = 0; text.size < 1000000; i++)
        tl_text_addf(&text, ",k%x", i);
    const clock_t before = clock();
    refuse(tl_text_get(&text), "1:9727", "more than 2000 names in one mapping");
    assert_true(clock() - before < 10 * CLOCKS_PER_SEC);
    tl_text_free(&text);
}

static void a_piece_keeps_its_columns(void** state) {
    (void)state;
    read_good("a: 1"); // makes no use of the pieces below
    tl_input* word = tl_input_new("--vary", "amp={resistance: 1 Mohm},tube", 29);
    tl_yaml* piece = NULL;
    assert_int_equal(tl_yaml_read_piece(word, 4, 24, &piece, error), TL_OK);
    assert_int_equal(piece->kind, TL_YAML_MAP);
    assert_int_equal(piece->place.column, 5);
    assert_int_equal(piece->items[0]->place.column, 18);
    assert_string_equal(piece->items[0]->text, "1 Mohm");
    tl_yaml_free(piece);
    assert_int_equal(tl_yaml_read_piece(word, 25, 29, &piece, error), TL_OK);
    assert_string_equal(piece->text, "tube");
    tl_yaml_free(piece);
    assert_int_equal(tl_yaml_read_piece(word, 4, 10, &piece, error), TL_BAD_INPUT);
    assert_null(piece);
    assert_non_null(strstr(tl_error_text(error), "--vary:1:"));
    tl_input_free(word);
}

static void kinds_and_switches(void** state) {
    (void)state;
    read_good("a: yes\nb: no\nc: 'true'\nd: false\ne: on\nf: [yes]\n");
    static const bool ons[] = {true, false, true, false};
    bool on = false;
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(tl_yaml_switch(tree->items[i], &on, error), TL_OK);
        assert_int_equal(on, ons[i]);
    }
    assert_int_equal(tl_yaml_switch(tree->items[4], &on, error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "'on': expected yes or no"));
    assert_int_equal(tl_yaml_switch(tree->items[5], &on, error), TL_BAD_INPUT);
    assert_int_equal(tl_yaml_expect(tree, TL_YAML_MAP, "a rig", error), TL_OK);
    assert_int_equal(tl_yaml_expect(tree, TL_YAML_LIST, "a rig", error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "a rig: expected a list"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_node_has_its_place),
        cmocka_unit_test(places_behind_other_characters),
        cmocka_unit_test(empty_values_stand_at_their_key),
        cmocka_unit_test(what_a_rig_needs_not_is_refused),
        cmocka_unit_test(what_is_no_yaml_is_refused),
        cmocka_unit_test(bytes_that_are_no_text_are_refused),
        cmocka_unit_test(deep_nesting_is_refused),
        cmocka_unit_test(a_mapping_of_very_many_names_is_refused),
        cmocka_unit_test(a_piece_keeps_its_columns),
        cmocka_unit_test(kinds_and_switches),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

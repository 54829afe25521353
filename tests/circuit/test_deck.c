// SPDX-License-Identifier: GPL-3.0-or-later
// Decks: numbers only for the workers, and for people comments that no program takes for commands.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/text.h"
#include "circuit/circuit.h"

#include <cmocka.h>
#include <regex.h>
#include <stdio.h>

static tl_library* library;
static tl_error* error;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return tl_library_open(NULL, &library, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_library_free(library);
    tl_error_free(error);
    return 0;
}

static tl_rig* rig_from(const char* text) {
    tl_rig* rig = rig_of(library, text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    return rig;
}

static tl_rig* demo(const char* name) {
    char* path = tl_printf("%s/models/rigs/%s.yaml", TL_SOURCE_DIR, name);
    tl_rig* rig = NULL;
    if (tl_rig_read(library, path, &rig, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    free(path);
    return rig;
}

static const char* const demos[] = {"long-cable", "buffered-board", "fuzz-first", "two-amps"};
enum { DEMOS = sizeof demos / sizeof *demos };

#define NUMBER "-?[0-9][0-9.]*(e[-+][0-9]+)?"
#define ELEMENT                                                                                    \
    "([rlc][0-9]+ [0-9]+ [0-9]+ " NUMBER "|v[0-9]+ [0-9]+ [0-9]+ dc 0 ac " NUMBER                  \
    "|e[0-9]+ [0-9]+ 0 [0-9]+ 0 " NUMBER ")"

// Checks every line against a pattern of which it must be all.
static void each_line(const char* text, const char* pattern, const char* what) {
    regex_t good;
    char* all = tl_printf("^(%s)$", pattern);
    assert_int_equal(regcomp(&good, all, REG_EXTENDED | REG_NOSUB), 0);
    free(all);
    while (*text) {
        const size_t size = strcspn(text, "\n");
        char* line = tl_printf("%.*s", (int)size, text);
        if (regexec(&good, line, 0, NULL, 0) != 0)
            fail_msg("%s: '%s'", what, line);
        free(line);
        text += size + (text[size] == '\n');
    }
    regfree(&good);
}

static void a_workers_deck_holds_numbers_only(void** state) {
    (void)state;
    for (size_t k = 0; k < DEMOS; k++) {
        tl_rig* rig = demo(demos[k]);
        tl_circuit* circuit = tl_circuit_build(rig);
        tl_deck* deck = tl_circuit_deck(circuit, NULL);
        each_line(deck->text, "rig|\\.options noopac|\\.end|" ELEMENT, "a line of a worker's deck");
        assert_int_equal(strncmp(deck->text, "rig\n", 4), 0); // SPICE takes line 1 for a title
        assert_string_equal(deck->text + strlen(deck->text) - 6, "\n.end\n");
        size_t lines = 0;
        for (const char* at = deck->text; *at; at++)
            lines += *at == '\n';
        assert_int_equal(lines, circuit->element_count + 3);
        assert_int_equal(deck->output_count, circuit->output_count);
        for (size_t i = 0; i < deck->output_count; i++) {
            assert_int_equal(deck->outputs[i].kind, 'n');
            assert_int_equal(deck->outputs[i].number, circuit->outputs[i].node);
        }
        assert_int_equal(deck->varied_count, 0);
        tl_deck_free(deck);
        tl_circuit_free(circuit);
        tl_rig_free(rig);
    }
}

// Elements that are equal in every circuit share a model; those that only happen to be once do not.
static void equal_elements_share(void** state) {
    (void)state;
    static const char* const leads[] = {"100", "200", "150"};
    tl_circuit* circuits[3];
    tl_rig* rigs[3];
    for (size_t i = 0; i < 3; i++) {
        char* text = tl_printf("guitar: {source: {output: {resistance: 1 kohm}}}\n"
                               "chain: [{cable: {capacitance: %s pF/m, resistance: 1 ohm/m}, "
                               "length: 1 m}]\namp: {resistance: 1 Mohm}\n"
                               "direct: [{cable: {capacitance: 100 pF/m, resistance: 1 ohm/m}, "
                               "length: 1 m}]\n",
                               leads[i]);
        rigs[i] = rig_from(text);
        circuits[i] = tl_circuit_build(rigs[i]);
        free(text);
    }
    const tl_circuit* first = circuits[0];
    bool* varied = tl_new(first->element_count, sizeof *varied);
    size_t caps[4] = {0};
    size_t count = 0;
    for (size_t i = 0; i < first->element_count; i++)
        if (first->elements[i].kind == 'c' && count < 4) {
            varied[i] = true;
            caps[count++] = i;
        }
    assert_int_equal(count, 4); // both ends of both leads, all equal in the first circuit
    size_t* same = tl_circuit_alike(circuits, 3, varied);
    assert_int_equal(same[caps[0]], caps[0]);
    assert_int_equal(same[caps[1]], caps[0]);
    assert_int_equal(same[caps[2]], caps[2]);
    assert_int_equal(same[caps[3]], caps[2]);
    tl_deck* deck = tl_circuit_deck_shared(first, varied, same);
    assert_int_equal(deck->varied_count, 2);
    assert_int_equal(deck->varied[0].kind, 'C');
    assert_int_equal(deck->varied[0].number, caps[0] + 1);
    each_line(deck->text,
              "rig|\\.options noopac|\\.end|" ELEMENT "|c[0-9]+ [0-9]+ [0-9]+ same[0-9]+"
              "|\\.model same[0-9]+ c\\(cap=" NUMBER "\\)",
              "a line of a deck with models");
    tl_deck_free(deck);
    free(same);
    free(varied);
    for (size_t i = 0; i < 3; i++) {
        tl_circuit_free(circuits[i]);
        tl_rig_free(rigs[i]);
    }
}

// What varies is named by letter and number, in order; values keep all their digits.
static void varied_elements_are_named(void** state) {
    (void)state;
    tl_rig* rig = rig_from("guitar: {source: {output: {resistance: 1 kohm}}}\n"
                           "chain: [{cable: {capacitance: 33 pF/ft}, length: 6 m}]\n"
                           "amp: {resistance: 1 Mohm}\n");
    tl_circuit* circuit = tl_circuit_build(rig); // v r c r ...
    bool varied[16] = {false, true, true};
    assert_true(circuit->element_count <= 16);
    tl_deck* deck = tl_circuit_deck(circuit, varied);
    tl_deck* again = tl_circuit_deck(circuit, varied);
    assert_int_equal(deck->varied_count, 2);
    assert_int_equal(deck->varied[0].kind, 'r');
    assert_int_equal(deck->varied[0].number, 2);
    assert_int_equal(deck->varied[1].kind, 'c');
    assert_int_equal(deck->varied[1].number, 3);
    assert_true(deck->id != again->id);
    const char* line = strstr(deck->text, "\nc3 2 0 ");
    assert_non_null(line);
    assert_true(strtod(line + 8, NULL) == circuit->elements[2].value);
    tl_deck_free(deck);
    tl_deck_free(again);
    tl_deck_free(NULL);
    tl_circuit_free(circuit);
    tl_rig_free(rig);
}

static void exported_is_safe(tl_rig* rig) {
    tl_circuit* circuit = tl_circuit_build(rig);
    char* text = tl_circuit_export(circuit, rig);
    for (const char* at = text; *at; at++)
        if (!(*at == '\n' || (*at >= ' ' && *at <= '~')))
            fail_msg("byte %02x in an exported deck", (unsigned)(unsigned char)*at);
    each_line(text,
              "\\* rig and direct, written by toneload [0-9.]+|\\* \\| .*|" ELEMENT
              "|\\.print ac( vr\\([0-9]+\\) vi\\([0-9]+\\))+|\\.ac dec 75 10 100k|\\.end",
              "a line of an exported deck");
    assert_null(strstr(text, "\n*#")); // a line that begins so is run by ngspice
    const char* print = strstr(text, "\n.print ac vr(");
    assert_non_null(print);
    assert_true(strstr(text, "\n.ac dec 75 10 100k\n.end\n") > print); // as gnucap needs it
    // Each node is in the table, each output too.
    for (size_t i = 1; i < circuit->node_count; i++) {
        char* words =
            tl_printf("\n* | node %zu = %s: ", i, circuit->nodes[i].direct ? "direct" : "rig");
        assert_non_null(strstr(text, words));
        free(words);
    }
    for (size_t i = 0; i < circuit->output_count; i++) {
        char* words =
            tl_printf("\n* | output: %u = %s, %s\n", circuit->outputs[i].node,
                      circuit->outputs[i].direct ? "direct" : "rig", circuit->outputs[i].amp);
        assert_non_null(strstr(text, words));
        free(words);
    }
    free(text);
    tl_circuit_free(circuit);
}

static void exported_decks_are_safe(void** state) {
    (void)state;
    for (size_t k = 0; k < DEMOS; k++) {
        tl_rig* rig = demo(demos[k]);
        exported_is_safe(rig);
        tl_rig_free(rig);
    }
}

// Titles are free text. None of these may begin a line, end the comment or leave ASCII.
static void hostile_titles_stay_in_their_comment(void** state) {
    (void)state;
    static const char* const titles[] = {
        "*# shell touch pwned",
        "# shell touch pwned",
        "`touch pwned`",
        "$(touch pwned)",
        ".control",
        ".end",
        ".include /etc/passwd",
        "; shell id",
        "$ comment",
        "+ continued",
        "caf\u00e9 \u266f",
        "%s%n%d",
        "\\n.control\\nshell id",
        "r1 1 0 1",
        "{}@'\\\"",
    };
    for (size_t i = 0; i < sizeof titles / sizeof *titles; i++) {
        tl_text yaml = {0};
        tl_text_add(&yaml, "rig: '");
        for (const char* at = titles[i]; *at; at++)
            tl_text_add_bytes(&yaml, *at == '\'' ? "''" : at, *at == '\'' ? 2 : 1);
        tl_text_add(&yaml, "'\nguitar: {pickup: single-coil}\n"
                           "chain: [{cable: standard-coax, length: 6 m},"
                           " {pedal: booster, name: shell, engaged: yes}]\namp: tube-input\n");
        tl_rig* rig = rig_from(tl_text_get(&yaml));
        assert_string_equal(tl_rig_title(rig), titles[i]);
        exported_is_safe(rig);
        tl_text ascii = {0};
        tl_text_add(&ascii, "\n* | rig: ");
        tl_text_add_ascii(&ascii, titles[i]);
        tl_text_add(&ascii, "\n");
        tl_circuit* circuit = tl_circuit_build(rig);
        char* text = tl_circuit_export(circuit, rig);
        assert_non_null(strstr(text, tl_text_get(&ascii)));
        assert_non_null(strstr(text, "chain[1].pedal (shell), "));
        free(text);
        tl_circuit_free(circuit);
        tl_text_free(&ascii);
        tl_text_free(&yaml);
        tl_rig_free(rig);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_workers_deck_holds_numbers_only),
        cmocka_unit_test(equal_elements_share),
        cmocka_unit_test(varied_elements_are_named),
        cmocka_unit_test(exported_decks_are_safe),
        cmocka_unit_test(hostile_titles_stay_in_their_comment),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

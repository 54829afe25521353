// SPDX-License-Identifier: GPL-3.0-or-later
// What a study adds to a rig's circuit: sources and elements in front of items, a guitar that is
// silent, and noise that parts state. Worked out by hand from what a rig file means.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/text.h"
#include "circuit/circuit.h"

#include <cmocka.h>
#include <math.h>

static tl_library* library;
static tl_error* error;

#define LEAD(pf) "{cable: {capacitance: " pf " pF/m}, length: 1 m}"
#define BUFFER(noise)                                                                              \
    "{buffer: {input: {resistance: 2 Mohm}, output: {resistance: 100 ohm}" noise "}}"
#define RIG(chain, amp)                                                                            \
    "guitar: {source: {output: {resistance: 1 kohm}}}\nchain: [" chain "]\n" amp                   \
    "direct: [" LEAD("500") "]\n"
#define AMP "amp: {resistance: 1 Mohm}\n"

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

/// Elements as lines; a resistor without noise is a 'q'.
static char* words_of(const tl_circuit* circuit) {
    tl_text words = {0};
    for (size_t i = 0; i < circuit->element_count; i++) {
        const tl_element* e = &circuit->elements[i];
        tl_text_addf(&words, "%c %u %u ", e->makes == TL_MAKES_NONE ? 'q' : e->kind, e->a, e->b);
        if (e->kind == 'e' || e->kind == 'g')
            tl_text_addf(&words, "%u ", e->control);
        tl_text_addf(&words, "%.6g\n", e->value);
    }
    for (size_t i = 0; i < circuit->output_count; i++)
        tl_text_addf(&words, "%s %u\n", circuit->outputs[i].direct ? "direct" : "rig",
                     circuit->outputs[i].node);
    return tl_text_take(&words);
}

static void becomes(const char* text, const tl_circuit_extras* extras, const char* expected) {
    tl_rig* rig = rig_from(text);
    tl_circuit* circuit = tl_circuit_build_extended(rig, extras);
    char* words = words_of(circuit);
    assert_string_equal(words, expected);
    free(words);
    tl_circuit_free(circuit);
    tl_rig_free(rig);
}

/// Counts the items it is asked about; at item `at` it puts 1 V in series.
typedef struct {
    const tl_item* items[32];
    size_t count;
    const tl_item* at;
} visitor;

static tl_node visit(void* context, const tl_item* item, const tl_sink* sink, tl_node in) {
    visitor* v = context;
    assert_true(v->count < 32);
    v->items[v->count++] = item;
    if (item != v->at)
        return in;
    tl_node out = tl_sink_node(sink, "behind the disturbance");
    sink->element(sink->context, 'v', out, in, 1);
    return out;
}

static void a_source_stands_in_front_of_an_item(void** state) {
    (void)state;
    tl_rig* rig = rig_from(RIG(LEAD("100") ", " BUFFER("") ", " LEAD("300"), AMP));
    visitor v = {.at = &rig->main.chain.items[2]};
    const tl_circuit_extras extras = {.context = &v, .before = visit, .silent = true};
    tl_circuit* circuit = tl_circuit_build_extended(rig, &extras);
    char* words = words_of(circuit);
    assert_string_equal(words, "v 1 0 0\n" // the guitar is silent, and still a way to ground
                               "r 1 2 1000\n"
                               "c 2 0 1e-10\n"
                               "r 2 0 2e+06\n"
                               "e 3 0 2 1\n"
                               "r 3 4 100\n"
                               "v 5 4 1\n"
                               "c 5 0 3e-10\n"
                               "r 5 0 1e+06\n"
                               "rig 5\n");
    assert_int_equal(v.count, 3);
    for (size_t i = 0; i < 3; i++)
        assert_ptr_equal(v.items[i], &rig->main.chain.items[i]);
    for (size_t i = 0; i < circuit->element_count; i++) {
        const tl_element* element = &circuit->elements[i];
        assert_int_equal(element->part == NULL, element->kind == 'v' && element->value == 1);
    }
    free(words);
    tl_circuit_free(circuit);
    tl_rig_free(rig);
}

// Loops that are off are out of the path; branches are in it, and the direct line-up never is.
static void only_what_the_signal_passes_is_asked_about(void** state) {
    (void)state;
    tl_rig* rig = rig_from(
        "guitar: {source: {output: {resistance: 1 kohm}}}\n"
        "chain:\n  - " LEAD("100") "\n"
                                   "  - loop: {name: a, engaged: no, chain: [" LEAD(
                                       "200") "]}\n"
                                              "  - loop: {name: b, engaged: yes, chain: [" LEAD(
                                                  "200") "]}\n"
                                                         "  - split: [{name: l, chain: [" LEAD(
                                                             "300") "], amp: {resistance: 1 Mohm}},"
                                                                    " {name: r, chain: [" LEAD(
                                                                        "400") "], end: open}]\n"
                                                                               "direct: [" LEAD(
                                                                                   "500") "]\n");
    visitor v = {0};
    const tl_circuit_extras extras = {.context = &v, .before = visit, .direct = true};
    tl_circuit_free(tl_circuit_build_extended(rig, &extras));
    const tl_item* items = rig->main.chain.items;
    const tl_item* expected[] = {&items[0],
                                 &items[1],
                                 &items[2],
                                 &items[2].loop.items[0],
                                 &items[3],
                                 &items[3].branches[0].chain.items[0],
                                 &items[3].branches[1].chain.items[0]};
    assert_int_equal(v.count, sizeof expected / sizeof *expected);
    for (size_t i = 0; i < v.count; i++)
        assert_ptr_equal(v.items[i], expected[i]);
    tl_rig_free(rig);
}

#define NOISE ", noise: {voltage: 4.0713715 nV/rtHz, current: 8.142743 pA/rtHz, corner: 50 Hz}"

// A kilohm makes sqrt(4 k T 1000) = 4.071 nV/rtHz at 300.15 K: gain 1, and 2e-3 S.
static void stated_noise_takes_the_place_of_the_input_resistances(void** state) {
    (void)state;
    const tl_circuit_extras noisy = {.noise = true};
    const tl_circuit_extras plain = {0};
    const char* text = RIG(LEAD("100") ", " BUFFER(NOISE), AMP);
    becomes(text, &noisy,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "c 2 0 1e-10\n"
            "q 2 0 2e+06\n"
            "r 3 0 1000\n"
            "g 0 2 3 0.002\n"
            "r 4 0 1000\n"
            "e 5 2 4 1\n"
            "e 6 0 5 1\n"
            "r 6 7 100\n"
            "r 7 0 1e+06\n"
            "rig 7\n");
    becomes(text, &plain,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "c 2 0 1e-10\n"
            "r 2 0 2e+06\n"
            "e 3 0 2 1\n"
            "r 3 4 100\n"
            "r 4 0 1e+06\n"
            "rig 4\n");
}

// An amp's is read behind its stopper; what hangs on the line though it is off makes current only.
static void an_amp_and_a_loaded_bypass_make_noise_too(void** state) {
    (void)state;
    const tl_circuit_extras noisy = {.noise = true};
    becomes(RIG("{pedal: {bypass: loaded-bypass, input: {resistance: 2 Mohm}, output: {resistance: "
                "100 ohm}" NOISE "}, engaged: no}",
                "amp: {resistance: 1 Mohm, stopper: 68 kohm, grid: 100 pF" NOISE "}\n"),
            &noisy,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "q 2 0 2e+06\n"
            "r 3 0 1000\n"
            "g 0 2 3 0.002\n"
            "q 2 0 1e+06\n"
            "r 4 0 1000\n"
            "g 0 2 4 0.002\n"
            "r 2 5 68000\n"
            "c 5 0 1e-10\n"
            "r 6 0 1000\n"
            "e 7 5 6 1\n"
            "rig 7\n");
}

// A part may state that it makes none, and a node that only a capacitor reaches is tied silently.
static void silence_can_be_stated(void** state) {
    (void)state;
    const tl_circuit_extras noisy = {.noise = true};
    becomes(
        RIG("{buffer: {input: {resistance: 2 Mohm}, output: {resistance: 0 ohm, coupling: 1 uF},"
            " noise: {voltage: 0 nV/rtHz, current: 0 pA/rtHz}}}, {contact: {resistance: 5 ohm}}",
            "amp: {resistance: 1 Mohm}\n"),
        &noisy,
        "v 1 0 1\n"
        "r 1 2 1000\n"
        "q 2 0 2e+06\n"
        "e 3 0 2 1\n"
        "c 3 4 1e-06\n"
        "r 4 5 5\n"
        "r 5 0 1e+06\n"
        "rig 5\n");
    becomes("guitar: {source: {output: {resistance: 1 kohm, coupling: 1 uF}}}\n"
            "chain: [{contact: {resistance: 5 ohm}}, {buffer: ideal-buffer}]\n" AMP,
            &noisy,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "c 2 3 1e-06\n"
            "r 3 4 5\n"
            "q 4 0 1e+07\n"
            "e 5 0 4 1\n"
            "r 5 6 1\n"
            "r 6 0 1e+06\n"
            "rig 6\n");
}

static void refused(const char* noise, const char* expected) {
    char* text =
        tl_printf(RIG("{buffer: {input: {resistance: 2 Mohm}, output: {resistance: 100 ohm},"
                      " noise: {%s}}}",
                      AMP),
                  noise);
    assert_null(rig_of(library, text, error));
    if (!strstr(tl_error_text(error), expected) || !strstr(tl_error_text(error), ":2:"))
        fail_msg("no '%s' in: %s", expected, tl_error_text(error));
    free(text);
}

static void half_a_statement_is_refused(void** state) {
    (void)state;
    refused("voltage: 5 nV/rtHz", "both 'voltage' and 'current'");
    refused("current: 5 pA/rtHz", "both 'voltage' and 'current'");
    refused("corner: 5 Hz", "a corner needs");
    refused("current_corner: 5 Hz", "a corner needs");
    refused("voltage: 5 nV, current: 1 pA/rtHz", "nV/rtHz");
    refused("voltage: -5 nV/rtHz, current: 1 pA/rtHz", "noise.voltage");
    refused("voltage: 5 nV/rtHz, current: 1 nV/rtHz", "pA/rtHz");
    refused("voltage: 5 nV/rtHz, curent: 1 pA/rtHz", "did you mean 'current'");
    refused("voltage: 5 V/rtHz, current: 1 pA/rtHz", "noise.voltage");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_source_stands_in_front_of_an_item),
        cmocka_unit_test(only_what_the_signal_passes_is_asked_about),
        cmocka_unit_test(stated_noise_takes_the_place_of_the_input_resistances),
        cmocka_unit_test(an_amp_and_a_loaded_bypass_make_noise_too),
        cmocka_unit_test(silence_can_be_stated),
        cmocka_unit_test(half_a_statement_is_refused),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

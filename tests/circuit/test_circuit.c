// SPDX-License-Identifier: GPL-3.0-or-later
// From a rig to nodes and elements, worked out by hand from what a rig file means. Parts here are
// chosen to be few elements each: a guitar that is a bare source (v, r), cables without resistance.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/text.h"
#include "circuit/circuit.h"
#include "parts/kinds.h"
#include "rig/path.h"

#include <cmocka.h>
#include <math.h>
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

#define SOURCE "guitar: {source: {output: {resistance: 1 kohm}}}\n"
#define COIL(henry) "{inductance: " henry " H, resistance: 6 kohm, capacitance: 100 pF}"
#define LEAD(pf) "{cable: {capacitance: " pf " pF/m}, length: 1 m}"
#define AMP "amp: {resistance: 1 Mohm}\n"
#define DIRECT "direct: [" LEAD("500") "]\n"
#define BUFFER "input: {resistance: 2 Mohm}, output: {resistance: 100 ohm, coupling: 1 uF}"

static tl_rig* rig_from(const char* text) {
    tl_rig* rig = rig_of(library, text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    return rig;
}

static tl_circuit* circuit_from(const char* text) {
    tl_rig* rig = rig_from(text);
    tl_circuit* circuit = tl_circuit_build(rig);
    for (size_t i = 0; i < circuit->node_count; i++)
        circuit->nodes[i].part = NULL; // the rig goes now
    tl_rig_free(rig);
    return circuit;
}

static char* words_of(const tl_circuit* circuit) {
    tl_text words = {0};
    for (size_t i = 0; i < circuit->element_count; i++) {
        const tl_element* e = &circuit->elements[i];
        tl_text_addf(&words, "%c %u %u ", e->kind, e->a, e->b);
        if (e->kind == 'e')
            tl_text_addf(&words, "%u ", e->control);
        tl_text_addf(&words, "%.9g\n", e->value);
    }
    for (size_t i = 0; i < circuit->output_count; i++)
        tl_text_addf(&words, "%s %s %u\n", circuit->outputs[i].amp,
                     circuit->outputs[i].direct ? "direct" : "rig", circuit->outputs[i].node);
    return tl_text_take(&words);
}

static void becomes(const char* text, const char* words) {
    tl_circuit* circuit = circuit_from(text);
    char* found = words_of(circuit);
    assert_string_equal(found, words);
    free(found);
    tl_circuit_free(circuit);
}

// Of the kind, and (when `value` is not 0) of the value.
static size_t count_of(const tl_circuit* circuit, char kind, double value) {
    size_t count = 0;
    for (size_t i = 0; i < circuit->element_count; i++)
        count += circuit->elements[i].kind == kind &&
                 (value == 0 || fabs(circuit->elements[i].value - value) <= 1e-9 * fabs(value));
    return count;
}

static void rig_and_direct_stand_side_by_side(void** state) {
    (void)state;
    becomes("guitar: {pickup: " COIL(
                "2") ", volume: {pot: 250 kohm, taper: linear, position: 60 %},"
                     " tone: {pot: 100 kohm, taper: linear, capacitor: 22 nF, position: 100 %}}\n"
                     "chain: [" LEAD("600") "]\n" AMP DIRECT,
            "v 1 0 1\n"
            "l 1 2 2\n"
            "r 2 3 6000\n"
            "c 3 0 1e-10\n"
            "r 3 4 100000\n"
            "r 4 0 150000\n"
            "r 3 5 100000\n" // the tone hangs on the pickup
            "c 5 0 2.2e-08\n"
            "c 4 0 6e-10\n"
            "r 4 0 1000000\n"
            "v 6 0 1\n"
            "l 6 7 2\n"
            "r 7 8 6000\n"
            "c 8 0 1e-10\n"
            "r 8 9 100000\n"
            "r 9 0 150000\n"
            "r 8 10 100000\n"
            "c 10 0 2.2e-08\n"
            "c 9 0 5e-10\n"
            "r 9 0 1000000\n"
            "amp rig 4\n"
            "amp direct 9\n");
}

static void a_tone_may_join_the_wiper(void** state) {
    (void)state;
    becomes("guitar: {source: {output: {resistance: 1 kohm}},"
            " volume: {pot: 250 kohm, taper: linear, position: 60 %},"
            " tone: {pot: 100 kohm, taper: linear, capacitor: 22 nF, position: 100 %,"
            " joins: wiper}}\nchain: [" LEAD("600") "]\n" AMP DIRECT,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "r 2 3 100000\n"
            "r 3 0 150000\n"
            "r 3 4 100000\n"
            "c 4 0 2.2e-08\n"
            "c 3 0 6e-10\n"
            "r 3 0 1000000\n"
            "v 5 0 1\n"
            "r 5 6 1000\n"
            "r 6 7 100000\n"
            "r 7 0 150000\n"
            "r 7 8 100000\n"
            "c 8 0 2.2e-08\n"
            "c 7 0 5e-10\n"
            "r 7 0 1000000\n"
            "amp rig 3\n"
            "amp direct 7\n");
}

#define DIRECT_WORDS(v, r, n)                                                                      \
    "v " v " 0 1\n"                                                                                \
    "r " v " " r " 1000\n"                                                                         \
    "c " r " 0 5e-10\n"                                                                            \
    "r " r " 0 1000000\n" n

static void a_volume_at_full_is_a_wire(void** state) {
    (void)state;
    becomes(SOURCE "chain: [{pot: {pot: 250 kohm, taper: audio, position: 100 %}}]\n" AMP DIRECT,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "r 2 0 250000\n"
            "r 2 0 1000000\n" DIRECT_WORDS("3", "4", "amp rig 2\namp direct 4\n"));
}

// The tuner's lead loads the pot's input, not its wiper; an open end adds nothing.
static void a_tuner_hangs_at_the_pots_input(void** state) {
    (void)state;
    becomes(SOURCE
            "chain: [{pot: {pot: 100 kohm, taper: linear, position: 50 %,"
            " tuner-out: {chain: [" LEAD("300") "], end: {resistance: 3 Mohm}}}}]\n" AMP DIRECT,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "c 2 0 3e-10\n"
            "r 2 0 3000000\n"
            "r 2 3 50000\n"
            "r 3 0 50000\n"
            "r 3 0 1000000\n" DIRECT_WORDS("4", "5", "amp rig 3\namp direct 5\n"));
    becomes(SOURCE "chain: [{pot: {pot: 100 kohm, taper: linear, position: 50 %,"
                   " tuner-out: {chain: [" LEAD("300") "], end: open}}}]\n" AMP DIRECT,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "c 2 0 3e-10\n"
            "r 2 3 50000\n"
            "r 3 0 50000\n"
            "r 3 0 1000000\n" DIRECT_WORDS("4", "5", "amp rig 3\namp direct 5\n"));
}

#define LOOP(engaged)                                                                              \
    SOURCE "chain: [{loop: {engaged: " engaged                                                     \
           ", chain: [" LEAD("100") ", {contact: {resistance: "                                    \
                                    "7 ohm}}, " LEAD("200") "]}}]\n" AMP DIRECT

static void a_loop_that_is_off_is_out_of_the_path(void** state) {
    (void)state;
    becomes(LOOP("yes"), "v 1 0 1\n"
                         "r 1 2 1000\n"
                         "c 2 0 1e-10\n"
                         "r 2 3 7\n"
                         "c 3 0 2e-10\n"
                         "r 3 0 1000000\n" DIRECT_WORDS("4", "5", "amp rig 3\namp direct 5\n"));
    becomes(LOOP("no"), "v 1 0 1\n"
                        "r 1 2 1000\n"
                        "r 2 0 1000000\n" DIRECT_WORDS("3", "4", "amp rig 2\namp direct 4\n"));
}

static void a_loaded_bypass_still_hangs_on_the_wire(void** state) {
    (void)state;
    becomes(SOURCE "chain: [{pedal: {bypass: loaded-bypass, " BUFFER
                   "}, engaged: no}]\n" AMP DIRECT,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "r 2 0 2000000\n"
            "r 2 0 1000000\n" DIRECT_WORDS("3", "4", "amp rig 2\namp direct 4\n"));
    becomes(SOURCE "chain: [{pedal: {bypass: loaded-bypass, " BUFFER
                   "}, engaged: yes}]\n" AMP DIRECT,
            "v 1 0 1\n"
            "r 1 2 1000\n"
            "r 2 0 2000000\n"
            "e 3 0 2 1\n"
            "r 3 4 100\n"
            "c 4 5 1e-06\n"
            "r 5 0 1000000\n" DIRECT_WORDS("6", "7", "amp rig 5\namp direct 7\n"));
}

static void parallel_pickups_share_a_node(void** state) {
    (void)state;
    tl_circuit* circuit = circuit_from("guitar: {pickups: [" COIL("2") ", " COIL("3") ", " COIL(
        "4") "], wiring: parallel}\nchain: [" LEAD("600") "]\n" AMP DIRECT);
    const tl_element* e = circuit->elements;
    assert_int_equal(e[2].kind, 'r'); // of each pickup: v l r
    const tl_node hot = e[2].b;
    static const size_t first[] = {0, 4, 7}; // behind the first the capacitor of all and the cable
    for (size_t i = 0; i < 3; i++) {
        const tl_element* coil = &e[first[i]];
        assert_int_equal(coil[0].kind, 'v');
        assert_int_equal(coil[0].b, TL_GROUND);
        assert_true(coil[1].value == 2 + (double)i);
        assert_int_equal(coil[2].b, hot);
    }
    assert_int_equal(e[3].kind, 'c');
    assert_int_equal(e[3].a, hot);
    assert_int_equal(e[3].b, TL_GROUND);
    assert_true(fabs(e[3].value - 900e-12) < 1e-21);
    assert_int_equal(circuit->outputs[0].node, hot);
    assert_int_equal(circuit->node_count, 1 + 2 * 7); // ground, and 3 x 2 + 1 a side: no gaps
    tl_circuit_free(circuit);
}

static void series_pickups_are_stacked(void** state) {
    (void)state;
    tl_circuit* circuit = circuit_from("guitar: {pickups: [" COIL("2") ", " COIL(
        "3") "], wiring: "
             "series}\nchain: [" LEAD("600") "]\n" AMP DIRECT);
    char* words = words_of(circuit);
    const char* expected = "v 1 0 1\n"
                           "l 1 2 2\n"
                           "r 2 3 6000\n"
                           "c 3 0 1e-10\n"
                           "v 4 3 1\n"
                           "l 4 5 3\n"
                           "r 5 6 6000\n"
                           "c 6 3 1e-10\n"
                           "c 6 0 6e-10\n"
                           "r 6 0 1000000\n";
    assert_int_equal(strncmp(words, expected, strlen(expected)), 0);
    free(words);
    tl_circuit_free(circuit);
}

// Each amp's rig, then its direct: same guitar, that amp, nothing but `direct`.
static void outputs_come_in_pairs(void** state) {
    (void)state;
    tl_circuit* circuit = circuit_from(
        SOURCE
        "chain:\n- split:\n  - {name: left, amp: {resistance: 1 Mohm}}\n"
        "  - name: right\n    chain:\n    - " LEAD(
            "100") "\n    - split:\n"
                   "      - {name: a, amp: {resistance: 2 Mohm, stopper: 68 kohm, grid: 100 pF}}\n"
                   "      - {name: b, end: {resistance: 5 Mohm}}\n"
                   "      - {name: c, amp: {resistance: 3 Mohm}}\n" DIRECT);
    static const char* const names[] = {"left", "right/a", "right/c"};
    static const double load_ohm[] = {1e6, 2e6, 3e6};
    assert_int_equal(circuit->output_count, 6);
    for (size_t i = 0; i < 6; i++) {
        assert_string_equal(circuit->outputs[i].amp, names[i / 2]);
        assert_int_equal(circuit->outputs[i].direct, i % 2);
    }
    for (size_t i = 0; i < 3; i++)
        assert_int_equal(count_of(circuit, 'r', load_ohm[i]), 2); // in the rig and in its direct
    assert_int_equal(count_of(circuit, 'r', 5e6), 1);             // a tuner has no direct
    assert_int_equal(count_of(circuit, 'v', 0), 4);
    assert_int_equal(count_of(circuit, 'c', 500e-12), 3);     // the direct lead
    assert_int_equal(count_of(circuit, 'c', 100e-12), 1 + 2); // right's lead; two grids
    // All of the rig's amps hang on one node but for the stopper, and load each other.
    assert_int_equal(circuit->outputs[0].node, circuit->outputs[4].node);
    assert_int_not_equal(circuit->outputs[0].node, circuit->outputs[2].node);
    tl_circuit_free(circuit);
}

// What only capacitors reach gets 1e13 ohm to ground, once an island.
static void floating_islands_are_tied_once(void** state) {
    (void)state;
    static const char floating[] =
        SOURCE "chain:\n- {buffer: {" BUFFER "}}\n- split:\n"
               "  - {name: a, amp: {resistance: 1 Mohm}}\n"
               "  - {name: b, end: open, chain: [{buffer: {" BUFFER "}}, {cable: standard-coax,"
               " length: 6 m}, {contact: {resistance: 1 ohm}}]}\n"
               "  - {name: c, end: open, chain: [{buffer: {" BUFFER "}}]}\n" DIRECT;
    tl_circuit* circuit = circuit_from(floating);
    assert_int_equal(count_of(circuit, 'r', TL_FLOATING_OHM), 2); // behind b's and c's coupling
    tl_node tied[2] = {0};
    size_t count = 0;
    for (size_t i = 0; i < circuit->element_count; i++)
        if (circuit->elements[i].kind == 'r' && circuit->elements[i].value == TL_FLOATING_OHM) {
            tied[count++] = circuit->elements[i].a;
            assert_int_equal(circuit->elements[i].b, TL_GROUND);
        }
    assert_int_not_equal(tied[0], tied[1]);
    tl_circuit_free(circuit);
    circuit = circuit_from(SOURCE "chain: [{buffer: {" BUFFER "}}]\n" AMP DIRECT);
    assert_int_equal(count_of(circuit, 'r', TL_FLOATING_OHM), 0); // the amp ties it
    tl_circuit_free(circuit);
}

// Follows what a direct current could take from ground; every node must be reached.
static void every_node_has_an_operating_point(void** state) {
    (void)state;
    static const char* const names[] = {"long-cable", "buffered-board", "fuzz-first", "two-amps"};
    for (size_t k = 0; k < sizeof names / sizeof *names; k++) {
        char* path = tl_printf("%s/models/rigs/%s.yaml", TL_SOURCE_DIR, names[k]);
        tl_rig* rig = NULL;
        assert_int_equal(tl_rig_read(library, path, &rig, error), TL_OK);
        tl_circuit* circuit = tl_circuit_build(rig);
        bool* reached = tl_new(circuit->node_count, sizeof *reached);
        reached[0] = true;
        for (size_t round = 0; round < circuit->node_count; round++)
            for (size_t i = 0; i < circuit->element_count; i++) {
                const tl_element* e = &circuit->elements[i];
                if (e->kind != 'c' && (reached[e->a] || reached[e->b]))
                    reached[e->a] = reached[e->b] = true;
            }
        for (size_t i = 0; i < circuit->node_count; i++)
            assert_true(reached[i]);
        free(reached);
        tl_circuit_free(circuit);
        tl_rig_free(rig);
        free(path);
    }
}

static bool same_shape(const char* one, const char* two) {
    tl_circuit* a = circuit_from(one);
    tl_circuit* b = circuit_from(two);
    const bool same = tl_circuit_same_shape(a, b);
    assert_int_equal(tl_circuit_same_shape(b, a), same);
    tl_circuit_free(a);
    tl_circuit_free(b);
    return same;
}

static void shapes_are_told_apart(void** state) {
    (void)state;
    static const char one[] = SOURCE "chain: [" LEAD("100") "]\n" AMP DIRECT;
    assert_true(same_shape(one, one));
    assert_true(same_shape(one, SOURCE "chain: [" LEAD("900") "]\namp: {resistance: 5 kohm}\n"
                                                              "direct: [" LEAD("20") "]\n"));
    // Capacitors side by side are one, a joint between them makes two.
    assert_true(same_shape(one, SOURCE "chain: [" LEAD("100") ", " LEAD("100") "]\n" AMP DIRECT));
    assert_false(same_shape(
        one, SOURCE
        "chain: [" LEAD("100") ", {contact: {resistance: 1 ohm}}, " LEAD("100") "]\n" AMP DIRECT));
    assert_false(same_shape(
        one, SOURCE
        "chain: [" LEAD("100") "]\n"
                               "amp: {resistance: 1 Mohm, stopper: 9 kohm, grid: 1 pF}\n" DIRECT));
    assert_false(same_shape( // as many elements, otherwise joined
        SOURCE "chain: [{contact: {resistance: 1 ohm}}, " LEAD("100") "]\n" AMP DIRECT,
        SOURCE "chain: [" LEAD("100") ", {contact: {resistance: 1 ohm}}]\n" AMP DIRECT));
    assert_false(same_shape(LOOP("yes"), LOOP("no")));
    assert_false(same_shape( // the same elements, read elsewhere
        SOURCE
        "chain: [{split: [{name: a, amp: {resistance: 1 Mohm}}, {name: b, end: open}]}]\n" DIRECT,
        SOURCE "chain: [{split: [{name: a, amp: {resistance: 1 Mohm}}, {name: b,"
               " amp: {resistance: 1 Mohm}}]}]\n" DIRECT));
}

static tl_rig* clone_with(const tl_rig* rig, const char* path, const char* value) {
    tl_rig* clone = tl_rig_clone(rig);
    tl_input* input = tl_input_new("value", value, strlen(value));
    tl_yaml* tree = NULL;
    tl_target target;
    assert_int_equal(tl_yaml_read(input, &tree, error), TL_OK);
    assert_int_equal(tl_rig_find(clone, path, input, &target, error), TL_OK);
    assert_int_equal(tl_rig_set(clone, &target, tree, error), TL_OK);
    tl_yaml_free(tree);
    tl_input_free(input);
    return clone;
}

// The longest variant of each cable sets its count, so that no sweep jumps.
static void sections_are_those_of_the_longest(void** state) {
    (void)state;
    tl_rig* rig = rig_from("guitar: {pickup: single-coil}\n"
                           "chain: [{cable: long-snake, length: 5 m}, {cable: long-snake, "
                           "length: 30 m}]\namp: tube-input\n");
    tl_rig* clones[] = {clone_with(rig, "chain[0].length", "1 m"),
                        clone_with(rig, "chain[0].length", "200 m"),
                        clone_with(rig, "chain[1].length", "2 m")};
    const unsigned longest = tl_cable_sections(clones[1]->main.chain.items[0].part);
    const unsigned other = tl_cable_sections(rig->main.chain.items[1].part);
    assert_true(longest > tl_cable_sections(clones[0]->main.chain.items[0].part));
    tl_circuit_fix_sections(clones, 3);
    tl_circuit* first = NULL;
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(clones[i]->main.chain.items[0].part->sections, longest);
        assert_int_equal(clones[i]->main.chain.items[1].part->sections, other);
        tl_circuit* circuit = tl_circuit_build(clones[i]);
        assert_true(!first || tl_circuit_same_shape(first, circuit));
        if (first)
            tl_circuit_free(circuit);
        else
            first = circuit;
    }
    tl_circuit_free(first);
    for (size_t i = 0; i < 3; i++)
        tl_rig_free(clones[i]);
    tl_rig_free(rig);
    tl_circuit_fix_sections(NULL, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rig_and_direct_stand_side_by_side),
        cmocka_unit_test(a_tone_may_join_the_wiper),
        cmocka_unit_test(a_volume_at_full_is_a_wire),
        cmocka_unit_test(a_tuner_hangs_at_the_pots_input),
        cmocka_unit_test(a_loop_that_is_off_is_out_of_the_path),
        cmocka_unit_test(a_loaded_bypass_still_hangs_on_the_wire),
        cmocka_unit_test(parallel_pickups_share_a_node),
        cmocka_unit_test(series_pickups_are_stacked),
        cmocka_unit_test(outputs_come_in_pairs),
        cmocka_unit_test(floating_islands_are_tied_once),
        cmocka_unit_test(every_node_has_an_operating_point),
        cmocka_unit_test(shapes_are_told_apart),
        cmocka_unit_test(sections_are_those_of_the_longest),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

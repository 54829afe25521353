// SPDX-License-Identifier: GPL-3.0-or-later
// How a board is measured: what the key says, and the rig that then stands on the bench.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"
#include "circuit/circuit.h"
#include "parts/kinds.h"
#include "rig/rig.h"
#include "rig_text.h"

#include <cmocka.h>
#include <math.h>

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

static const char plain[] = "rig: r\n"
                            "guitar:\n"
                            "  pickup: single-coil\n"
                            "  volume: {pot: 250 kohm, taper: audio, position: 50 %}\n"
                            "chain:\n"
                            "  - cable: {capacitance: 100 pF/m}\n"
                            "    length: 6 m\n";

/// The plain rig with more behind it; fails the test when it does not read.
static tl_rig* good(const char* more) {
    char* text = tl_printf("%s%s", plain, more);
    tl_rig* rig = rig_of(library, text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    free(text);
    return rig;
}

static void is_refused(const char* more, const char* line_column, const char* words) {
    char* text = tl_printf("%samp: {resistance: 1 Mohm}\n%s", plain, more);
    assert_null(rig_of(library, text, error));
    if (!strstr(tl_error_text(error), line_column) || !strstr(tl_error_text(error), words))
        fail_msg("%s", tl_error_text(error));
    free(text);
}

static tl_rig* measured_at(const tl_rig* rig, const char* end) {
    tl_rig* measured = NULL;
    if (tl_measure_rig(rig, end, &measured, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    return measured;
}

static void is_near(double is, double should) {
    if (!(fabs(is - should) <= 1e-12 * fabs(should)))
        fail_msg("%.17g, not %.17g", is, should);
}

static double share(const tl_part* part, const char* field) {
    return tl_part_value(part, field)->tolerance.share;
}

static void nothing_said_is_the_rigs_own_pickup(void** state) {
    (void)state;
    tl_rig* rig = good("amp: {resistance: 1 Mohm, capacitance: 30 pF}\n");
    tl_measure_terms terms = tl_measure_of(rig);
    assert_false(terms.stated || terms.dummy_stated || terms.amp || terms.controls || terms.hz);
    assert_true(terms.generator_assumed && terms.level_assumed && terms.meter_assumed &&
                terms.uncertainty_assumed);
    tl_rig* bench = measured_at(rig, NULL);
    const tl_part* dummy = bench->guitar.voices[0].pickup;
    assert_null(bench->guitar.volume);
    is_near(tl_part_number(dummy, "resistance", 0), 6050);
    is_near(share(dummy, "resistance"), 60.0 / 6050);
    is_near(tl_part_number(dummy, "inductance", 0), 2.4);
    is_near(tl_part_number(dummy, "eddy.resistance", 0), 100e3);
    is_near(share(dummy, "inductance"), 0.01); // not the 7 % of a pickup off the shelf
    is_near(tl_part_number(bench->main.amp, "resistance", 0), 10e6);
    is_near(tl_part_number(bench->main.amp, "capacitance", 0), 20e-12);
    assert_true(rig->guitar.volume && rig->main.amp != bench->main.amp); // the rig is as it was
    is_near(tl_part_number(rig->main.amp, "resistance", 0), 1e6);
    tl_rig_free(bench);
    tl_rig_free(rig);
}

static void what_is_said_is_taken(void** state) {
    (void)state;
    tl_rig* rig = good("amp: {resistance: 1 Mohm, capacitance: 30 pF}\n"
                       "measure:\n"
                       "  dummy: {resistance: 5 kohm +-2 %, inductance: 3 H, capacitance: 90 pF}\n"
                       "  generator: {resistance: 600 ohm +-5 %, level: 1 V}\n"
                       "  meter: {resistance: 1 Mohm, capacitance: 70 pF, uncertainty: 0.1 dB}\n"
                       "  amp: connected\n"
                       "  controls: yes\n"
                       "  frequencies: [100 Hz, 1 kHz, 4 kHz]\n");
    tl_measure_terms terms = tl_measure_of(rig);
    assert_true(terms.stated && terms.dummy_stated && terms.amp && terms.controls);
    assert_false(terms.generator_assumed || terms.meter_assumed || terms.uncertainty_assumed);
    assert_int_equal(terms.hz_count, 3);
    is_near(terms.hz[2], 4000);
    is_near(terms.level_v, 1);
    is_near(terms.uncertainty_db, 0.1);
    tl_rig* bench = measured_at(rig, "amp");
    const tl_part* dummy = bench->guitar.voices[0].pickup;
    assert_non_null(bench->guitar.volume);
    is_near(tl_part_number(dummy, "resistance", 0), 5600);
    is_near(share(dummy, "resistance"), hypot(100, 30) / 5600);
    is_near(share(dummy, "capacitance"), 0.01);
    assert_false(tl_part_has(dummy, "eddy.fraction"));
    is_near(tl_part_number(bench->main.amp, "resistance", 0), 0.5e6); // both across the jack
    is_near(tl_part_number(bench->main.amp, "capacitance", 0), 100e-12);
    is_near(share(bench->main.amp, "capacitance"), 0.06); // 20 % of the amp's 30 pF, none of 70 pF
    tl_rig_free(bench);
    tl_rig_free(rig);
}

/// What an element of a circuit is worth; 0 when there is none of the kind between the nodes.
static double element(const tl_circuit* circuit, char kind, tl_node a, tl_node b) {
    for (size_t i = 0; i < circuit->element_count; ++i)
        if (circuit->elements[i].kind == kind && circuit->elements[i].a == a &&
            circuit->elements[i].b == b)
            return circuit->elements[i].value;
    return 0;
}

static void an_amp_that_stays_is_read_at_its_jack(void** state) {
    (void)state;
    tl_rig* rig = good("amp: {resistance: 1 Mohm, stopper: 68 kohm, grid: 100 pF}\n"
                       "measure: {amp: connected}\n");
    tl_rig* bench = measured_at(rig, NULL);
    tl_circuit* circuit = tl_circuit_build_rig(bench);
    assert_int_equal(circuit->output_count, 1);
    tl_node jack = circuit->outputs[0].node;
    is_near(element(circuit, 'r', jack, TL_GROUND), 1 / (1e-6 + 1e-7));
    tl_node grid = 0; // the stopper still leads from the jack to the grid
    for (size_t i = 0; i < circuit->element_count; ++i)
        if (circuit->elements[i].value == 68e3)
            grid = circuit->elements[i].a == jack ? circuit->elements[i].b : 0;
    assert_true(grid != 0);
    is_near(element(circuit, 'c', grid, TL_GROUND), 100e-12);
    tl_circuit_free(circuit);
    tl_rig_free(bench);
    tl_rig_free(rig);
}

static const char two_ends[] = "  - split:\n"
                               "      - name: left\n"
                               "        chain: [{cable: standard-coax, length: 1 m}]\n"
                               "        amp: {resistance: 1 Mohm}\n"
                               "      - name: right\n"
                               "        chain: [{cable: standard-coax, length: 2 m}]\n"
                               "        amp: {resistance: 470 kohm}\n";

static void one_end_at_a_time(void** state) {
    (void)state;
    tl_rig* rig = good(two_ends);
    char** ends = NULL;
    size_t count = tl_measure_ends(rig, &ends);
    assert_int_equal(count, 2);
    assert_string_equal(ends[0], "left");
    assert_string_equal(ends[1], "right");
    tl_rig* bench = measured_at(rig, "right");
    tl_circuit* circuit = tl_circuit_build_rig(bench);
    assert_int_equal(circuit->output_count, 1); // the left one ends in nothing
    assert_string_equal(circuit->outputs[0].amp, "right");
    is_near(element(circuit, 'r', circuit->outputs[0].node, TL_GROUND), 10e6);
    tl_rig* none = NULL;
    assert_int_equal(tl_measure_rig(rig, "middle", &none, error), TL_BAD_INPUT);
    assert_null(none);
    for (size_t i = 0; i < count; ++i)
        free(ends[i]);
    free(ends);
    tl_circuit_free(circuit);
    tl_rig_free(bench);
    tl_rig_free(rig);
}

static void other_amps_stay_where_amps_are_connected(void** state) {
    (void)state;
    char* text = tl_printf("%smeasure: {amp: connected}\n", two_ends);
    tl_rig* rig = good(text);
    tl_rig* bench = measured_at(rig, "left");
    const tl_item* split = &bench->main.chain.items[1];
    is_near(tl_part_number(split->branches[0].amp, "resistance", 0), 1 / (1e-6 + 1e-7));
    is_near(tl_part_number(split->branches[1].amp, "resistance", 0), 470e3);
    tl_rig_free(bench);
    tl_rig_free(rig);
    free(text);
}

static void no_dummy_is_the_generator_itself(void** state) {
    (void)state;
    tl_rig* rig = good("amp: {resistance: 1 Mohm}\nmeasure: {dummy: none}\n");
    tl_rig* bench = measured_at(rig, NULL);
    assert_int_equal(bench->guitar.voice_count, 0);
    is_near(tl_part_number(bench->guitar.source, "output.resistance", 0), 50);
    tl_rig_free(bench);
    tl_rig_free(rig);
    rig = rig_of(library,
                 "guitar: {source: {output: {resistance: 1 kohm, coupling: 10 uF}}}\n"
                 "chain: [{cable: standard-coax, length: 6 m}]\namp: {resistance: 1 Mohm}\n",
                 error);
    bench = measured_at(rig, NULL);
    is_near(tl_part_number(bench->guitar.source, "output.resistance", 0), 1050);
    is_near(tl_part_number(bench->guitar.source, "output.coupling", 0), 10e-6);
    tl_rig_free(bench);
    tl_rig_free(rig);
}

static void several_pickups_leave_the_first(void** state) {
    (void)state;
    tl_rig* rig = rig_of(library,
                         "guitar:\n"
                         "  pickups: [{pickup: humbucker-medium}, {pickup: single-coil}]\n"
                         "  wiring: series\n"
                         "  tone: {pot: 250 kohm, capacitor: 22 nF, position: 50 %}\n"
                         "chain: [{cable: standard-coax, length: 6 m}]\n"
                         "amp: {resistance: 1 Mohm}\n"
                         "measure: {controls: yes}\n",
                         error);
    tl_rig* bench = measured_at(rig, NULL);
    assert_int_equal(bench->guitar.voice_count, 1);
    is_near(tl_part_number(bench->guitar.voices[0].pickup, "inductance", 0), 4.7);
    assert_null(bench->guitar.wiring);
    assert_non_null(bench->guitar.tone);
    tl_circuit* circuit = tl_circuit_build(bench);
    assert_int_equal(circuit->output_count, 2); // it is a whole rig, direct line-up and all
    tl_circuit_free(circuit);
    tl_rig_free(bench);
    tl_rig_free(rig);
}

static void bad_input_has_its_place(void** state) {
    (void)state;
    is_refused("measure: 5\n", ":9:", "expected");
    is_refused("measure: {generators: 5}\n", ":9:11", "did you mean 'generator'?");
    is_refused("measure: {amp: of}\n", ":9:16", "did you mean 'off'?");
    is_refused("measure: {dummy: single-coyl}\n", ":9:18", "did you mean 'single-coil'?");
    is_refused("measure: {dummy: {resistance: 6 kohm}}\n", ":9:18", "needs 'inductance'");
    is_refused("measure: {dummy: {like: single-coil, follows: first}}\n", ":9:47",
               "follows nothing");
    is_refused("measure: {generator: {level: 100}}\n", ":9:30", "level");
    is_refused("measure: {meter: {resistance: 10 mohm}}\n", ":9:31", "is it 10 Mohm?");
    is_refused("measure: {frequencies: 5 kHz}\n", ":9:24", "frequencies");
    is_refused("measure: {frequencies: []}\n", ":9:24", "expected 1 to 200");
    is_refused("measure: {frequencies: [1 kHz, 1 kHz]}\n", ":9:32", "twice");
    is_refused("measure: {frequencies: [1 kHz, 900 Hz]}\n", ":9:32", "from low to high");
    is_refused("measure: {frequencies: [1 kHz, 2]}\n", ":9:32", "frequencies");
    is_refused("measure: {frequencies: [1 kHz, 2 kHz +-1 %]}\n", ":9:32", "no tolerance");
    is_refused("measure: {frequencies: [1 kHz, 2 MHz]}\n", ":9:32", "not plausible");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_said_is_the_rigs_own_pickup),
        cmocka_unit_test(what_is_said_is_taken),
        cmocka_unit_test(an_amp_that_stays_is_read_at_its_jack),
        cmocka_unit_test(one_end_at_a_time),
        cmocka_unit_test(other_amps_stay_where_amps_are_connected),
        cmocka_unit_test(no_dummy_is_the_generator_itself),
        cmocka_unit_test(several_pickups_leave_the_first),
        cmocka_unit_test(bad_input_has_its_place),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What each kind of part writes into a circuit, element by element. The signal comes in at node 1,
// ground is 0, nodes a part makes count from 2; 'e A B CONTROL GAIN' is an amplifier.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "part_text.h"

#include <cmocka.h>

static tl_library* library;
static tl_error* error;
static recorder notes;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return tl_library_open(NULL, &library, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_text_free(&notes.words);
    tl_library_free(library);
    tl_error_free(error);
    return 0;
}

// The part leaves at node `out` and emits exactly `words`.
static void emits(const tl_part_kind* kind, const char* text, tl_node out, const char* words) {
    tl_part* part = part_of(library, kind, text, error);
    if (!part)
        fail_msg("%s", tl_error_text(error));
    assert_int_equal(record(&notes, part), out);
    assert_string_equal(tl_text_get(&notes.words), words);
    tl_part_free(part);
}

static void refused(const tl_part_kind* kind, const char* text, const char* words) {
    tl_part* part = part_of(library, kind, text, error);
    if (part)
        fail_msg("'%s' was taken", text);
    if (!strstr(tl_error_text(error), words))
        fail_msg("no '%s' in: %s", words, tl_error_text(error));
}

static void pickup(void** state) {
    (void)state;
    emits(&tl_kind_pickup, "{inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}", 4,
          "v 2 0 1\n"
          "l 2 3 2.5\n"
          "r 3 4 6000\n"
          "c 4 0 1.1e-10\n");
    emits(&tl_kind_pickup,
          "{inductance: 2 H, resistance: 6 kohm, capacitance: 110 pF,"
          " eddy: {fraction: 25 %, resistance: 100 kohm}}",
          5,
          "v 2 0 1\n"
          "l 2 3 1.5\n"
          "l 3 4 0.5\n"
          "r 3 4 100000\n"
          "r 4 5 6000\n"
          "c 5 0 1.1e-10\n");
    refused(&tl_kind_pickup,
            "{inductance: 2 H, resistance: 6 kohm, capacitance: 1 nF, eddy: {fraction: 25 %}}",
            "both 'fraction' and 'resistance'");
    refused(&tl_kind_pickup, "{inductance: 2 H, resistance: 6 kohm}", "needs 'capacitance'");
}

static void source(void** state) {
    (void)state;
    emits(&tl_kind_source, "{output: {resistance: 1 kohm, coupling: 10 uF}}", 4,
          "v 2 0 1\n"
          "r 2 3 1000\n"
          "c 3 4 1e-05\n");
    emits(&tl_kind_source, "{output: {resistance: 0 ohm}}", 2, "v 2 0 1\n");
}

// Lower part a * pot, upper part (1 - a) * pot; what comes to 0 ohm is a wire.
static void volume(void** state) {
    (void)state;
    emits(&tl_kind_volume, "{pot: 250 kohm, taper: linear, position: 40 %}", 2,
          "r 1 2 150000\n"
          "r 2 0 100000\n");
    emits(&tl_kind_volume, "{pot: 250 kohm, taper: audio, position: 50 %}", 2,
          "r 1 2 225000\n"
          "r 2 0 25000\n");
    emits(&tl_kind_volume, "{pot: 250 kohm, taper: audio, position: 100 %}", 1, "r 1 0 250000\n");
    emits(&tl_kind_pot, "{pot: 25 kohm, taper: linear, position: 100 %}", 1, "r 1 0 25000\n");
    refused(&tl_kind_volume, "{pot: 250 kohm, taper: audio, position: 0 %}", "no signal");
    refused(&tl_kind_pot, "{pot: 250 kohm, taper: linear, position: 0 %}", "no signal");
}

static void bleed(void** state) {
    (void)state;
    emits(&tl_kind_volume,
          "{pot: 500 kohm, taper: linear, position: 50 %, bleed: {capacitor: 1 nF}}", 2,
          "r 1 2 250000\n"
          "r 2 0 250000\n"
          "c 1 2 1e-09\n");
    emits(&tl_kind_volume,
          "{pot: 500 kohm, taper: linear, position: 50 %,"
          " bleed: {capacitor: 1 nF, resistor: 150 kohm, wiring: parallel}}",
          2,
          "r 1 2 250000\n"
          "r 2 0 250000\n"
          "c 1 2 1e-09\n"
          "r 1 2 150000\n");
    emits(&tl_kind_volume,
          "{pot: 500 kohm, taper: linear, position: 50 %,"
          " bleed: {capacitor: 1 nF, resistor: 150 kohm, wiring: series}}",
          2,
          "r 1 2 250000\n"
          "r 2 0 250000\n"
          "c 1 3 1e-09\n"
          "r 3 2 150000\n");
    emits(&tl_kind_volume, // over a wire it does nothing
          "{pot: 500 kohm, taper: linear, position: 100 %, bleed: {capacitor: 1 nF}}", 1,
          "r 1 0 500000\n");
    refused(&tl_kind_volume,
            "{pot: 500 kohm, taper: linear, position: 50 %, bleed: {resistor: 1 kohm}}",
            "needs its 'capacitor'");
    refused(&tl_kind_volume,
            "{pot: 500 kohm, taper: linear, position: 50 %,"
            " bleed: {capacitor: 1 nF, resistor: 1 kohm}}",
            "'wiring: series'");
}

static void tone(void** state) {
    (void)state;
    emits(&tl_kind_tone, "{pot: 250 kohm, capacitor: 22 nF, position: 100 %}", 1,
          "r 1 2 250000\n"
          "c 2 0 2.2e-08\n");
    emits(&tl_kind_tone, "{pot: 250 kohm, capacitor: 22 nF, position: 50 %}", 1, // audio, not said
          "r 1 2 25000\n"
          "c 2 0 2.2e-08\n");
    emits(&tl_kind_tone, "{pot: 250 kohm, taper: linear, capacitor: 22 nF, position: 50 %}", 1,
          "r 1 2 125000\n"
          "c 2 0 2.2e-08\n");
    emits(&tl_kind_tone, "{pot: 250 kohm, capacitor: 22 nF, position: 0 %}", 1, "c 1 0 2.2e-08\n");
}

static void contact(void** state) {
    (void)state;
    emits(&tl_kind_contact, "{resistance: 2 ohm, leakage: 100 Mohm}", 2,
          "r 1 2 2\n"
          "r 2 0 100000000\n");
    emits(&tl_kind_contact, "{resistance: 0 ohm}", 1, "");
}

static const char on[] = "input: {resistance: 470 kohm, capacitance: 20 pF}, gain: 12 dB,"
                         " output: {resistance: 1 kohm, coupling: 1 uF}";

static void pedal_is(const char* bypass, const char* engaged, tl_node out, const char* words) {
    char* text = tl_printf("{bypass: %s, engaged: %s, %s}", bypass, engaged, on);
    emits(&tl_kind_pedal, text, out, words);
    free(text);
}

static void pedal(void** state) {
    (void)state;
    static const char* const bypasses[] = {"true-bypass", "buffered-bypass", "loaded-bypass"};
    for (size_t i = 0; i < 3; i++) // on, all are alike
        pedal_is(bypasses[i], "yes", 4,
                 "r 1 0 470000\n"
                 "c 1 0 2e-11\n"
                 "e 2 0 1 3.98107171\n" // 10^(12/20)
                 "r 2 3 1000\n"
                 "c 3 4 1e-06\n");
    pedal_is("true-bypass", "no", 1, "");
    pedal_is("buffered-bypass", "no", 4, // its input and output at gain 1
             "r 1 0 470000\n"
             "c 1 0 2e-11\n"
             "e 2 0 1 1\n"
             "r 2 3 1000\n"
             "c 3 4 1e-06\n");
    pedal_is("loaded-bypass", "no", 1, // the input still hangs on the wire
             "r 1 0 470000\n"
             "c 1 0 2e-11\n");
}

static void buffer(void** state) {
    (void)state;
    emits(&tl_kind_buffer, "{input: {resistance: 1 Mohm}, output: {resistance: 100 ohm}}", 3,
          "r 1 0 1000000\n"
          "e 2 0 1 1\n"
          "r 2 3 100\n");
    emits(&tl_kind_buffer, "{input: {resistance: 1 Mohm}, output: {resistance: 0 ohm}, gain: -2}",
          2,
          "r 1 0 1000000\n"
          "e 2 0 1 -2\n");
    refused(&tl_kind_buffer, "{input: {resistance: 1 Mohm}, output: {resistance: 1 ohm}, gain: 0}",
            "a gain of 0 lets no signal through");
}

// Read at the grid when there is one, else at the jack.
static void amp(void** state) {
    (void)state;
    emits(&tl_kind_amp, "{resistance: 1 Mohm, capacitance: 20 pF}", 1,
          "r 1 0 1000000\n"
          "c 1 0 2e-11\n");
    emits(&tl_kind_amp, "{resistance: 1 Mohm, stopper: 68 kohm, grid: 105.3 pF}", 2,
          "r 1 0 1000000\n"
          "r 1 2 68000\n"
          "c 2 0 1.053e-10\n");
    emits(&tl_kind_end, "{resistance: 500 kohm}", 1, "r 1 0 500000\n");
    refused(&tl_kind_amp, "{resistance: 1 Mohm, stopper: 68 kohm}", "give both or neither");
    refused(&tl_kind_amp, "{resistance: 1 Mohm, grid: 105 pF}", "give both or neither");
}

static void cable(void** state) {
    (void)state;
    emits(&tl_kind_cable, "{capacitance: 100 pF/m, length: 6 m}", 1, "c 1 0 6e-10\n");
    emits(&tl_kind_cable, "{capacitance: 100 pF/m, leakage: 20 nS/m, length: 5 m}", 1,
          "c 1 0 5e-10\n"
          "r 1 0 10000000\n");
    emits(&tl_kind_cable, "{capacitance: 100 pF/m, resistance: 80 mohm/m, length: 5 m}", 2,
          "r 1 2 0.4\n"
          "c 1 0 2.5e-10\n"
          "c 2 0 2.5e-10\n");
    emits(&tl_kind_cable,
          "{capacitance: 100 pF/m, resistance: 80 mohm/m, inductance: 500 nH/m,"
          " leakage: 20 nS/m, length: 1 m}",
          3,
          "r 1 2 0.08\n"
          "l 2 3 5e-07\n"
          "c 1 0 5e-11\n"
          "r 1 0 100000000\n"
          "c 3 0 5e-11\n"
          "r 3 0 100000000\n");
    emits(&tl_kind_cable, "{capacitance: 100 pF/m, resistance: 80 mohm/m, length: 0 m}", 1, "");
    refused(&tl_kind_cable, "{resistance: 80 mohm/m, length: 5 m}", "needs 'capacitance'");
    refused(&tl_kind_cable, "{capacitance: 100 pF/m}", "needs 'length' (a length)");
    refused(&tl_kind_cable, "{capacitance: 100 pF/m, length: -1 m}", "length cannot be negative");
}

// Three sections are asked for: half shunts of neighbours are one element of twice the size.
static void cable_in_sections(void** state) {
    (void)state;
    tl_part* part = part_of(library, &tl_kind_cable,
                            "{capacitance: 100 pF/m, resistance: 1 ohm/m, length: 3 m}", error);
    part->sections = 3;
    assert_int_equal(record(&notes, part), 4);
    assert_string_equal(tl_text_get(&notes.words), "r 1 2 1\n"
                                                   "c 1 0 5e-11\n"
                                                   "r 2 3 1\n"
                                                   "c 2 0 1e-10\n"
                                                   "r 3 4 1\n"
                                                   "c 3 0 1e-10\n"
                                                   "c 4 0 5e-11\n");
    tl_part_free(part);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pickup),
        cmocka_unit_test(source),
        cmocka_unit_test(volume),
        cmocka_unit_test(bleed),
        cmocka_unit_test(tone),
        cmocka_unit_test(contact),
        cmocka_unit_test(pedal),
        cmocka_unit_test(buffer),
        cmocka_unit_test(amp),
        cmocka_unit_test(cable),
        cmocka_unit_test(cable_in_sections),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

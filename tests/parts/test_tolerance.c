// SPDX-License-Identifier: GPL-3.0-or-later
// Tolerances as they are written, what is refused of them, and those a library gives by default.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/file.h"
#include "part_text.h"
#include "parts/tolerance.h"

#include <cmocka.h>
#include <math.h>
#include <unistd.h>

static tl_library* library;
static tl_error* error;
static char own_folder[] = "/tmp/toneload-tolerance-XXXXXX";

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return !(mkdtemp(own_folder) && tl_library_open(NULL, &library, error) == TL_OK);
}

static int stop(void** state) {
    (void)state;
    tl_library_free(library);
    tl_error_free(error);
    char* path = tl_printf("%s/pot.yaml", own_folder);
    unlink(path);
    free(path);
    return rmdir(own_folder);
}

static tl_part* part_from(tl_library* from, const tl_part_kind* kind, const char* text) {
    tl_part* part = part_of(from, kind, text, error);
    if (!part)
        fail_msg("%s", tl_error_text(error));
    return part;
}

static bool is_near(double is, double should) {
    return fabs(is - should) <= 1e-12;
}

static void every_spelling_reads(void** state) {
    (void)state;
    static const struct {
        const char* text; // of an end's resistance
        double ohm;
        double share; // NAN: none is stated
        tl_distribution distribution;
    } rows[] = {
        {"6 kohm", 6000, NAN, TL_NORMAL},
        {"6 kohm +-10 %", 6000, 0.1, TL_NORMAL},
        {"6kohm+-10%", 6000, 0.1, TL_NORMAL},
        {"6 kohm  +-  10  %  uniform", 6000, 0.1, TL_UNIFORM},
        {"6 kohm \u00b1 10 %", 6000, 0.1, TL_NORMAL},
        {"6 kohm \u00b110%uniform", 6000, 0.1, TL_UNIFORM},
        {"6 kohm +/-10 % normal", 6000, 0.1, TL_NORMAL},
        {"6 kohm +-0.5 kohm", 6000, 0.5 / 6, TL_NORMAL},
        {"6 kohm +-300 ohm uniform", 6000, 0.05, TL_UNIFORM},
        {"6 kohm +-1e-1 %", 6000, 0.001, TL_NORMAL},
        {"6 kohm +-.5 %", 6000, 0.005, TL_NORMAL},
        {"6 kohm +-0 %", 6000, 0, TL_NORMAL},
        {"'6 kohm +-10 %'", 6000, 0.1, TL_NORMAL},
        {"4.7 kohm +-E3", 4700, 0.4, TL_NORMAL},
        {"6.8 kohm +-E6", 6800, 0.2, TL_NORMAL},
        {"5.6 kohm +-E12", 5600, 0.1, TL_NORMAL},
        {"5.6 kohm +- E24 uniform", 5600, 0.05, TL_UNIFORM},
        {"1.05 Mohm +-E48", 1.05e6, 0.02, TL_NORMAL},
        {"1.02 Mohm +-E96", 1.02e6, 0.01, TL_NORMAL},
        {"9.2 kohm +-E192", 9200, 0.005, TL_NORMAL},
        {"{value: 6 kohm}", 6000, NAN, TL_NORMAL},
        {"{value: 6 kohm, tolerance: 8 %}", 6000, 0.08, TL_NORMAL},
        {"{value: 6 kohm, tolerance: +-8 %, distribution: uniform}", 6000, 0.08, TL_UNIFORM},
        {"{value: 6 kohm, tolerance: 8 % uniform}", 6000, 0.08, TL_UNIFORM},
        {"{tolerance: 600 ohm, value: 6 kohm}", 6000, 0.1, TL_NORMAL},
        {"{value: 5.6 kohm, tolerance: E12}", 5600, 0.1, TL_NORMAL},
        {"{value: 6 kohm +-10 %, distribution: uniform}", 6000, 0.1, TL_UNIFORM},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char* text = tl_printf("{resistance: %s}", rows[i].text);
        tl_part* part = part_from(library, &tl_kind_end, text);
        const tl_value* value = tl_part_value(part, "resistance");
        if (fabs(value->number - rows[i].ohm) > 1e-9 * rows[i].ohm)
            fail_msg("%s was read as %g", rows[i].text, value->number);
        if (value->tolerance.given == isnan(rows[i].share) ||
            (value->tolerance.given && !is_near(value->tolerance.share, rows[i].share)) ||
            value->tolerance.distribution != rows[i].distribution)
            fail_msg("%s: +-%g, %d", rows[i].text, value->tolerance.share,
                     value->tolerance.distribution);
        assert_null(value->tolerance.source);
        tl_part_free(part);
        free(text);
    }
}

// Shares of a share and of a gain, which may be negative.
static void other_units(void** state) {
    (void)state;
    tl_part* pot =
        part_from(library, &tl_kind_pot, "{like: pot-250k-audio, position: 50 % +-10 %}");
    assert_true(is_near(tl_part_value(pot, "position")->tolerance.share, 0.1));
    assert_false(tl_part_value(pot, "pot")->tolerance.given);
    tl_part_free(pot);
    tl_part* buffer = part_from(library, &tl_kind_buffer, "{like: line-driver, gain: -2 +-5 %}");
    assert_true(is_near(tl_part_value(buffer, "gain")->tolerance.share, 0.05));
    tl_part_free(buffer);
    tl_part* cable = part_from(library, &tl_kind_cable,
                               "{capacitance: 100 pF/m +-5 pF/m, length: 20 ft +-1 ft}");
    assert_true(is_near(tl_part_value(cable, "capacitance")->tolerance.share, 0.05));
    assert_true(is_near(tl_part_value(cable, "length")->tolerance.share, 0.05));
    tl_part* clone = tl_part_clone(cable);
    tl_part_free(cable);
    assert_true(is_near(tl_part_value(clone, "length")->tolerance.share, 0.05));
    tl_part_free(clone);
}

static void refused(const tl_part_kind* kind, const char* text, size_t column, const char* words) {
    tl_part* part = part_of(library, kind, text, error);
    if (part)
        fail_msg("'%s' was taken", text);
    char* place = tl_printf("part:1:%zu: error: ", column);
    if (!strstr(tl_error_text(error), words) ||
        strncmp(tl_error_text(error), place, strlen(place)) != 0)
        fail_msg("no '%s%s' in: %s", place, words, tl_error_text(error));
    free(place);
}

static void wrong_tolerances_are_refused(void** state) {
    (void)state;
    static const struct {
        const char* text;
        size_t column; // within the text
        const char* words;
    } rows[] = {
        {"6 kohm +-10", 8, "a bare number; is it 10 %, or 10 ohm?"},
        {"6 kohm +-10 uniform", 8, "a bare number; is it 10 %, or 10 ohm?"},
        {"6 kohm +-", 8, "expected a tolerance: a share (+-10 %)"},
        {"6 kohm +- uniform", 8, "expected a tolerance"},
        {"6 kohm +-%", 8, "expected a tolerance"},
        {"6 kohm +-ten %", 8, "expected a tolerance"},
        {"6 kohm +-10 %%", 8, "unknown distribution '%'"},
        {"6 kohm +-10 % unifrom", 8, "did you mean 'uniform'?"},
        {"6 kohm +-10 % flat", 8, "unknown distribution 'flat'; known are normal, uniform"},
        {"6 kohm +-10 % +-5 %", 8, "unknown distribution"},
        {"6 kohm +--5 %", 8, "cannot be negative"},
        {"6 kohm +- -5 %", 8, "cannot be negative"},
        {"6 kohm +-100 %", 8, "a tolerance of 100 % or more"},
        {"6 kohm +-6 kohm", 8, "a tolerance of 100 % or more"},
        {"6 kohm +-1e999 %", 8, "expected a tolerance"},
        {"6 kohm +-10 V", 8, "'V' is not a unit that fits; expected a resistance"},
        {"6 kohm +-E12", 8, "6 kohm is not one of the E12 series: nearest are 5.6 kohm and 6.8 "},
        {"5.6 kohm +-E13", 10, "unknown series 'E13'; did you mean 'E3'?"},
        {"5.6 kohm +-e12", 10, "unknown series 'e12'; did you mean 'E12'?"},
        {"5.6 kohm +-E12 unifrm", 10, "did you mean 'uniform'?"},
        {"'6 kohm +-10'", 9, "a bare number"},
        {"11 ohm +-20 %", 8, "reaches from 8.8 ohm to 13.2 ohm: expected to stay within 10 ohm"},
        {"+-10 %", 1, "'': expected a resistance"},
        {"6 kohm 10 %", 1, "'kohm 10 %' is not a unit that fits"},
        {"{value: 6 kohm, tolerance: 10}", 28, "a bare number; is it 10 %, or 10 ohm?"},
        {"{value: 6 kohm, tolerance: -5 %}", 28, "cannot be negative"},
        {"{value: 6 kohm, tolerance: 100 %}", 28, "a tolerance of 100 % or more"},
        {"{value: 6 kohm, tolerance: E12}", 28, "nearest are 5.6 kohm and 6.8 kohm"},
        {"{value: 5.6 kohm, tolerance: E13}", 30, "did you mean 'E3'?"},
        {"{value: 11 ohm, tolerance: 20 %}", 28, "reaches from 8.8 ohm"},
        {"{value: 6 kohm, tolerance: }", 17, "expected a tolerance"},
        {"{value: 6 kohm, tolerance: [1]}", 28, "a tolerance: expected a single value"},
        {"{value: 6 kohm, tolerance: 5 %, distribution: unifrom}", 47, "did you mean 'uniform'?"},
        {"{value: 6 kohm, tolerance: 5 % uniform, distribution: normal}", 55, "a second distrib"},
        {"{value: 6 kohm, distribution: normal}", 31, "there is none"},
        {"{value: 6 kohm +-5 %, tolerance: 5 %}", 34, "a second tolerance"},
        {"{value: 6 kohm, tolerence: 5 %}", 17, "did you mean 'tolerance'?"},
        {"{tolerance: 5 %}", 1, "expected a single value, or {value: .., tolerance: ..}"},
        {"{value: [6 kohm]}", 9, "expected a single value, found a list"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char* text = tl_printf("{resistance: %s}", rows[i].text);
        refused(&tl_kind_end, text, 13 + rows[i].column, rows[i].words);
        free(text);
    }
}

static void what_has_no_tolerance(void** state) {
    (void)state;
    refused(&tl_kind_pot, "{pot: 1 Mohm, taper: audio +-5 %, position: 50 %}", 28,
            "taper is a choice");
    refused(&tl_kind_pot, "{pot: 1 Mohm, taper: {value: audio, tolerance: 5 %}, position: 1 %}", 48,
            "taper is a choice");
    refused(&tl_kind_pedal, "{like: looper, engaged: yes +-5 %}", 29, "engaged is a choice");
    refused(
        &tl_kind_cable,
        "{build: {core: 24 AWG, strands: 7 +-5 %, insulation: pvc, diameter: 3 mm}, length: 1 m}",
        35, "build.strands is counted");
    refused(
        &tl_kind_pot, "{like: pot-250k-audio, position: 100 % +-5 %}", 40,
        "position 100 % +-5 % reaches from 95 % to 105 %: expected to stay within 0 % to 100 %");
    refused(&tl_kind_buffer, "{like: line-driver, gain: 2 +-0.1}", 29, "is it 0.1 %?");
    refused(&tl_kind_buffer, "{like: line-driver, gain: 6 dB +-1 dB}", 32, "expected a tolerance");
    refused(&tl_kind_cable, "{capacitance: 1 nF/m, length: 0 m +-1 m}", 35, "a value of 0 has no");
    // Each value alone is plausible; at the ends of both the core would be the thicker.
    refused(&tl_kind_cable,
            "{build: {core: 1 mm +-20 %, insulation: pvc, diameter: 1.4 mm +-20 %}, length: 1 m}",
            56, "within these tolerances the core could be larger");
    tl_part_free(part_from(library, &tl_kind_cable,
                           "{build: {core: 1 mm +-5 %, insulation: pvc, diameter: 1.4 mm +-5 %}, "
                           "length: 1 m}"));
}

static double default_of(tl_library* from, const tl_part_kind* kind, const char* text,
                         const char* field) {
    tl_part* part = part_from(from, kind, text);
    tl_value_tolerance tolerance;
    const bool found =
        tl_part_default_tolerance(from, part, (size_t)tl_part_field(kind, field), &tolerance);
    assert_int_equal(found, tolerance.given);
    if (found) {
        assert_null(tolerance.place.in);
        assert_true(tolerance.source && *tolerance.source);
    }
    tl_part_free(part);
    return found ? tolerance.share : NAN;
}

static void defaults_of_the_library(void** state) {
    (void)state;
    static const struct {
        const tl_part_kind* kind;
        const char* text;
        const char* field;
        double share; // NAN: none
    } rows[] = {
        {&tl_kind_volume, "{like: pot-250k-audio, position: 1 %}", "pot", 0.2},
        {&tl_kind_volume, "{like: pot-250k-audio, position: 1 %}", "position", NAN},
        {&tl_kind_volume, "{like: pot-250k-audio, position: 1 %}", "taper", NAN},
        {&tl_kind_volume, "{like: pot-250k-audio, position: 1 %}", "bleed.capacitor", NAN},
        {&tl_kind_volume, "{like: pot-250k-audio, position: 1 %, bleed: {capacitor: 120 pF}}",
         "bleed.capacitor", 0.1},
        {&tl_kind_pot, "{pot: 25 kohm, taper: linear, position: 1 %}", "pot", 0.2},
        // By the coarsest of E6, E12, E24 and E96 that has the value.
        {&tl_kind_tone, "{pot: 1 Mohm, position: 1 %, capacitor: 22 nF}", "capacitor", 0.2},
        {&tl_kind_tone, "{pot: 1 Mohm, position: 1 %, capacitor: 27 nF}", "capacitor", 0.1},
        {&tl_kind_tone, "{pot: 1 Mohm, position: 1 %, capacitor: 20 nF}", "capacitor", 0.05},
        {&tl_kind_tone, "{pot: 1 Mohm, position: 1 %, capacitor: 10.2 nF}", "capacitor", 0.01},
        {&tl_kind_tone, "{pot: 1 Mohm, position: 1 %, capacitor: 25 nF}", "capacitor", 0.05},
        {&tl_kind_pickup, "single-coil", "inductance", 0.07},
        {&tl_kind_pickup, "single-coil", "resistance", 0.07},
        {&tl_kind_pickup, "single-coil", "capacitance", 0.07},
        {&tl_kind_pickup, "single-coil", "eddy.fraction", NAN},
        {&tl_kind_pickup, "single-coil", "eddy.resistance", 0.2},
        {&tl_kind_cable, "{capacitance: 90 pF/m, length: 1 m}", "capacitance", 0.08},
        {&tl_kind_cable, "{capacitance: 90 pF/m, length: 1 m}", "length", NAN},
        {&tl_kind_cable, "{like: pvc-coax, length: 1 m}", "build.diameter", 0.1},
        {&tl_kind_cable, "{like: pvc-coax, length: 1 m}", "build.core", NAN},
        {&tl_kind_pedal, "{like: booster, engaged: no}", "input.resistance", 0.05},
        {&tl_kind_pedal, "{like: booster, engaged: no}", "gain", NAN},
        {&tl_kind_pedal, "{like: booster, engaged: no}", "engaged", NAN},
        {&tl_kind_buffer, "op-amp-follower", "output.coupling", 0.2},
        {&tl_kind_source, "active-guitar", "output.resistance", 0.05},
        {&tl_kind_amp, "tube-input", "stopper", 0.05},
        {&tl_kind_amp, "tube-input", "grid", 0.2},
        {&tl_kind_contact, "soldered", "resistance", NAN},
        {&tl_kind_end, "{resistance: 1 Mohm}", "resistance", NAN},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const double share = default_of(library, rows[i].kind, rows[i].text, rows[i].field);
        if (isnan(share) != isnan(rows[i].share) ||
            (!isnan(share) && !is_near(share, rows[i].share)))
            fail_msg("%s, %s: %g", rows[i].text, rows[i].field, share);
    }
}

// What is stated stands before the default; "exactly this value" too.
static void what_holds(void** state) {
    (void)state;
    static const struct {
        const char* text;
        double share;
    } rows[] = {{"1 Mohm", 0.05}, {"1 Mohm +-1 %", 0.01}, {"1 Mohm +-0 %", 0}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char* text = tl_printf("{resistance: %s}", rows[i].text);
        tl_part* part = part_from(library, &tl_kind_amp, text);
        tl_value_tolerance tolerance;
        assert_int_equal(tl_part_tolerance(library, part, 0, &tolerance, error), TL_OK);
        assert_true(tolerance.given && is_near(tolerance.share, rows[i].share));
        tl_part_free(part);
        free(text);
    }
    tl_part* yardstick = part_from(library, &tl_kind_buffer, "ideal-buffer");
    const tl_value* input = tl_part_value(yardstick, "input.resistance");
    assert_true(input->tolerance.given && input->tolerance.share == 0);
    assert_string_equal(input->tolerance.source, input->source);
    tl_part_free(yardstick);
}

static void put_own(const char* words) {
    char* path = tl_printf("%s/pot.yaml", own_folder);
    assert_int_equal(tl_file_write(path, words, strlen(words), error), TL_OK);
    free(path);
}

static void the_users_own_come_first(void** state) {
    (void)state;
    put_own("kind: pot\nparts:\n"
            "  mine: {pot: {value: 250 kohm +-3 %, source: sorted}, taper: audio, source: own}\n"
            "tolerances:\n"
            "  pot: {tolerance: 10 %, distribution: uniform, source: my drawer}\n"
            "  bleed: {resistor: {tolerance: +-1 %, source: my drawer}}\n");
    tl_library* own = NULL;
    assert_int_equal(tl_library_open(own_folder, &own, error), TL_OK);
    tl_part* part = part_from(own, &tl_kind_volume,
                              "{like: pot-250k-audio, position: 1 %, bleed: {capacitor: 1 nF, "
                              "resistor: 150 kohm, wiring: series}}");
    tl_value_tolerance tolerance;
    assert_true(tl_part_default_tolerance(own, part, 0, &tolerance));
    assert_true(is_near(tolerance.share, 0.1) && tolerance.distribution == TL_UNIFORM);
    assert_string_equal(tolerance.source, "my drawer");
    const size_t resistor = (size_t)tl_part_field(&tl_kind_volume, "bleed.resistor");
    const size_t capacitor = (size_t)tl_part_field(&tl_kind_volume, "bleed.capacitor");
    assert_true(tl_part_default_tolerance(own, part, resistor, &tolerance));
    assert_true(is_near(tolerance.share, 0.01));
    assert_true(tl_part_default_tolerance(own, part, capacitor, &tolerance)); // ours, still
    assert_true(is_near(tolerance.share, 0.2));
    tl_part_free(part);
    part = part_from(own, &tl_kind_pot, "{like: mine, position: 1 %}");
    assert_int_equal(tl_part_tolerance(own, part, 0, &tolerance, error), TL_OK);
    assert_true(is_near(tolerance.share, 0.03));
    assert_string_equal(tolerance.source, "sorted");
    tl_part_free(part);
    tl_library_free(own);
}

static void wrong_defaults_are_refused(void** state) {
    (void)state;
    static const struct {
        const char* row;
        size_t column;
        const char* words;
    } bad[] = {
        {"pots: {tolerance: 1 %, source: x}", 1, "unknown 'pots' in the tolerances of 'pot'; did"},
        {"bleed: {resistr: {tolerance: 1 %, source: x}}", 9, "did you mean 'bleed.resistor'?"},
        {"pot: 10 %", 6, "expected {tolerance: 10 %, source: ..}"},
        {"pot: {tolerance: 10 %}", 6, "a tolerance needs its source"},
        {"pot: {tolerance: 10 %, source: ''}", 6, "a tolerance needs its source"},
        {"pot: {source: x}", 6, "expected {tolerance: 10 %, source: ..}"},
        {"pot: {tolerance: 10, source: x}", 18, "a bare number; is it 10 %?"},
        {"pot: {tolerance: 100 %, source: x}", 18, "a tolerance of 100 % or more"},
        {"pot: {tolerance: -1 %, source: x}", 18, "cannot be negative"},
        {"pot: {tolerance: 10 kohm, source: x}", 18, "expected a share, such as 20 %, or E-series"},
        {"pot: {tolerance: E12, source: x}", 18, "expected a share, such as 20 %, or E-series"},
        {"pot: {tolerance: E-serie, source: x}", 18, "expected a share"},
        {"pot: {tolerance: 1 %, source: x, distribution: flat}", 48, "unknown distribution 'flat'"},
        {"pot: {tolerance: 1 % normal, source: x, distribution: normal}", 55, "a second distrib"},
        {"pot: {tolerance: 1 %, sorce: x}", 23, "did you mean 'source'?"},
        {"position: {tolerance: 1 %, source: x}", 1, "only beside its value"},
        {"taper: {tolerance: 1 %, source: x}", 1, "it is chosen or counted"},
        {"{bleed: {resistor: {tolerance: 1 %, source: x}}, bleed.resistor: {tolerance: 1 %}}", 50,
         "'bleed.resistor' is given twice"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        char* text = tl_printf("kind: pot\nparts: {}\ntolerances:\n  %s\n", bad[i].row);
        put_own(text);
        free(text);
        tl_library* own = NULL;
        assert_int_equal(tl_library_open(own_folder, &own, error), TL_OK);
        tl_part* part = part_from(own, &tl_kind_pot, "{pot: 1 Mohm, taper: audio, position: 1 %}");
        tl_value_tolerance tolerance;
        assert_int_equal(tl_part_tolerance(own, part, 0, &tolerance, error), TL_BAD_INPUT);
        char* place = tl_printf("pot.yaml:4:%zu: error: ", 2 + bad[i].column);
        if (!strstr(tl_error_text(error), bad[i].words) || !strstr(tl_error_text(error), place))
            fail_msg("no '%s%s' in: %s", place, bad[i].words, tl_error_text(error));
        assert_false(tl_part_default_tolerance(own, part, 0, &tolerance));
        assert_false(tolerance.given);
        free(place);
        tl_part_free(part);
        tl_library_free(own);
    }
}

static void prints_as_people_write(void** state) {
    (void)state;
    tl_text text = {0};
    tl_tolerance_add(&text, 0.1, TL_NORMAL);
    assert_string_equal(tl_text_get(&text), "+-10 %");
    tl_text_clear(&text);
    tl_tolerance_add(&text, 0.005, TL_UNIFORM);
    assert_string_equal(tl_text_get(&text), "+-0.5 % uniform");
    tl_text_free(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_spelling_reads),
        cmocka_unit_test(other_units),
        cmocka_unit_test(wrong_tolerances_are_refused),
        cmocka_unit_test(what_has_no_tolerance),
        cmocka_unit_test(defaults_of_the_library),
        cmocka_unit_test(what_holds),
        cmocka_unit_test(the_users_own_come_first),
        cmocka_unit_test(wrong_defaults_are_refused),
        cmocka_unit_test(prints_as_people_write),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

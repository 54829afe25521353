// SPDX-License-Identifier: GPL-3.0-or-later
// Rig files: every shape that reads, and what is said of those that do not.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"
#include "parts/kinds.h"
#include "rig/rig.h"
#include "rig_text.h"

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

static tl_rig* good(const char* text) {
    tl_rig* rig = rig_of(library, text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    return rig;
}

static bool is_near(double is, double should) {
    return fabs(is - should) <= 1e-12 * fabs(should);
}

// The example of the rig file's description, word for word.
static const char example[] =
    "rig: Lantern Street covers band, left board\n"
    "guitar:\n"
    "  pickup: {inductance: 2.5 H, resistance: 6 kohm, capacitance: 110 pF}   # or the name of a "
    "library part\n"
    "  volume: {pot: 250 kohm, taper: audio, position: 100 %}\n"
    "  tone:   {pot: 250 kohm, capacitor: 22 nF, position: 100 %}\n"
    "chain:                                   # in order, from the guitar to the amp\n"
    "  - cable: {capacitance: 100 pF/m, resistance: 80 mohm/m}\n"
    "    length: 6 m\n"
    "  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 1 kohm}}\n"
    "    name: drive\n"
    "    engaged: no\n"
    "  - cable: patch-coax\n"
    "    length: 20 cm\n"
    "  - buffer: {input: {resistance: 1 Mohm, capacitance: 10 pF}, output: {resistance: 100 ohm}}\n"
    "  - cable: standard-coax\n"
    "    length: 6 m\n"
    "amp: {resistance: 1 Mohm, capacitance: 20 pF}\n"
    "direct:                                  # what the rig is held against: plugged straight in, "
    "same guitar, same amp\n"
    "  - cable: standard-coax\n"
    "    length: 6 m\n";

static void the_example_reads(void** state) {
    (void)state;
    tl_rig* rig = good(example);
    assert_string_equal(tl_rig_title(rig), "Lantern Street covers band, left board");
    assert_true(tl_rig_has_direct(rig));
    assert_int_equal(rig->guitar.voice_count, 1);
    assert_true(tl_part_number(rig->guitar.voices[0].pickup, "inductance", 0) == 2.5);
    assert_true(tl_part_chosen(rig->guitar.volume, "taper", "audio"));
    assert_true(is_near(tl_part_number(rig->guitar.tone, "capacitor", 0), 22e-9));
    const tl_chain* chain = &rig->main.chain;
    assert_int_equal(chain->count, 5);
    assert_true(is_near(tl_part_number(chain->items[0].part, "capacitance", 0), 100e-12));
    assert_string_equal(chain->items[1].name, "drive");
    assert_true(tl_part_chosen(chain->items[1].part, "engaged", "no"));
    assert_string_equal(chain->items[2].part->library, "patch-coax");
    assert_true(is_near(tl_part_number(chain->items[2].part, "length", 0), 0.2));
    assert_ptr_equal(chain->items[3].part->kind, &tl_kind_buffer);
    assert_true(is_near(tl_part_number(rig->main.amp, "capacitance", 0), 20e-12));
    assert_int_equal(rig->direct.count, 1);
    const tl_value* length = tl_part_value(chain->items[4].part, "length");
    assert_int_equal(length->place.line, 16);
    assert_int_equal(length->place.column, 13);
    tl_rig_free(rig);
}

#define GUITAR "guitar: {pickup: single-coil}\n"
#define CABLE "{cable: standard-coax, length: 6 m}"
#define END "amp: tube-input\n"

static void other_shapes_read(void** state) {
    (void)state;
    static const char* const shapes[] = {
        // several pickups, each with controls of its own if given
        "guitar: {pickups: [single-coil, {inductance: 2 H, resistance: 6 kohm, capacitance: 1 nF}],"
        " wiring: parallel}\nchain: [" CABLE "]\n" END,
        "guitar: {pickups: [{pickup: single-coil, name: neck,"
        " volume: {like: pot-250k-audio, position: 50 %}},"
        " {pickup: humbucker-low, tone: {like: pot-250k-audio, capacitor: 22 nF, position: 0 %}}],"
        " wiring: series,"
        " tone: {pot: 250 kohm, capacitor: 22 nF, position: 50 %}}\nchain: [" CABLE "]\n" END,
        "guitar: {pickups: [single-coil]}\nchain: [" CABLE "]\n" END,
        // active
        "guitar: {source: {output: {resistance: 1 kohm, coupling: 10 uF}}}\nchain: [" CABLE
        "]\n" END,
        "guitar: {source: wireless-receiver}\nchain: [" CABLE "]\n" END,
        // controls
        "guitar: {pickup: single-coil, volume: {pot: 500 kohm, taper: linear, position: 50 %,"
        " bleed: {capacitor: 1 nF, resistor: 150 kohm, wiring: parallel}},"
        " tone: {pot: 250 kohm, taper: linear, capacitor: 22 nF, position: 30 %,"
        " joins: wiper}}\nchain: [" CABLE "]\n" END,
        // volume pedal with and without a tuner; a position may stand beside
        GUITAR "chain: [{pot: {like: pot-250k-audio, position: 50 %}}, " CABLE "]\n" END,
        GUITAR "chain: [{pot: pot-250k-audio, position: 50 %, name: swell}, " CABLE "]\n" END,
        GUITAR "chain: [{pot: {pot: 250 kohm, taper: audio, position: 50 %,"
               " tuner-out: {chain: [" CABLE "], end: {resistance: 1 Mohm}}}}, " CABLE "]\n" END,
        GUITAR
        "chain: [{pot: {like: pot-250k-audio, position: 50 %, tuner-out: {end: open}}}]\n" END,
        // a switcher's loops, one within another
        GUITAR "chain: [{loop: {name: dirt, engaged: no, chain: [" CABLE
               ", {loop: {engaged: yes, chain: [{pedal: booster, engaged: yes}]}}]}}]\n" END,
        // contacts
        GUITAR "chain: [{contact: {resistance: 10 mohm, leakage: 100 Mohm}}, {contact: soldered}, "
               "" CABLE "]\n" END,
        // splits, one within another, into a tuner's input, open, and without a chain
        GUITAR "chain:\n- " CABLE "\n- split:\n  - {name: wet, chain: [" CABLE
               "], amp: tube-input}\n  - {name: dry, amp: {resistance: 1 Mohm}}\n"
               "  - {name: tuner, chain: [" CABLE "], end: {resistance: 1 Mohm}}\n"
               "  - {name: off, chain: [" CABLE "], end: open}\n",
        GUITAR "chain:\n- split:\n  - {name: a, amp: tube-input}\n  - name: b\n    chain:\n"
               "    - " CABLE "\n    - split: [{name: a, amp: tube-input}, {name: c, end: open}]\n"
               "      name: fork\n",
        // a build, and words for yes
        (GUITAR "chain: [{cable: {build: {core: 24 AWG, strands: 7, insulation: polyethylene,"
                " diameter: 3 mm}}, length: 20 ft}, {pedal: tuner-buffered, engaged: true}]\n" END),
        // JSON is YAML
        "{\"guitar\": {\"pickup\": \"single-coil\"}, \"chain\": [{\"cable\": \"standard-coax\","
        " \"length\": \"6 m\"}], \"amp\": \"tube-input\"}",
    };
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        tl_rig* rig = good(shapes[i]);
        assert_false(tl_rig_has_direct(rig));
        tl_rig* clone = tl_rig_clone(rig);
        assert_int_equal(tl_rig_check(clone, error), TL_OK);
        tl_rig_free(clone);
        tl_rig_free(rig);
    }
}

static void demo_rigs_read(void** state) {
    (void)state;
    static const char* const names[] = {"long-cable", "buffered-board", "fuzz-first", "two-amps"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char* path = tl_printf("%s/models/rigs/%s.yaml", TL_SOURCE_DIR, names[i]);
        tl_rig* rig = NULL;
        if (tl_rig_read(library, path, &rig, error) != TL_OK)
            fail_msg("%s", tl_error_text(error));
        assert_string_equal(tl_rig_path(rig), path);
        tl_rig_free(rig);
        free(path);
    }
}

// Without `direct`: 6 m of standard-coax. Without a title: the file's name.
static void what_is_not_said(void** state) {
    (void)state;
    tl_rig* rig = good(GUITAR "chain: [" CABLE "]\n" END);
    assert_false(tl_rig_has_direct(rig));
    assert_int_equal(rig->direct.count, 1);
    assert_string_equal(rig->direct.items[0].part->library, "standard-coax");
    assert_true(tl_part_number(rig->direct.items[0].part, "length", 0) == 6);
    assert_null(rig->guitar.volume); // absent, not defaulted
    assert_null(rig->guitar.tone);
    assert_non_null(strstr(tl_rig_title(rig), "toneload-rig-"));
    tl_rig_free(rig);
    rig = good("rig:\n" GUITAR "chain: [" CABLE "]\n" END);
    assert_non_null(strstr(tl_rig_title(rig), "toneload-rig-"));
    tl_rig_free(rig);
}

// Refused at a line and column, with words that help.
static void bad(const char* text, const char* place, const char* words) {
    tl_rig* rig = rig_of(library, text, error);
    if (rig)
        fail_msg("taken: %s", text);
    assert_int_equal(tl_error_status(error), TL_BAD_INPUT);
    char* at = tl_printf(".yaml:%s: error: ", place);
    if (!strstr(tl_error_text(error), at) || !strstr(tl_error_text(error), words))
        fail_msg("expected '%s' at %s, found: %s", words, place, tl_error_text(error));
    assert_non_null(strstr(tl_error_text(error), "^"));
    free(at);
}

static void wrong_rigs_are_refused(void** state) {
    (void)state;
    bad("[]", "1:1", "a rig file: expected a mapping");
    bad("gitar: {}\n", "1:1", "unknown 'gitar' in a rig file; did you mean 'guitar'?");
    bad("chain: [" CABLE "]\n" END, "1:1", "a rig needs a 'guitar'");
    bad(GUITAR END, "1:1", "a rig needs a 'chain'");
    bad(GUITAR "chain: [" CABLE "]\n", "1:1", "nothing at its end: it needs an 'amp'");
    bad(GUITAR "chain: []\n" END, "2:8", "an empty chain");
    bad(GUITAR "chain:\n" END, "2:1", "a chain: expected a list");
    bad(GUITAR "chain: {cable: x}\n" END, "2:8", "a chain: expected a list");
    bad(GUITAR "chain: [cable]\n" END, "2:9", "an item of a chain: expected a mapping");
    bad(GUITAR "chain: [{}]\n" END, "2:9", "an empty item");
    bad(GUITAR "chain: [{cabel: standard-coax}]\n" END, "2:10", "did you mean 'cable'?");
    bad(GUITAR "chain: [{amp: tube-input}]\n" END, "2:10", "unknown 'amp' in a chain");
    bad(GUITAR "chain: [{cable: standard-coax}]\n" END, "2:9", "needs 'length' (a length), beside");
    bad(GUITAR "chain: [{cable: standard-coax, length: }]\n" END, "2:32", "expected a length");
    bad(GUITAR "chain: [{cable: standard-coax, length: 6}]\n" END, "2:40", "a bare number");
    bad(GUITAR "chain: [{cable: standard-coax, lenght: 6 m}]\n" END, "2:32",
        "did you mean 'length'?");
    bad(GUITAR "chain: [{cable: standard-coax, length: -6 m}]\n" END, "2:40",
        "length cannot be negative");
    bad(GUITAR "chain: [{cable: standard-coax, length: 20'}]\n" END, "2:40",
        "did you mean '20 ft'?");
    bad(GUITAR "chain: [{cable: {like: standard-coax, length: 5 m}, length: 6 m}]\n" END, "2:53",
        "'length' is given twice");
    bad(GUITAR "chain: [{cable: standard-coax, pedal: booster, length: 6 m}]\n" END, "2:32",
        "unknown 'pedal' in this item");
    bad(GUITAR "chain: [{pedal: booster}]\n" END, "2:9", "needs 'engaged' (yes or no)");
    bad(GUITAR "chain: [{pot: pot-250k-audio, position: 0 %}]\n" END, "2:41", "no signal");
    bad(GUITAR "chain: [" CABLE "]\namp: tube\nrig: x\n", "3:6", "no amp named 'tube'");
    bad(GUITAR "chain: [" CABLE "]\namp: {resistance: 1 mohm}\n", "3:19", "is it 1 Mohm?");
    bad(GUITAR "chain: [" CABLE "]\n" END "direct: []\n", "4:9", "an empty chain");
    bad("rig: [x]\n" GUITAR "chain: [" CABLE "]\n" END, "1:6", "a rig's title");
    bad("rig: \"a\\nb\"\n" GUITAR "chain: [" CABLE "]\n" END, "1:6", "control characters");
    bad("rig: \"\\e[31m\"\n" GUITAR "chain: [" CABLE "]\n" END, "1:6", "control characters");
    bad("rig: \"\\u202e\"\n" GUITAR "chain: [" CABLE "]\n" END, "1:6", "control characters");
    bad("rig: a\x1b[31m\n" GUITAR "chain: [" CABLE "]\n" END, "1:7", "control character");
}

static void wrong_guitars_are_refused(void** state) {
    (void)state;
    static const char rest[] = "\nchain: [" CABLE "]\n" END;
    static const struct {
        const char* guitar;
        const char* place;
        const char* words;
    } rows[] = {
        {"{}", "1:9", "needs a 'pickup', 'pickups' or a 'source'"},
        {"single-coil", "1:9", "a guitar: expected a mapping"},
        {"{pickup: single-coil, source: active-guitar}", "1:39", "not two"},
        {"{pickup: single-coil, volum: x}", "1:31", "did you mean 'volume'?"},
        {"{pickup: single-coil, wiring: series}", "1:39", "'wiring' goes with 'pickups'"},
        {"{pickups: []}", "1:19", "expected 1 to 16 pickups"},
        {"{pickups: [single-coil, single-coil]}", "1:9", "need 'wiring: parallel'"},
        {"{pickups: [single-coil, single-coil], wiring: serial}", "1:55", "did you mean 'series'?"},
        {"{pickups: [{pickup: single-coil, volumes: x}]}", "1:42", "did you mean 'volume'?"},
        {"{pickup: single-coil, tone: {pot: 1 Mohm, capacitor: 22 nF, position: 9 %,"
         " joins: wiper}}",
         "1:91", "needs a 'volume'"},
        {"{pickup: single-coil, volume: {pot: 250k, taper: audio, position: 9 %}}", "1:45",
         "did you mean '250 kohm'?"},
        {"{pickup: single-coil, volume: {pot: 250 kohm, position: 9 %}}", "1:39", "needs 'taper'"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char* text = tl_printf("guitar: %s%s", rows[i].guitar, rest);
        bad(text, rows[i].place, rows[i].words);
        free(text);
    }
}

static void wrong_structures_are_refused(void** state) {
    (void)state;
    bad(GUITAR "chain: [{split: [{name: a, amp: tube-input}]}, " CABLE "]\n", "2:48",
        "nothing can follow it");
    bad(GUITAR "chain: [{split: [{name: a, amp: tube-input}]}]\n" END, "3:6",
        "its chain ends in a split");
    bad(GUITAR "chain: [{split: []}]\n", "2:17", "a split needs branches");
    bad(GUITAR "chain: [{split: [{amp: tube-input}]}]\n", "2:18", "needs a 'name'");
    bad(GUITAR "chain: [{split: [{name: a, amp: tube-input}, {name: a, end: open}]}]\n", "2:46",
        "a second branch of the name 'a'");
    bad(GUITAR "chain: [{split: [{name: a, chain: [" CABLE "]}]}]\n", "2:18", "nothing at its end");
    bad(GUITAR "chain: [{split: [{name: a, amp: tube-input, end: open}]}]\n", "2:50",
        "cannot have an 'end' too");
    bad(GUITAR "chain: [{split: [{name: a, end: shut}]}]\n", "2:33", "expected 'open'");
    bad(GUITAR "chain: [{split: [{name: a, end: open}]}]\n", "1:1",
        "no branch of this rig ends in an amp");
    bad(GUITAR "chain: [{split: [{name: a, amp: tube-input}], length: 6 m}]\n", "2:47",
        "unknown 'length' in a split");
    bad(GUITAR "chain: [{loop: {engaged: yes}}]\n" END, "2:16", "a loop needs a 'chain'");
    bad(GUITAR "chain: [{loop: {chain: [" CABLE "]}}]\n" END, "2:9", "needs 'engaged'");
    bad(GUITAR "chain: [{loop: {engaged: yes, chain: [{split: [{name: a, end: open}]}]}}]\n" END,
        "2:39", "a split cannot stand here");
    bad(GUITAR "chain: [" CABLE "]\n" END "direct: [{split: [{name: a, end: open}]}]\n", "4:10",
        "a split cannot stand here");
    bad(GUITAR "chain: [{pedal: booster, engaged: no, name: x},"
               " {loop: {name: x, engaged: no, chain: [" CABLE "]}}]\n" END,
        "2:49", "a second item of the name 'x'");
    bad(GUITAR "chain: [{pedal: booster, engaged: no, name: 'a`b`'}]\n" END, "2:45",
        "cannot be a name");
    bad(GUITAR "chain: [{pedal: booster, engaged: no, name: 12}]\n" END, "2:45",
        "cannot be a name");
}

// Too large, too deep, too many: refused at once.
static void giants_are_refused(void** state) {
    (void)state;
    const size_t size = 10 * 1000 * 1000;
    char* text = tl_new(size, 1);
    memset(text, ' ', size);
    assert_null(rig_of_bytes(library, text, size, error));
    assert_non_null(strstr(tl_error_text(error), "is larger than 1000 kB"));
    memset(text, '[', 10000);
    assert_null(rig_of_bytes(library, text, 10000, error));
    assert_non_null(strstr(tl_error_text(error), "nested deeper than"));
    free(text);
    tl_text many = {0};
    tl_text_add(&many, GUITAR END "chain:\n");
    for (int i = 0; i < 1001; i++)
        tl_text_add(&many, "- contact: soldered\n");
    bad(tl_text_get(&many), "4:1", "a chain of more than 1000 items");
    tl_text_free(&many);
    tl_text nested = {0}; // loops within loops, deeper than the reader goes
    tl_text_add(&nested, GUITAR END "chain: ");
    for (int i = 0; i < 1000; i++)
        tl_text_add(&nested, "[{loop: {engaged: yes, chain: ");
    assert_null(rig_of(library, tl_text_get(&nested), error));
    assert_non_null(strstr(tl_error_text(error), "nested deeper than"));
    tl_text_free(&nested);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_example_reads),
        cmocka_unit_test(other_shapes_read),
        cmocka_unit_test(demo_rigs_read),
        cmocka_unit_test(what_is_not_said),
        cmocka_unit_test(wrong_rigs_are_refused),
        cmocka_unit_test(wrong_guitars_are_refused),
        cmocka_unit_test(wrong_structures_are_refused),
        cmocka_unit_test(giants_are_refused),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

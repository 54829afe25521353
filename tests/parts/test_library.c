// SPDX-License-Identifier: GPL-3.0-or-later
// The table of kinds, and the part library that comes with the program.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/file.h"
#include "part_text.h"

#include <cmocka.h>
#include <math.h>
#include <unistd.h>

static tl_library* library;
static tl_error* error;
static char own_folder[] = "/tmp/toneload-parts-XXXXXX";

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return !(mkdtemp(own_folder) && tl_library_open(NULL, &library, error) == TL_OK);
}

static int stop(void** state) {
    (void)state;
    tl_library_free(library);
    tl_error_free(error);
    char* path = tl_printf("%s/cable.yaml", own_folder);
    unlink(path);
    free(path);
    return rmdir(own_folder);
}

// Ends, and an audio taper of a tenth at half travel (common practice).
static void tapers(void** state) {
    (void)state;
    for (int audio = 0; audio < 2; audio++) {
        assert_true(tl_taper_share(0, audio) == 0);
        assert_true(tl_taper_share(1, audio) == 1);
        for (double x = 0.001; x <= 1; x += 0.001)
            assert_true(tl_taper_share(x, audio) > tl_taper_share(x - 0.001, audio));
    }
    assert_true(tl_taper_share(0.25, false) == 0.25);
    assert_true(fabs(tl_taper_share(0.5, true) - 0.1) < 1e-15);
    assert_true(fabs(tl_taper_share(0.25, true) - (3.0 - 1) / 80) < 1e-15);
    assert_true(fabs(tl_taper_share(0.75, true) - (27.0 - 1) / 80) < 1e-15);
}

static void kinds_are_sound(void** state) {
    (void)state;
    for (size_t i = 0; i < tl_part_kind_count; i++) {
        const tl_part_kind* kind = tl_part_kinds[i];
        assert_ptr_equal(tl_part_kind_find(kind->name), kind); // so no name stands twice
        assert_true(kind->about && *kind->about);
        assert_true(kind->field_count > 0);
        // A loop, a wiring and a run say how parts are joined or lie, power feeds them, and a
        // generator and a meter stand beside them; all others are circuits.
        static const char* const silent[] = {"loop",    "wiring",    "run",     "power", "mains",
                                             "supply",  "output",    "draw",    "lead",  "board",
                                             "place",   "jack",      "outputs", "plug",  "fastener",
                                             "measure", "generator", "meter"};
        bool is_silent = false;
        for (size_t j = 0; j < sizeof silent / sizeof *silent; ++j)
            is_silent = is_silent || strcmp(kind->name, silent[j]) == 0;
        assert_int_equal(kind->emit == NULL, is_silent);
        for (size_t j = 0; j < kind->field_count; j++) {
            const tl_field* field = &kind->fields[j];
            assert_int_equal(tl_part_field(kind, field->name), j);
            if (field->choices)
                assert_true(field->choices[0] && field->choices[1]);
            else
                assert_true(field->low < field->high && field->unit < TL_UNIT_TOTAL);
        }
        assert_int_equal(tl_part_field(kind, "nonsense"), -1);
    }
    assert_null(tl_part_kind_find("nonsense"));
}

static void check_value(const char* name, const tl_field* field, const tl_value* value) {
    if (!value->source || !*value->source || !value->library)
        fail_msg("%s: %s has no source", name, field->name);
    assert_string_equal(value->library, name);
    if (field->flags & TL_FIELD_BESIDE)
        fail_msg("%s: %s belongs to the rig", name, field->name);
    if (!field->choices && !(value->number >= field->low && value->number <= field->high))
        fail_msg("%s: %s is out of its range", name, field->name);
}

static void every_library_part_is_sound(void** state) {
    (void)state;
    for (size_t i = 0; i < tl_part_kind_count; i++) {
        const tl_part_kind* kind = tl_part_kinds[i];
        const char* const* names = NULL;
        size_t count = 0;
        assert_int_equal(tl_library_names(library, kind, &names, &count, error), TL_OK);
        assert_int_equal(count == 0, kind->library == NULL);
        for (size_t j = 0; j < count; j++) {
            tl_part* part = NULL;
            const tl_place nowhere = {0};
            if (tl_library_part(library, kind, names[j], &nowhere, &part, error) != TL_OK)
                fail_msg("%s", tl_error_text(error));
            assert_int_equal(tl_part_check(part, false, error), TL_OK);
            assert_true(*tl_library_about(library, kind, names[j]));
            size_t given = 0;
            for (size_t k = 0; k < kind->field_count; k++)
                if (part->values[k].given) {
                    ++given;
                    check_value(names[j], &kind->fields[k], &part->values[k]);
                }
            assert_true(given > 0);
            tl_part_free(part);
        }
    }
}

static size_t count_of(const tl_part_kind* kind) {
    const char* const* names = NULL;
    size_t count = 0;
    assert_int_equal(tl_library_names(library, kind, &names, &count, error), TL_OK);
    return count;
}

static void the_library_has_what_a_builder_needs(void** state) {
    (void)state;
    assert_true(count_of(&tl_kind_pickup) >= 7);
    assert_true(count_of(&tl_kind_cable) >= 8);
    assert_true(count_of(&tl_kind_pedal) >= 8);
    assert_true(count_of(&tl_kind_buffer) >= 5);
    assert_true(count_of(&tl_kind_amp) >= 4);
    assert_true(count_of(&tl_kind_contact) >= 3);
    assert_true(count_of(&tl_kind_pot) >= 2);
    assert_true(count_of(&tl_kind_source) >= 1);
    size_t bypasses[3] = {0};
    const char* const* names = NULL;
    size_t count = 0;
    assert_int_equal(tl_library_names(library, &tl_kind_pedal, &names, &count, error), TL_OK);
    for (size_t i = 0; i < count; i++) {
        tl_part* part = NULL;
        const tl_place nowhere = {0};
        assert_int_equal(tl_library_part(library, &tl_kind_pedal, names[i], &nowhere, &part, error),
                         TL_OK);
        ++bypasses[(size_t)tl_part_number(part, "bypass", 0)];
        tl_part_free(part);
    }
    assert_true(bypasses[0] && bypasses[1] && bypasses[2]);
}

static double number_of(const tl_part_kind* kind, const char* name, const char* field) {
    tl_part* part = NULL;
    const tl_place nowhere = {0};
    assert_int_equal(tl_library_part(library, kind, name, &nowhere, &part, error), TL_OK);
    const double number = tl_part_number(part, field, NAN);
    tl_part_free(part);
    return number;
}

// Cin = Cgk + Cga (1 + A) (valvewizard.co.uk/gridstopper.html: seen), with 1.6 and 1.7 pF of an
// unshielded twin triode (data-sheet transcription, guitarkitbuilder.com: seen) and A = 60:
// 105.3 pF (computed). With 0.7 pF of strays on each and A = 61: 151.1 pF (from memory). Pentode
// with 5 pF, 0.05 pF and A = 100: 10 pF (ampbooks.com: seen).
static void amps_have_their_miller_capacitance(void** state) {
    (void)state;
    const double triode = 1.6e-12 + 1.7e-12 * (1 + 60);
    const double strays = (1.6e-12 + 0.7e-12) + (1.7e-12 + 0.7e-12) * (1 + 61);
    const double pentode = 5e-12 + 0.05e-12 * (1 + 100);
    assert_true(fabs(triode - 105.3e-12) < 0.05e-12);
    assert_true(fabs(number_of(&tl_kind_amp, "tube-input", "grid") - triode) < 0.05e-12);
    assert_true(fabs(number_of(&tl_kind_amp, "tube-input-with-strays", "grid") - strays) <
                0.05e-12);
    assert_true(fabs(number_of(&tl_kind_amp, "pentode-input", "grid") - pentode) < 0.06e-12);
    // 68 kohm into it: 22.2 kHz (computed).
    const double hz = 1 / (2 * M_PI * number_of(&tl_kind_amp, "tube-input", "stopper") * triode);
    assert_true(fabs(hz - 22.2e3) < 50);
}

static void like_changes_some(void** state) {
    (void)state;
    tl_part* part = part_of(library, &tl_kind_cable,
                            "{like: standard-coax, resistance: 1 ohm/m, length: 2 m}", error);
    assert_non_null(part);
    assert_string_equal(part->library, "standard-coax");
    assert_true(fabs(tl_part_number(part, "capacitance", 0) - 100e-12) < 1e-22);
    assert_true(tl_part_number(part, "resistance", 0) == 1);
    assert_string_equal(tl_part_value(part, "capacitance")->library, "standard-coax");
    assert_null(tl_part_value(part, "resistance")->library);
    tl_part* clone = tl_part_clone(part);
    tl_part_free(part);
    assert_string_equal(clone->library, "standard-coax");
    assert_true(tl_part_number(clone, "length", 0) == 2);
    tl_part_free(clone);
}

static void refused(const tl_part_kind* kind, const char* text, const char* words) {
    tl_part* part = part_of(library, kind, text, error);
    if (part)
        fail_msg("'%s' was taken", text);
    if (!strstr(tl_error_text(error), words) || !strstr(tl_error_text(error), "part:1:"))
        fail_msg("no '%s' in: %s", words, tl_error_text(error));
}

static void wrong_parts_are_refused(void** state) {
    (void)state;
    refused(&tl_kind_cable, "standart-coax", "did you mean 'standard-coax'?");
    refused(&tl_kind_cable, "{like: standart-coax}", "did you mean 'standard-coax'?");
    refused(&tl_kind_cable, "{like: [a]}", "like: expected a single value");
    refused(&tl_kind_cable, "[a, b]", "a cable: expected a mapping");
    refused(&tl_kind_cable, "''", "expected the name of a library part");
    refused(&tl_kind_cable, "{capacitence: 100 pF/m}", "did you mean 'capacitance'?");
    refused(&tl_kind_cable, "{source: x, capacitance: 100 pF/m}", "unknown 'source' for a cable");
    refused(&tl_kind_cable, "{capacitance: {value: 100 pF/m, source: x}}",
            "unknown 'source' beside a value");
    refused(&tl_kind_cable, "{build: 24 AWG}", "build: expected a mapping");
    refused(&tl_kind_cable, "{build: {croe: 24 AWG}}", "did you mean 'core'?");
    refused(&tl_kind_cable, "{build.core: 24 AWG}", "unknown 'build.core'");
    refused(&tl_kind_cable, "{capacitance: 100}", "a bare number, without a unit");
    refused(&tl_kind_cable, "{capacitance: 100 pF}", "expected a capacitance per length");
    refused(&tl_kind_cable, "{capacitance: }", "expected a capacitance per length");
    refused(&tl_kind_cable, "{capacitance: -1 pF/m}", "capacitance cannot be negative");
    refused(&tl_kind_cable, "{capacitance: 1 uF/m}", "is not plausible: expected 1 pF/m to 2 nF/m");
    refused(&tl_kind_amp, "{resistance: 1 mohm}",
            "a small m is milli, a capital M is mega: is it "
            "1 Mohm?");
    refused(&tl_kind_cable, "{resistance: 80 Mohm/m, capacitance: 1 nF/m}", "is it 80 mohm/m?");
    refused(&tl_kind_pedal, "{like: fuzz-low-input, engaged: maybe}", "expected yes or no");
    refused(&tl_kind_pedal, "{like: fuzz-low-input}", "needs 'engaged' (yes or no)");
    refused(&tl_kind_pedal, "{like: fuzz-low-input, engaged: no, bypass: trubypass}",
            "did you mean 'true-bypass'?");
    refused(&tl_kind_end, "open", "has no library");
}

static void put_own(const char* words) {
    char* path = tl_printf("%s/cable.yaml", own_folder);
    assert_int_equal(tl_file_write(path, words, strlen(words), error), TL_OK);
    free(path);
}

static void the_users_own_parts_come_first(void** state) {
    (void)state;
    put_own("kind: cable\nparts:\n"
            "  standard-coax: {capacitance: 70 pF/m, source: measured}\n"
            "  my-lead: {capacitance: {value: 60 pF/m, source: own meter}, about: blue}\n");
    tl_library* own = NULL;
    assert_int_equal(tl_library_open(own_folder, &own, error), TL_OK);
    const char* const* names = NULL;
    size_t count = 0;
    assert_int_equal(tl_library_names(own, &tl_kind_cable, &names, &count, error), TL_OK);
    assert_int_equal(count, count_of(&tl_kind_cable) + 1); // standard-coax is listed once
    assert_string_equal(names[0], "standard-coax");
    assert_string_equal(names[1], "my-lead");
    tl_part* part = part_of(own, &tl_kind_cable, "{like: standard-coax, length: 1 m}", error);
    assert_true(fabs(tl_part_number(part, "capacitance", 0) - 70e-12) < 1e-22);
    tl_part_free(part);
    part = part_of(own, &tl_kind_cable, "{like: my-lead, length: 1 m}", error);
    assert_string_equal(tl_part_value(part, "capacitance")->source, "own meter");
    assert_string_equal(tl_library_about(own, &tl_kind_cable, "my-lead"), "blue");
    tl_part_free(part);
    tl_library_free(own);
    assert_int_equal(tl_library_open("/no/such/folder", &own, error), TL_BAD_INPUT);
    assert_null(own);
}

// A library that cannot be read is an error every time it is asked, not only the first.
static void a_broken_library_stays_an_error(void** state) {
    (void)state;
    static const struct {
        const char* text;
        const char* words;
    } bad[] = {
        {"kind: pedal\nparts: {}\n", "needs 'kind: cable'"},
        {"kind: cable\n", "needs 'parts'"},
        {"kind: cable\nparts: {}\nmore: 1\n", "unknown 'more'"},
        {"kind: cable\nparts: {a`b`: {capacitance: 1 nF/m}}\n", "cannot name a part"},
        {"kind: [\n", "YAML: "},
        {"", "there is nothing in it"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        put_own(bad[i].text);
        tl_library* own = NULL;
        assert_int_equal(tl_library_open(own_folder, &own, error), TL_OK);
        for (int again = 0; again < 2; again++) {
            assert_null(part_of(own, &tl_kind_cable, "standard-coax", error));
            if (!strstr(tl_error_text(error), bad[i].words) ||
                !strstr(tl_error_text(error), "cable.yaml:"))
                fail_msg("no '%s' in: %s", bad[i].words, tl_error_text(error));
        }
        assert_string_equal(tl_library_about(own, &tl_kind_cable, "standard-coax"), "");
        tl_library_free(own);
    }
}

static void a_library_value_needs_a_source(void** state) {
    (void)state;
    static const struct {
        const char* part;
        const char* words;
    } bad[] = {
        {"{capacitance: 1 nF/m}", "needs its source"},
        {"{capacitance: 1 nF/m, source: ''}", "needs its source"},
        {"{source: x, capacitance: {value: 1 nF/m}}", "{value: .., source: ..}"},
        {"{source: x, capacitance: 1 nF/m, length: 3 m}", "unknown 'length'"},
        {"{source: x, capacitance: 1 kohm}", "expected a capacitance per length"},
        {"{source: x}", "needs 'capacitance'"},
        {"word", "a library part: expected a mapping"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        char* text = tl_printf("kind: cable\nparts: {mine: %s}\n", bad[i].part);
        put_own(text);
        free(text);
        tl_library* own = NULL;
        assert_int_equal(tl_library_open(own_folder, &own, error), TL_OK);
        assert_null(part_of(own, &tl_kind_cable, "{like: mine, length: 1 m}", error));
        if (!strstr(tl_error_text(error), bad[i].words))
            fail_msg("no '%s' in: %s", bad[i].words, tl_error_text(error));
        tl_library_free(own);
    }
}

static void what_drives(void** state) {
    (void)state;
    static const struct {
        const tl_part_kind* kind;
        const char* text;
        bool drives;
    } rows[] = {
        {&tl_kind_buffer, "op-amp-follower", true},
        {&tl_kind_pedal, "{like: fuzz-low-input, engaged: yes}", true},
        {&tl_kind_pedal, "{like: fuzz-low-input, engaged: no}", false},
        {&tl_kind_pedal, "{like: wah-loading, engaged: no}", false},
        {&tl_kind_pedal, "{like: delay-buffered, engaged: no}", true},
        {&tl_kind_contact, "soldered", false},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        tl_part* part = part_of(library, rows[i].kind, rows[i].text, error);
        assert_non_null(part);
        assert_int_equal(tl_part_drives(part), rows[i].drives);
        tl_part_free(part);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tapers),
        cmocka_unit_test(kinds_are_sound),
        cmocka_unit_test(every_library_part_is_sound),
        cmocka_unit_test(the_library_has_what_a_builder_needs),
        cmocka_unit_test(amps_have_their_miller_capacitance),
        cmocka_unit_test(like_changes_some),
        cmocka_unit_test(wrong_parts_are_refused),
        cmocka_unit_test(the_users_own_parts_come_first),
        cmocka_unit_test(a_broken_library_stays_an_error),
        cmocka_unit_test(a_library_value_needs_a_source),
        cmocka_unit_test(what_drives),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

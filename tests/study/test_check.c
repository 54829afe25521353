// SPDX-License-Identifier: GPL-3.0-or-later
// What is said of a rig without solving it, and of the library.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/text.h"
#include "toneload/study.h"

#include <cmocka.h>
#include <math.h>

static tl_session* session;
static tl_error* error;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    const tl_session_options options = {.solves = false};
    return tl_session_new(&options, &session, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_session_free(session);
    tl_error_free(error);
    return 0;
}

static tl_inspection* check(const char* text) {
    tl_rig* rig = rig_of(tl_session_library(session), text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    tl_inspection* inspection = NULL;
    if (tl_study_check(rig, &inspection, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_rig_free(rig);
    return inspection;
}

static const char* remark_with(const tl_inspection* inspection, const char* words) {
    for (size_t i = 0; i < inspection->remark_count; i++)
        if (strstr(inspection->remarks[i], words))
            return inspection->remarks[i];
    return NULL;
}

static void says(const tl_inspection* inspection, const char* words) {
    if (remark_with(inspection, words))
        return;
    for (size_t i = 0; i < inspection->remark_count; i++)
        print_error("remark: %s\n", inspection->remarks[i]);
    fail_msg("no remark says '%s'", words);
}

static const tl_listing* row_of(const tl_inspection* inspection, const char* part,
                                const char* field) {
    for (size_t i = 0; i < inspection->count; i++)
        if (strcmp(inspection->rows[i].part, part) == 0 &&
            strcmp(inspection->rows[i].field, field) == 0)
            return &inspection->rows[i];
    fail_msg("no row %s %s", part, field);
    return NULL;
}

static bool is_near(double is, double should) {
    return fabs(is - should) <= 1e-9 * fabs(should);
}

#define GUITAR "guitar: {pickup: single-coil}\n"
#define DIRECT "direct: [{cable: standard-coax, length: 6 m}]\n"

// A sound rig is left alone.
static void nothing_to_say(void** state) {
    (void)state;
    tl_inspection* found =
        check(GUITAR "chain: [{cable: standard-coax, length: 6 m}]\namp: tube-input\n" DIRECT);
    assert_int_equal(found->remark_count, 0);
    assert_true(is_near(found->cable_farad, 600e-12));
    assert_true(is_near(found->first_cable_farad, 600e-12));
    assert_true(is_near(found->direct_cable_farad, 600e-12));
    assert_true(is_near(found->cable_m, 6));
    tl_inspection_free(found);
}

static void every_value_has_its_origin(void** state) {
    (void)state;
    tl_inspection* found = check("guitar:\n"
                                 "  pickup: {like: single-coil, resistance: 7 kohm}\n"
                                 "chain:\n"
                                 "- cable: low-capacitance-coax\n"
                                 "  length: 20 ft\n"
                                 "- pedal: booster\n"
                                 "  name: boost\n"
                                 "  engaged: no\n"
                                 "amp: tube-input\n");
    const tl_listing* row = row_of(found, "guitar.pickup", "resistance");
    assert_string_equal(row->value, "7 kohm");
    assert_non_null(strstr(row->origin, ".yaml:2"));
    row = row_of(found, "guitar.pickup", "inductance");
    assert_string_equal(row->value, "2.4 H");
    assert_non_null(strstr(row->origin, "library part single-coil: "));
    assert_non_null(strstr(row->origin, "average of thin single-coils; seen"));
    row = row_of(found, "chain[0].cable", "length");
    assert_string_equal(row->value, "6.096 m");
    assert_non_null(strstr(row->origin, ".yaml:5"));
    row = row_of(found, "chain[0].cable", "capacitance");
    assert_non_null(strstr(row->value, " pF/m"));
    assert_non_null(strstr(row->origin, "by formula from its build"));
    row_of(found, "chain[0].cable", "capacitance of it all");
    row = row_of(found, "chain[1].pedal", "gain");
    assert_string_equal(row->about, "pedal booster, 'boost', off");
    row = row_of(found, "amp", "grid");
    assert_string_equal(row->value, "105.3 pF");
    row = row_of(found, "direct[0].cable", "length");
    assert_non_null(strstr(row->origin, "not said in the file"));
    says(found, "no 'direct' in the file");
    tl_inspection_free(found);
}

static void a_long_unbuffered_lead(void** state) {
    (void)state;
    static const char pedals[] =
        GUITAR "chain:\n- {cable: standard-coax, length: 6 m}\n"
               "- {pedal: tuner-true-bypass, engaged: no}\n"
               "- {cable: standard-coax, length: 10 m}\namp: tube-input\n" DIRECT;
    tl_inspection* found = check(pedals);
    assert_true(is_near(found->first_cable_farad, 1600e-12));
    assert_true(is_near(found->cable_farad, 1600e-12));
    assert_true(is_near(found->cable_m, 16));
    says(found, "the pickup drives 1600 pF of lead up to the amp, but 600 pF when plugged");
    assert_int_equal(found->remark_count, 1);
    tl_inspection_free(found);
    // A buffer ends what the pickup drives.
    found = check(GUITAR "chain:\n- {cable: standard-coax, length: 6 m}\n"
                         "- {buffer: op-amp-follower}\n"
                         "- {cable: standard-coax, length: 10 m}\namp: tube-input\n" DIRECT);
    assert_true(is_near(found->first_cable_farad, 600e-12));
    assert_true(is_near(found->cable_farad, 1600e-12));
    assert_int_equal(found->remark_count, 0);
    tl_inspection_free(found);
    // An active source does not mind its lead.
    found = check("guitar: {source: active-guitar}\nchain:\n"
                  "- {cable: standard-coax, length: 16 m}\namp: tube-input\n" DIRECT);
    assert_null(remark_with(found, "the pickup drives"));
    tl_inspection_free(found);
}

static void a_low_input_behind_a_buffer(void** state) {
    (void)state;
    tl_inspection* found =
        check(GUITAR "chain:\n- {cable: standard-coax, length: 3 m}\n"
                     "- {pedal: tuner-buffered, name: tuner, engaged: no}\n"
                     "- {pedal: fuzz-low-input, name: fuzz, engaged: yes}\n"
                     "- {cable: standard-coax, length: 3 m}\namp: tube-input\n" DIRECT);
    says(found, "chain[2] (fuzz): an input this low is often meant to see the pickup itself, but "
                "chain[1] (tuner) stands before it");
    tl_inspection_free(found);
    // Without the buffer it hangs on the pickup, which is said too.
    found = check(GUITAR "chain:\n- {cable: standard-coax, length: 3 m}\n"
                         "- {pedal: fuzz-low-input, name: fuzz, engaged: yes}\n"
                         "- {cable: standard-coax, length: 3 m}\namp: tube-input\n" DIRECT);
    says(found, "chain[1] (fuzz): 10 kohm hangs on the pickup and dulls it");
    assert_null(remark_with(found, "an input this low"));
    tl_inspection_free(found);
    // Off and by a wire, it is neither.
    found = check(GUITAR "chain:\n- {cable: standard-coax, length: 3 m}\n"
                         "- {pedal: fuzz-low-input, name: fuzz, engaged: no}\n"
                         "- {cable: standard-coax, length: 3 m}\namp: tube-input\n" DIRECT);
    assert_int_equal(found->remark_count, 0);
    tl_inspection_free(found);
}

static void loads_joints_and_leaks(void** state) {
    (void)state;
    tl_inspection* found =
        check(GUITAR "chain:\n- {cable: standard-coax, length: 3 m}\n"
                     "- {contact: {resistance: 50 ohm, leakage: 10 Mohm}}\n"
                     "- {pedal: wah-loading, name: wah, engaged: no}\n"
                     "- {pot: {like: pot-25k-audio, position: 100 %, tuner-out: {end: {resistance:"
                     " 100 kohm}}}}\namp: line-input\n" DIRECT);
    says(found, "chain[1]: 50 ohm is a poor joint");
    says(found, "chain[1]: 10 Mohm to ground is a leak");
    says(found, "chain[2] (wah): 100 kohm hangs on the pickup");
    says(found, "chain[3]: 25 kohm hangs on the pickup");
    says(found, "chain[3].tuner-out.end: 100 kohm hangs on the pickup");
    says(found, "amp: 10 kohm hangs on the pickup");
    assert_int_equal(found->remark_count, 6);
    tl_inspection_free(found);
}

// 10 kohm into 3 nF is 3 dB down at 5.3 kHz.
static void an_output_too_weak_for_its_lead(void** state) {
    (void)state;
    tl_inspection* found =
        check(GUITAR "chain:\n- {pedal: booster, name: boost, engaged: yes}\n"
                     "- {buffer: {input: {resistance: 1 Mohm}, output: {resistance: 10 kohm}},"
                     " name: weak}\n"
                     "- {cable: {capacitance: 300 pF/m}, length: 10 m}\namp: tube-input\n" DIRECT);
    says(found, "chain[1] (weak): its 10 kohm into the 3000 pF of lead behind it is 3 dB down at "
                "5.31 kHz");
    assert_int_equal(found->remark_count, 1);
    tl_inspection_free(found);
}

// Leads of loops that are off are out of the path; those of branches and loops that are on count.
static void totals_follow_the_path(void** state) {
    (void)state;
    static const char* const pattern =
        GUITAR "chain:\n- {cable: standard-coax, length: 1 m}\n"
               "- loop: {name: dirt, engaged: %s, chain: [{cable: standard-coax, length: 2 m}]}\n"
               "- split:\n  - {name: a, chain: [{cable: standard-coax, length: 3 m}],"
               " amp: tube-input}\n"
               "  - {name: b, chain: [{cable: standard-coax, length: 4 m}], end: open}\n" DIRECT;
    for (int on = 0; on < 2; on++) {
        char* text = tl_printf(pattern, on ? "yes" : "no");
        tl_inspection* found = check(text);
        assert_true(is_near(found->cable_m, on ? 10 : 8));
        assert_true(is_near(found->cable_farad, on ? 1000e-12 : 800e-12));
        assert_true(is_near(found->first_cable_farad, on ? 1000e-12 : 800e-12));
        const tl_listing* row = row_of(found, "chain[1].loop", "engaged");
        assert_string_equal(row->value, on ? "yes" : "no");
        assert_int_equal(strstr(row->about, "out of the path") == NULL, on);
        row_of(found, "chain[1].chain[0].cable", "length"); // listed in either case
        row_of(found, "chain[2].split[b].chain[0].cable", "length");
        tl_inspection_free(found);
        free(text);
    }
}

static void demo_rigs_are_understood(void** state) {
    (void)state;
    static const char* const names[] = {"long-cable", "buffered-board", "fuzz-first", "two-amps"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char* path = tl_printf("%s/models/rigs/%s.yaml", TL_SOURCE_DIR, names[i]);
        tl_rig* rig = NULL;
        assert_int_equal(tl_rig_read(tl_session_library(session), path, &rig, error), TL_OK);
        tl_inspection* found = NULL;
        assert_int_equal(tl_study_check(rig, &found, error), TL_OK);
        for (size_t j = 0; j < found->count; j++) {
            const tl_listing* row = &found->rows[j];
            assert_true(*row->part && *row->about && *row->field && *row->value && *row->origin);
        }
        assert_int_equal(remark_with(found, "the pickup drives") != NULL, i == 0);
        tl_inspection_free(found);
        tl_rig_free(rig);
        free(path);
    }
}

static void tolerances_are_listed(void** state) {
    (void)state;
    tl_inspection* found = check("guitar:\n"
                                 "  pickup: {like: single-coil, resistance: 7 kohm +-2 % uniform}\n"
                                 "  tone: {like: pot-250k-audio, capacitor: 22 nF, position: 1 %}\n"
                                 "chain:\n"
                                 "- {cable: low-capacitance-coax, length: 6 m, name: lead}\n"
                                 "- {cable: standard-coax, length: 6 m, follows: lead}\n"
                                 "- buffer: ideal-buffer\n"
                                 "amp: tube-input\n");
    const tl_listing* row = row_of(found, "guitar.pickup", "resistance");
    assert_string_equal(row->value, "7 kohm"); // the words of a value stay what they were
    assert_true(is_near(row->tolerance, 0.02) && !row->tolerance_by_default);
    assert_string_equal(row->distribution, "uniform");
    assert_string_equal(row->tolerance_source, row->origin);
    row = row_of(found, "guitar.pickup", "inductance");
    assert_true(is_near(row->tolerance, 0.07) && row->tolerance_by_default);
    assert_string_equal(row->distribution, "normal");
    assert_non_null(strstr(row->tolerance_source, "from memory"));
    row = row_of(found, "guitar.tone", "capacitor");
    assert_true(is_near(row->tolerance, 0.2) && row->tolerance_by_default);
    row = row_of(found, "chain[2].buffer", "input.resistance");
    assert_true(row->tolerance == 0 && row->distribution && !row->tolerance_by_default);
    static const char* const none[][2] = {
        {"guitar.tone", "taper"},         {"guitar.tone", "position"},
        {"chain[0].cable", "build.core"}, {"chain[0].cable", "capacitance"}, // by formula
        {"chain[0].cable", "length"},     {"chain[1].cable", "capacitance of it all"}};
    for (size_t i = 0; i < sizeof none / sizeof *none; i++) {
        row = row_of(found, none[i][0], none[i][1]);
        assert_true(!row->distribution && !row->tolerance_source && !row->tolerance_by_default);
    }
    row = row_of(found, "chain[1].cable", "capacitance");
    assert_string_equal(row->about, "cable standard-coax, follows lead");
    tl_inspection_free(found);
}

static void the_library_is_listed(void** state) {
    (void)state;
    tl_inspection* all = NULL;
    tl_inspection* cables = NULL;
    tl_library* library = tl_session_library(session);
    assert_int_equal(tl_study_parts(library, NULL, &all, error), TL_OK);
    assert_int_equal(tl_study_parts(library, "cable", &cables, error), TL_OK);
    assert_true(all->count > cables->count && cables->count > 8);
    const tl_listing* row = row_of(cables, "standard-coax", "capacitance");
    assert_string_equal(row->value, "100 pF/m");
    assert_string_equal(row->about, "cable: ordinary instrument lead");
    assert_non_null(strstr(row->origin, "Sound On Sound, November 2009"));
    for (size_t i = 0; i < cables->count; i++)
        assert_int_equal(strncmp(cables->rows[i].about, "cable: ", 7), 0);
    tl_inspection_free(all);
    tl_inspection_free(cables);
    assert_int_equal(tl_study_parts(library, "cabel", &all, error), TL_BAD_INPUT);
    assert_null(all);
    assert_non_null(strstr(tl_error_text(error), "did you mean 'cable'?"));
}

static void a_netlist_is_text(void** state) {
    (void)state;
    tl_rig* rig =
        rig_of(tl_session_library(session),
               GUITAR "chain: [{cable: standard-coax, length: 6 m}]\namp: tube-input\n", error);
    char* text = tl_study_netlist(rig);
    assert_int_equal(strncmp(text, "* rig and direct", 16), 0);
    assert_non_null(strstr(text, ".ac dec 75 10 100k\n.end\n"));
    free(text);
    tl_rig_free(rig);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_to_say),         cmocka_unit_test(every_value_has_its_origin),
        cmocka_unit_test(a_long_unbuffered_lead), cmocka_unit_test(a_low_input_behind_a_buffer),
        cmocka_unit_test(loads_joints_and_leaks), cmocka_unit_test(an_output_too_weak_for_its_lead),
        cmocka_unit_test(totals_follow_the_path), cmocka_unit_test(demo_rigs_are_understood),
        cmocka_unit_test(tolerances_are_listed),  cmocka_unit_test(the_library_is_listed),
        cmocka_unit_test(a_netlist_is_text),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

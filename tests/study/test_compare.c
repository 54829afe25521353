// SPDX-License-Identifier: GPL-3.0-or-later
// Comparisons: which variants, in which order, under which names, and that each is what the same
// rig gives on its own.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/text.h"
#include "toneload/study.h"

#include <cmocka.h>
#include <complex.h>
#include <math.h>

static tl_session* session;
static tl_error* error;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    const tl_session_options options = {.solves = true, .jobs = 2};
    return tl_session_new(&options, &session, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_session_free(session);
    tl_error_free(error);
    return 0;
}

// A rig with places for what the tests vary.
static const char pattern[] = "rig: %s\n"
                              "guitar: {pickup: %s, volume: {like: pot-250k-audio, position: %s}}\n"
                              "chain:\n"
                              "- {cable: %s, length: %s}\n"
                              "- {pedal: overdrive-true-bypass, name: drive, engaged: %s}\n"
                              "- {cable: standard-coax, length: 3 m}\n"
                              "amp: %s\n";

static tl_rig* make_rig(const char* title, const char* pickup, const char* position,
                        const char* cable, const char* length, const char* engaged,
                        const char* amp) {
    char* text = tl_printf(pattern, title, pickup, position, cable, length, engaged, amp);
    tl_rig* rig = rig_of(tl_session_library(session), text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    free(text);
    return rig;
}

static tl_rig* usual(void) {
    return make_rig("usual", "single-coil", "80 %", "standard-coax", "6 m", "no", "tube-input");
}

static tl_comparison* compare(tl_rig* const* rigs, size_t rig_count, const char* const* varies,
                              size_t vary_count) {
    tl_comparison* comparison = NULL;
    if (tl_study_compare(session, rigs, rig_count, varies, vary_count, 200, &comparison, error) !=
        TL_OK)
        fail_msg("%s", tl_error_text(error));
    return comparison;
}

// Relative difference of two responses over the band of hearing.
static double worst_off(const tl_response* one, const tl_response* two) {
    double worst = 0;
    for (int i = 0; i <= 100; i++) {
        const double hz = 20 * pow(1000, i / 100.0);
        const double _Complex h = tl_response_at(two, hz);
        worst = fmax(worst, cabs(tl_response_at(one, hz) - h) / cabs(h));
    }
    return worst;
}

// The variant gives what the rig, written out, gives by itself.
static void is_the_same_as(const tl_variant* variant, tl_rig* alone) {
    tl_answer* answer = NULL;
    if (tl_study_response(session, alone, 200, &answer, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    assert_int_equal(variant->answer->count, answer->count);
    for (size_t i = 0; i < answer->count; i++) {
        const double off =
            worst_off(variant->answer->solved[i].response, answer->solved[i].response);
        if (!(off < 1e-9))
            fail_msg("%s: off by %g", variant->name, off);
        assert_string_equal(variant->answer->solved[i].amp, answer->solved[i].amp);
        assert_string_equal(variant->answer->solved[i].name, answer->solved[i].name);
    }
    tl_answer_free(answer);
    tl_rig_free(alone);
}

static void the_first_varies_slowest(void** state) {
    (void)state;
    static const char* const varies[] = {"chain[0].cable=standard-coax,coiled-lead",
                                         "chain[0].length=3 m, 6 m ,9 m", "amp=bare-input"};
    tl_rig* rig = usual();
    tl_comparison* c = compare(&rig, 1, varies, 3);
    static const char* const cables[] = {"standard-coax", "coiled-lead"};
    static const char* const lengths[] = {"3 m", "6 m", "9 m"};
    assert_int_equal(c->count, 6);
    for (size_t i = 0; i < 6; i++) {
        const tl_variant* v = &c->variants[i];
        assert_ptr_equal(v->rig, rig);
        assert_int_equal(v->setting_count, 3);
        assert_string_equal(v->settings[0].path, "chain[0].cable");
        assert_string_equal(v->settings[0].value, cables[i / 3]);
        assert_string_equal(v->settings[1].path, "chain[0].length");
        assert_string_equal(v->settings[1].value, lengths[i % 3]); // blanks are gone
        assert_string_equal(v->settings[2].value, "bare-input");
        char* name =
            tl_printf("cable = %s, length = %s, amp = bare-input", cables[i / 3], lengths[i % 3]);
        assert_string_equal(v->name, name);
        free(name);
        is_the_same_as(v, make_rig("alone", "single-coil", "80 %", cables[i / 3], lengths[i % 3],
                                   "no", "bare-input"));
    }
    // More lead, less top.
    assert_true(c->variants[0].answer->solved[0].metrics.cutoff_hz >
                c->variants[2].answer->solved[0].metrics.cutoff_hz);
    tl_comparison_free(c);
    tl_rig_free(rig);
}

// Commas and equals signs within braces, brackets and quotes belong to the value.
static void values_may_hold_commas(void** state) {
    (void)state;
    static const char* const varies[] = {
        "amp={resistance: 1 Mohm, capacitance: 100 pF},{resistance: 220 kohm},'bare-input'"};
    tl_rig* rig = usual();
    tl_comparison* c = compare(&rig, 1, varies, 1);
    assert_int_equal(c->count, 3);
    assert_string_equal(c->variants[0].settings[0].value,
                        "{resistance: 1 Mohm, capacitance: 100 pF}");
    assert_string_equal(c->variants[1].name, "amp = {resistance: 220 kohm}");
    assert_string_equal(c->variants[2].settings[0].value, "'bare-input'");
    static const char* const amps[] = {"{resistance: 1 Mohm, capacitance: 100 pF}",
                                       "{resistance: 220 kohm}", "bare-input"};
    for (size_t i = 0; i < 3; i++)
        is_the_same_as(&c->variants[i], make_rig("alone", "single-coil", "80 %", "standard-coax",
                                                 "6 m", "no", amps[i]));
    tl_comparison_free(c);
    tl_rig_free(rig);
}

// At 100 % the volume's upper part is a wire, and a pedal that goes on changes the circuit too:
// variants of several shapes in one comparison, each on its own deck.
static void variants_may_change_shape(void** state) {
    (void)state;
    static const char* const varies[] = {"guitar.volume.position=50 %,100 %,75 %",
                                         "chain[drive].engaged=yes,no"};
    static const char* const positions[] = {"50 %", "100 %", "75 %"};
    tl_rig* rig = usual();
    tl_comparison* c = compare(&rig, 1, varies, 2);
    assert_int_equal(c->count, 6);
    for (size_t i = 0; i < 6; i++) {
        char* name = tl_printf("volume position = %s, drive engaged = %s", positions[i / 2],
                               i % 2 ? "no" : "yes");
        assert_string_equal(c->variants[i].name, name);
        free(name);
        is_the_same_as(&c->variants[i],
                       make_rig("alone", "single-coil", positions[i / 2], "standard-coax", "6 m",
                                i % 2 ? "no" : "yes", "tube-input"));
    }
    tl_comparison_free(c);
    tl_rig_free(rig);
}

static void several_rigs_stand_side_by_side(void** state) {
    (void)state;
    tl_rig* const rigs[] = {
        make_rig("bright", "single-coil-bright", "100 %", "standard-coax", "3 m", "no",
                 "tube-input"),
        make_rig("dark", "humbucker-high", "100 %", "worn-lead", "9 m", "yes", "line-input")};
    tl_comparison* c = compare(rigs, 2, NULL, 0);
    assert_int_equal(c->count, 2);
    assert_string_equal(c->variants[0].name, "bright");
    assert_string_equal(c->variants[1].name, "dark");
    assert_ptr_equal(c->variants[1].rig, rigs[1]);
    is_the_same_as(&c->variants[0], make_rig("alone", "single-coil-bright", "100 %",
                                             "standard-coax", "3 m", "no", "tube-input"));
    is_the_same_as(&c->variants[1], make_rig("alone", "humbucker-high", "100 %", "worn-lead", "9 m",
                                             "yes", "line-input"));
    tl_comparison_free(c);
    static const char* const varies[] = {"chain[0].length=1 m,2 m", "chain[2].length=4 m"};
    c = compare(rigs, 2, varies, 2);
    assert_int_equal(c->count, 4);
    // Paths that end alike are told apart.
    assert_string_equal(c->variants[0].name,
                        "bright, chain[0].length = 1 m, chain[2].length = 4 m");
    assert_string_equal(c->variants[3].name, "dark, chain[0].length = 2 m, chain[2].length = 4 m");
    tl_comparison_free(c);
    tl_rig_free(rigs[0]);
    tl_rig_free(rigs[1]);
}

// Without anything to vary a rig is its own and only variant.
static void one_rig_alone(void** state) {
    (void)state;
    tl_rig* rig = usual();
    tl_comparison* c = compare(&rig, 1, NULL, 0);
    assert_int_equal(c->count, 1);
    assert_string_equal(c->variants[0].name, "usual");
    is_the_same_as(&c->variants[0], usual());
    tl_comparison_free(c);
    tl_rig_free(rig);
}

// The guitar and the amp are the direct's too; the chain never is.
static void direct_moves_with_guitar_and_amp(void** state) {
    (void)state;
    static const char* const varies[] = {"chain[0].length=1 m,50 m", "guitar.pickup=single-coil,"
                                                                     "humbucker-high"};
    tl_rig* rig = usual();
    tl_comparison* c = compare(&rig, 1, varies, 2);
    const tl_response* direct[4];
    for (size_t i = 0; i < 4; i++)
        direct[i] = c->variants[i].answer->solved[1].response;
    assert_true(worst_off(direct[0], direct[2]) < 1e-9);
    assert_true(worst_off(direct[1], direct[3]) < 1e-9);
    assert_true(worst_off(direct[0], direct[1]) > 0.1);
    for (size_t i = 0; i < 4; i++) // every value of a pickup travels
        is_the_same_as(&c->variants[i],
                       make_rig("alone", i % 2 ? "humbucker-high" : "single-coil", "80 %",
                                "standard-coax", i / 2 ? "50 m" : "1 m", "no", "tube-input"));
    tl_comparison_free(c);
    tl_rig_free(rig);
}

// The same bits whatever the number of workers.
static void workers_change_no_bit(void** state) {
    (void)state;
    static const char* const varies[] = {"chain[0].length=1 m,2 m,3 m,4 m,5 m,6 m,7 m,8 m,9 m,10 m",
                                         "guitar.volume.position=100 %,60 %,20 %",
                                         "chain[drive].engaged=yes,no"};
    tl_rig* rig = usual();
    tl_comparison* many = compare(&rig, 1, varies, 3);
    tl_session* two = session;
    const tl_session_options options = {.solves = true, .jobs = 1};
    assert_int_equal(tl_session_new(&options, &session, error), TL_OK);
    tl_comparison* one = compare(&rig, 1, varies, 3);
    assert_int_equal(one->count, 60);
    assert_int_equal(many->count, 60);
    for (size_t i = 0; i < one->count; i++)
        for (size_t j = 0; j < 2; j++) {
            const tl_solved* a = &one->variants[i].answer->solved[j];
            const tl_solved* b = &many->variants[i].answer->solved[j];
            assert_memory_equal(&a->residual, &b->residual, sizeof a->residual);
            assert_memory_equal(&a->metrics.reference_db, &b->metrics.reference_db, sizeof(double));
            assert_memory_equal(&a->metrics.peak_hz, &b->metrics.peak_hz, sizeof(double));
            assert_memory_equal(&a->metrics.q, &b->metrics.q, sizeof(double));
            assert_memory_equal(&a->metrics.cutoff_hz, &b->metrics.cutoff_hz, sizeof(double));
            for (double hz = 20; hz < 20e3; hz *= 1.3) {
                const double _Complex x = tl_response_at(a->response, hz);
                const double _Complex y = tl_response_at(b->response, hz);
                assert_memory_equal(&x, &y, sizeof x);
            }
        }
    tl_session_free(session);
    session = two;
    tl_comparison_free(one);
    tl_comparison_free(many);
    tl_rig_free(rig);
}

static size_t calls;
static size_t last_done;

static void count_progress(void* context, size_t done, size_t total) {
    assert_ptr_equal(context, &calls);
    assert_int_equal(total, 12);
    assert_true(done > last_done && done <= total);
    last_done = done;
    ++calls;
}

static void progress_is_told(void** state) {
    (void)state;
    static const char* const varies[] = {"chain[0].length=1 m,2 m,3 m,4 m,5 m,6 m",
                                         "chain[drive].engaged=yes,no"};
    tl_rig* rig = usual();
    tl_session* two = session;
    const tl_session_options options = {
        .solves = true, .jobs = 1, .progress = count_progress, .context = &calls};
    assert_int_equal(tl_session_new(&options, &session, error), TL_OK);
    tl_comparison_free(compare(&rig, 1, varies, 2));
    assert_true(calls > 0);
    assert_int_equal(last_done, 12);
    tl_session_free(session);
    session = two;
    tl_rig_free(rig);
}

// Refused, with the words and a caret at the column.
static void refused(const char* vary, size_t column, const char* words) {
    tl_rig* rig = usual();
    tl_comparison* comparison = NULL;
    assert_int_equal(tl_study_compare(session, &rig, 1, &vary, 1, 200, &comparison, error),
                     TL_BAD_INPUT);
    assert_null(comparison);
    tl_rig_free(rig);
    char* head = tl_printf("--vary:1:%zu: error: ", column);
    if (!strstr(tl_error_text(error), words) || !strstr(tl_error_text(error), head))
        fail_msg("expected '%s' at %zu, found: %s", words, column, tl_error_text(error));
    free(head);
}

static void wrong_varies_are_refused(void** state) {
    (void)state;
    refused("", 1, "expected PATH=V1,V2,..");
    refused("chain[0].length", 1, "expected PATH=V1,V2,..");
    refused("=3 m", 1, "expected PATH=V1,V2,..");
    refused("chain[0].length=", 17, "expected a value");
    refused("chain[0].length=3 m,", 21, "expected a value");
    refused("chain[0].length=3 m,,4 m", 21, "expected a value");
    refused("chain[0].lenght=3 m", 10, "did you mean 'length'?");
    refused("  chain[0].lenght=3 m", 10, "did you mean 'length'?"); // shown from the path on
    refused("chain[0].length=3 m,6", 21, "a bare number");
    refused("chain[0].length=3 m, -6 m", 22, "cannot be negative");
    refused("chain[0].length=20',30'", 17, "did you mean '20 ft'?"); // no quoted comma
    refused("chain[0].cable=standard-coax,coild-lead", 30, "did you mean 'coiled-lead'?");
    refused("amp={resistance: 1 mohm}", 18, "is it 1 Mohm?");
    refused("amp={resistance: 1 Mohm", 24, "YAML: ");
    refused("amp={stopper: 1 kohm, resistance: 1 Mohm}", 5, "give both or neither");
    refused("guitar.volume.position=0 %", 24, "no signal");
    refused("chain[0].length=3 m\x1b[2J", 1, "control characters");
    refused("amp=*x", 5, "an alias");
}

static void too_many_variants_are_refused(void** state) {
    (void)state;
    tl_text vary = {0};
    tl_text_add(&vary, "chain[0].length=1 m");
    for (int i = 2; i <= 400; i++)
        tl_text_addf(&vary, ",%d cm", i);
    const char* const varies[] = {tl_text_get(&vary), tl_text_get(&vary)};
    tl_rig* rig = usual();
    tl_comparison* comparison = NULL;
    assert_int_equal(tl_study_compare(session, &rig, 1, varies, 2, 200, &comparison, error),
                     TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "more than 100000 variants"));
    assert_int_equal(tl_study_compare(session, NULL, 0, NULL, 0, 200, &comparison, error),
                     TL_BAD_INPUT);
    tl_rig_free(rig);
    tl_text_free(&vary);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_first_varies_slowest),
        cmocka_unit_test(values_may_hold_commas),
        cmocka_unit_test(variants_may_change_shape),
        cmocka_unit_test(several_rigs_stand_side_by_side),
        cmocka_unit_test(one_rig_alone),
        cmocka_unit_test(direct_moves_with_guitar_and_amp),
        cmocka_unit_test(workers_change_no_bit),
        cmocka_unit_test(progress_is_told),
        cmocka_unit_test(wrong_varies_are_refused),
        cmocka_unit_test(too_many_variants_are_refused),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Places for buffers: which gaps there are, what each place comes to against rigs written out by
// hand, what a pedal that needs the pickup keeps, and what common practice says is best.

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

#define BUFFER "{input: {resistance: 1 Mohm, capacitance: 10 pF}, output: {resistance: 100 ohm}}"
#define GUITAR "guitar: {pickup: single-coil}\n"

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

static void assert_near(double got, double expected, double within) {
    if (!(fabs(got - expected) <= within))
        fail_msg("got %.12g, expected %.12g", got, expected);
}

static tl_rig* read_rig(const char* text) {
    tl_rig* rig = rig_of(tl_session_library(session), text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    return rig;
}

static tl_placing* place_with(const char* text, const tl_place_options* options) {
    tl_rig* rig = read_rig(text);
    tl_placing* placing = NULL;
    if (tl_study_place(session, rig, options, &placing, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_rig_free(rig);
    return placing;
}

static tl_placing* place(const char* text, size_t buffers) {
    return place_with(text, &(tl_place_options){200, BUFFER, buffers, NULL, 0, false});
}

static void refused(const char* text, const tl_place_options* options, const char* words) {
    tl_rig* rig = read_rig(text);
    tl_placing* placing = NULL;
    assert_int_equal(tl_study_place(session, rig, options, &placing, error), TL_BAD_INPUT);
    assert_null(placing);
    if (!strstr(tl_error_text(error), words))
        fail_msg("'%s' is not in: %s", words, tl_error_text(error));
    tl_rig_free(rig);
}

// The placement whose (only or first and second) gaps have these paths.
static size_t find_place(const tl_placing* placing, const char* one, const char* two) {
    for (size_t i = 1; i < placing->count; i++) {
        const size_t* gaps = placing->placements[i].gaps;
        if (strcmp(placing->gap_paths[gaps[0]], one) == 0 &&
            (!two || strcmp(placing->gap_paths[gaps[1]], two) == 0))
            return i;
    }
    fail_msg("no place %s %s", one, two ? two : "");
    return 0;
}

static const char* best_words(const tl_placing* placing) {
    return placing->gaps[placing->placements[placing->ranking[0]].gaps[0]];
}

// A loop, a loaded bypass and two amps: every kind of gap there is.
static const char many[] = "%s" GUITAR "chain:\n"
                           "%s- {cable: standard-coax, length: 4 m}\n"
                           "%s- loop:\n    name: box\n    chain:\n"
                           "    - {cable: patch-coax, length: 1 m}\n"
                           "%s    - {pedal: overdrive-true-bypass, name: drive, engaged: no}\n"
                           "  engaged: no\n"
                           "%s- {pedal: wah-loading, name: wah, engaged: no}\n"
                           "- split:\n"
                           "  - name: dry\n    amp: tube-input\n"
                           "%s"
                           "  - name: wet\n    chain: [{cable: standard-coax, length: 3 m}]\n"
                           "    amp: solid-state-input\n";

static char* many_rig(int at) {
    static const char* const lines[] = {"- buffer: " BUFFER "\n", "- buffer: " BUFFER "\n",
                                        "    - buffer: " BUFFER "\n", "- buffer: " BUFFER "\n",
                                        "    chain: [{buffer: " BUFFER "}]\n"};
    const char* put[5] = {"", "", "", "", ""};
    if (at >= 0)
        put[at] = lines[at];
    return tl_printf(many, "rig: many\n", put[0], put[1], put[2], put[3], put[4]);
}

static void gaps_are_named(void** state) {
    (void)state;
    static const char* const names[] = {"before chain[0] (cable)",
                                        "after chain[0] (cable)",
                                        "before chain[1].chain[0] (cable)",
                                        "after chain[1].chain[0] (cable)",
                                        "after chain[1].chain[1] 'drive'",
                                        "after chain[1] 'box'",
                                        "after chain[2] 'wah'",
                                        "before chain[3].split[dry].amp",
                                        "before chain[3].split[wet].chain[0] (cable)",
                                        "after chain[3].split[wet].chain[0] (cable)"};
    char* text = many_rig(-1);
    tl_placing* placing = place(text, 1);
    assert_int_equal(placing->gap_count, 10);
    for (size_t i = 0; i < 10; i++)
        assert_string_equal(placing->gaps[i], names[i]);
    assert_string_equal(placing->gap_paths[3], "chain[1].chain[1]");
    assert_int_equal(placing->count, 11);
    assert_int_equal(placing->ranked_count, 11);
    assert_int_equal(placing->state_count, 8);
    assert_true(isnan(placing->cost_db));
    // Of 88: with the box off the drive is out of the path and the loop's gaps are none, 2 x 7; on,
    // with the drive off the gaps around it are one, 2 x 8; with both on the box's ends are, 2 x 9.
    assert_int_equal(placing->solves, 48);
    tl_placing_free(placing);

    // A loop that is held off takes its gaps with it.
    static const char* const fixes[] = {"box=no", "drive=no"};
    placing = place_with(text, &(tl_place_options){200, BUFFER, 1, fixes, 2, false});
    assert_int_equal(placing->gap_count, 7);
    assert_int_equal(placing->state_count, 2);
    tl_placing_free(placing);
    free(text);
}

// What place says of a gap is what states says of the rig with the buffer written in.
static void as_written_by_hand(void** state) {
    (void)state;
    static const char* const paths[] = {"chain[0]", "chain[1]", "chain[1].chain[1]", "chain[2]",
                                        "chain[3].split[dry].chain[0]"};
    char* text = many_rig(-1);
    tl_placing* placing = place(text, 1);
    for (int at = -1; at < 5; at++) {
        char* by_hand = many_rig(at);
        tl_rig* rig = read_rig(by_hand);
        tl_states* states = NULL;
        const tl_states_options options = {200, NULL, 0, true};
        assert_int_equal(tl_study_states(session, rig, &options, &states, error), TL_OK);
        const tl_placement* got =
            &placing->placements[at < 0 ? 0 : find_place(placing, paths[at], NULL)];
        double worst = 0;
        double squares = 0;
        tl_verdict verdict = TL_NOT_AUDIBLE;
        for (size_t i = 0; i < states->count; i++)
            for (size_t j = 0; j < 2; j++) {
                const tl_hearing* heard = &states->states[i].amps[j].hearing;
                worst = fmax(worst, fabs(heard->worst_db));
                squares += heard->rms_db * heard->rms_db;
                verdict = heard->verdict > verdict ? heard->verdict : verdict;
            }
        assert_near(fabs(got->worst_db), worst, 1e-6);
        assert_near(got->rms_db, sqrt(squares / 16), 1e-6);
        assert_int_equal(got->verdict, verdict);
        const tl_hearing* there = &states->states[got->worst_state].amps[got->worst_amp].hearing;
        assert_near(there->worst_db, got->worst_db, 1e-6);
        assert_near(there->presence_db, got->presence_db, 1e-6);
        assert_near(there->worst_hz, got->worst_hz, 1e-6);
        tl_states_free(states);
        tl_rig_free(rig);
        free(by_hand);
    }
    for (size_t i = 1; i < placing->count; i++)
        assert_true(fabs(placing->placements[placing->ranking[i]].worst_db) + 1e-6 >=
                    fabs(placing->placements[placing->ranking[i - 1]].worst_db));
    tl_placing_free(placing);
    free(text);
}

static const char run[] = "rig: run\n" GUITAR "chain:\n"
                          "- {cable: standard-coax, length: 30 cm}\n"
                          "- {cable: standard-coax, length: 10 m}\n"
                          "- {pedal: wah-loading, name: wah, engaged: no}\n"
                          "- {cable: standard-coax, length: 10 m}\n"
                          "amp: tube-input\n"
                          "direct: [{cable: standard-coax, length: 30 cm}]\n";

// common practice: on a long run a buffer belongs near the guitar, where `direct` has its end.
static void near_the_guitar_is_best(void** state) {
    (void)state;
    tl_placing* placing = place(run, 1);
    assert_string_equal(best_words(placing), "after chain[0] (cable)");
    // The further from the guitar, the worse; and none at all is worst.
    static const char* const paths[] = {"chain[1]", "chain[2]", "chain[4]"};
    for (size_t i = 1; i < 3; i++)
        assert_true(fabs(placing->placements[find_place(placing, paths[i], NULL)].worst_db) >
                    fabs(placing->placements[find_place(placing, paths[i - 1], NULL)].worst_db));
    assert_true(fabs(placing->placements[0].worst_db) > 10);
    assert_int_equal(placing->best->count, 2);
    tl_placing_free(placing);
}

// common practice: "a dedicated buffer first and last", for pedals with weak outputs into long
// leads.
static void first_and_last_are_best(void** state) {
    (void)state;
    static const char text[] =
        "rig: pair\n"
        "guitar: {pickup: single-coil, volume: {like: pot-250k-audio, position: 100 %}}\n"
        "chain:\n"
        "- {cable: standard-coax, length: 5 m}\n"
        "- {cable: standard-coax, length: 8 m}\n"
        "- pedal: {bypass: loaded-bypass, input: {resistance: 100 kohm}, "
        "output: {resistance: 30 kohm}}\n"
        "  name: wah\n  engaged: no\n"
        "- {cable: patch-coax, length: 10 cm}\n"
        "- {cable: standard-coax, length: 15 m}\n"
        "amp: {resistance: 1 Mohm, capacitance: 20 pF}\n"
        "direct: [{cable: standard-coax, length: 5 m}]\n";
    tl_placing* one = place(text, 1);
    tl_placing* two = place(text, 2);
    assert_int_equal(two->count, 16);
    const tl_placement* best = &two->placements[two->ranking[0]];
    assert_string_equal(two->gaps[best->gaps[0]], "after chain[0] (cable)");
    assert_string_equal(two->gaps[best->gaps[1]], "after chain[2] 'wah'");
    assert_true(fabs(best->worst_db) < 1);
    assert_true(fabs(one->placements[one->ranking[0]].worst_db) > 3);
    tl_placing_free(one);
    tl_placing_free(two);
}

static const char fuzz[] = "rig: fuzz\n%s" GUITAR "chain:\n"
                           "- {cable: standard-coax, length: 3 m}\n"
                           "%s"
                           "- {cable: patch-coax, length: 9 m}\n"
                           "- pedal: {like: fuzz-low-input, needs_pickup: %s}\n"
                           "  name: fuzz\n  engaged: no\n"
                           "- {cable: standard-coax, length: 9 m}\n"
                           "amp: tube-input\n"
                           "direct: [{cable: standard-coax, length: 3 m}]\n";

static char* fuzz_rig(const char* before, const char* needs) {
    return tl_printf(fuzz, "", before, needs);
}

static void a_fuzz_keeps_the_pickup(void** state) {
    (void)state;
    char* text = fuzz_rig("", "yes");
    tl_placing* placing = place(text, 1);
    assert_int_equal(placing->pickup_pedal_count, 1);
    assert_string_equal(placing->pickup_pedals[0].name, "fuzz");
    assert_int_equal(placing->pickup_pedals[0].on_count, 1);
    assert_int_equal(placing->pickup_pedals[0].cut_count, 0);
    static const char* const paths[] = {"chain[0]", "chain[1]", "chain[2]", "chain[3]", "chain[4]"};
    for (size_t i = 0; i < 5; i++)
        assert_int_equal(placing->placements[find_place(placing, paths[i], NULL)].allowed, i >= 3);
    assert_int_equal(placing->ranked_count, 3);
    assert_string_equal(best_words(placing), "after chain[2] 'fuzz'");
    // Without it, the lead after the first 3 m would be out of the pickup's sight.
    const tl_placement* first = &placing->placements[placing->best_of_all];
    assert_string_equal(placing->gaps[first->gaps[0]], "after chain[0] (cable)");
    const tl_placement* best = &placing->placements[placing->ranking[0]];
    assert_near(placing->cost_db, fabs(best->worst_db) - fabs(first->worst_db), 1e-12);
    assert_true(placing->cost_db > 5);
    // The state with the fuzz on is set aside, or its load would be all that is seen.
    assert_int_equal(placing->set_aside_count, 1);
    assert_int_equal(best->worst_state, 0);
    assert_true(fabs(placing->placements[0].aside_db) > fabs(best->worst_db));
    tl_placing_free(placing);
    free(text);
}

// What is not on, or not needed, or cut off already, keeps nothing.
static void nothing_to_keep(void** state) {
    (void)state;
    static const char* const off[] = {"fuzz=no"};
    static const char* const on[] = {"chain[fuzz].engaged=yes"};
    char* text = fuzz_rig("", "yes");
    tl_placing* placing = place_with(text, &(tl_place_options){200, BUFFER, 1, off, 1, false});
    assert_int_equal(placing->ranked_count, placing->count);
    assert_true(placing->cost_db == 0);
    tl_placing_free(placing);
    placing = place_with(text, &(tl_place_options){200, BUFFER, 1, on, 1, false});
    assert_int_equal(placing->ranked_count, 3);
    assert_int_equal(placing->set_aside_count, 0); // else nothing would be left
    assert_true(isnan(placing->placements[0].aside_db));
    tl_placing_free(placing);
    free(text);

    text = fuzz_rig("", "no");
    placing = place(text, 1);
    assert_int_equal(placing->pickup_pedal_count, 0);
    assert_int_equal(placing->ranked_count, placing->count);
    assert_true(isnan(placing->cost_db));
    tl_placing_free(placing);
    free(text);

    text = fuzz_rig("- buffer: ideal-buffer\n", "yes");
    placing = place(text, 1);
    assert_int_equal(placing->pickup_pedals[0].on_count, 1);
    assert_int_equal(placing->pickup_pedals[0].cut_count, 1);
    assert_int_equal(placing->set_aside_count, 0);
    assert_int_equal(placing->ranked_count, placing->count);
    tl_placing_free(placing);
    free(text);

    // A pedal that drives only while it is on: the fuzz has the pickup while it is off.
    text = fuzz_rig("- {pedal: overdrive-true-bypass, name: drive, engaged: no}\n", "yes");
    placing = place(text, 1);
    assert_int_equal(placing->pickup_pedals[0].on_count, 2);
    assert_int_equal(placing->pickup_pedals[0].cut_count, 1);
    assert_int_equal(placing->set_aside_count, 1);
    assert_false(placing->placements[find_place(placing, "chain[0]", NULL)].allowed);
    tl_placing_free(placing);
    free(text);
}

static void scenes_are_the_states(void** state) {
    (void)state;
    char* text = tl_printf("%sscenes: [{name: clean, engaged: []}, {name: lead, engaged: [fuzz]}, "
                           "{name: solo, engaged: [fuzz]}]\n",
                           "rig: s\n" GUITAR "chain:\n- {cable: standard-coax, length: 9 m}\n"
                           "- {pedal: fuzz-high-input, name: fuzz, engaged: no}\n"
                           "- {pedal: wah-loading, name: wah, engaged: no}\namp: tube-input\n");
    tl_placing* placing = place(text, 1);
    assert_int_equal(placing->state_count, 3);
    assert_string_equal(placing->scenes[1], "lead");
    tl_placing_free(placing);
    placing = place_with(text, &(tl_place_options){200, BUFFER, 1, NULL, 0, true});
    assert_int_equal(placing->state_count, 4);
    assert_null(placing->scenes);
    tl_placing_free(placing);
    free(text);
}

static void a_library_buffer_is_one_by_its_name(void** state) {
    (void)state;
    tl_placing* named = place_with(run, &(tl_place_options){200, "line-driver", 1, NULL, 0, false});
    tl_placing* like = place_with(
        run, &(tl_place_options){200, "{like: line-driver, gain: 0.5}", 1, NULL, 0, false});
    for (size_t i = 0; i < named->count; i++) // a gain is not a tone
        assert_near(named->placements[i].worst_db, like->placements[i].worst_db, 1e-6);
    tl_placing_free(named);
    tl_placing_free(like);
}

static void what_cannot_be_placed_is_refused(void** state) {
    (void)state;
    refused(run, &(tl_place_options){200, "line-drover", 1, NULL, 0, false},
            "--buffer:1:1: error: no buffer named 'line-drover' in the library; did you mean "
            "'line-driver'?");
    refused(run, &(tl_place_options){200, "{input: {resistance: 1 Mohm}}", 1, NULL, 0, false},
            "output.resistance");
    refused(run, &(tl_place_options){200, "  ", 1, NULL, 0, false}, "expected a buffer");
    refused(run, &(tl_place_options){200, "a\x1b[2J", 1, NULL, 0, false}, "control characters");
    refused(run, &(tl_place_options){200, BUFFER, 0, NULL, 0, false}, "expected 1 to 4");
    refused(run, &(tl_place_options){200, BUFFER, 5, NULL, 0, false}, "expected 1 to 4");
    static const char* const fixes[] = {"wha=no"};
    refused(run, &(tl_place_options){200, BUFFER, 1, fixes, 1, false}, "did you mean 'wah'?");
    static const char short_text[] =
        "rig: short\n" GUITAR "chain: [{cable: standard-coax, length: 3 m}]\namp: tube-input\n";
    refused(short_text, &(tl_place_options){200, BUFFER, 3, NULL, 0, false},
            "only 2 gaps for 3 buffers");
    tl_text text = {0};
    tl_text_add(&text, "rig: big\n" GUITAR "amp: tube-input\nchain:\n");
    for (int i = 0; i < 12; i++)
        tl_text_addf(&text, "- {pedal: wah-loading, name: wah%d, engaged: no}\n", i);
    refused(tl_text_get(&text), &(tl_place_options){200, BUFFER, 2, NULL, 0, false}, "--fix");
    for (int i = 12; i < 17; i++)
        tl_text_addf(&text, "- {pedal: wah-loading, name: wah%d, engaged: no}\n", i);
    refused(tl_text_get(&text), &(tl_place_options){200, BUFFER, 1, NULL, 0, false},
            "more than 65536 states");
    tl_text_free(&text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gaps_are_named),
        cmocka_unit_test(as_written_by_hand),
        cmocka_unit_test(near_the_guitar_is_best),
        cmocka_unit_test(first_and_last_are_best),
        cmocka_unit_test(a_fuzz_keeps_the_pickup),
        cmocka_unit_test(nothing_to_keep),
        cmocka_unit_test(scenes_are_the_states),
        cmocka_unit_test(a_library_buffer_is_one_by_its_name),
        cmocka_unit_test(what_cannot_be_placed_is_refused),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

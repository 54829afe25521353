// SPDX-License-Identifier: GPL-3.0-or-later
// Finished boards accepted and rejected: good ones drawn from within tolerance, and boards with one
// thing wrong that are written out as rigs of their own, so that nothing of the study's own way to
// put faults in is used. Readings have a meter's noise.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/random.h"
#include "base/statistics.h"
#include "base/text.h"
#include "rig/measure.h"
#include "study/session.h"
#include "study/spread_plan.h"
#include "toneload/accept.h"

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static tl_session* session;
static tl_error* error;
static const double meter_db = 0.1;

static void judge_many(void);
static void free_many(void);

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    const tl_session_options options = {.solves = true, .jobs = 2};
    if (tl_session_new(&options, &session, error) != TL_OK || tl_statistics_prepare(error) != TL_OK)
        return 1;
    judge_many();
    return 0;
}

static int stop(void** state) {
    (void)state;
    free_many();
    tl_session_free(session);
    tl_error_free(error);
    return 0;
}

// ---- rigs with one thing wrong

// What can be wrong in the test's rig; each is a word that is put in place of another.
typedef struct {
    const char* from;
    const char* to; // with one number, or none
    double low;     // of the number, drawn evenly in log between these
    double high;
    tl_cause_kind kind;
    const char* path; // of what has to be named
} fault;

static const char board[] =
    "rig: test\n"
    "guitar: {pickup: single-coil}\n"
    "chain:\n"
    "- {cable: standard-coax, length: 6 m, name: first}\n"
    "- {pedal: overdrive-true-bypass, name: drive, engaged: no}\n"
    "- {cable: patch-coax, length: 50 cm}\n"
    "- {buffer: {input: {resistance: 1 Mohm, capacitance: 20 pF}, output: {resistance: 150 ohm,"
    " coupling: 10 uF}}, name: front}\n"
    "- {cable: patch-coax, length: 50 cm}\n"
    "- {pot: {pot: 100 kohm, taper: linear, position: 100 %}}\n"
    "- {cable: standard-coax, length: 9 m, name: last}\n"
    "amp: {resistance: 1 Mohm, capacitance: 20 pF}\n"
    "measure: {amp: connected, controls: no}\n";

static const fault faults[] = {
    {"length: 6 m", "length: %.4g m", 12, 24, TL_CAUSE_LEAD, "chain[0].length"},
    {"length: 6 m", "length: %.4g m", 1, 3, TL_CAUSE_LEAD, "chain[0].length"},
    {"- {buffer: {input: {resistance: 1 Mohm, capacitance: 20 pF}, output: {resistance: 150 ohm,"
     " coupling: 10 uF}}, name: front}\n",
     "- {contact: {resistance: 1 mohm}}\n", 1, 1, TL_CAUSE_NOBUFFER, "chain[3]"},
    {"overdrive-true-bypass",
     "{bypass: loaded-bypass, input: {resistance: 47 kohm}, output: {resistance: 1 kohm}}", 1, 1,
     TL_CAUSE_LEAK, "chain[0]"},
    {"engaged: no", "engaged: yes", 1, 1, TL_CAUSE_ON, "chain[1].engaged"},
    {"linear, position: 100 %", "linear, position: %.4g %%", 10, 70, TL_CAUSE_VOLUME,
     "chain[5].position"},
    {"length: 9 m, name: last}\n", "length: 9 m}\n- {contact: {resistance: %.4g kohm}}\n", 200,
     1000, TL_CAUSE_JOINT, "chain[6]"},
    {"- {cable: patch-coax, length: 50 cm}\n- {buffer",
     "- {cable: patch-coax, length: 50 cm}\n- {contact: {resistance: %.4g kohm}}\n- {buffer", 200,
     1000, TL_CAUSE_JOINT, "chain[2]"},
    {"coupling: 10 uF", "coupling: %.4g nF", 2, 20, TL_CAUSE_VALUE, "chain[3].output.coupling"},
    {"- {cable: standard-coax, length: 6 m, name: first}\n",
     "- {contact: {resistance: 1 mohm, leakage: %.4g kohm}}\n- {cable: standard-coax, length: 6 m, "
     "name: first}\n",
     20, 100, TL_CAUSE_LEAK, "chain[0]"},
};
enum { FAULTS = sizeof faults / sizeof *faults };

// The text with its first `from` become `to`.
static char* replaced(const char* text, const char* from, const char* to) {
    const char* at = strstr(text, from);
    assert_non_null(at);
    return tl_printf("%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
}

static char* with_fault(const char* text, const fault* f, double place) {
    char words[400];
    double number = f->low * pow(f->high / f->low, place);
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
    snprintf(words, sizeof words, f->to, number);
#pragma GCC diagnostic pop
    return replaced(text, f->from, words);
}

static tl_rig* rig_from(const char* text) {
    tl_rig* rig = rig_of(tl_session_library(session), text, error);
    if (!rig)
        fail_msg("%s\n%s", tl_error_text(error), text);
    return rig;
}

// ---- boards, measured

typedef struct {
    tl_measured** measured;
    const char** files;
    tl_circuit** circuits;
    tl_answer** answers;
    size_t count;
} bench;

// Adds a board of a rig, its values drawn from within tolerance.
static void build(bench* b, const char* text, uint64_t seed) {
    tl_rig* rig = rig_from(text);
    tl_rig* on_bench = NULL;
    tl_spread_plan plan = {0};
    if (tl_measure_rig(rig, NULL, &on_bench, error) != TL_OK ||
        tl_spread_plan_make(on_bench, false, &plan, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    b->circuits = tl_grow_one(b->circuits, b->count, sizeof *b->circuits);
    b->circuits[b->count++] = tl_spread_plan_draw(&plan, seed, 0);
    tl_spread_plan_free(&plan);
    tl_rig_free(on_bench);
    tl_rig_free(rig);
}

static double noise(uint64_t seed, size_t board_index, size_t reading) {
    return meter_db *
           tl_normal_quantile(tl_random_uniform(seed, board_index, (uint32_t)(1000 + reading)));
}

// Measures all boards at so many frequencies an octave from 40 Hz on.
static void measure(bench* b, size_t points, double an_octave, uint64_t seed, bool relative) {
    tl_batch batch = {.circuits = b->circuits, .count = b->count, .reference_hz = 200};
    b->answers = tl_new(b->count, sizeof *b->answers);
    b->measured = tl_new(b->count, sizeof *b->measured);
    b->files = tl_new(b->count, sizeof *b->files);
    if (tl_batch_solve(session, &batch, b->answers, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    for (size_t i = 0; i < b->count; ++i) {
        tl_measured* m = tl_new(1, sizeof *m);
        *m = (tl_measured){.kind = TL_MEASURED_RESPONSE,
                           .count = points,
                           .hz = tl_new(points, sizeof(double)),
                           .size = tl_new(points, sizeof(double)),
                           .line = tl_new(points, sizeof(size_t)),
                           .relative = relative};
        for (size_t j = 0; j < points; ++j) {
            m->hz[j] = 40 * pow(2, (double)j / an_octave);
            m->line[j] = j + 2;
            double db = tl_response_db(b->answers[i]->solved[0].response, m->hz[j]);
            m->size[j] = pow(10, (db + noise(seed, i, j) + (relative ? 7.3 : 0)) / 20);
        }
        b->measured[i] = m;
        b->files[i] = "board.csv";
    }
}

static void bench_free(bench* b) {
    for (size_t i = 0; i < b->count; ++i) {
        tl_circuit_free(b->circuits[i]);
        tl_answer_free(b->answers[i]);
        free(b->measured[i]->hz);
        free(b->measured[i]->size);
        free(b->measured[i]->line);
        free(b->measured[i]);
    }
    free(b->circuits);
    free(b->answers);
    free(b->measured);
    free(b->files);
}

static tl_accept* accept(const bench* b, const char* text, const tl_accept_options* options) {
    tl_rig* rig = rig_from(text);
    tl_accept* answer = NULL;
    const tl_accept_options plain = {0};
    if (tl_study_accept(session, rig, options ? options : &plain,
                        (const tl_measured* const*)b->measured, b->files, b->count, &answer,
                        error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_rig_free(rig);
    return answer;
}

static const tl_cause* find_cause(const tl_board_check* checked, size_t class, tl_cause_kind kind,
                                  const char* path) {
    for (size_t i = 0; class < checked->class_count && i < checked->classes[class].count; ++i) {
        const tl_cause* cause = &checked->classes[class].causes[i];
        if (cause->kind == kind && strcmp(cause->path, path) == 0)
            return cause;
    }
    return NULL;
}

// ---- many boards, all of them judged at once

// Good, with one thing wrong, with a small thing wrong, with two things wrong.
enum { GOOD = 200, WRONG = 200, SMALL = 80, BOARDS = GOOD + WRONG + SMALL };

// Small faults, so that some are hard to tell.
static const fault small[] = {
    {"length: 6 m", "length: %.4g m", 6.6, 8, TL_CAUSE_LEAD, "chain[0].length"},
    {"length: 9 m, name: last}\n", "length: 9 m}\n- {contact: {resistance: %.4g kohm}}\n", 60, 150,
     TL_CAUSE_JOINT, "chain[6]"},
    {"- {cable: patch-coax, length: 50 cm}\n- {buffer",
     "- {cable: patch-coax, length: 50 cm}\n- {contact: {resistance: %.4g kohm}}\n- {buffer", 100,
     300, TL_CAUSE_JOINT, "chain[2]"},
    {"coupling: 10 uF", "coupling: %.4g nF", 100, 1000, TL_CAUSE_VALUE, "chain[3].output.coupling"},
};

static bench many;
static tl_accept* judged;

static void judge_many(void) {
    for (uint64_t i = 0; i < BOARDS; ++i) {
        const fault* f = i < GOOD           ? NULL
                         : i < GOOD + WRONG ? &faults[i % FAULTS]
                                            : &small[i % (sizeof small / sizeof *small)];
        char* text = f ? with_fault(board, f, tl_random_uniform(5, i, 0)) : tl_copy(board);
        build(&many, text, 1000 + i);
        free(text);
    }
    char* once = with_fault(board, &faults[8], 0.5);
    char* twice = with_fault(once, &faults[0], 0.5);
    build(&many, twice, 8);
    free(once);
    free(twice);
    measure(&many, 27, 3, 11, true);
    judged = accept(&many, board, NULL);
}

static void free_many(void) {
    tl_accept_free(judged);
    bench_free(&many);
}

static size_t count_rejected(size_t first, size_t count) {
    size_t rejected = 0;
    for (size_t i = first; i < first + count; ++i)
        rejected += !judged->boards[i].accepted;
    return rejected;
}

// Whether the fault is among what is named first, and it is said that this explains it.
static bool is_named_first(const tl_board_check* checked, const fault* f) {
    return !checked->accepted && checked->explained && find_cause(checked, 0, f->kind, f->path);
}

// At most 5 % of the good boards; but limits that are too wide would be no test either: the band is
// no wider than what its own trials and the meter make of it.
static void good_boards_are_accepted(void** state) {
    (void)state;
    size_t rejected = count_rejected(0, GOOD);
    double nearest = 0;
    for (size_t i = 0; i < GOOD; ++i)
        nearest = fmax(nearest, judged->boards[i].statistic / judged->boards[i].limit);
    print_message("rejected of %d good ones: %zu\n", GOOD, rejected);
    assert_true(rejected <= GOOD * 5 / 100);
    assert_true(nearest > 0.75);
}

static void one_fault_is_named_first(void** state) {
    (void)state;
    size_t right = 0;
    size_t of_kind[FAULTS] = {0};
    for (size_t i = GOOD; i < GOOD + WRONG; ++i) {
        bool named = is_named_first(&judged->boards[i], &faults[i % FAULTS]);
        right += named;
        of_kind[i % FAULTS] += named;
    }
    print_message("named right of %d wrong ones: %zu\n", WRONG, right);
    assert_true(right >= WRONG * 90 / 100);
    for (size_t i = 0; i < FAULTS; ++i) // no kind is hardly ever found
        if (of_kind[i] < WRONG / FAULTS / 2)
            fail_msg("%s: %zu of %d", faults[i].path, of_kind[i], WRONG / FAULTS);
}

// Probabilities that are told mean what they say: as many are named right as the likeliest causes'
// probabilities add up to.
static void probabilities_are_kept(void** state) {
    (void)state;
    double told = 0;
    double right = 0;
    double variance = 0;
    for (size_t i = GOOD + WRONG; i < BOARDS; ++i) {
        const tl_board_check* checked = &judged->boards[i];
        const fault* f = &small[i % (sizeof small / sizeof *small)];
        if (!checked->class_count)
            continue;
        double sum = checked->none;
        double p = checked->classes[0].probability;
        for (size_t j = 0; j < checked->class_count; ++j)
            sum += checked->classes[j].probability;
        assert_true(sum > 0.99 && sum < 1.000001);
        told += p;
        variance += p * (1 - p);
        right += find_cause(checked, 0, f->kind, f->path) != NULL;
    }
    size_t rejected = count_rejected(GOOD + WRONG, SMALL);
    print_message("rejected %zu of %d; right %.0f, told %.1f +- %.1f\n", rejected, SMALL, right,
                  told, sqrt(variance));
    assert_true(rejected > SMALL / 4);
    // Four deviations, and two more boards for what is only nearly straight.
    assert_true(right > told - 4 * sqrt(variance) - 2);
}

// ---- what cannot be told apart

static const char pair[] = "guitar: {pickup: single-coil}\n"
                           "chain:\n"
                           "- {cable: standard-coax, length: 5 m, name: one}\n"
                           "%s"
                           "- {cable: standard-coax, length: 5 m, name: other}\n"
                           "amp: {resistance: 1 Mohm, capacitance: 20 pF}\n";

// Two leads and a pedal, for what needs no more.
static const char simple[] = "guitar: {pickup: single-coil}\n"
                             "chain:\n"
                             "- {cable: standard-coax, length: 5 m, name: one}\n"
                             "- {pedal: overdrive-true-bypass, name: drive, engaged: no}\n"
                             "amp: {resistance: 1 Mohm, capacitance: 20 pF}\n";

static tl_accept* accept_pair(const char* between, const char* cable) {
    bench b = {0};
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
    char* drawn = tl_printf(pair, between);
#pragma GCC diagnostic pop
    char* wrong = replaced(drawn, "standard-coax, length: 5 m, name: one", cable);
    build(&b, wrong, 3);
    measure(&b, 26, 3, 14, true);
    tl_accept* answer = accept(&b, drawn, NULL);
    bench_free(&b);
    free(drawn);
    free(wrong);
    return answer;
}

static void leads_of_one_stretch_are_named_together(void** state) {
    (void)state;
    tl_accept* answer = accept_pair("- {pedal: overdrive-true-bypass, name: drive, engaged: no}\n",
                                    "high-capacitance-coax, length: 5 m, name: one");
    const tl_board_check* checked = &answer->boards[0];
    const tl_cause* one = find_cause(checked, 0, TL_CAUSE_LEAD, "chain[0].length");
    const tl_cause* other = find_cause(checked, 0, TL_CAUSE_LEAD, "chain[2].length");
    assert_true(checked->explained);
    assert_non_null(one);
    assert_non_null(other);
    assert_true(checked->classes[0].one_stretch);
    assert_true(checked->classes[0].probability > 0.9);
    // 738 pF instead of 500 pF; the other could be as far off, to the last picofarad.
    assert_true(one->low < 738e-12 && one->high > 738e-12);
    assert_true(fabs(one->value - other->value) < 1e-15);
    assert_non_null(strstr(one->like, "high-capacitance-coax"));
    // The same capacitance elsewhere on the stretch: 238 pF more than each has.
    const tl_cause* dummy = find_cause(checked, 0, TL_CAUSE_VALUE, "measure.dummy.capacitance");
    assert_non_null(dummy);
    assert_true(fabs(dummy->value - 110e-12 - (one->value - 500e-12)) < 1e-15);
    tl_accept_free(answer);
}

static void leads_apart_by_a_buffer_are_told_apart(void** state) {
    (void)state;
    tl_accept* answer = accept_pair("- {buffer: in-pedal-buffer, name: front}\n",
                                    "high-capacitance-coax, length: 5 m, name: one");
    const tl_board_check* checked = &answer->boards[0];
    assert_true(checked->explained);
    assert_non_null(find_cause(checked, 0, TL_CAUSE_LEAD, "chain[0].length"));
    assert_null(find_cause(checked, 0, TL_CAUSE_LEAD, "chain[2].length"));
    tl_accept_free(answer);
}

static void two_faults_are_explained_by_none(void** state) {
    (void)state;
    const tl_board_check* checked = &judged->boards[BOARDS];
    assert_false(checked->accepted);
    assert_false(checked->explained);
    assert_true(checked->none > 0.9);
}

// ---- offset, thinning, errors

// The same board twice, 7.3 dB above the prediction: as levels, and as gains.
static void an_offset_is_kept_or_removed(void** state) {
    (void)state;
    bench b = {0};
    build(&b, simple, 21);
    build(&b, simple, 21);
    measure(&b, 27, 3, 16, true);
    b.measured[1]->relative = false;
    for (int removed = 0; removed < 2; ++removed) {
        const tl_accept_options options = {.offset =
                                               removed ? TL_OFFSET_REMOVE : TL_OFFSET_BY_FILE};
        tl_accept* answer = accept(&b, simple, &options);
        for (size_t i = 0; i < 2; ++i) {
            const tl_board_check* checked = &answer->boards[i];
            bool kept = i == 1 && !removed;
            assert_true(checked->accepted != kept);
            assert_true(checked->offset_removed != kept);
            assert_true(fabs(checked->offset_db - 7.3) < 0.2);
            double off = checked->readings[3].measured_db - checked->readings[3].predicted_db;
            assert_true(fabs(off - (kept ? 7.3 : 0)) < 0.5);
        }
        tl_accept_free(answer);
    }
    bench_free(&b);
}

// 2000 readings have the same verdict and cause as 27, and the cause the same size.
static void many_readings_are_put_together(void** state) {
    (void)state;
    bench b = {0};
    char* text = replaced(simple, "length: 5 m", "length: 9 m");
    build(&b, simple, 31);
    build(&b, text, 32);
    measure(&b, 2000, 2000 / 9.0, 17, true);
    tl_accept* answer = accept(&b, simple, NULL);
    assert_int_equal(answer->boards[0].rows, 2000);
    assert_true(answer->boards[0].count <= 401);
    assert_true(answer->boards[0].accepted);
    assert_true(is_named_first(&answer->boards[1], &faults[0]));
    tl_accept_free(answer);
    bench_free(&b);
    free(text);
}

static void refuse(const bench* b, const tl_accept_options* options, const char* words) {
    tl_rig* rig = rig_from(simple);
    tl_accept* answer = NULL;
    const tl_accept_options plain = {0};
    tl_status status =
        tl_study_accept(session, rig, options ? options : &plain,
                        (const tl_measured* const*)b->measured, b->files, b->count, &answer, error);
    assert_int_equal(status, TL_BAD_INPUT);
    assert_null(answer);
    if (!strstr(tl_error_text(error), words))
        fail_msg("%s", tl_error_text(error));
    tl_rig_free(rig);
}

static void what_cannot_be_used_is_refused(void** state) {
    (void)state;
    bench b = {0};
    build(&b, simple, 41);
    measure(&b, 8, 1, 18, true);
    refuse(&b, &(tl_accept_options){.state = "drvie"}, "did you mean 'drive'");
    refuse(&b, &(tl_accept_options){.state = "drive,"}, "expected pedals");
    refuse(&b, &(tl_accept_options){.amp = "left"}, "left");
    refuse(&b, &(tl_accept_options){.amp = "left", .as_written = true}, "left");
    double hz = b.measured[0]->hz[7];
    b.measured[0]->hz[7] = 200e3;
    refuse(&b, NULL, "10 Hz to 100 kHz");
    b.measured[0]->hz[7] = hz;
    b.measured[0]->kind = TL_MEASURED_IMPEDANCE;
    refuse(&b, NULL, "impedance");
    bench_free(&b);
}

static void a_state_is_entered(void** state) {
    (void)state;
    bench b = {0};
    char* on = replaced(simple, "engaged: no", "engaged: yes");
    build(&b, on, 51);
    measure(&b, 27, 3, 19, true);
    tl_accept* answer = accept(&b, simple, &(tl_accept_options){.state = "drive"});
    assert_string_equal(answer->state, "drive");
    assert_true(answer->boards[0].accepted);
    tl_accept_free(answer);
    answer = accept(&b, on, &(tl_accept_options){.state = "none"});
    assert_string_equal(answer->state, "all off");
    assert_false(answer->boards[0].accepted);
    assert_non_null(find_cause(&answer->boards[0], 0, TL_CAUSE_ON, "chain[1].engaged"));
    tl_accept_free(answer);
    bench_free(&b);
    free(on);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_boards_are_accepted),
        cmocka_unit_test(one_fault_is_named_first),
        cmocka_unit_test(probabilities_are_kept),
        cmocka_unit_test(leads_of_one_stretch_are_named_together),
        cmocka_unit_test(leads_apart_by_a_buffer_are_told_apart),
        cmocka_unit_test(two_faults_are_explained_by_none),
        cmocka_unit_test(an_offset_is_kept_or_removed),
        cmocka_unit_test(many_readings_are_put_together),
        cmocka_unit_test(what_cannot_be_used_is_refused),
        cmocka_unit_test(a_state_is_entered),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

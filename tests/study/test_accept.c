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

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    const tl_session_options options = {.solves = true, .jobs = 2};
    return tl_session_new(&options, &session, error) != TL_OK ||
           tl_statistics_prepare(error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
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
     1000, TL_CAUSE_VALUE, "?"},
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
    if (tl_study_accept(session, rig, options, (const tl_measured* const*)b->measured, b->files,
                        b->count, &answer, error) != TL_OK)
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

static void good_boards_are_accepted(void** state) {
    (void)state;
    bench b = {0};
    const tl_accept_options options = {0};
    for (uint64_t i = 0; i < 200; ++i)
        build(&b, board, 1000 + i);
    measure(&b, 27, 3, 11, true);
    tl_accept* answer = accept(&b, board, &options);
    size_t rejected = 0;
    for (size_t i = 0; i < answer->count; ++i)
        rejected += !answer->boards[i].accepted;
    printf("rejected %zu\n", rejected);
    tl_accept_free(answer);
    bench_free(&b);
}

static void one_fault_is_named_first(void** state) {
    (void)state;
    bench b = {0};
    const tl_accept_options options = {0};
    for (uint64_t i = 0; i < 200; ++i) {
        char* text = with_fault(board, &faults[i % FAULTS], tl_random_uniform(5, i, 0));
        build(&b, text, 5000 + i);
        free(text);
    }
    measure(&b, 27, 3, 12, true);
    tl_accept* answer = accept(&b, board, &options);
    printf("suspects %zu unseen %zu values %zu\n", answer->suspects, answer->unseen,
           answer->values);
    for (size_t i = 0; i < answer->count; ++i) {
        const tl_board_check* c = &answer->boards[i];
        const fault* f = &faults[i % FAULTS];
        bool right = find_cause(c, 0, f->kind, f->path) != NULL;
        printf("%s %zu %s %s: %s T %.1f/%.1f none %.3f expl %d\n", right ? "ok" : "NO", i % FAULTS,
               tl_cause_name(f->kind), f->path, c->accepted ? "accepted" : "rejected", c->statistic,
               c->limit, c->none, c->explained);
        if (!right || i < FAULTS)
            for (size_t k = 0; k < c->class_count && k < 4; ++k) {
                printf("    %.3f left %.2f T %.1f:", c->classes[k].probability,
                       c->classes[k].left_db, c->classes[k].statistic);
                for (size_t j = 0; j < c->classes[k].count; ++j)
                    printf(" %s %s [%s -> %s (%s) %s];",
                           tl_cause_name(c->classes[k].causes[j].kind),
                           c->classes[k].causes[j].path, c->classes[k].causes[j].stated_words,
                           c->classes[k].causes[j].value_words, c->classes[k].causes[j].range_words,
                           c->classes[k].causes[j].like);
                printf("\n");
            }
    }
    tl_accept_free(answer);
    bench_free(&b);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_boards_are_accepted),
        cmocka_unit_test(one_fault_is_named_first),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

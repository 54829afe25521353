// SPDX-License-Identifier: GPL-3.0-or-later
// Trials of a rig: that each is what a careful answer of the same values is, what becomes of those
// that have none, and what choosing among parts leaves. Linked with a tl_pool_run() of the test's,
// through which answers can be spoilt or withheld on the way.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/text.h"
#include "study/session.h"
#include "study/spread_plan.h"
#include "study/spread_work.h"

#include <cmocka.h>
#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

static tl_session* session;
static tl_error* error;

// ---- the pool in between

static double poison;          ///< requests with this value among theirs have no answer; NAN: none
static double noise;           ///< what is added to the first sample of requests of many sets
static const double* spoilt;   ///< only of a set with this value; NULL: none
static atomic_size_t refusals; ///< how often a request was refused
static const tl_pool_work* real_work;

tl_status __real_tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work, // NOLINT
                             tl_error* where);
tl_status __wrap_tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work, // NOLINT
                             tl_error* where);

static bool holds(const tl_request* request, double value) {
    size_t sets = request->sets ? request->sets : 1;
    for (size_t i = 0; i < sets * request->deck->varied_count; ++i)
        if (request->values[i] == value)
            return true;
    return false;
}

static tl_status take_between(void* context, size_t job, const tl_reply* reply, tl_request* request,
                              bool* again, tl_error* where) {
    if (real_work->refuse && holds(request, poison)) {
        ++refusals;
        return real_work->refuse(context, job, "the solver died (signal 11)\nand said much",
                                 request, again, where);
    }
    if (!spoilt || request->sets < 2 || !holds(request, *spoilt))
        return real_work->take(context, job, reply, request, again, where);
    size_t count = reply->sets * reply->outputs * reply->points;
    double _Complex* h = tl_new(count, sizeof *h);
    memcpy(h, reply->h, count * sizeof *h);
    size_t set = 0;
    const double* values = request->values;
    for (size_t i = 0; i < request->sets * request->deck->varied_count; ++i)
        if (values[i] == *spoilt)
            set = i / request->deck->varied_count;
    h[(set * reply->outputs) * reply->points + reply->points / 2] += noise;
    tl_reply changed = *reply;
    changed.h = h;
    tl_status status = real_work->take(context, job, &changed, request, again, where);
    free(h);
    return status;
}

tl_status __wrap_tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work,
                             tl_error* where) {
    tl_pool_work between = *work;
    real_work = work;
    between.take = take_between;
    return __real_tl_pool_run(pool, count, &between, where);
}

// ---- rigs

static size_t stop_after; ///< trials; 0: never
static size_t landed;

static void on_progress(void* context, size_t done, size_t total) {
    (void)context;
    (void)total;
    landed = done;
}

static bool is_stopped(void* context) {
    (void)context;
    return stop_after && landed >= stop_after;
}

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    const tl_session_options options = {
        .solves = true, .jobs = 2, .progress = on_progress, .stopped = is_stopped};
    poison = NAN;
    return tl_session_new(&options, &session, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_session_free(session);
    tl_error_free(error);
    return 0;
}

static int reset(void** state) {
    (void)state;
    poison = NAN;
    spoilt = NULL;
    stop_after = landed = 0;
    refusals = 0;
    return 0;
}

static tl_rig* rig_from(const char* text) {
    tl_rig* rig = rig_of(tl_session_library(session), text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    return rig;
}

static const char passive[] = "guitar:\n"
                              "  pickup: single-coil\n"
                              "  volume: {like: pot-250k-audio, position: 80 %}\n"
                              "  tone: {like: pot-250k-audio, capacitor: 22 nF, position: 60 %}\n"
                              "chain:\n"
                              "- {cable: standard-coax, length: 6 m, name: first}\n"
                              "- {contact: {resistance: 100 mohm +-50 %, leakage: 100 Mohm}}\n"
                              "- {cable: standard-coax, length: 9 m, follows: first}\n"
                              "amp: tube-input\n"
                              "direct:\n"
                              "- {cable: standard-coax, length: 6 m}\n";

static const char two_amps[] =
    "guitar: {pickup: humbucker-low, volume: {like: pot-500k-audio, position: 100 %}}\n"
    "chain:\n"
    "- {cable: standard-coax, length: 5 m}\n"
    "- {buffer: {input: {resistance: 1 Mohm, capacitance: 20 pF},"
    " output: {resistance: 1 kohm +-10 % uniform, coupling: 1 uF}}}\n"
    "- split:\n"
    "  - {name: dry, chain: [{cable: standard-coax, length: 7 m}], amp: tube-input}\n"
    "  - {name: wet, chain: [{cable: standard-coax, length: 3 m}],"
    " amp: {resistance: 500 kohm +-20 %}}\n"
    "direct: [{cable: standard-coax, length: 5 m}]\n";

static tl_spread* spread_of(tl_rig* rig, const tl_spread_options* options) {
    tl_spread* spread = NULL;
    if (tl_study_spread(session, rig, options, &spread, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    return spread;
}

/// All of a run, with its trials kept.
typedef struct {
    tl_spread_plan plan;
    tl_spread* spread;
    tl_answer* careful;
    tl_spread_pattern pattern;
    tl_spread_trials trials;
} whole;

static whole run_whole(tl_rig* rig, size_t trials) {
    whole w = {0};
    const tl_spread_options options = {.trials = trials, .seed = 3, .reference_hz = 200};
    assert_int_equal(tl_spread_plan_make(rig, false, &w.plan, error), TL_OK);
    assert_int_equal(tl_spread_begin(session, &w.plan, &options, &w.spread, &w.careful, error),
                     TL_OK);
    assert_int_equal(tl_spread_trials_new(&w.trials, 0, trials, w.spread->amp_count, error), TL_OK);
    assert_int_equal(tl_spread_pattern_find(session, &w.plan, w.careful, &w.pattern, error), TL_OK);
    const tl_spread_work work = {
        .session = session, .plan = &w.plan, .pattern = &w.pattern, .seed = 3, .reference_hz = 200};
    assert_int_equal(tl_spread_run(&work, &w.trials, error), TL_OK);
    return w;
}

static void free_whole(whole* w) {
    tl_spread_pattern_free(&w->pattern);
    tl_answer_free(w->careful);
    tl_spread_trials_free(&w->trials);
    tl_spread_free(w->spread);
    tl_spread_plan_free(&w->plan);
}

/// The same trial solved with all frequencies and fitted with all care.
static void careful_figures(whole* w, size_t trial, size_t amp, double figures[TL_SPREAD_FIGURES]) {
    tl_circuit* circuit = tl_spread_plan_draw(&w->plan, 3, trial);
    tl_answer* answer = NULL;
    const tl_batch batch = {.circuits = &circuit, .count = 1, .reference_hz = 200};
    assert_int_equal(tl_batch_solve(session, &batch, &answer, error), TL_OK);
    tl_spread_measure(answer->solved[2 * amp].response, answer->solved[2 * amp + 1].response, 200,
                      figures);
    tl_answer_free(answer);
    tl_circuit_free(circuit);
}

static void trials_are_careful_answers(void** state) {
    (void)state;
    static const char* const texts[] = {passive, two_amps};
    for (size_t t = 0; t < 2; ++t) {
        tl_rig* rig = rig_from(texts[t]);
        whole w = run_whole(rig, 150);
        assert_int_equal(w.trials.done, 150);
        assert_int_equal(w.trials.failure_count, 0);
        assert_true(w.pattern.per_decade < 10);
        for (size_t trial = 0; trial < 150; trial += 7)
            for (size_t amp = 0; amp < w.trials.amps; ++amp) {
                double expected[TL_SPREAD_FIGURES];
                careful_figures(&w, trial, amp, expected);
                const double* got = tl_spread_figures_of(&w.trials, trial, amp);
                for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i) {
                    assert_int_equal(isnan(got[i]), isnan(expected[i]));
                    if (!isnan(got[i]))
                        assert_true(fabs(got[i] - expected[i]) <=
                                    2e-6 * fmax(1, fabs(expected[i])));
                }
            }
        free_whole(&w);
        tl_rig_free(rig);
    }
}

/// What varies at all, each once: what is off, has no tolerance or makes no difference is left out.
static void values_that_are_drawn(void** state) {
    (void)state;
    tl_rig* rig = rig_from(passive);
    tl_spread_plan plan;
    assert_int_equal(tl_spread_plan_make(rig, false, &plan, error), TL_OK);
    bool found = false;
    for (size_t i = 0; i < plan.value_count; ++i) {
        assert_string_not_equal(plan.values[i].path, "chain[2].capacitance");
        if (strcmp(plan.values[i].path, "chain[0].capacitance") == 0) {
            found = true;
            assert_string_equal(plan.values[i].followed, "chain[2].capacitance");
            assert_string_equal(plan.values[i].about, "first");
            assert_true(plan.values[i].nominal == 100e-12);
        }
    }
    assert_true(found);
    tl_spread_plan_free(&plan);
    // Only what is stated: the joint's resistance.
    assert_int_equal(tl_spread_plan_make(rig, true, &plan, error), TL_OK);
    assert_int_equal(plan.value_count, 1);
    assert_string_equal(plan.values[0].path, "chain[1].resistance");
    assert_true(fabs(plan.values[0].share - 0.5) < 1e-15);
    tl_spread_plan_free(&plan);
    tl_rig_free(rig);
    // And nothing stated at all.
    rig = rig_from("guitar: {source: {output: {resistance: 1 kohm}}}\n"
                   "chain: [{cable: {capacitance: 100 pF/m}, length: 1 m}]\n"
                   "amp: {resistance: 1 Mohm}\ndirect: [{cable: {capacitance: 100 pF/m}, length: "
                   "1 m}]\n");
    assert_int_equal(tl_spread_plan_make(rig, true, &plan, error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "no value"));
    tl_rig_free(rig);
}

/// A trial whose worker dies whenever it is asked is found among its chunk, named, and left out.
static void a_trial_without_an_answer(void** state) {
    (void)state;
    tl_rig* rig = rig_from(passive);
    whole good = run_whole(rig, 100);
    tl_circuit* circuit = tl_spread_plan_draw(&good.plan, 3, 41);
    poison = circuit->elements[good.plan.deck->varied[0].number - 1].value;
    tl_circuit_free(circuit);
    whole bad = run_whole(rig, 100);
    assert_int_equal(bad.trials.done, 100);
    assert_int_equal(bad.trials.failure_count, 1);
    assert_int_equal(bad.trials.failures[0].trial, 41);
    assert_string_equal(bad.trials.failures[0].why, "the solver died (signal 11)");
    assert_int_equal(refusals, 2); // with its chunk, and by itself
    for (size_t trial = 0; trial < 100; ++trial)
        if (trial != 41)
            assert_memory_equal(tl_spread_figures_of(&good.trials, trial, 0),
                                tl_spread_figures_of(&bad.trials, trial, 0),
                                TL_SPREAD_FIGURES * sizeof(double));
    assert_true(isnan(tl_spread_figures_of(&bad.trials, 41, 0)[TL_SPREAD_PEAK_HZ]));
    const tl_spread_options options = {.trials = 100, .seed = 3, .reference_hz = 200};
    assert_int_equal(tl_spread_finish(bad.spread, &bad.trials, &options, error), TL_OK);
    assert_int_equal(bad.spread->failure_count, 1);
    assert_int_equal(bad.spread->figures[TL_SPREAD_LEVEL_DB].none, 0); // failed is not none
    assert_int_equal(bad.spread->figures[TL_SPREAD_PEAK_HZ].none, 99); // this rig has no peak
    size_t counted = 0;
    for (size_t i = 0; i < 4; ++i)
        counted += bad.spread->heard[0][i];
    assert_int_equal(counted, 99);
    free_whole(&bad);
    free_whole(&good);
    tl_rig_free(rig);
}

/// Samples that the pattern does not hold for are solved again, more of them.
static void a_trial_that_does_not_hold(void** state) {
    (void)state;
    tl_rig* rig = rig_from(passive);
    whole good = run_whole(rig, 64);
    tl_circuit* circuit = tl_spread_plan_draw(&good.plan, 3, 33);
    double value = circuit->elements[good.plan.deck->varied[0].number - 1].value;
    tl_circuit_free(circuit);
    spoilt = &value;
    noise = 1e-3;
    whole again = run_whole(rig, 64);
    assert_int_equal(again.trials.failure_count, 0);
    for (size_t trial = 0; trial < 64; ++trial)
        for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i) {
            double a = tl_spread_figures_of(&good.trials, trial, 0)[i];
            double b = tl_spread_figures_of(&again.trials, trial, 0)[i];
            assert_true((isnan(a) && isnan(b)) ||
                        (trial == 33 ? fabs(a - b) <= 2e-6 * fmax(1, fabs(a)) : a == b));
        }
    assert_true(tl_spread_figures_of(&good.trials, 33, 0)[TL_SPREAD_CUTOFF_HZ] !=
                tl_spread_figures_of(&again.trials, 33, 0)[TL_SPREAD_CUTOFF_HZ]); // solved anew
    free_whole(&again);
    free_whole(&good);
    tl_rig_free(rig);
}

/// A run that is told to stop has its first trials, and they are those of the whole run.
static void a_run_that_is_stopped(void** state) {
    (void)state;
    tl_rig* rig = rig_from(passive);
    whole all = run_whole(rig, 2000);
    landed = 0;
    stop_after = 300;
    whole part = run_whole(rig, 2000);
    assert_true(part.trials.done >= 300 && part.trials.done < 2000);
    assert_memory_equal(part.trials.figures, all.trials.figures,
                        part.trials.done * TL_SPREAD_FIGURES * sizeof(double));
    const tl_spread_options options = {.trials = 2000, .seed = 3, .reference_hz = 200};
    assert_int_equal(tl_spread_finish(part.spread, &part.trials, &options, error), TL_OK);
    assert_int_equal(part.spread->done, part.trials.done);
    free_whole(&part);
    free_whole(&all);
    tl_rig_free(rig);
}

/// One uniform value that the peak falls with: what is chosen is known in closed form. The lowest
/// of K has its median at 1 - 0.5^(1/K) of the range, the highest at 0.5^(1/K).
static void choices_weigh_as_they_should(void** state) {
    (void)state;
    tl_rig* rig = rig_from("guitar: {pickup: {inductance: 2.5 H +-10 % uniform, resistance: 6 kohm,"
                           " capacitance: 100 pF}}\n"
                           "chain: [{cable: {capacitance: 100 pF/m}, length: 6 m}]\n"
                           "amp: {resistance: 1 Mohm}\n"
                           "direct: [{cable: {capacitance: 100 pF/m}, length: 6 m}]\n");
    static const char* const choices[] = {
        "guitar.pickup.inductance=lowest of 5",  "guitar.pickup.inductance=highest of 3",
        "guitar.pickup.inductance=nearest of 2", "guitar.pickup.inductance=low",
        "guitar.pickup.inductance=middle",       "guitar.pickup.inductance=high"};
    // The peak's median then, as a percentile of all peaks (which fall as the inductance rises).
    const double at[] = {pow(0.5, 1.0 / 5), 1 - pow(0.5, 1.0 / 3), 0.5, 5.0 / 6, 0.5, 1.0 / 6};
    const tl_spread_options options = {.trials = 4000,
                                       .seed = 9,
                                       .reference_hz = 200,
                                       .only_stated = true,
                                       .choices = choices,
                                       .choice_count = 6};
    tl_spread* spread = spread_of(rig, &options);
    assert_int_equal(spread->value_count, 1);
    assert_int_equal(spread->choice_count, 6);
    // f = f0 / sqrt(L / L0) but for the damping: exact enough to turn a peak into its place.
    const tl_spread_figure* peak = &spread->figures[TL_SPREAD_PEAK_HZ];
    for (size_t i = 0; i < 6; ++i) {
        double ratio = peak->nominal / spread->choices[i].percentile[TL_SPREAD_PEAK_HZ][3];
        double place = 1 - (ratio * ratio - 0.9) / 0.2; // share of trials with a lower peak
        assert_true(fabs(place - at[i]) < 0.03);
    }
    // The nearest of two lies within a quarter of the range with 75 % of its chance, not 50 %.
    double wide = peak->percentile[4] - peak->percentile[2];
    const double* nearest = spread->choices[2].percentile[TL_SPREAD_PEAK_HZ];
    assert_true((nearest[4] - nearest[2]) / wide < 0.75);
    assert_true(spread->choices[0].deviation[TL_SPREAD_PEAK_HZ] < peak->deviation);
    tl_spread_free(spread);
    tl_rig_free(rig);
}

static void choices_that_cannot_be_read(void** state) {
    (void)state;
    static const char* const wrong[] = {"chain[0].capacitance",
                                        "=low",
                                        "chain[0].capacitance=",
                                        "chain[0].capacitance=lowest of 1",
                                        "chain[0].capacitance=lowest of 1001",
                                        "chain[0].capacitance=lowest of -3",
                                        "chain[0].capacitance=lower",
                                        "chain[9].capacitance=low",
                                        "chain[0].capacitance\n=low"};
    tl_rig* rig = rig_from(passive);
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; ++i) {
        const tl_spread_options options = {
            .trials = 10, .seed = 1, .reference_hz = 200, .choices = &wrong[i], .choice_count = 1};
        tl_spread* spread = NULL;
        assert_int_equal(tl_study_spread(session, rig, &options, &spread, error), TL_BAD_INPUT);
        assert_non_null(strstr(tl_error_text(error), "--select:1:"));
        assert_null(spread);
    }
    // The same value by every name it has.
    static const char* const right[] = {"chain[0].capacitance=low",
                                        "chain[0].cable.capacitance=low",
                                        "chain[first].capacitance=low", "chain[2].capacitance=low"};
    const tl_spread_options options = {
        .trials = 10, .seed = 1, .reference_hz = 200, .choices = right, .choice_count = 4};
    tl_spread* spread = spread_of(rig, &options);
    for (size_t i = 1; i < 4; ++i)
        assert_memory_equal(spread->choices[i].percentile[0], spread->choices[0].percentile[0],
                            sizeof spread->choices[0].percentile[0]);
    tl_spread_free(spread);
    tl_rig_free(rig);
}

/// Shards cover all trials, each once, and differ in size by one at most.
static void shards_cover_all(void** state) {
    (void)state;
    for (size_t trials = 1; trials < 60; ++trials)
        for (size_t shards = 1; shards <= trials; ++shards) {
            size_t next = 0;
            for (size_t shard = 1; shard <= shards; ++shard) {
                size_t first = 0;
                size_t count = 0;
                tl_spread_shard_range(trials, shard, shards, &first, &count);
                assert_int_equal(first, next);
                assert_true(count == trials / shards || count == trials / shards + 1);
                next += count;
            }
            assert_int_equal(next, trials);
        }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(trials_are_careful_answers, reset),
        cmocka_unit_test_setup(values_that_are_drawn, reset),
        cmocka_unit_test_setup(a_trial_without_an_answer, reset),
        cmocka_unit_test_setup(a_trial_that_does_not_hold, reset),
        cmocka_unit_test_setup(a_run_that_is_stopped, reset),
        cmocka_unit_test_setup(choices_weigh_as_they_should, reset),
        cmocka_unit_test_setup(choices_that_cannot_be_read, reset),
        cmocka_unit_test_setup(shards_cover_all, reset),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

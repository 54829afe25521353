// SPDX-License-Identifier: GPL-3.0-or-later
// Many sets of values in a request: the same answers as one by one, to the last bit.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/text.h"
#include "pool_decks.h"
#include "solve/wire.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { OUTPUTS = 2, ROW = OUTPUTS * POINTS };

typedef struct {
    const tl_deck* deck;
    size_t total;  // sets of all jobs together
    size_t a_time; // sets of a job
    tl_analysis analysis;
    double* values;
    double _Complex* h; // of all sets
    double hz[POINTS];
    bool one_by_one; // when a request is refused
    size_t* at;      // by job: the set that goes alone
    size_t refused;
} trials;

static size_t count_sets(const trials* t, size_t job) {
    size_t left = t->total - job * t->a_time;
    return left < t->a_time ? left : t->a_time;
}

static size_t count_jobs(const trials* t) {
    return (t->total + t->a_time - 1) / t->a_time;
}

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)error;
    const trials* t = context;
    *request = (tl_request){.deck = t->deck,
                            .values = t->values + job * t->a_time * t->deck->varied_count,
                            .sets = count_sets(t, job),
                            .analysis = t->analysis,
                            .per_decade = 5,
                            .low_hz = 10,
                            .high_hz = 1e5};
    return TL_OK;
}

// Goes on with the next set of a job that goes one by one.
static void go_on(trials* t, size_t job, tl_request* request, bool* again) {
    size_t set = ++t->at[job];
    *again = set <= count_sets(t, job);
    request->sets = 1;
    if (*again)
        request->values = t->values + (job * t->a_time + set - 1) * t->deck->varied_count;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    (void)error;
    trials* t = context;
    size_t first = job * t->a_time;
    assert_int_equal(reply->points, POINTS);
    assert_int_equal(reply->outputs, OUTPUTS);
    memcpy(t->hz, reply->hz, sizeof t->hz);
    if (!t->at[job]) {
        assert_int_equal(reply->sets, count_sets(t, job));
        memcpy(t->h + first * ROW, reply->h, reply->sets * ROW * sizeof *t->h);
        return TL_OK;
    }
    assert_int_equal(reply->sets, 1);
    memcpy(t->h + (first + t->at[job] - 1) * ROW, reply->h, ROW * sizeof *t->h);
    go_on(t, job, request, again);
    return TL_OK;
}

static tl_status refuse(void* context, size_t job, const char* words, tl_request* request,
                        bool* again, tl_error* error) {
    trials* t = context;
    if (!t->one_by_one)
        return tl_error_set(error, TL_FAILURE, "%s", words);
    t->refused += t->at[job] > 0;
    go_on(t, job, request, again);
    return TL_OK;
}

static trials* new_trials(const tl_deck* deck, void (*values_of)(size_t, double*), size_t total,
                          size_t a_time) {
    trials* t = tl_new(1, sizeof *t);
    t->deck = deck;
    t->total = total;
    t->a_time = a_time;
    t->values = tl_new(total * deck->varied_count, sizeof *t->values);
    t->h = tl_new(total * ROW, sizeof *t->h);
    t->at = tl_new(total, sizeof *t->at);
    for (size_t set = 0; set < total; ++set)
        values_of(set, t->values + set * deck->varied_count);
    return t;
}

static void free_trials(trials* t) {
    free(t->values);
    free(t->h);
    free(t->at);
    free(t);
}

static tl_status run(tl_pool* pool, trials* t, tl_error* error) {
    tl_pool_work work = {.context = t, .ask = ask, .take = take, .refuse = refuse, .alone = true};
    return tl_pool_run(pool, count_jobs(t), &work, error);
}

static void expect_ok(tl_pool* pool, trials* t) {
    tl_error* error = tl_error_new();
    if (run(pool, t, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
}

static void expect_refusal(tl_pool* pool, trials* t, const char* words) {
    tl_error* error = tl_error_new();
    assert_int_equal(run(pool, t, error), TL_FAILURE);
    if (!strstr(tl_error_text(error), words))
        fail_msg("expected \"%s\" in: %s", words, tl_error_text(error));
    tl_error_free(error);
}

// However many travel together: 1000 sets print more than a request may, were it not let go of.
static void expect_same(const tl_deck* deck, void (*values_of)(size_t, double*), size_t total) {
    static const size_t sizes[] = {2, 7, 64, 1000000};
    trials* single = new_trials(deck, values_of, total, 1);
    tl_pool* pool = make_pool(2, 0, 0);
    expect_ok(pool, single);
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; ++i) {
        trials* many = new_trials(deck, values_of, total, sizes[i] < total ? sizes[i] : total);
        expect_ok(pool, many);
        assert_memory_equal(many->hz, single->hz, sizeof many->hz);
        for (size_t set = 0; set < total; ++set)
            if (memcmp(many->h + set * ROW, single->h + set * ROW, ROW * sizeof *many->h) != 0)
                fail_msg("set %zu of %zu at a time differs", set, sizes[i]);
        free_trials(many);
    }
    free_trials(single);
    tl_pool_free(pool);
}

static void test_same_answers(void** state) {
    (void)state;
    expect_same(&coil, coil_values, 5000);
}

static void test_same_answers_of_searches(void** state) {
    (void)state;
    expect_same(&diodes, wide_values, 100);
}

// 0 sets are one.
static void test_none_is_one(void** state) {
    (void)state;
    trials* t = new_trials(&coil, coil_values, 1, 1);
    tl_pool* pool = make_pool(1, 0, 0);
    expect_ok(pool, t);
    double _Complex before = t->h[ROW - 1];
    t->h[ROW - 1] = 0;
    t->total = 0; // one job of no sets
    tl_pool_work work = {.context = t, .ask = ask, .take = take};
    t->at[0] = 1; // its take expects one
    assert_int_equal(tl_pool_run(pool, 1, &work, NULL), TL_OK);
    assert_memory_equal(&t->h[ROW - 1], &before, sizeof before);
    free_trials(t);
    tl_pool_free(pool);
}

// Every set is looked at before it is sent, and so is what comes of all.
static void test_what_cannot_be_asked(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 0, 0);
    trials* t = new_trials(&coil, coil_values, 10, 10);
    t->values[9 * 5] = 0; // r1 of the last set
    expect_refusal(pool, t, "r1 cannot be 0");
    t->values[9 * 5] = 1;
    t->values[8 * 5 + 4] = NAN; // e1 of the one before
    expect_refusal(pool, t, "e1 cannot be nan");
    t->values[8 * 5 + 4] = 1;
    expect_ok(pool, t);
    for (tl_analysis analysis = TL_POINT; analysis <= TL_TRANSIENT; ++analysis) {
        t->analysis = analysis;
        expect_refusal(pool, t, analysis == TL_POINT ? "only a sweep" : "is no transient");
    }
    free_trials(t);
    t = new_trials(&coil, coil_values, 99865, 99865); // an answer one set over 64 MB
    expect_refusal(pool, t, "99865 sets of values are too many");
    free_trials(t);
    static tl_element_id varied[100];
    for (size_t i = 0; i < 100; ++i)
        varied[i] = coil_varied[i % 5];
    tl_deck wide = coil; // values over 32 MB
    wide.varied_count = 100;
    wide.varied = varied;
    t = tl_new(1, sizeof *t);
    *t = (trials){.deck = &wide, .total = 41944, .a_time = 41944};
    expect_refusal(pool, t, "41944 sets of values are too many");
    free_trials(t);
    t = new_trials(&coil, coil_values, 1, 1);
    expect_ok(pool, t);
    free_trials(t);
    tl_pool_free(pool);
}

// A source that follows itself: with a gain of 1 there is no telling where to.
static tl_element_id loop_varied[] = {{'e', 1}};
static tl_probe loop_outputs[] = {{'n', 3}, {'n', 4}};
static char loop_text[] = "loop\nv1 1 0 dc 0 ac 1\nr1 1 3 1k\nr2 3 0 1k\nc1 3 0 1u\n"
                          "e1 4 0 4 3 2\nr3 4 0 1k\n.end\n";
static const tl_deck loop = {77, loop_text, 1, loop_varied, 2, loop_outputs};

static void loop_values(size_t set, double* values) {
    values[0] = set == 3 || set == 17 ? 1 : 2 + 0.1 * (double)set;
}

// One set that ngspice cannot solve refuses all; the study may then ask one by one.
static void test_refused_set(void** state) {
    (void)state;
    for (unsigned jobs = 1; jobs <= 2; ++jobs) {
        tl_pool* pool = make_pool(jobs, 0, 0);
        trials* t = new_trials(&loop, loop_values, 30, 10);
        expect_refusal(pool, t, "ngspice could not solve the circuit");
        t->one_by_one = true;
        expect_ok(pool, t);
        assert_int_equal(t->refused, 2);
        trials* single = new_trials(&loop, loop_values, 30, 1);
        single->one_by_one = true;
        expect_ok(pool, single);
        assert_memory_equal(t->h, single->h, 30 * ROW * sizeof *t->h);
        assert_true(t->h[3 * ROW] == 0 && t->h[4 * ROW] != 0);
        free_trials(single);
        free_trials(t);
        tl_pool_free(pool);
    }
}

// A worker is replaced after so many sets, not requests.
static void test_worker_replaced(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 0, 10);
    trials* t = new_trials(&coil, coil_values, 7, 7);
    pid_t first = tl_pool_worker_pid(pool, 0);
    for (int i = 0; i < 2; ++i) {
        expect_ok(pool, t);
        assert_int_equal(tl_pool_worker_pid(pool, 0), first);
    }
    expect_ok(pool, t);
    assert_int_not_equal(tl_pool_worker_pid(pool, 0), first);
    free_trials(t);
    tl_pool_free(pool);
}

// The time limit is that of the request: a study that had too much in one asks again for less.
static void test_time_limit(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 0.8, 0);
    trials* t = new_trials(&coil, coil_values, 4, 4);
    expect_ok(pool, t);
    kill(tl_pool_worker_pid(pool, 0), SIGSTOP);
    double start_s = tl_wire_now_s();
    expect_refusal(pool, t, "did not answer within 0.8 s");
    double took_s = tl_wire_now_s() - start_s;
    assert_true(took_s >= 0.7 && took_s < 3);
    free_trials(t);
    tl_pool_free(pool);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_same_answers), cmocka_unit_test(test_same_answers_of_searches),
        cmocka_unit_test(test_none_is_one),  cmocka_unit_test(test_what_cannot_be_asked),
        cmocka_unit_test(test_refused_set),  cmocka_unit_test(test_worker_replaced),
        cmocka_unit_test(test_time_limit),
    };
    return cmocka_run_group_tests_name("solve: sets", tests, make_diodes, free_diodes);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The pool: answers against closed forms, and workers that die, hang and are fed rubbish.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/text.h"
#include "pool_decks.h"
#include "solve/wire.h"

#include <complex.h>
#include <fcntl.h>
#include <math.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#ifndef __has_feature
#define __has_feature(name) 0
#endif
#if defined(__SANITIZE_ADDRESS__) || __has_feature(address_sanitizer)
enum { SANITIZED = 1 }; // keeps what was freed for a while
#else
enum { SANITIZED = 0 };
#endif

enum { MOST = 2000 };

static const double pi = 3.14159265358979323846;

// ---- a study that keeps every bit it is given

typedef struct {
    size_t outputs;
    size_t points; // of the last answer
    double complex h[2 * POINTS];
    double hz[POINTS];
} answer;

typedef struct {
    const tl_deck* (*deck_of)(size_t job);
    void (*values_of)(size_t job, double* values);
    double values[MOST][VALUES];
    answer* answers;
    size_t delivered;
    size_t asked;
    size_t widest; // most jobs between ask and deliver
    unsigned rounds[MOST];
    bool denser; // each third job asks for a denser sweep first
    size_t refuse_at;
    bool refuse_ask, refuse_take, refuse_deliver;
    pid_t doomed; // a worker that is killed soon after the first question; 0: none
    pthread_t killer;
} study;

static void* kill_soon(void* context) {
    struct timespec soon = {.tv_nsec = 100000000};
    nanosleep(&soon, NULL);
    kill(*(pid_t*)context, SIGKILL);
    return NULL;
}

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    study* on = context;
    if (on->refuse_ask && job == on->refuse_at)
        return tl_error_set(error, TL_BAD_INPUT, "ask refused");
    assert_int_equal(job, on->asked++);
    if (on->doomed && job == 0)
        pthread_create(&on->killer, NULL, kill_soon, &on->doomed);
    if (on->asked - on->delivered > on->widest)
        on->widest = on->asked - on->delivered;
    on->values_of(job, on->values[job]);
    bool sparse = on->denser && job % 3 == 0;
    *request = (tl_request){.deck = on->deck_of(job),
                            .values = on->values[job],
                            .per_decade = sparse ? 2 : 5,
                            .low_hz = 10,
                            .high_hz = 1e5};
    return TL_OK;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    study* on = context;
    if (on->refuse_take && job == on->refuse_at)
        return tl_error_set(error, TL_FAILURE, "take refused");
    ++on->rounds[job];
    if (request->per_decade == 2) {
        assert_int_equal(reply->points, 9);
        request->per_decade = 5;
        *again = true;
        return TL_OK;
    }
    assert_int_equal(reply->points, POINTS);
    assert_true(reply->outputs <= 2);
    answer* at = &on->answers[job];
    at->outputs = reply->outputs;
    at->points = reply->points;
    memcpy(at->hz, reply->hz, sizeof at->hz);
    memcpy(at->h, reply->h, reply->outputs * POINTS * sizeof *at->h);
    return TL_OK;
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    study* on = context;
    assert_int_equal(job, on->delivered); // in order
    assert_int_equal(on->answers[job].points, POINTS);
    if (on->refuse_deliver && job == on->refuse_at)
        return tl_error_set(error, TL_FAILURE, "deliver refused");
    ++on->delivered;
    return TL_OK;
}

static void blame(void* context, size_t job, tl_error* error) {
    (void)context;
    tl_error_prefix(error, "job %zu", job);
}

static study* new_study(const tl_deck* (*deck_of)(size_t), void (*values_of)(size_t, double*)) {
    study* on = tl_new(1, sizeof *on);
    on->answers = tl_new(MOST, sizeof *on->answers);
    on->deck_of = deck_of;
    on->values_of = values_of;
    return on;
}

static void free_study(study* on) {
    free(on->answers);
    free(on);
}

static tl_status run_study(tl_pool* pool, study* on, size_t count, tl_error* error) {
    tl_pool_work work = {
        .context = on, .ask = ask, .take = take, .deliver = deliver, .blame = blame};
    return tl_pool_run(pool, count, &work, error);
}

static void expect_ok(tl_pool* pool, study* on, size_t count) {
    tl_error* error = tl_error_new();
    if (run_study(pool, on, count, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    assert_int_equal(on->delivered, count);
    tl_error_free(error);
}

// ---- decks

// A ladder of resistors with reactances across it, all resistors from 1 ohm to 1e13 ohm.
static tl_element_id ladder_varied[] = {{'r', 1}, {'r', 2}, {'r', 3}, {'r', 4},
                                        {'r', 5}, {'r', 6}, {'r', 7}, {'r', 8}};
static tl_probe ladder_outputs[] = {{'n', 5}};
static char ladder_text[] =
    "ladder\nv1 1 0 dc 0 ac 1\n"
    "r1 1 2 1\nr2 2 3 1\nr3 3 4 1\nr4 4 5 1\nr5 2 0 1\nr6 3 0 1\nr7 4 0 1\nr8 5 0 1\n"
    "c1 2 0 1n\nc2 3 5 1n\nl1 3 4 10m\nc3 5 0 1p\nr9 2 5 1e6\n.end\n";
static const tl_deck ladder = {2, ladder_text, 8, ladder_varied, 1, ladder_outputs};

static void mixed_values(size_t job, double* values) {
    if (job % 5 < 2) {
        coil_values(job, values);
        return;
    }
    for (size_t i = 0; i < VALUES; ++i)
        values[i] = pow(10, 13 * scatter(job, i));
}

static const tl_deck* coil_only(size_t job) {
    (void)job;
    return &coil;
}

static const tl_deck* mixed_decks(size_t job) {
    return job % 5 < 2 ? &coil : job % 5 == 4 && job % 3 == 0 ? &diodes : &ladder;
}

// H = Zp / (R1 + jwL + Zp) with Zp = R2 parallel C: a voltage divider, computed.
static double complex coil_closed(const double* v, double hz) {
    double complex jw = 2 * pi * hz * I;
    double complex shunt = 1 / (1 / v[3] + jw * v[2]);
    return shunt / (v[0] + jw * v[1] + shunt);
}

static void test_closed_form(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 0, 0);
    study* on = new_study(coil_only, coil_values);
    expect_ok(pool, on, 100);
    double worst = 0;
    for (size_t job = 0; job < 100; ++job)
        for (size_t i = 0; i < POINTS; ++i) {
            const answer* at = &on->answers[job];
            assert_true(fabs(at->hz[i] / (10 * pow(10, (double)i / 5)) - 1) < 1e-12);
            double complex h = coil_closed(on->values[job], at->hz[i]);
            double complex half = 0.5 * on->values[job][4] * h;
            worst = fmax(worst, cabs(at->h[i] - h) / cabs(h));
            worst = fmax(worst, cabs(at->h[POINTS + i] - half) / (cabs(half) + 1e-3));
        }
    print_message("closed form: worst relative difference %.2g\n", worst);
    assert_true(worst < 1e-9);
    free_study(on);
    tl_pool_free(pool);
}

static void expect_same(const study* one, const study* other, size_t count) {
    for (size_t job = 0; job < count; ++job)
        if (memcmp(&one->answers[job], &other->answers[job], sizeof(answer)) != 0)
            fail_msg("job %zu differs", job);
}

static void test_worker_counts(void** state) {
    (void)state;
    study* first = new_study(mixed_decks, mixed_values);
    for (unsigned jobs = 1; jobs <= 3; ++jobs) {
        tl_pool* pool = make_pool(jobs, 0, 0);
        study* on = jobs == 1 ? first : new_study(mixed_decks, mixed_values);
        expect_ok(pool, on, 500);
        assert_true(on->widest <= 4 * jobs);
        if (jobs > 1) {
            assert_true(tl_pool_worker_pid(pool, jobs - 1) > 0);
            expect_same(first, on, 500);
            free_study(on);
        }
        tl_pool_free(pool);
    }
    free_study(first);
}

// Every answer equals that of a worker that never solved anything else.
static void test_no_history(void** state) {
    (void)state;
    study* fresh = new_study(mixed_decks, mixed_values);
    study* long_run = new_study(mixed_decks, mixed_values);
    tl_pool* pool = make_pool(1, 0, 1);
    expect_ok(pool, fresh, 150);
    tl_pool_free(pool);
    pool = make_pool(1, 0, 0);
    expect_ok(pool, long_run, 150);
    tl_pool_free(pool);
    expect_same(fresh, long_run, 150);
    free_study(fresh);
    free_study(long_run);
}

static const tl_deck* diodes_only(size_t job) {
    (void)job;
    return &diodes;
}

static void test_no_history_of_searches(void** state) {
    (void)state;
    study* fresh = new_study(diodes_only, wide_values);
    study* long_run = new_study(diodes_only, wide_values);
    tl_error* error = tl_error_new();
    tl_pool* pool = make_pool(1, 0, 1);
    expect_ok(pool, fresh, 100);
    tl_pool_free(pool);
    pool = make_pool(1, 0, 0);
    expect_ok(pool, long_run, 100);
    tl_pool_free(pool);
    expect_same(fresh, long_run, 100);
    tl_error_free(error);
    free_study(fresh);
    free_study(long_run);
}

static long resident_kb(pid_t pid) {
    char path[64];
    char line[256];
    long kb = 0;
    snprintf(path, sizeof path, "/proc/%d/status", (int)pid);
    FILE* file = fopen(path, "r");
    assert_non_null(file);
    while (fgets(line, sizeof line, file) && sscanf(line, "VmRSS: %ld", &kb) != 1)
        ;
    fclose(file);
    return kb;
}

static tl_status ask_wide(void* context, size_t job, tl_request* request, tl_error* error) {
    tl_status status = ask(context, job, request, error);
    request->per_decade = 100;
    return status;
}

static tl_status take_wide(void* context, size_t job, const tl_reply* reply, tl_request* request,
                           bool* again, tl_error* error) {
    (void)context;
    (void)job;
    (void)request;
    (void)again;
    (void)error;
    return reply->points == 401 ? TL_OK : TL_FAILURE;
}

// 1000 sweeps hold 19 MB of curves, and 500 decks as much again, if they are not let go of.
static void test_memory(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 0, 100000);
    long before_kb = 0;
    for (int round = 0; round < 2; ++round) {
        study* on = new_study(mixed_decks, mixed_values);
        tl_pool_work work = {.context = on, .ask = ask_wide, .take = take_wide};
        on->widest = MOST;
        assert_int_equal(tl_pool_run(pool, round ? 1500 : 100, &work, NULL), TL_OK);
        if (!round)
            before_kb = resident_kb(tl_pool_worker_pid(pool, 0));
        free_study(on);
    }
    long grown_kb = resident_kb(tl_pool_worker_pid(pool, 0)) - before_kb;
    print_message("1500 sweeps of 401 points: %ld kB more\n", grown_kb);
    assert_true(grown_kb < 12000 || SANITIZED);
    tl_pool_free(pool);
}

static void test_again(void** state) {
    (void)state;
    tl_pool* pool = make_pool(2, 0, 0);
    study* plain = new_study(mixed_decks, mixed_values);
    study* on = new_study(mixed_decks, mixed_values);
    on->denser = true;
    expect_ok(pool, plain, 200);
    expect_ok(pool, on, 200);
    for (size_t job = 0; job < 200; ++job)
        assert_int_equal(on->rounds[job], job % 3 == 0 ? 2 : 1);
    expect_same(plain, on, 200);
    free_study(plain);
    free_study(on);
    tl_pool_free(pool);
}

static void test_replaced_after_requests(void** state) {
    (void)state;
    tl_pool* pool = make_pool(2, 0, 7);
    pid_t first = tl_pool_worker_pid(pool, 0);
    study* plain = new_study(mixed_decks, mixed_values);
    study* on = new_study(mixed_decks, mixed_values);
    expect_ok(pool, on, 200);
    assert_int_not_equal(tl_pool_worker_pid(pool, 0), first);
    assert_int_equal(kill(first, 0), -1); // gone, and no zombie
    tl_pool_free(pool);
    pool = make_pool(1, 0, 0);
    expect_ok(pool, plain, 200);
    expect_same(plain, on, 200);
    tl_pool_free(pool);
    free_study(plain);
    free_study(on);
}

// ---- workers that die and hang

typedef struct {
    tl_pool* pool;
    atomic_uint kills;
} killer;

static killer hunter;

// Takes workers down while they work, the way a machine short of memory does.
static tl_status take_and_kill(void* context, size_t job, const tl_reply* reply,
                               tl_request* request, bool* again, tl_error* error) {
    tl_status status = take(context, job, reply, request, again, error);
    if (job % 37 == 5 && !*again) {
        pid_t pid = tl_pool_worker_pid(hunter.pool, job / 37 % 3);
        if (pid > 0 && kill(pid, SIGKILL) == 0)
            ++hunter.kills;
    }
    return status;
}

static void test_killed_workers(void** state) {
    (void)state;
    study* plain = new_study(mixed_decks, mixed_values);
    study* on = new_study(mixed_decks, mixed_values);
    tl_pool* pool = make_pool(3, 0, 0);
    expect_ok(pool, plain, 600);
    hunter.pool = pool;
    on->denser = true;
    tl_pool_work work = {
        .context = on, .ask = ask, .take = take_and_kill, .deliver = deliver, .blame = blame};
    tl_error* error = tl_error_new();
    if (tl_pool_run(pool, 600, &work, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    assert_true(hunter.kills >= 10);
    print_message("%u workers killed\n", hunter.kills);
    expect_same(plain, on, 600);
    tl_error_free(error);
    tl_pool_free(pool);
    assert_int_equal(waitpid(-1, NULL, WNOHANG), -1); // no child is left, dead or alive
    free_study(plain);
    free_study(on);
}

static void expect_failure(tl_pool* pool, study* on, size_t count, const char* words) {
    tl_error* error = tl_error_new();
    assert_int_equal(run_study(pool, on, count, error), TL_FAILURE);
    if (!strstr(tl_error_text(error), words))
        fail_msg("expected \"%s\" in: %s", words, tl_error_text(error));
    tl_error_free(error);
}

static void wait_until_idle(tl_pool* pool) {
    study* on = new_study(coil_only, coil_values);
    expect_ok(pool, on, 1);
    free_study(on);
}

static void test_stopped_worker(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 1, 0);
    wait_until_idle(pool);
    pid_t pid = tl_pool_worker_pid(pool, 0);
    assert_int_equal(kill(pid, SIGSTOP), 0);
    study* on = new_study(coil_only, coil_values);
    double start_s = tl_wire_now_s();
    expect_failure(pool, on, 1, "job 0: the solver did not answer within 1 s and was stopped");
    double took_s = tl_wire_now_s() - start_s;
    assert_true(took_s >= 0.9 && took_s < 3);
    assert_int_equal(kill(pid, 0), -1);
    free_study(on);
    wait_until_idle(pool); // and the pool goes on with a new one
    kill(tl_pool_worker_pid(pool, 0), SIGSTOP);
    on = new_study(coil_only, coil_values);
    expect_ok(pool, on, 10); // with more than one job, it is sent once more to another
    free_study(on);
    kill(tl_pool_worker_pid(pool, 0), SIGSTOP);
    tl_pool_free(pool); // does not hang on a stopped one
}

static void test_single_death(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 0, 0);
    wait_until_idle(pool);
    pid_t pid = tl_pool_worker_pid(pool, 0);
    study* on = new_study(coil_only, coil_values);
    on->doomed = pid;
    tl_pool_work work = {
        .context = on, .ask = ask, .take = take, .deliver = deliver, .blame = blame};
    tl_error* error = tl_error_new();
    kill(pid, SIGSTOP);
    char* path = tl_printf("/proc/%d/fd/1", pid); // what ngspice prints goes there
    int words = open(path, O_WRONLY | O_APPEND);
    assert_true(words >= 0 && write(words, "it said so\n", 11) == 11 && close(words) == 0);
    free(path);
    assert_int_equal(tl_pool_run(pool, 1, &work, error), TL_FAILURE);
    pthread_join(on->killer, NULL);
    assert_non_null(strstr(tl_error_text(error), "job 0: the solver died (signal 9)"));
    assert_non_null(strstr(tl_error_text(error), "\n  ngspice: it said so"));
    tl_error_free(error);
    free_study(on);
    wait_until_idle(pool);
    tl_pool_free(pool);
}

static void test_idle_death(void** state) {
    (void)state;
    tl_pool* pool = make_pool(1, 0, 0);
    wait_until_idle(pool);
    pid_t pid = tl_pool_worker_pid(pool, 0);
    kill(pid, SIGKILL);
    siginfo_t info;
    assert_int_equal(waitid(P_PID, (id_t)pid, &info, WEXITED | WNOWAIT), 0); // its socket is closed
    wait_until_idle(pool); // nothing was lost, so nobody hears of it
    tl_pool_free(pool);
}

static void test_callbacks_fail(void** state) {
    (void)state;
    for (unsigned jobs = 1; jobs <= 3; jobs += 2) {
        tl_pool* pool = make_pool(jobs, 0, 0);
        for (int which = 0; which < 3; ++which) {
            study* on = new_study(mixed_decks, mixed_values);
            on->refuse_at = 123;
            on->refuse_ask = which == 0;
            on->refuse_take = which == 1;
            on->refuse_deliver = which == 2;
            tl_error* error = tl_error_new();
            tl_status status = run_study(pool, on, 500, error);
            assert_int_equal(status, which == 0 ? TL_BAD_INPUT : TL_FAILURE);
            assert_string_equal(tl_error_text(error), which == 0   ? "job 123: ask refused"
                                                      : which == 1 ? "job 123: take refused"
                                                                   : "job 123: deliver refused");
            assert_int_equal(on->delivered, 123); // all below it, whatever the number of workers
            tl_error_free(error);
            free_study(on);
        }
        wait_until_idle(pool);
        tl_pool_free(pool);
        assert_int_equal(waitpid(-1, NULL, WNOHANG), -1);
    }
}

// ---- decks that cannot be solved

static tl_deck odd;
static tl_element_id odd_varied[] = {{'r', 1}};
static tl_probe odd_outputs[] = {{'n', 2}, {'n', 77}};
static size_t odd_output_count = 1;
static double odd_value;

static const tl_deck* odd_deck(size_t job) {
    (void)job;
    return &odd;
}

static void odd_values(size_t job, double* values) {
    (void)job;
    values[0] = odd_value;
}

static void expect_refusal(const char* text, size_t varied, double value, const char* words) {
    static unsigned long id = 1000;
    odd = (tl_deck){++id, tl_copy(text), varied, odd_varied, odd_output_count, odd_outputs};
    odd_value = value;
    tl_pool* pool = make_pool(1, 10, 0);
    study* on = new_study(odd_deck, odd_values);
    tl_error* error = tl_error_new();
    tl_status status = run_study(pool, on, 1, error);
    if (status != TL_FAILURE || !strstr(tl_error_text(error), words))
        fail_msg("%s: status %d, \"%s\"", text, status, tl_error_text(error));
    print_message("%s\n", tl_error_text(error));
    tl_error_free(error);
    free_study(on);
    wait_until_idle(pool); // the pool goes on
    tl_pool_free(pool);
    free(odd.text);
}

static void test_refusals(void** state) {
    (void)state;
    const char* good = "t\nv1 1 0 ac 1\nr1 1 2 1k\nr2 2 0 1k\n.end\n";
    expect_refusal("t\nfoo bar baz\nv1 1 0 ac 1\nq1 this is nonsense\nx1 1 2 nosub\n.end\n", 0, 0,
                   "could not read the circuit");
    expect_refusal("\x01\x02\xff garbage\n\x80\x81\n.end\n", 0, 0, "ngspice");
    expect_refusal("t\nv1 1 0 ac 1\nr1 1 2 1k\n", 0, 0, "no .end");
    expect_refusal("t\nv1 1 0 ac 1\n.end\nr1 1 2 1k\n.end\n", 0, 0, "goes on after");
    expect_refusal("", 0, 0, "no .end");
    expect_refusal(".end\n", 0, 0, "empty");
    expect_refusal("t\nv1 1 0 ac 1\nr1 1 3 1k\nr2 3 0 1k\n.end\n", 0, 0, "no data saved");
    expect_refusal("t\nv1 1 0 ac 1\nr9 1 2 1k\nr2 2 0 1k\n.end\n", 1, 5, "no such device");
    expect_refusal("t\nv1 1 0 ac 1\nr1 1 2 0\nr2 2 0 1k\n.end\n", 0, 0, "resistor of 0 ohm");
    expect_refusal("t\nv1 1 0 ac 1\nR1 1 2 0.0k\nr2 2 0 1k\n.end\n", 0, 0, "resistor of 0 ohm");
    expect_refusal(good, 1, 0, "r1 cannot be 0");
    expect_refusal(good, 1, NAN, "r1 cannot be nan");
    expect_refusal(good, 1, INFINITY, "r1 cannot be inf");
    odd_output_count = 2;
    expect_refusal(good, 0, 0, "no answer at node 77");
    odd_output_count = 1;
    // a node between capacitors, and one in the air
    expect_refusal("t\nv1 1 0 ac 1\nc1 1 2 1n\nc2 2 0 1n\n.end\n", 0, 0, "singular");
    expect_refusal("t\nv1 1 0 ac 1\nr1 1 0 1\nl1 2 3 1\nr2 2 3 1\n.end\n", 0, 0, "singular");
    // two sources that contradict each other, an element twice
    expect_refusal("t\nv1 1 0 ac 1\nv2 1 0 ac 2\nr1 1 2 1\nr2 2 0 1\n.end\n", 0, 0, "ngspice");
    expect_refusal("t\nv1 1 0 ac 1\nr1 1 2 1\nr1 2 0 1\n.end\n", 0, 0, "already exists");
    expect_refusal("t\nv1 1 0 ac 1\nr1 1 2 1\nr2 2 0 1\n.include nothing.cir\n.end\n", 0, 0,
                   "ngspice");
}

// The lowest failing job is the one reported, with any number of workers.
static const tl_deck* failing_late(size_t job) {
    return job == 60 || job == 61 || job == 70 ? &odd : &coil;
}

static void failing_values(size_t job, double* values) {
    if (failing_late(job) == &coil)
        coil_values(job, values);
}

static void test_lowest_failure(void** state) {
    (void)state;
    odd = (tl_deck){999, tl_copy("t\nv1 1 0 ac 1\nc1 1 2 1n\nc2 2 0 1n\n.end\n"),
                    0,   odd_varied,
                    1,   odd_outputs};
    for (unsigned jobs = 1; jobs <= 3; ++jobs) {
        tl_pool* pool = make_pool(jobs, 0, 0);
        study* on = new_study(failing_late, failing_values);
        expect_failure(pool, on, 200, "job 60: ngspice could not solve the circuit");
        assert_int_equal(on->delivered, 60);
        free_study(on);
        tl_pool_free(pool);
    }
    free(odd.text);
}

static void test_missing_program(void** state) {
    (void)state;
    tl_pool_options options = {.worker_path = "/nonexistent/worker"};
    tl_pool* pool = NULL;
    tl_error* error = tl_error_new();
    assert_int_equal(tl_pool_new(&options, &pool, error), TL_FAILURE);
    assert_null(pool);
    assert_non_null(strstr(tl_error_text(error), "/nonexistent/worker"));
    options.worker_path = "/bin/true"; // runs, but is no worker
    assert_int_equal(tl_pool_new(&options, &pool, error), TL_OK);
    study* on = new_study(coil_only, coil_values);
    expect_failure(pool, on, 3, "the solver ended early (exit status 0)");
    free_study(on);
    tl_pool_free(pool);
    tl_error_free(error);
}

static void test_no_jobs(void** state) {
    (void)state;
    tl_pool* pool = make_pool(2, 0, 0);
    study* on = new_study(coil_only, coil_values);
    expect_ok(pool, on, 0);
    free_study(on);
    tl_pool_free(pool);
    for (int i = 0; i < 20; ++i) // ended while it starts
        tl_pool_free(make_pool(2, 0, 0));
    assert_int_equal(waitpid(-1, NULL, WNOHANG), -1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_closed_form),
        cmocka_unit_test(test_worker_counts),
        cmocka_unit_test(test_no_history),
        cmocka_unit_test(test_no_history_of_searches),
        cmocka_unit_test(test_memory),
        cmocka_unit_test(test_again),
        cmocka_unit_test(test_replaced_after_requests),
        cmocka_unit_test(test_killed_workers),
        cmocka_unit_test(test_stopped_worker),
        cmocka_unit_test(test_single_death),
        cmocka_unit_test(test_idle_death),
        cmocka_unit_test(test_callbacks_fail),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_lowest_failure),
        cmocka_unit_test(test_missing_program),
        cmocka_unit_test(test_no_jobs),
    };
    return cmocka_run_group_tests_name("solve: pool", tests, make_diodes, free_diodes);
}

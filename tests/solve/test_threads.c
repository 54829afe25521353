// SPDX-License-Identifier: GPL-3.0-or-later
// Who calls what of a study, from which thread, and beside what; runs that end early; and workers
// that are killed all the time.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/text.h"
#include "pool_decks.h"
#include "solve/wire.h"

#include <locale.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { MOST = 12000, OUTPUTS = 2, ROW = OUTPUTS * POINTS, WINDOW_A_WORKER = 4 };

static void nap_s(double s) {
    struct timespec nap = {.tv_sec = (time_t)s, .tv_nsec = (long)(1e9 * (s - (double)(time_t)s))};
    nanosleep(&nap, NULL);
}

/// What a study sees. Asserts only ever fail in the thread of the test: what is wrong elsewhere is
/// noted.
typedef struct {
    pthread_t caller;
    locale_t locale;
    double (*values)[5];
    double _Complex* h; // by job
    atomic_uint wrong;
    atomic_uint elsewhere; // takes in other threads than the caller's
    atomic_uint asking;    // callbacks at work now
    atomic_uint taking;
    atomic_uint delivering;
    atomic_uint widest_take; // most at a time
    atomic_uint taken;
    size_t asked; // these two are kept by ask and deliver, without a lock
    size_t delivered;
    size_t widest; // most jobs between ask and deliver
    bool alone;
    double linger_s; // how long a take lasts
    size_t stop_at;  // stops when so many are delivered; SIZE_MAX: never
    size_t fail_at;  // the job whose take fails; SIZE_MAX: none
} study;

static void expect(study* on, bool right) {
    if (!right)
        ++on->wrong;
}

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)error;
    study* on = context;
    expect(on, ++on->asking == 1 && on->delivering == 0);
    expect(on, !on->alone || on->taking == 0);
    expect(on, job == on->asked++);
    if (on->asked - on->delivered > on->widest)
        on->widest = on->asked - on->delivered;
    if (on->linger_s > 0)
        nap_s(on->linger_s / 4);
    coil_values(job, on->values[job]);
    *request = (tl_request){
        .deck = &coil, .values = on->values[job], .per_decade = 5, .low_hz = 10, .high_hz = 1e5};
    --on->asking;
    return TL_OK;
}

/// Whether a thread that is not the caller's leaves signals to it.
static bool blocks_signals(void) {
    sigset_t blocked;
    pthread_sigmask(SIG_SETMASK, NULL, &blocked);
    return sigismember(&blocked, SIGINT) && sigismember(&blocked, SIGALRM) &&
           sigismember(&blocked, SIGCHLD);
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    (void)request;
    (void)again;
    study* on = context;
    unsigned now = ++on->taking;
    unsigned most = on->widest_take;
    while (now > most && !atomic_compare_exchange_weak(&on->widest_take, &most, now))
        ;
    expect(on, !on->alone || (now == 1 && on->asking == 0 && on->delivering == 0));
    bool elsewhere = !pthread_equal(pthread_self(), on->caller);
    on->elsewhere += elsewhere;
    expect(on, !elsewhere || blocks_signals());
    expect(on, uselocale((locale_t)0) == on->locale);
    if (on->linger_s > 0)
        nap_s(on->linger_s);
    memcpy(on->h + job * ROW, reply->h, ROW * sizeof *on->h);
    ++on->taken;
    --on->taking;
    return job == on->fail_at ? tl_error_set(error, TL_FAILURE, "enough") : TL_OK;
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    (void)error;
    study* on = context;
    expect(on, ++on->delivering == 1 && on->asking == 0);
    expect(on, pthread_equal(pthread_self(), on->caller));
    expect(on, job == on->delivered++);
    expect(on, on->h[job * ROW] != 0);
    if (on->linger_s > 0)
        nap_s(on->linger_s / 4);
    --on->delivering;
    return TL_OK;
}

static bool stop(void* context) {
    study* on = context;
    expect(on, on->asking == 0 && on->delivering == 0);
    return on->delivered >= on->stop_at;
}

static study* new_study(void) {
    study* on = tl_new(1, sizeof *on);
    on->caller = pthread_self();
    on->locale = uselocale((locale_t)0);
    on->values = tl_new(MOST, sizeof *on->values);
    on->h = tl_new((size_t)MOST * ROW, sizeof *on->h);
    on->stop_at = on->fail_at = SIZE_MAX;
    return on;
}

static void free_study(study* on) {
    free(on->values);
    free(on->h);
    free(on);
}

static tl_status run(tl_pool* pool, study* on, size_t count, tl_error* error) {
    tl_pool_work work = {.context = on,
                         .ask = ask,
                         .take = take,
                         .deliver = deliver,
                         .stop = stop,
                         .alone = on->alone};
    return tl_pool_run(pool, count, &work, error);
}

static void expect_ok(tl_pool* pool, study* on, size_t count) {
    tl_error* error = tl_error_new();
    if (run(pool, on, count, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    assert_int_equal(on->wrong, 0);
    tl_error_free(error);
}

/// A pool whose workers all run.
static tl_pool* make_running(unsigned jobs, double limit_s) {
    tl_pool* pool = make_pool(jobs, limit_s, 0);
    study* on = new_study();
    on->linger_s = 1e-3;
    while (tl_pool_worker_pid(pool, jobs - 1) < 0) {
        on->asked = on->delivered = 0;
        expect_ok(pool, on, 100);
    }
    free_study(on);
    return pool;
}

// ---- who calls what

static void test_callers(void** state) {
    (void)state;
    for (unsigned jobs = 1; jobs <= 4; ++jobs)
        for (int alone = 0; alone < 2; ++alone) {
            tl_pool* pool = make_running(jobs, 0);
            study* on = new_study();
            on->alone = alone;
            on->linger_s = 5e-4;
            expect_ok(pool, on, 300);
            assert_int_equal(on->delivered, 300);
            assert_int_equal(on->taken, 300);
            assert_true(on->widest <= (size_t)WINDOW_A_WORKER * jobs);
            assert_int_equal(on->elsewhere, jobs > 1 ? 300 : 0);
            assert_true(alone || jobs == 1 ? on->widest_take == 1 : on->widest_take > 1);
            assert_true(on->widest_take <= jobs);
            free_study(on);
            tl_pool_free(pool);
        }
}

// A single job needs no thread, whatever the pool.
static void test_single_job(void** state) {
    (void)state;
    tl_pool* pool = make_running(3, 0);
    study* on = new_study();
    expect_ok(pool, on, 1);
    assert_int_equal(on->elsewhere, 0);
    free_study(on);
    tl_pool_free(pool);
}

/// Where two takes wait for each other.
typedef struct {
    pthread_mutex_t lock;
    pthread_cond_t came;
    unsigned here;
    unsigned met; // those that did not wait in vain
} meeting;

static meeting place = {PTHREAD_MUTEX_INITIALIZER, PTHREAD_COND_INITIALIZER, 0, 0};

static tl_status take_together(void* context, size_t job, const tl_reply* reply,
                               tl_request* request, bool* again, tl_error* error) {
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += 10;
    pthread_mutex_lock(&place.lock);
    ++place.here;
    pthread_cond_broadcast(&place.came);
    while (place.here < 2 && pthread_cond_timedwait(&place.came, &place.lock, &until) == 0)
        ;
    place.met += place.here >= 2;
    pthread_mutex_unlock(&place.lock);
    return take(context, job, reply, request, again, error);
}

// Of two jobs neither is taken before both are there. (The second worker is not even started yet.)
static void test_takes_at_once(void** state) {
    (void)state;
    tl_pool* pool = make_pool(2, 0, 0);
    study* on = new_study();
    tl_pool_work work = {.context = on, .ask = ask, .take = take_together, .deliver = deliver};
    assert_int_equal(tl_pool_run(pool, 2, &work, NULL), TL_OK);
    assert_int_equal(place.met, 2);
    assert_int_equal(on->wrong, 0);
    free_study(on);
    tl_pool_free(pool);
}

// The caller's locale is its threads' too: errors with numbers in them are made there.
static void test_locale(void** state) {
    (void)state;
    locale_t own = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    locale_t before = uselocale(own);
    tl_pool* pool = make_running(2, 0);
    study* on = new_study();
    assert_true(on->locale == own);
    expect_ok(pool, on, 50);
    assert_int_equal(on->elsewhere, 50);
    free_study(on);
    tl_pool_free(pool);
    uselocale(before);
    freelocale(own);
}

// ---- ends

static void test_stop(void** state) {
    (void)state;
    for (unsigned jobs = 1; jobs <= 3; ++jobs) {
        tl_pool* pool = make_running(jobs, 0);
        for (size_t at = 0; at <= 200; at += 50) {
            study* on = new_study();
            on->stop_at = at;
            expect_ok(pool, on, 5000);
            assert_int_equal(on->delivered, on->asked);
            assert_true(on->delivered >= at);
            assert_true(on->delivered <= at + (size_t)WINDOW_A_WORKER * jobs);
            assert_true(at > 0 || on->delivered == 0);
            free_study(on);
        }
        study* on = new_study(); // too late to make a difference
        on->stop_at = 100;
        expect_ok(pool, on, 100);
        assert_int_equal(on->delivered, 100);
        free_study(on);
        tl_pool_free(pool);
    }
}

/// The first job fails once another is at work that takes a long time.
static tl_status ask_long(void* context, size_t job, tl_request* request, tl_error* error) {
    tl_status status = ask(context, job, request, error);
    if (job == 1) {
        request->analysis = TL_TRANSIENT;
        request->stop_s = 3.9;
        request->step_s = request->ceiling_s = 1e-6;
    }
    return status;
}

static tl_status fail_late(void* context, size_t job, const tl_reply* reply, tl_request* request,
                           bool* again, tl_error* error) {
    (void)reply;
    (void)request;
    (void)again;
    (void)job;
    nap_s(0.2);
    const study* on = context;
    return tl_error_set(error, TL_FAILURE, "%s", on->caller == pthread_self() ? "here" : "there");
}

// Nobody waits for what nobody wants.
static void test_abandoned(void** state) {
    (void)state;
    tl_pool* pool = make_running(2, 0);
    study* on = new_study();
    tl_pool_work work = {.context = on, .ask = ask_long, .take = fail_late};
    tl_error* error = tl_error_new();
    double start_s = tl_wire_now_s();
    assert_int_equal(tl_pool_run(pool, 2, &work, error), TL_FAILURE);
    double took_s = tl_wire_now_s() - start_s;
    print_message("a run that failed ends after %.0f ms\n", 1e3 * took_s);
    assert_true(took_s < 1.5);
    assert_string_equal(tl_error_text(error), "there");
    tl_error_free(error);
    free_study(on);
    on = new_study(); // and the pool goes on
    expect_ok(pool, on, 100);
    free_study(on);
    tl_pool_free(pool);
    assert_int_equal(waitpid(-1, NULL, WNOHANG), -1);
}

// A worker that hangs holds up its own job only, which another does.
static void test_hanging_worker(void** state) {
    (void)state;
    for (unsigned jobs = 2; jobs <= 3; ++jobs) {
        tl_pool* pool = make_running(jobs, 1);
        study* on = new_study();
        for (unsigned i = 1; i < jobs; ++i)
            kill(tl_pool_worker_pid(pool, i), SIGSTOP);
        expect_ok(pool, on, 1000);
        assert_int_equal(on->delivered, 1000);
        free_study(on);
        tl_pool_free(pool);
    }
}

// ---- workers killed at random

typedef struct {
    tl_pool* pool;
    study* on;
    unsigned jobs;
    unsigned kills;
    atomic_bool over;
} hunt;

enum { KILLS = 60 }; // of each number of workers; cli/check_spread_workers.py has 200 more

/// Kills one after the other, wherever it is: starting, idle, at work, in the middle of an answer.
static void* hunt_workers(void* context) {
    hunt* h = context;
    for (unsigned i = 0; !h->over && h->kills < KILLS; ++i) {
        unsigned seen = h->on->taken;
        nap_s(3e-3 * scatter(i, 1));
        pid_t pid = tl_pool_worker_pid(h->pool, (unsigned)(h->jobs * scatter(i, 2)));
        if (pid > 0 && kill(pid, SIGKILL) == 0)
            ++h->kills;
        while (!h->over && h->on->taken < seen + 8) // so that no job is hit for ever
            nap_s(2e-4);
    }
    return NULL;
}

/// A job that is hit twice is asked for once more.
static tl_status try_again(void* context, size_t job, const char* words, tl_request* request,
                           bool* again, tl_error* error) {
    (void)context;
    (void)job;
    (void)request;
    *again = strstr(words, "died (signal 9)") != NULL;
    return *again ? TL_OK : tl_error_set(error, TL_FAILURE, "%s", words);
}

static void test_random_kills(void** state) {
    (void)state;
    study* plain = new_study();
    tl_pool* calm = make_pool(2, 0, 0);
    expect_ok(calm, plain, MOST);
    tl_pool_free(calm);
    for (unsigned jobs = 1; jobs <= 3; ++jobs) {
        study* on = new_study();
        hunt h = {.pool = make_pool(jobs, 0, 0), .on = on, .jobs = jobs};
        pthread_t thread;
        assert_int_equal(pthread_create(&thread, NULL, hunt_workers, &h), 0);
        tl_pool_work work = {
            .context = on, .ask = ask, .take = take, .deliver = deliver, .refuse = try_again};
        tl_error* error = tl_error_new();
        if (tl_pool_run(h.pool, MOST, &work, error) != TL_OK)
            fail_msg("%s", tl_error_text(error));
        h.over = true;
        pthread_join(thread, NULL);
        print_message("%u workers: %u killed\n", jobs, h.kills);
        assert_int_equal(h.kills, KILLS);
        assert_int_equal(on->wrong, 0);
        assert_int_equal(on->delivered, MOST);
        assert_memory_equal(on->h, plain->h, (size_t)MOST * ROW * sizeof *on->h);
        tl_error_free(error);
        tl_pool_free(h.pool);
        free_study(on);
    }
    free_study(plain);
    assert_int_equal(waitpid(-1, NULL, WNOHANG), -1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_callers),        cmocka_unit_test(test_single_job),
        cmocka_unit_test(test_takes_at_once),  cmocka_unit_test(test_locale),
        cmocka_unit_test(test_stop),           cmocka_unit_test(test_abandoned),
        cmocka_unit_test(test_hanging_worker), cmocka_unit_test(test_random_kills),
    };
    return cmocka_run_group_tests_name("solve: threads", tests, NULL, NULL);
}

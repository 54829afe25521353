// SPDX-License-Identifier: GPL-3.0-or-later
#include "solve/pool.h"

#include "base/file.h"
#include "base/text.h"
#include "solve/process.h"
#include "solve/request.h"
#include "solve/wire.h"

#include <errno.h>
#include <locale.h>
#include <math.h>
#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

enum {
    WINDOW_A_WORKER = 4, ///< jobs between ask and deliver, for each worker
    MOST_JOBS = 256,     ///< worker processes of a pool
};

static const double start_cost_s = 0.01; // a run shorter than this gains nothing by more workers

struct tl_pool {
    char* program;
    double limit_s;
    unsigned requests_a_worker;
    bool one_job;
    size_t count; ///< places for workers
    tl_process* processes;
};

typedef enum { SLOT_FREE, SLOT_WAITING, SLOT_TAKEN, SLOT_DONE } slot_state;

/// A job between ask and deliver. While it is taken, it belongs to the thread that took it.
typedef struct {
    slot_state state;
    size_t job;
    unsigned deaths; ///< workers that it was given to in vain
    tl_request request;
} slot;

typedef struct run run;

/// A worker's place in a run.
typedef struct {
    run* now;
    tl_process* process;
    bool threaded; ///< a thread of its own serves it
    bool asking;   ///< its worker has a request
    pthread_t thread;
} place;

/// One tl_pool_run(). Everything that changes is under the lock, but for what its processes and the
/// jobs that are taken hold.
struct run {
    tl_pool* pool;
    const tl_pool_work* work;
    size_t count;
    size_t next;  ///< the next job to ask for
    size_t first; ///< the next job to deliver
    size_t end;   ///< jobs from here on are not asked for: `count`, or where the study stopped
    size_t window;
    slot* slots;   ///< job j lives in slots[j % window]
    size_t failed; ///< the lowest job that failed; count: none
    tl_error* error;
    double start_s;
    bool over; ///< nobody wants anything any more
    place* places;
    size_t threads;
    locale_t locale; ///< the caller's, in which threads write numbers too
    pthread_mutex_t lock;
    pthread_cond_t jobs; ///< there may be a job to take, or all is over
    pthread_cond_t news; ///< the caller may have something to do
};

// ---- the pool

/// The worker program: beside the library in a build tree, below it once installed.
static tl_status find_program(const char* given, char** program, tl_error* error) {
    char* home = tl_file_home();
    char* beside = given ? tl_copy(given) : tl_printf("%s/toneload-worker", home);
    char* below = tl_printf("%s/%s/toneload-worker", home, TL_WORKER_DIR);
    free(home);
    *program = access(beside, X_OK) == 0            ? tl_copy(beside)
               : !given && access(below, X_OK) == 0 ? tl_copy(below)
                                                    : NULL;
    if (!*program)
        tl_error_set(error, TL_FAILURE, "the solver program is missing: expected %s%s%s", beside,
                     given ? "" : " or ", given ? "" : below);
    free(beside);
    free(below);
    return *program ? TL_OK : TL_FAILURE;
}

tl_status tl_pool_new(const tl_pool_options* options, tl_pool** pool, tl_error* error) {
    static const tl_pool_options usual = {0};
    const tl_pool_options* wanted = options ? options : &usual;
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    size_t jobs = wanted->jobs ? wanted->jobs : cores > 0 ? (size_t)cores : 1;
    char* program = NULL;
    *pool = NULL;
    if (find_program(wanted->worker_path, &program, error) != TL_OK)
        return TL_FAILURE;
    tl_pool* made = tl_new(1, sizeof *made);
    made->program = program;
    made->limit_s = wanted->time_limit_s > 0 ? wanted->time_limit_s : 60;
    made->requests_a_worker = wanted->requests_a_worker ? wanted->requests_a_worker : 5000;
    made->one_job = wanted->one_job;
    made->count = jobs < MOST_JOBS ? jobs : MOST_JOBS;
    made->processes = tl_new(made->count, sizeof *made->processes);
    tl_status status = tl_process_start(program, &made->processes[0], error);
    if (status != TL_OK) {
        tl_pool_free(made);
        return status;
    }
    *pool = made;
    return TL_OK;
}

void tl_pool_free(tl_pool* pool) {
    if (!pool)
        return;
    for (size_t i = 0; i < pool->count; ++i)
        if (pool->processes[i].pid)
            tl_process_end(&pool->processes[i]);
    free(pool->processes);
    free(pool->program);
    free(pool);
}

size_t tl_pool_size(const tl_pool* pool) {
    return pool->count;
}

pid_t tl_pool_worker_pid(const tl_pool* pool, size_t index) {
    pid_t pid = index < pool->count ? pool->processes[index].pid : 0;
    return pid ? pid : -1;
}

// ---- jobs and what becomes of them

/// Puts a job that nobody has back among those that wait.
static void put_back(run* now, slot* job) {
    job->state = SLOT_WAITING;
    pthread_cond_signal(&now->jobs);
    pthread_cond_signal(&now->news); // another worker may be worth it now
}

/// Notes that a job failed, when none below it has; run->error holds its words. Jobs above it are
/// of no use any more.
static void fail_job(run* now, size_t job, tl_error* error) {
    if (job >= now->failed)
        return;
    now->failed = job;
    tl_status status = tl_error_status(error);
    tl_error_set(now->error, status == TL_OK ? TL_FAILURE : status, "%s", tl_error_text(error));
    for (size_t i = 0; i < now->window; ++i)
        if (now->slots[i].state == SLOT_WAITING && now->slots[i].job > job)
            now->slots[i].state = SLOT_FREE;
    pthread_cond_signal(&now->news);
}

/// Lets go of the lock for what a study does with a job, unless it wants to be alone.
static void enter_study(run* now) {
    if (!now->work->alone)
        pthread_mutex_unlock(&now->lock);
}

static void leave_study(run* now) {
    if (!now->work->alone)
        pthread_mutex_lock(&now->lock);
}

/// Whether nobody wants a job's answer any more.
static bool is_unwanted(const run* now, const slot* job) {
    return job->job >= now->failed || now->over;
}

/// What a callback said about a job, and where that leaves it.
static void settle_job(run* now, slot* job, tl_status status, bool again, tl_error* error) {
    job->deaths = 0;
    if (status != TL_OK) {
        job->state = SLOT_FREE;
        fail_job(now, job->job, error);
    } else if (is_unwanted(now, job)) { // by now
        job->state = SLOT_FREE;
    } else if (again) {
        put_back(now, job);
    } else {
        job->state = SLOT_DONE;
        if (job->job == now->first)
            pthread_cond_signal(&now->news);
    }
}

/// Hands an answer to the study.
static void take_curve(run* now, place* own, slot* job, const tl_wire_curve* curve) {
    const tl_pool_work* work = now->work;
    if (is_unwanted(now, job)) {
        job->state = SLOT_FREE;
        return;
    }
    if (now->pool->one_job && now->count == 1)
        tl_process_retire(own->process);
    bool sweep = curve->analysis == TL_SWEEP;
    tl_reply reply = {
        .sets = curve->set_count,
        .points = curve->point_count,
        .outputs = curve->output_count,
        .hz = sweep || curve->analysis == TL_NOISE ? curve->axis : NULL,
        .time_s = curve->analysis == TL_TRANSIENT ? curve->axis : NULL,
        .h = sweep ? (const double _Complex*)(const void*)curve->rows : NULL,
        .x = sweep ? NULL : curve->rows,
    };
    bool again = false;
    tl_error* error = tl_error_new();
    enter_study(now);
    tl_status status = work->take(work->context, job->job, &reply, &job->request, &again, error);
    if (status == TL_OK && again)
        status = tl_request_check(&job->request, error);
    leave_study(now);
    settle_job(now, job, status, again, error);
    tl_error_free(error);
}

/// A job that has no answer: the study may live with that, else it is a failure.
static void refuse_job(run* now, slot* job, const char* words) {
    const tl_pool_work* work = now->work;
    tl_error* error = tl_error_new();
    bool again = false;
    enter_study(now);
    tl_status status =
        work->refuse ? work->refuse(work->context, job->job, words, &job->request, &again, error)
                     : tl_error_set(error, TL_FAILURE, "%s", words);
    if (status == TL_OK && again)
        status = tl_request_check(&job->request, error);
    leave_study(now);
    settle_job(now, job, status, again, error);
    tl_error_free(error);
}

/// What a worker's end means for the job it was at: a second try by another, or no answer.
static void lose_job(run* now, slot* job, const char* words) {
    if (job->deaths++ == 0 && now->count > 1)
        put_back(now, job);
    else
        refuse_job(now, job, words);
}

// ---- a request

/// Makes sure that a worker is there: one that has gone, or has served its time, is replaced.
static tl_status ready_process(const tl_pool* pool, tl_process* process, tl_error* error) {
    if (process->pid && (process->served >= pool->requests_a_worker || tl_process_is_gone(process)))
        tl_process_end(process);
    return process->pid ? TL_OK : tl_process_start(pool->program, process, error);
}

/// Ends a dead, hanging or talking-nonsense worker and says what happened; free with free().
static char* bury_process(tl_process* process, tl_outcome outcome, double limit_s) {
    if (outcome == TL_OUTCOME_ENDED)
        return tl_process_bury(process, NULL);
    char* why = outcome == TL_OUTCOME_LATE
                    ? tl_printf("the solver " TL_POOL_LATE " %g s and was stopped", limit_s)
                : outcome == TL_OUTCOME_NO_START
                    ? tl_copy("the solver could not start")
                    : tl_copy("the solver program does not belong to this version of toneload");
    char* words = tl_process_bury(process, why);
    free(why);
    return words;
}

/// Deals with a worker that gave no answer, and with the job it was at. (Its end takes a while:
/// nobody has to wait for it.)
static void lose_worker(run* now, place* own, slot* job, tl_outcome outcome, double limit_s) {
    pthread_mutex_unlock(&now->lock);
    char* words = bury_process(own->process, outcome, limit_s);
    pthread_mutex_lock(&now->lock);
    if (is_unwanted(now, job))
        job->state = SLOT_FREE;
    else
        lose_job(now, job, words);
    free(words);
}

/// ngspice could not solve it, and would not a second time.
static void take_words(run* now, place* own, slot* job, tl_outcome outcome, const char* words) {
    if (outcome == TL_OUTCOME_LAST)
        tl_process_end(own->process);
    if (is_unwanted(now, job))
        job->state = SLOT_FREE;
    else
        refuse_job(now, job, words);
}

/// Has a job's request solved, and tells the study. The lock is held before and after; while it is
/// not, the place is marked, so that its worker can be ended when nobody wants the answer any more.
static void solve_job(run* now, place* own, slot* job) {
    tl_error* error = tl_error_new();
    job->state = SLOT_TAKEN;
    if (ready_process(now->pool, own->process, error) != TL_OK) {
        job->state = SLOT_FREE;
        fail_job(now, now->first, error);
        tl_error_free(error);
        return;
    }
    tl_error_free(error);
    double limit_s = now->pool->limit_s;
    tl_wire_frame frame;
    tl_wire_curve curve;
    own->asking = true;
    pthread_mutex_unlock(&now->lock);
    tl_outcome outcome = tl_process_ask(own->process, &job->request, limit_s, &frame, &curve);
    pthread_mutex_lock(&now->lock);
    own->asking = false;
    if (outcome == TL_OUTCOME_SOLVED)
        take_curve(now, own, job, &curve);
    else if (outcome == TL_OUTCOME_REFUSED || outcome == TL_OUTCOME_LAST)
        take_words(now, own, job, outcome, frame.body);
    else
        lose_worker(now, own, job, outcome, limit_s);
    tl_wire_frame_free(&frame);
}

// ---- picking a job

/// The lowest waiting job that this worker may take: of the deck it holds, if `same_deck`.
static slot* find_waiting(const run* now, const tl_process* process, bool same_deck) {
    for (size_t job = now->first; job < now->next; ++job) {
        slot* at = &now->slots[job % now->window];
        if (at->state == SLOT_WAITING && at->job == job &&
            (!same_deck || process->deck_id == at->request.deck->id))
            return at;
    }
    return NULL;
}

/// Whether there is room for another job, and one that anyone wants.
static bool may_ask(const run* now) {
    return now->next < now->end && now->next < now->failed && now->next < now->first + now->window;
}

/// Asks for the next job; false when there is none to ask for now.
static bool ask_job(run* now) {
    const tl_pool_work* work = now->work;
    if (!may_ask(now))
        return false;
    if (work->stop && work->stop(work->context)) {
        now->end = now->next;
        pthread_cond_signal(&now->news);
        return false;
    }
    slot* at = &now->slots[now->next % now->window];
    *at = (slot){.job = now->next++, .state = SLOT_WAITING};
    tl_error* error = tl_error_new();
    tl_status status = work->ask(work->context, at->job, &at->request, error);
    if (status == TL_OK)
        status = tl_request_check(&at->request, error);
    if (status != TL_OK) {
        at->state = SLOT_FREE;
        fail_job(now, at->job, error);
    }
    tl_error_free(error);
    return true;
}

/// The job a worker should get next. Jobs of other decks are left to others while there may be
/// one of its own.
static slot* pick_job(run* now, const tl_process* process) {
    bool same_deck = process->deck_id != 0;
    slot* found = find_waiting(now, process, same_deck);
    while (!found && ask_job(now))
        found = find_waiting(now, process, same_deck);
    return found ? found : find_waiting(now, process, false);
}

// ---- the run

/// Whether all that is wanted has been delivered.
static bool is_done(const run* now) {
    return now->first >= now->failed || now->first >= now->end;
}

/// Puts done jobs back in order.
static void deliver_jobs(run* now) {
    while (!is_done(now)) {
        slot* at = &now->slots[now->first % now->window];
        if (at->state != SLOT_DONE || at->job != now->first)
            return;
        at->state = SLOT_FREE;
        tl_error* error = tl_error_new();
        if (now->work->deliver && now->work->deliver(now->work->context, at->job, error) != TL_OK)
            fail_job(now, at->job, error);
        else
            ++now->first;
        tl_error_free(error);
        pthread_cond_broadcast(&now->jobs); // there is room for another
    }
}

/// Everything in the caller's thread, with one worker.
static void run_here(run* now) {
    pthread_mutex_lock(&now->lock);
    while (!is_done(now)) {
        slot* job = pick_job(now, now->places->process);
        if (job)
            solve_job(now, now->places, job);
        deliver_jobs(now);
    }
    pthread_mutex_unlock(&now->lock);
}

/// What a worker's thread does.
static void* serve(void* context) {
    place* own = context;
    run* now = own->now;
    uselocale(now->locale);
    pthread_mutex_lock(&now->lock);
    while (!now->over) {
        slot* job = pick_job(now, own->process);
        if (job)
            solve_job(now, own, job);
        else
            pthread_cond_wait(&now->jobs, &now->lock);
    }
    pthread_mutex_unlock(&now->lock);
    return NULL;
}

/// Starts a thread that takes no signals, which are for the host's own.
static bool start_thread(place* own) {
    sigset_t all;
    sigset_t before;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    own->threaded = pthread_create(&own->thread, NULL, serve, own) == 0;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return own->threaded;
}

static bool has_waiting(const run* now) {
    for (size_t i = 0; i < now->window; ++i)
        if (now->slots[i].state == SLOT_WAITING)
            return true;
    return may_ask(now);
}

/// Starts threads for the first worker, for those that run already and, once the run is not a short
/// one, for the others; each while there is something for it to do. False when there is no thread
/// at all.
static bool start_threads(run* now) {
    bool late = tl_wire_now_s() - now->start_s > start_cost_s;
    for (size_t i = 0; i < now->pool->count && now->threads < now->count; ++i) {
        place* own = &now->places[i];
        if (!own->threaded && (i == 0 || late || own->process->pid) && has_waiting(now))
            now->threads += start_thread(own);
    }
    return now->threads > 0;
}

/// Waits for the threads to have news, or for the time when more of them are worth it.
static void wait_for_news(run* now) {
    double until_s = now->start_s + start_cost_s;
    if (now->threads == now->pool->count || tl_wire_now_s() > until_s) {
        pthread_cond_wait(&now->news, &now->lock);
        return;
    }
    struct timespec until = {.tv_sec = (time_t)until_s,
                             .tv_nsec = (long)(1e9 * (until_s - floor(until_s)))};
    pthread_cond_timedwait(&now->news, &now->lock, &until);
}

/// Has all threads end. Workers that still compute what nobody wants any more are ended too, so
/// that the pool is ready for the next run.
static void join_threads(run* now) {
    now->over = true;
    for (size_t i = 0; i < now->pool->count; ++i)
        if (now->places[i].asking)
            kill(now->places[i].process->pid, SIGKILL);
    pthread_cond_broadcast(&now->jobs);
    pthread_mutex_unlock(&now->lock);
    for (size_t i = 0; i < now->pool->count; ++i)
        if (now->places[i].threaded)
            pthread_join(now->places[i].thread, NULL);
}

/// A thread a worker; this one starts them and delivers. False when there can be no thread.
static bool run_threads(run* now) {
    pthread_mutex_lock(&now->lock);
    while (!is_done(now)) {
        if (!start_threads(now) && has_waiting(now)) {
            pthread_mutex_unlock(&now->lock);
            return false;
        }
        wait_for_news(now);
        deliver_jobs(now);
    }
    join_threads(now);
    return true;
}

static void run_init(run* now) {
    pthread_condattr_t steady;
    pthread_condattr_init(&steady);
    pthread_condattr_setclock(&steady, CLOCK_MONOTONIC);
    pthread_mutex_init(&now->lock, NULL);
    pthread_cond_init(&now->jobs, NULL);
    pthread_cond_init(&now->news, &steady);
    pthread_condattr_destroy(&steady);
    now->slots = tl_new(now->window, sizeof *now->slots);
    now->places = tl_new(now->pool->count, sizeof *now->places);
    for (size_t i = 0; i < now->pool->count; ++i)
        now->places[i] = (place){.now = now, .process = &now->pool->processes[i]};
}

static void run_clear(run* now) {
    pthread_cond_destroy(&now->news);
    pthread_cond_destroy(&now->jobs);
    pthread_mutex_destroy(&now->lock);
    tl_error_free(now->error);
    free(now->places);
    free(now->slots);
}

tl_status tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work, tl_error* error) {
    run now = {
        .pool = pool,
        .work = work,
        .count = count,
        .end = count,
        .window = pool->count * WINDOW_A_WORKER,
        .failed = count,
        .error = tl_error_new(),
        .start_s = tl_wire_now_s(),
        .locale = uselocale((locale_t)0),
    };
    run_init(&now);
    if (pool->count == 1 || count == 1 || !run_threads(&now))
        run_here(&now);
    tl_status status = tl_error_status(now.error);
    if (status != TL_OK) {
        tl_error_set(error, status, "%s", tl_error_text(now.error));
        if (work->blame)
            work->blame(work->context, now.failed, error);
    }
    run_clear(&now);
    return status;
}

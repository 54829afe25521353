// SPDX-License-Identifier: GPL-3.0-or-later
/// @file pool.h Worker processes that solve decks: one request shape for every study.
///
/// libngspice lives in `toneload-worker`, a program of its own, and never in this process. Each
/// worker is served by a thread, which hands it a request, waits for the answer and has the study
/// make of it what it wants; so a worker and what is made of its answers keep one core busy.
/// Requests are fed in order and answers put back in order, so that what a study writes does not
/// depend on the number of workers.
#ifndef TL_SOLVE_POOL_H
#define TL_SOLVE_POOL_H

#include "circuit/deck.h"
#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

typedef struct tl_pool tl_pool;

typedef struct {
    unsigned jobs;              ///< worker processes; 0: as many as there are cores
    double time_limit_s;        ///< for each request, however many sets of values; 0: 60 s
    unsigned requests_a_worker; ///< a worker is replaced after so many sets of values; 0: 5,000
    const char* worker_path;    ///< the worker program; NULL: found beside the library
    bool one_job; ///< hint: the pool will run a single job, so its worker may end with the answer
} tl_pool_options;

/// One analysis of a deck with its varied values. Frequencies are for TL_SWEEP (`ac dec`: spread
/// evenly from the first to the last) and TL_NOISE (steps of exactly 10^(1/per_decade) from the
/// first on; the last may lie below high_hz), times for TL_TRANSIENT.
typedef struct {
    const tl_deck* deck;
    const double* values; ///< deck->varied_count values, in SI units, of each set after the other
    size_t sets;          ///< sets of values, each solved by itself; 0: one. Only of TL_SWEEP more
    unsigned per_decade;
    double low_hz;
    double high_hz;
    tl_analysis analysis;
    double step_s;         ///< ngspice's first guess of a step
    double stop_s;         ///< the last time
    double start_s;        ///< nothing before this is kept; time itself begins at 0
    double ceiling_s;      ///< no step is longer; 0: what ngspice takes, no longer than step_s
    unsigned noise_node;   ///< where noise is read
    unsigned noise_source; ///< the voltage source (with an `ac` value) that it is referred to
} tl_request;

/// The answer. What it points to is gone when the callback returns. Point p of output o of set s
/// stands at [(s * outputs + o) * points + p], in the order of deck->outputs. All sets are solved
/// or none: when ngspice cannot solve one of them, the request is refused.
typedef struct {
    size_t sets;              ///< as asked for, at least 1
    size_t points;            ///< TL_POINT: 1
    size_t outputs;           ///< deck->output_count
    const double* hz;         ///< TL_SWEEP, TL_NOISE; else NULL
    const double* time_s;     ///< TL_TRANSIENT: ngspice's own steps, of unequal length, the first
                              ///< at or after start_s, the last at stop_s; else NULL
    const double _Complex* h; ///< TL_SWEEP: volt or ampere per volt of source; else NULL
    const double* x;          ///< the others: volt, ampere, or V/sqrt(Hz); else NULL
} tl_reply;

/// What the words of a refusal hold when its time ran out.
#define TL_POOL_LATE "did not answer within"

/// What a study does with the pool, for jobs 0 to count - 1.
///
/// `ask`, `stop` and `deliver` are never called two at a time: what one of them writes the others
/// may read. `take` and `refuse` are called from the worker's thread beside all of these and beside
/// each other, though never two at a time for the same job, nor beside its `ask` and `deliver`:
/// they keep to what belongs to their job, or the study says that it wants them alone.
typedef struct {
    void* context;
    /// Fills in the request of a job, from any thread. What it points to must stay until the job is
    /// delivered.
    tl_status (*ask)(void* context, size_t job, tl_request* request, tl_error* error);
    /// Takes a reply, as it comes in. May change `*request` (another deck or analysis too) and set
    /// `*again` to go on with the same job; while the deck stays, that goes before new jobs.
    tl_status (*take)(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error);
    /// Called once a job is done, in ascending order of jobs, from tl_pool_run()'s own thread. May
    /// be NULL.
    tl_status (*deliver)(void* context, size_t job, tl_error* error);
    /// Puts words in front of an error about this job ("variant 3 of ..."). From tl_pool_run()'s
    /// own thread, when no other is left. May be NULL.
    void (*blame)(void* context, size_t job, tl_error* error);
    /// Takes the news that there is no answer: ngspice could not solve it, or its workers died or
    /// ran out of time. `words` say why, ngspice's own lines below. TL_OK makes this the job's
    /// answer; `*again` with a changed request, another deck too, goes on with the job; an error
    /// fails it. NULL: such a job fails. A request that can be none is not asked about.
    tl_status (*refuse)(void* context, size_t job, const char* words, tl_request* request,
                        bool* again, tl_error* error);
    /// Whether enough is known: asked before each `ask`, from any thread, and quick to say. Once it
    /// is true no other job is asked for; those that were are finished and delivered. How many
    /// these are depends on the workers: what is written must only depend on jobs below a place
    /// that `deliver` settled. May be NULL.
    bool (*stop)(void* context);
    /// `take` and `refuse` are not called beside anything else.
    bool alone;
} tl_pool_work;

/// Makes a pool and starts its first worker at once, without waiting for it, so that libngspice
/// loads while the caller reads its rig. TL_FAILURE when the worker program is missing.
tl_status tl_pool_new(const tl_pool_options* options, tl_pool** pool, tl_error* error);
/// Ends all workers.
void tl_pool_free(tl_pool* pool);

/// Runs `count` jobs. A request's sets may be as many as keep its answer under 64 MB and its values
/// under four million. A worker that dies or passes the time limit is replaced and its request
/// sent once more to another when there is more than one job; a request that fails twice (or is
/// the only one) is refused (tl_pool_work), or TL_FAILURE with what ngspice last printed. At most a
/// bounded window of jobs is ever between `ask` and `deliver`, so memory does not grow with
/// `count`.
///
/// Each worker has a thread of its own for the time of the run; these block all signals and write
/// numbers in the caller's locale. With a single worker or job there is none: all is called from
/// this thread. TL_OK also when the study stopped the run: how far it came is known from `deliver`.
///
/// When jobs fail, the error is that of the lowest failing job, whatever the number of workers:
/// jobs below it are finished and delivered first, and the rest is dropped.
tl_status tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work, tl_error* error);

/// How many workers there may be at once.
size_t tl_pool_size(const tl_pool* pool);

/// The process of a worker that runs now, or -1: for tests that end or stop one.
pid_t tl_pool_worker_pid(const tl_pool* pool, size_t index);

#endif

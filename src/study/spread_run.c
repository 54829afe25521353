// SPDX-License-Identifier: GPL-3.0-or-later
// Trials through the pool: a chunk of them a request, each fitted after the nominal rig, and those
// that do not hold solved by themselves.
#include "study/spread_trials.h"

#include "base/text.h"
#include "response/tracker.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { CHUNK = 32, MOST_WHY = 160 };
/// The first density of a trial that the pattern does not hold for.
static const unsigned careful_per_decade = 5;

/// Trackers for all outputs, and room for the responses: what one thread works with.
typedef struct desk desk;
struct desk {
    tl_tracker** trackers;
    tl_response** careful; ///< fits of this trial's own
    const tl_response** responses;
    desk* next;
};

/// Trials that share a request.
typedef struct {
    size_t first; ///< trial
    size_t count;
    double* values;
    bool* done;
    char** why;       ///< by trial: that it has no answer; else NULL
    uint16_t* bins;   ///< [((trial * amps + amp) * CURVES + curve) * POINTS + point]
    bool answered;    ///< all at once: those that are left did not hold
    bool single;      ///< one trial after the other now
    size_t at;        ///< of those: which
    unsigned refused; ///< how often
} chunk;

typedef struct {
    const tl_spread_work* work;
    tl_spread_trials* trials;
    size_t start; ///< the first trial of this run, counted from trials->first
    chunk* chunks;
    size_t chunk_count;
    size_t outputs;
    pthread_mutex_t lock; ///< of desks
    desk* desks;          ///< that nobody sits at
} run;

// ---- desks

static desk* new_desk(const run* r) {
    const tl_spread_pattern* pattern = r->work->pattern;
    desk* made = tl_new(1, sizeof *made);
    made->trackers = tl_new(r->outputs, sizeof(tl_tracker*));
    made->careful = tl_new(r->outputs, sizeof(tl_response*));
    made->responses = tl_new(r->outputs, sizeof(tl_response*));
    for (size_t i = 0; i < r->outputs; ++i)
        if (pattern->responses[i])
            made->trackers[i] = tl_tracker_new(pattern->responses[i], pattern->points, pattern->hz);
    return made;
}

static void free_desk(desk* one, size_t outputs) {
    for (size_t i = 0; i < outputs; ++i) {
        tl_tracker_free(one->trackers[i]);
        tl_response_free(one->careful[i]);
    }
    free(one->trackers);
    free(one->careful);
    free(one->responses);
    free(one);
}

/// A desk for this thread alone.
static desk* take_desk(run* r) {
    pthread_mutex_lock(&r->lock);
    desk* one = r->desks;
    if (one)
        r->desks = one->next;
    pthread_mutex_unlock(&r->lock);
    return one ? one : new_desk(r);
}

static void leave_desk(run* r, desk* one) {
    pthread_mutex_lock(&r->lock);
    one->next = r->desks;
    r->desks = one;
    pthread_mutex_unlock(&r->lock);
}

// ---- asking

/// What is left for chunk `job`: it may begin in the middle when a run goes on from where another
/// was stopped.
static void open_chunk(run* r, size_t job) {
    chunk* c = &r->chunks[job];
    const tl_spread_trials* trials = r->trials;
    c->first = trials->first + r->start + job * CHUNK;
    size_t left = trials->first + trials->count - c->first;
    c->count = left < CHUNK ? left : CHUNK;
    c->done = tl_new(c->count, sizeof *c->done);
    c->why = tl_new(c->count, sizeof *c->why);
    c->bins =
        tl_new(c->count * trials->amps * TL_SPREAD_CURVES * TL_SPREAD_POINTS, sizeof *c->bins);
    c->values = tl_new(c->count * r->work->plan->deck->varied_count, sizeof *c->values);
}

static void close_chunk(chunk* c) {
    for (size_t i = 0; c->why && i < c->count; ++i)
        free(c->why[i]);
    free(c->why);
    free(c->done);
    free(c->bins);
    free(c->values);
    *c = (chunk){0};
}

/// Draws a trial's values. One whose circuit has another shape has no place in the deck.
static void draw_trial(const run* r, chunk* c, size_t index) {
    tl_spread_plan* plan = r->work->plan;
    const tl_deck* deck = plan->deck;
    double* values = c->values + index * deck->varied_count;
    tl_circuit* circuit = tl_spread_plan_draw(plan, r->work->seed, c->first + index);
    bool same = tl_spread_plan_fits(plan, circuit);
    for (size_t i = 0; i < deck->varied_count; ++i)
        values[i] = (same ? circuit : plan->nominal)->elements[deck->varied[i].number - 1].value;
    if (!same) {
        c->why[index] = tl_copy("its values make another circuit of it: a part becomes a wire");
        c->done[index] = true;
    }
    tl_circuit_free(circuit);
}

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)error;
    run* r = context;
    chunk* c = &r->chunks[job];
    open_chunk(r, job);
    for (size_t i = 0; i < c->count; ++i)
        draw_trial(r, c, i);
    *request = tl_answer_request(r->work->plan->deck, c->values);
    request->per_decade = r->work->pattern->per_decade;
    request->sets = c->count;
    return TL_OK;
}

// ---- taking

/// One trial's samples: those of output o begin at h[o * points].
typedef struct {
    size_t points;
    const double* hz;
    const double _Complex* h;
    bool after_pattern; ///< solved at the pattern's frequencies
} samples;

/// Fits all outputs of a trial, after the pattern where that holds, else with care; false when the
/// samples do not determine one.
static bool fit_trial(const run* r, desk* at, const samples* s) {
    for (size_t i = 0; i < r->outputs; ++i) {
        double residual = 0;
        const double _Complex* h = s->h + i * s->points;
        at->responses[i] = s->after_pattern && at->trackers[i]
                               ? tl_tracker_fit(at->trackers[i], h, &residual)
                               : NULL;
        if (!at->responses[i]) {
            tl_response_free(at->careful[i]);
            at->careful[i] = tl_response_fit(s->points, s->hz, h, &residual);
            at->responses[i] = at->careful[i];
        }
        if (!at->responses[i])
            return false;
    }
    return true;
}

static uint16_t bin_of(double db) {
    double bin = floor((db - TL_SPREAD_LOWEST_DB) / TL_SPREAD_BIN_DB);
    return !(bin > 0) ? 0 : bin >= TL_SPREAD_BINS ? TL_SPREAD_BINS - 1 : (uint16_t)bin;
}

/// Reads figures and curves off a fitted trial.
static void measure_trial(const run* r, chunk* c, size_t index, const desk* at) {
    const tl_spread_trials* trials = r->trials;
    double reference_hz = r->work->reference_hz;
    for (size_t amp = 0; amp < trials->amps; ++amp) {
        const tl_response* rig = at->responses[2 * amp];
        const tl_response* direct = at->responses[2 * amp + 1];
        double* figures = tl_spread_figures_of(trials, c->first + index, amp);
        double db[TL_SPREAD_CURVES][TL_SPREAD_POINTS];
        double unstable_hz = tl_spread_measure(rig, direct, reference_hz, figures);
        if (!isnan(unstable_hz) && !c->why[index])
            c->why[index] =
                tl_printf("it is unstable: a pole at %.4g Hz makes it oscillate", unstable_hz);
        tl_spread_curves(rig, direct, reference_hz, figures[TL_SPREAD_LEVEL_DB], db);
        uint16_t* bins =
            c->bins + (index * trials->amps + amp) * TL_SPREAD_CURVES * TL_SPREAD_POINTS;
        for (size_t i = 0; i < (size_t)TL_SPREAD_CURVES * TL_SPREAD_POINTS; ++i)
            bins[i] = bin_of(db[i / TL_SPREAD_POINTS][i % TL_SPREAD_POINTS]);
    }
    c->done[index] = true;
}

/// Where a trial that the pattern does not hold for goes on.
static unsigned denser(unsigned per_decade) {
    return 2 * per_decade > careful_per_decade ? 2 * per_decade : careful_per_decade;
}

/// Goes on with the next trial that is to be solved by itself; false when there is none.
static bool next_single(const run* r, chunk* c, tl_request* request) {
    unsigned per_decade = r->work->pattern->per_decade;
    size_t index = 0;
    while (index < c->count && c->done[index])
        ++index;
    if (index == c->count)
        return false;
    c->single = true;
    c->at = index;
    c->refused = 0;
    request->values = c->values + index * r->work->plan->deck->varied_count;
    request->sets = 1;
    request->per_decade = c->answered ? denser(per_decade) : per_decade;
    return true;
}

static void give_up(chunk* c, size_t index, const char* why) {
    c->why[index] = tl_printf(
        "%.*s", (int)strcspn(why, "\n") < MOST_WHY ? (int)strcspn(why, "\n") : MOST_WHY, why);
    c->done[index] = true;
}

/// Takes the answer of a trial that is solved by itself; true when it is to be solved denser.
static bool take_single(const run* r, chunk* c, desk* at, const tl_reply* reply,
                        tl_request* request) {
    samples s = {reply->points, reply->hz, reply->h,
                 request->per_decade == r->work->pattern->per_decade};
    if (fit_trial(r, at, &s)) {
        measure_trial(r, c, c->at, at);
        return false;
    }
    if (s.after_pattern) {
        request->per_decade = denser(request->per_decade);
        return true;
    }
    if (tl_answer_denser(request))
        return true;
    give_up(c, c->at, "no number of solved frequencies determines its response");
    return false;
}

static void take_all(const run* r, chunk* c, desk* at, const tl_reply* reply) {
    c->answered = true;
    for (size_t i = 0; i < c->count; ++i) {
        samples s = {reply->points, reply->hz, reply->h + i * r->outputs * reply->points, true};
        if (!c->done[i] && fit_trial(r, at, &s))
            measure_trial(r, c, i, at);
    }
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    (void)error;
    run* r = context;
    chunk* c = &r->chunks[job];
    desk* at = take_desk(r);
    bool unsettled = false;
    if (c->single)
        unsettled = take_single(r, c, at, reply, request);
    else
        take_all(r, c, at, reply);
    leave_desk(r, at);
    *again = unsettled || next_single(r, c, request);
    return TL_OK;
}

/// A chunk that has no answer is gone through trial by trial, so that the one that is to blame is
/// found; one that two workers gave no answer to is given up.
static tl_status refuse(void* context, size_t job, const char* words, tl_request* request,
                        bool* again, tl_error* error) {
    (void)error;
    run* r = context;
    chunk* c = &r->chunks[job];
    if (c->single && r->chunk_count == 1 && c->refused++ == 0) { // of one job the pool tries once
        *again = true;
        return TL_OK;
    }
    if (c->single)
        give_up(c, c->at, words);
    *again = next_single(r, c, request);
    return TL_OK;
}

// ---- delivering

static void add_bins(const run* r, const chunk* c, size_t index) {
    size_t rows = r->trials->amps * TL_SPREAD_CURVES * TL_SPREAD_POINTS;
    const uint16_t* bins = c->bins + index * rows;
    for (size_t i = 0; i < rows; ++i)
        ++r->trials->bins[i * TL_SPREAD_BINS + bins[i]];
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    run* r = context;
    chunk* c = &r->chunks[job];
    for (size_t i = 0; i < c->count; ++i)
        if (c->why[i])
            tl_spread_fail(r->trials, c->first + i, c->why[i]);
        else
            add_bins(r, c, i);
    r->trials->done += c->count;
    close_chunk(c);
    const tl_session_options* options = &r->work->session->options;
    if (options->progress)
        options->progress(options->context, r->trials->done, r->trials->count);
    return r->work->landed ? r->work->landed(r->work->context, r->trials, error) : TL_OK;
}

static bool stop(void* context) {
    const run* r = context;
    const tl_session_options* options = &r->work->session->options;
    return options->stopped && options->stopped(options->context);
}

tl_status tl_spread_run(const tl_spread_work* work, tl_spread_trials* trials, tl_error* error) {
    run r = {.work = work,
             .trials = trials,
             .start = trials->done,
             .chunk_count = (trials->count - trials->done + CHUNK - 1) / CHUNK,
             .outputs = 2 * trials->amps};
    r.chunks = tl_new(r.chunk_count, sizeof *r.chunks);
    pthread_mutex_init(&r.lock, NULL);
    tl_pool_work jobs = {.context = &r,
                         .ask = ask,
                         .take = take,
                         .deliver = deliver,
                         .refuse = refuse,
                         .stop = stop};
    tl_status status = tl_pool_run(work->session->pool, r.chunk_count, &jobs, error);
    for (size_t i = 0; i < r.chunk_count; ++i)
        close_chunk(&r.chunks[i]);
    free(r.chunks);
    while (r.desks) {
        desk* next = r.desks->next;
        free_desk(r.desks, r.outputs);
        r.desks = next;
    }
    pthread_mutex_destroy(&r.lock);
    return status;
}

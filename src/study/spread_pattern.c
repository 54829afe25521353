// SPDX-License-Identifier: GPL-3.0-or-later
// As few frequencies as trials of a rig can be solved at.
#include "study/spread_trials.h"

#include "base/text.h"
#include "response/tracker.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Frequencies a decade that are tried, in turn.
static const unsigned densities[] = {2, 3, 4, 5, 10, 20, 40};
enum { DENSITIES = sizeof densities / sizeof *densities };
/// A pattern's own held-out error: well below what trials may have (1e-7).
static const double clear_error = 2e-8;
/// How far the pattern may be from the careful answer, dB.
static const double same_db = 1e-5;

/// One solve of the plan's deck, and its samples.
typedef struct {
    const tl_deck* deck;
    const double* values;
    unsigned per_decade;
    size_t points;
    double* hz;
    double _Complex* h;
} solving;

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)job;
    (void)error;
    const solving* s = context;
    *request = tl_answer_request(s->deck, s->values);
    request->per_decade = s->per_decade;
    return TL_OK;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) { // NOLINT: as the pool calls it
    (void)job;
    (void)request;
    (void)again;
    (void)error;
    solving* s = context;
    size_t count = reply->points * reply->outputs;
    s->points = reply->points;
    s->hz = tl_grow(s->hz, reply->points, sizeof *s->hz);
    s->h = tl_grow(s->h, count, sizeof *s->h);
    memcpy(s->hz, reply->hz, reply->points * sizeof *s->hz);
    memcpy(s->h, reply->h, count * sizeof *s->h);
    return TL_OK;
}

/// Solves a circuit of the plan's shape.
static tl_status solve(tl_session* session, const tl_spread_plan* plan, const tl_circuit* circuit,
                       solving* s, tl_error* error) {
    double* values = tl_new(plan->deck->varied_count, sizeof *values);
    for (size_t i = 0; i < plan->deck->varied_count; ++i)
        values[i] = circuit->elements[plan->deck->varied[i].number - 1].value;
    s->deck = plan->deck;
    s->values = values;
    tl_pool_work work = {.context = s, .ask = ask, .take = take};
    tl_status status = tl_pool_run(session->pool, 1, &work, error);
    s->values = NULL;
    free(values);
    return status;
}

/// Whether a fit is the careful one, to the eye of any figure.
static bool agrees(const tl_response* fit, const tl_response* careful) {
    for (size_t i = 0; i < TL_SPREAD_POINTS; ++i) {
        double hz = tl_spread_point_hz(i);
        if (!(fabs(tl_response_db(fit, hz) - tl_response_db(careful, hz)) <= same_db))
            return false;
    }
    return true;
}

/// Fits the nominal samples; false when one output does not hold.
static bool fit_pattern(const solving* s, const tl_answer* careful, tl_spread_pattern* pattern) {
    pattern->per_decade = s->per_decade;
    pattern->points = s->points;
    pattern->outputs = careful->count;
    pattern->hz = tl_new(s->points, sizeof *pattern->hz);
    memcpy(pattern->hz, s->hz, s->points * sizeof *pattern->hz);
    pattern->responses = tl_new(careful->count, sizeof *pattern->responses);
    for (size_t i = 0; i < careful->count; ++i) {
        double residual = 0;
        pattern->responses[i] = tl_response_fit(s->points, s->hz, s->h + i * s->points, &residual);
        if (!pattern->responses[i] || residual > clear_error ||
            !agrees(pattern->responses[i], careful->solved[i].response))
            return false;
    }
    return true;
}

/// Whether the samples of another circuit of the shape can be fitted after the pattern.
static bool serves(const tl_spread_pattern* pattern, const solving* s) {
    bool good = true;
    for (size_t i = 0; good && i < pattern->outputs; ++i) {
        double residual = 0;
        tl_tracker* tracker = tl_tracker_new(pattern->responses[i], pattern->points, pattern->hz);
        good = tracker && tl_tracker_fit(tracker, s->h + i * s->points, &residual);
        tl_tracker_free(tracker);
    }
    return good;
}

/// Tries one density; `*good` says whether it holds.
static tl_status try_density(tl_session* session, tl_spread_plan* plan, const tl_answer* careful,
                             solving* s, tl_spread_pattern* pattern, bool* good, tl_error* error) {
    tl_status status = solve(session, plan, plan->nominal, s, error);
    *good = status == TL_OK && fit_pattern(s, careful, pattern);
    for (int way = -1; status == TL_OK && *good && way <= 1; way += 2) {
        tl_circuit* circuit = tl_spread_plan_build_all(plan, way);
        status = solve(session, plan, circuit, s, error);
        *good = status == TL_OK && serves(pattern, s);
        tl_circuit_free(circuit);
    }
    return status;
}

tl_status tl_spread_pattern_find(tl_session* session, tl_spread_plan* plan,
                                 const tl_answer* careful, tl_spread_pattern* pattern,
                                 tl_error* error) {
    solving s = {0};
    bool good = false;
    tl_status status = TL_OK;
    *pattern = (tl_spread_pattern){0};
    for (size_t i = 0; status == TL_OK && !good && i < DENSITIES; ++i) {
        tl_spread_pattern_free(pattern);
        s.per_decade = densities[i];
        status = try_density(session, plan, careful, &s, pattern, &good, error);
    }
    free(s.hz);
    free(s.h);
    return status; // the densest serves as it is: trials that do not hold are solved by themselves
}

void tl_spread_pattern_free(tl_spread_pattern* pattern) {
    for (size_t i = 0; pattern->responses && i < pattern->outputs; ++i)
        tl_response_free(pattern->responses[i]);
    free(pattern->responses);
    free(pattern->hz);
    *pattern = (tl_spread_pattern){0};
}

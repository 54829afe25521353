// SPDX-License-Identifier: GPL-3.0-or-later
// Circuits through the pool one by one, each with a deck of its own.
#include "study/session.h"

#include "base/text.h"

#include <stdlib.h>

/// A circuit on its way.
typedef struct {
    tl_deck* deck;
    tl_answer* answer;
} flight;

typedef struct {
    const tl_stream* stream;
    tl_session* session;
    flight* flights; ///< by job
} run;

static void land(flight* one) {
    tl_deck_free(one->deck);
    tl_answer_free(one->answer);
    *one = (flight){0};
}

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)error;
    run* r = context;
    flight* one = &r->flights[job];
    tl_circuit* circuit = r->stream->build(r->stream->context, job);
    one->deck = tl_circuit_deck(circuit, NULL);
    one->answer = tl_answer_new(circuit);
    tl_circuit_free(circuit);
    *request = tl_answer_request(one->deck, NULL);
    return TL_OK;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    run* r = context;
    return tl_answer_take(r->flights[job].answer, reply, r->stream->reference_hz, request, again,
                          error);
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    (void)error;
    run* r = context;
    flight* one = &r->flights[job];
    tl_answer* answer = one->answer;
    one->answer = NULL;
    land(one);
    r->stream->deliver(r->stream->context, job, answer);
    if (r->session->options.progress)
        r->session->options.progress(r->session->options.context, job + 1, r->stream->count);
    return TL_OK;
}

static void blame(void* context, size_t job, tl_error* error) {
    run* r = context;
    if (r->stream->blame)
        r->stream->blame(r->stream->context, job, error);
}

tl_status tl_stream_solve(tl_session* session, const tl_stream* stream, tl_error* error) {
    run r = {stream, session, tl_new(stream->count, sizeof *r.flights)};
    tl_pool_work work = {
        .context = &r, .ask = ask, .take = take, .deliver = deliver, .blame = blame};
    tl_status status = tl_pool_run(session->pool, stream->count, &work, error);
    for (size_t i = 0; i < stream->count; ++i)
        land(&r.flights[i]);
    free(r.flights);
    return status;
}

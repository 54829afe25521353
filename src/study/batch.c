// SPDX-License-Identifier: GPL-3.0-or-later
// Many circuits through the pool: circuits of one shape share a deck, and only values travel.
#include "study/session.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

/// Circuits of one shape.
typedef struct {
    const tl_circuit* first;
    bool* varied; ///< by element: differs between two circuits of the group
    tl_deck* deck;
} group;

/// Circuits of one group that share a request.
typedef struct {
    size_t first; ///< in the order
    size_t count;
    double* values; ///< what the request sets, circuit after circuit
    bool* done;
    unsigned first_density;
    bool answered; ///< all at once: those that are left need more frequencies
    bool single;   ///< one circuit after the other now
    bool refused;  ///< the one at hand, once
    size_t at;     ///< the circuit at hand
} chunk;

typedef struct {
    const tl_batch* batch;
    tl_session* session;
    group* groups;
    size_t group_count;
    size_t* group_of; ///< by circuit
    size_t* order;    ///< circuits, shape after shape, so that decks are loaded once
    chunk* chunks;    ///< by job
    size_t chunk_count;
    size_t delivered; ///< circuits
    bool lenient;     ///< no answer of a circuit is no failure
    tl_answer** answers;
} run;

static size_t find_group(run* r, const tl_circuit* circuit) {
    for (size_t i = r->group_count; i > 0; --i)
        if (tl_circuit_same_shape(r->groups[i - 1].first, circuit))
            return i - 1;
    r->groups = tl_grow(r->groups, r->group_count + 1, sizeof *r->groups);
    bool* varied = tl_new(circuit->element_count, sizeof *varied);
    r->groups[r->group_count] = (group){circuit, varied, NULL};
    return r->group_count++;
}

/// The deck of a group, whose circuits are those of some jobs: what is equal in all of them is set
/// by one command.
static void make_deck(run* r, group* g, size_t first_job, size_t count) {
    tl_circuit** circuits = tl_new(count, sizeof(tl_circuit*));
    for (size_t i = 0; i < count; ++i)
        circuits[i] = r->batch->circuits[r->order[first_job + i]];
    size_t* same = tl_circuit_alike(circuits, count, g->varied);
    g->deck = tl_circuit_deck_shared(g->first, g->varied, same);
    free(same);
    free(circuits);
}

/// Puts every circuit into its group, notes which values differ, and makes a deck a group.
static void make_groups(run* r) {
    size_t count = r->batch->count;
    r->group_of = tl_new(count, sizeof *r->group_of);
    for (size_t i = 0; i < count; ++i) {
        const tl_circuit* circuit = r->batch->circuits[i];
        r->group_of[i] = find_group(r, circuit);
        group* g = &r->groups[r->group_of[i]];
        for (size_t j = 0; j < circuit->element_count; ++j)
            if (circuit->elements[j].value != g->first->elements[j].value)
                g->varied[j] = true;
    }
    r->order = tl_new(count, sizeof *r->order);
    size_t job = 0;
    for (size_t g = 0; g < r->group_count; ++g) {
        size_t first = job;
        for (size_t i = 0; i < count; ++i)
            if (r->group_of[i] == g)
                r->order[job++] = i;
        make_deck(r, &r->groups[g], first, job - first);
    }
}

/// Cuts the order into chunks of one deck each, small enough that every worker gets several.
static void make_chunks(run* r) {
    enum { MOST = 8, A_WORKER = 4 };
    size_t count = r->batch->count;
    size_t most = count / (A_WORKER * tl_pool_size(r->session->pool)) + 1;
    most = most < MOST ? most : MOST;
    r->chunks = tl_new(count, sizeof *r->chunks);
    for (size_t at = 0; at < count;) {
        chunk* c = &r->chunks[r->chunk_count++];
        c->first = at;
        size_t of = r->group_of[r->order[at]];
        while (at < count && c->count < most && r->group_of[r->order[at]] == of) {
            ++at;
            ++c->count;
        }
    }
}

static const group* group_of_chunk(const run* r, const chunk* c) {
    return &r->groups[r->group_of[r->order[c->first]]];
}

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)error;
    run* r = context;
    chunk* c = &r->chunks[job];
    const tl_deck* deck = group_of_chunk(r, c)->deck;
    size_t width = deck->varied_count;
    c->values = tl_new(c->count * width, sizeof *c->values);
    c->done = tl_new(c->count, sizeof *c->done);
    for (size_t i = 0; i < c->count; ++i) {
        const tl_circuit* circuit = r->batch->circuits[r->order[c->first + i]];
        for (size_t j = 0; j < width; ++j)
            c->values[i * width + j] = circuit->elements[deck->varied[j].number - 1].value;
    }
    *request = tl_answer_request(deck, c->values);
    request->sets = c->count;
    c->first_density = request->per_decade;
    return TL_OK;
}

/// One circuit's part of a reply into its answer; `*settled` when that holds.
static tl_status take_one(run* r, chunk* c, size_t at, const tl_reply* reply, size_t set,
                          tl_request* request, bool* settled, tl_error* error) {
    size_t index = r->order[c->first + at];
    tl_reply one = *reply;
    bool denser = false;
    one.sets = 1;
    one.h = reply->h + set * reply->outputs * reply->points;
    if (!r->answers[index])
        r->answers[index] = tl_answer_new(r->batch->circuits[index]);
    c->at = at;
    tl_error* ignored = r->lenient ? tl_error_new() : NULL;
    tl_status status = tl_answer_take(r->answers[index], &one, r->batch->reference_hz, request,
                                      &denser, ignored ? ignored : error);
    if (status != TL_OK && ignored) {
        tl_answer_free(r->answers[index]);
        r->answers[index] = NULL;
        status = TL_OK;
    }
    tl_error_free(ignored);
    *settled = status == TL_OK && !denser;
    c->done[at] = *settled;
    return status;
}

/// Goes on with the next circuit that is to be solved by itself; false when there is none.
static bool next_single(const run* r, chunk* c, tl_request* request) {
    size_t at = 0;
    while (at < c->count && c->done[at])
        ++at;
    if (at == c->count)
        return false;
    c->single = true;
    c->at = at;
    c->refused = false;
    request->values = c->values + at * group_of_chunk(r, c)->deck->varied_count;
    request->sets = 1;
    request->per_decade = c->first_density;
    if (c->answered) // once is not enough for it
        tl_answer_denser(request);
    return true;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    run* r = context;
    chunk* c = &r->chunks[job];
    tl_status status = TL_OK;
    bool settled = true;
    if (c->single) {
        status = take_one(r, c, c->at, reply, 0, request, &settled, error);
        *again = status == TL_OK && !settled;
    } else {
        c->answered = true;
        for (size_t i = 0; status == TL_OK && i < c->count; ++i) {
            tl_request unused = *request;
            status = take_one(r, c, i, reply, i, &unused, &settled, error);
        }
    }
    if (status == TL_OK && !*again)
        *again = next_single(r, c, request);
    return status;
}

/// A chunk that has no answer is gone through circuit by circuit, so that the one that is to blame
/// is found.
static tl_status refuse(void* context, size_t job, const char* words, tl_request* request,
                        bool* again, tl_error* error) {
    run* r = context;
    chunk* c = &r->chunks[job];
    bool once_more =
        c->single ? !c->refused && r->chunk_count == 1 && r->batch->count > 1 : c->count > 1;
    if (!once_more)
        return tl_error_set(error, TL_FAILURE, "%s", words);
    *again = true;
    if (!c->single)
        return next_single(r, c, request) ? TL_OK : TL_FAILURE;
    c->refused = true;
    return TL_OK;
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    (void)error;
    run* r = context;
    chunk* c = &r->chunks[job];
    r->delivered += c->count;
    free(c->values);
    free(c->done);
    c->values = NULL;
    c->done = NULL;
    if (r->session->options.progress)
        r->session->options.progress(r->session->options.context, r->delivered, r->batch->count);
    return TL_OK;
}

static void blame(void* context, size_t job, tl_error* error) {
    run* r = context;
    const chunk* c = &r->chunks[job];
    if (r->batch->blame)
        r->batch->blame(r->batch->context, r->order[c->first + c->at], error);
}

static void run_free(run* r) {
    for (size_t i = 0; i < r->group_count; ++i) {
        tl_deck_free(r->groups[i].deck);
        free(r->groups[i].varied);
    }
    for (size_t i = 0; i < r->chunk_count; ++i) {
        free(r->chunks[i].values);
        free(r->chunks[i].done);
    }
    free(r->chunks);
    free(r->groups);
    free(r->group_of);
    free(r->order);
}

static tl_status solve(tl_session* session, const tl_batch* batch, bool lenient,
                       tl_answer** answers, tl_error* error) {
    run r = {.batch = batch, .session = session, .lenient = lenient, .answers = answers};
    memset(answers, 0, batch->count * sizeof *answers);
    make_groups(&r);
    make_chunks(&r);
    tl_pool_work work = {.context = &r,
                         .ask = ask,
                         .take = take,
                         .deliver = deliver,
                         .blame = blame,
                         .refuse = refuse};
    tl_status status = tl_pool_run(session->pool, r.chunk_count, &work, error);
    run_free(&r);
    if (status != TL_OK)
        for (size_t i = 0; i < batch->count; ++i) {
            tl_answer_free(answers[i]);
            answers[i] = NULL;
        }
    return status;
}

tl_status tl_batch_solve(tl_session* session, const tl_batch* batch, tl_answer** answers,
                         tl_error* error) {
    return solve(session, batch, false, answers, error);
}

tl_status tl_batch_solve_leniently(tl_session* session, const tl_batch* batch, tl_answer** answers,
                                   tl_error* error) {
    return solve(session, batch, true, answers, error);
}

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

typedef struct {
    const tl_batch* batch;
    tl_session* session;
    group* groups;
    size_t group_count;
    size_t* group_of; ///< by circuit
    size_t* order;    ///< job to circuit: shape after shape, so that decks are loaded once
    double** values;  ///< by job: what its request sets
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

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)error;
    run* r = context;
    size_t index = r->order[job];
    const group* g = &r->groups[r->group_of[index]];
    const tl_circuit* circuit = r->batch->circuits[index];
    double* values = tl_new(g->deck->varied_count, sizeof *values);
    for (size_t i = 0; i < g->deck->varied_count; ++i)
        values[i] = circuit->elements[g->deck->varied[i].number - 1].value;
    r->values[job] = values;
    *request = tl_answer_request(g->deck, values);
    return TL_OK;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    run* r = context;
    size_t index = r->order[job];
    if (!r->answers[index])
        r->answers[index] = tl_answer_new(r->batch->circuits[index]);
    return tl_answer_take(r->answers[index], reply, r->batch->reference_hz, request, again, error);
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    (void)error;
    run* r = context;
    free(r->values[job]);
    r->values[job] = NULL;
    if (r->session->options.progress)
        r->session->options.progress(r->session->options.context, job + 1, r->batch->count);
    return TL_OK;
}

static void blame(void* context, size_t job, tl_error* error) {
    run* r = context;
    if (r->batch->blame)
        r->batch->blame(r->batch->context, r->order[job], error);
}

static void run_free(run* r) {
    for (size_t i = 0; i < r->group_count; ++i) {
        tl_deck_free(r->groups[i].deck);
        free(r->groups[i].varied);
    }
    for (size_t i = 0; i < r->batch->count; ++i)
        free(r->values[i]);
    free(r->values);
    free(r->groups);
    free(r->group_of);
    free(r->order);
}

tl_status tl_batch_solve(tl_session* session, const tl_batch* batch, tl_answer** answers,
                         tl_error* error) {
    run r = {.batch = batch, .session = session, .answers = answers};
    memset(answers, 0, batch->count * sizeof *answers);
    r.values = tl_new(batch->count, sizeof *r.values);
    make_groups(&r);
    tl_pool_work work = {
        .context = &r, .ask = ask, .take = take, .deliver = deliver, .blame = blame};
    tl_status status = tl_pool_run(session->pool, batch->count, &work, error);
    run_free(&r);
    if (status != TL_OK)
        for (size_t i = 0; i < batch->count; ++i) {
            tl_answer_free(answers[i]);
            answers[i] = NULL;
        }
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Specimens through the pool: every measurement of every specimen is a job of its own.
#include "study/bench_card.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// What is measured of every design.
static const bench_kind* const first_kinds[] = {
    &bench_load,   &bench_noise,  &bench_rest,   &bench_input,
    &bench_output, &bench_ripple, &bench_pickup, &bench_pickup_reference};
/// What takes longest, the longest first, so that no worker is left with one of them at the end:
/// not of a design that oscillates, which would take much longer and mean nothing.
static const bench_kind* const steady_kinds[] = {&bench_headroom, &bench_distortion,
                                                 &bench_power_up, &bench_slew};
/// A design whose analyses ran out of time so often is not asked for more of them.
enum { MOST_LATE = 3 };
static const char given_up[] = "given up after three analyses of this design ran out of time";
#define COUNT(list) (sizeof(list) / sizeof *(list))

typedef struct {
    const bench_kind* kind;
    bench_specimen* specimen; ///< NULL: without a design
    size_t index;
    bench_job* job; ///< from ask to deliver
} task;

typedef struct {
    tl_session* session;
    bench_card* card;
    task* tasks;
    size_t count;
    size_t done;  ///< in earlier rounds
    size_t total; ///< of all rounds, for those who wait
} run;

static void add_tasks(run* r, const bench_kind* kind, bench_specimen* specimen) {
    size_t count = kind->count ? kind->count(r->card, specimen ? specimen->design : NULL) : 1;
    r->tasks = tl_grow(r->tasks, r->count + count, sizeof *r->tasks);
    for (size_t i = 0; i < count; ++i)
        r->tasks[r->count++] = (task){kind, specimen, i, NULL};
}

static void add_first(run* r, bench_specimen* const* specimens, size_t count) {
    for (size_t k = 0; k < COUNT(first_kinds); ++k) {
        if (first_kinds[k]->without_design && !r->card->has_references)
            add_tasks(r, first_kinds[k], NULL);
        for (size_t i = 0; !first_kinds[k]->without_design && i < count; ++i)
            add_tasks(r, first_kinds[k], specimens[i]);
    }
    r->card->has_references = true;
}

static void add_steady(run* r, bench_specimen* const* specimens, size_t count) {
    for (size_t k = 0; k < COUNT(steady_kinds); ++k)
        for (size_t i = 0; i < count; ++i)
            if (!specimens[i]->oscillates[TL_BENCH_LIGHT])
                add_tasks(r, steady_kinds[k], specimens[i]);
}

static tl_status ask(void* context, size_t index, tl_request* request, tl_error* error) {
    (void)error;
    run* r = context;
    task* t = &r->tasks[index];
    t->job = tl_new(1, sizeof *t->job);
    *t->job =
        (bench_job){.kind = t->kind, .index = t->index, .card = r->card, .specimen = t->specimen};
    t->job->given_up = t->specimen && t->specimen->late >= MOST_LATE;
    if (t->job->given_up) {
        tl_setup setup = bench_setup(t->job, TL_DRIVE_INPUT);
        setup.design = NULL; // quick to answer, and not looked at
        bench_ask_point(t->job, &setup);
    } else {
        t->kind->ask(t->job);
    }
    *request = t->job->request;
    return TL_OK;
}

static tl_status take(void* context, size_t index, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    (void)error;
    bench_job* job = ((run*)context)->tasks[index].job;
    *again = !job->given_up && job->kind->take(job, reply);
    if (job->given_up)
        bench_refuse(job, given_up);
    *request = job->request;
    return TL_OK;
}

/// A figure that cannot be measured says why, and the others go on.
static tl_status refuse(void* context, size_t index, const char* words, tl_request* request,
                        bool* again, tl_error* error) {
    (void)error;
    bench_job* job = ((run*)context)->tasks[index].job;
    bool late = strstr(words, TL_POOL_LATE) != NULL;
    if (late && job->specimen)
        ++job->specimen->late;
    *again = job->kind->retry && !job->loose && !late && !job->given_up;
    job->loose = true;
    if (*again) {
        job->kind->retry(job);
    } else { // of one that ran out of time, what ngspice said last is not the reason
        char* reason = tl_printf("%.*s", (int)(late ? strcspn(words, "\n") : strlen(words)), words);
        bench_refuse(job, job->given_up ? given_up : reason);
        free(reason);
    }
    *request = job->request;
    return TL_OK;
}

static void job_free(bench_job* job) {
    if (!job)
        return;
    for (size_t i = 0; i < job->deck_count; ++i)
        tl_bench_deck_free(job->decks[i]);
    free(job->decks);
    free(job);
}

static tl_status deliver(void* context, size_t index, tl_error* error) {
    (void)error;
    run* r = context;
    job_free(r->tasks[index].job);
    r->tasks[index].job = NULL;
    const tl_session_options* options = &r->session->options;
    if (options->progress)
        options->progress(options->context, r->done + index + 1, r->total);
    return TL_OK;
}

/// Jobs of a specimen share its figures, and what is refused of one says so in all that are still
/// empty: each is taken alone. (Next to the solver's work that is nothing.)
static tl_status run_tasks(run* r, tl_error* error) {
    tl_pool_work work = {.context = r,
                         .ask = ask,
                         .take = take,
                         .deliver = deliver,
                         .refuse = refuse,
                         .alone = true};
    tl_status status = tl_pool_run(r->session->pool, r->count, &work, error);
    for (size_t i = 0; i < r->count; ++i)
        job_free(r->tasks[i].job);
    return status;
}

tl_status bench_measure(tl_session* session, bench_card* card, bench_specimen* const* specimens,
                        size_t count, tl_error* error) {
    run r = {.session = session, .card = card};
    add_steady(&r, specimens, count);
    size_t steady = r.count;
    r.count = 0;
    add_first(&r, specimens, count);
    r.total = r.count + steady;
    tl_status status = run_tasks(&r, error);
    if (status == TL_OK) {
        r.done = r.count;
        r.count = 0;
        add_steady(&r, specimens, count);
        status = run_tasks(&r, error);
    }
    free(r.tasks);
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        bench_finish_loads(card, specimens[i]);
        bench_finish_pickups(card, specimens[i]);
    }
    return status;
}

bench_specimen* bench_specimen_new(const bench_card* card, const tl_design* design,
                                   double supply_share, bool shown) {
    bench_specimen* made = tl_new(1, sizeof *made);
    made->design = design;
    made->supply_share = supply_share;
    made->figures = tl_new(card->line_count, sizeof *made->figures);
    for (size_t i = 0; i < card->line_count; ++i)
        made->figures[i].value = NAN;
    made->spare.value = NAN;
    if (shown) {
        made->curves = tl_new(TL_BENCH_CURVES, sizeof *made->curves);
        made->noises = tl_new(TL_BENCH_SOURCES, sizeof *made->noises);
    }
    return made;
}

void bench_figures_free(tl_bench_figure* figures, size_t count) {
    for (size_t i = 0; figures && i < count; ++i) {
        free(figures[i].words);
        free(figures[i].trouble);
    }
    free(figures);
}

void bench_curves_clear(tl_bench_curve curves[TL_BENCH_CURVES]) {
    for (size_t i = 0; i < TL_BENCH_CURVES; ++i) {
        free(curves[i].x);
        free(curves[i].y);
    }
}

void bench_noises_free(tl_bench_noise* noises, size_t count) {
    for (size_t i = 0; noises && i < count; ++i) {
        free(noises[i].source);
        for (size_t part = 0; part < noises[i].count; ++part)
            free(noises[i].parts[part].name);
    }
    free(noises);
}

void bench_specimen_free(const bench_card* card, bench_specimen* specimen) {
    if (!specimen)
        return;
    bench_figures_free(specimen->figures, card->line_count);
    free(specimen->spare.words);
    free(specimen->spare.trouble);
    if (specimen->curves)
        bench_curves_clear(specimen->curves);
    free(specimen->curves);
    bench_noises_free(specimen->noises, TL_BENCH_SOURCES);
    free(specimen);
}

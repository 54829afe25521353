// SPDX-License-Identifier: GPL-3.0-or-later
// Writes all that `toneload bench` asks the solver about a design as one script for `ngspice -b`:
// what scripts/bench, which builds this, holds the whole command to.
//
//   bench_requests DESIGN.yaml FOLDER
//
// Linked so that the study's tl_pool_run() comes here first (ld --wrap). Prints how many there are.
#include "solve/pool.h"
#include "toneload/bench.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

tl_status __real_tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work,
                             tl_error* error);
tl_status __wrap_tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work,
                             tl_error* error);

static const char* folder;
static FILE* script;
static unsigned requests;

/// Asks for the vectors that the deck's probes read.
static void write_saves(const tl_deck* deck) {
    fputs("save", script);
    for (size_t i = 0; i < deck->output_count; ++i) {
        const tl_probe* probe = &deck->outputs[i];
        if (probe->kind == 'n')
            fprintf(script, " v(%u)", probe->number);
        else if (probe->kind == 'v')
            fprintf(script, " i(v%u)", probe->number);
        else if (probe->kind == 'o' || probe->kind == 'i')
            fprintf(script, " %cnoise_spectrum", probe->kind);
        else
            fprintf(script, " onoise_%c%u", probe->kind, probe->number);
    }
    fputs(deck->outputs[0].kind == 'o' ? " onoise_total\n" : "\n", script);
}

static void write_request(const tl_request* request) {
    char path[4096];
    snprintf(path, sizeof path, "%s/d%u.cir", folder, ++requests);
    FILE* deck = fopen(path, "w");
    if (!deck)
        exit(EXIT_FAILURE);
    fputs(request->deck->text, deck);
    fclose(deck);
    fprintf(script, "source %s\n", path);
    write_saves(request->deck);
    switch (request->analysis) {
    case TL_SWEEP:
        fprintf(script, "ac dec %u %.17g %.17g\n", request->per_decade, request->low_hz,
                request->high_hz);
        break;
    case TL_POINT:
        fputs("op\n", script);
        break;
    case TL_TRANSIENT:
        fprintf(script, "tran %.17g %.17g %.17g %.17g\n", request->step_s, request->stop_s,
                request->start_s, request->ceiling_s);
        break;
    case TL_NOISE:
        fprintf(script, "noise v(%u) v%u dec %u %.17g %.17g 1\n", request->noise_node,
                request->noise_source, request->per_decade, request->low_hz, request->high_hz);
    }
    fputs("destroy all\nremcirc\n", script);
}

// Between the study and the pool: notes each request, and passes everything on.

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    const tl_pool_work* inner = context;
    tl_status status = inner->ask(inner->context, job, request, error);
    if (status == TL_OK)
        write_request(request);
    return status;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    const tl_pool_work* inner = context;
    tl_status status = inner->take(inner->context, job, reply, request, again, error);
    if (status == TL_OK && *again)
        write_request(request);
    return status;
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    const tl_pool_work* inner = context;
    return inner->deliver ? inner->deliver(inner->context, job, error) : TL_OK;
}

static tl_status refuse(void* context, size_t job, const char* words, tl_request* request,
                        bool* again, tl_error* error) {
    const tl_pool_work* inner = context;
    tl_status status = inner->refuse(inner->context, job, words, request, again, error);
    if (status == TL_OK && *again)
        write_request(request);
    return status;
}

tl_status __wrap_tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work,
                             tl_error* error) {
    tl_pool_work outer = {.context = (void*)(uintptr_t)work,
                          .ask = ask,
                          .take = take,
                          .deliver = deliver,
                          .refuse = work->refuse ? refuse : NULL,
                          .alone = true};
    return __real_tl_pool_run(pool, count, &outer, error);
}

static tl_status run(const char* path, tl_error* error) {
    const tl_session_options options = {.jobs = 1, .solves = true};
    const tl_bench_options nothing = {0};
    tl_session* session = NULL;
    tl_design* design = NULL;
    tl_bench* bench = NULL;
    tl_status status = tl_session_new(&options, &session, error);
    if (status == TL_OK)
        status = tl_design_read(path, &design, error);
    if (status == TL_OK)
        status = tl_study_bench(session, &design, 1, &nothing, &bench, error);
    tl_bench_free(bench);
    tl_design_free(design);
    tl_session_free(session);
    return status;
}

int main(int count, char** words) {
    if (count != 3)
        return 2;
    char path[4096];
    folder = words[2];
    snprintf(path, sizeof path, "%s/all.cir", folder);
    script = fopen(path, "w");
    if (!script)
        return EXIT_FAILURE;
    fputs("all that the bench asks\n.control\n", script);
    tl_error* error = tl_error_new();
    tl_status status = run(words[1], error);
    if (status != TL_OK)
        fprintf(stderr, "%s\n", tl_error_text(error));
    tl_error_free(error);
    fputs("quit\n.endc\n.end\n", script);
    fclose(script);
    printf("%u\n", requests);
    return (int)status;
}

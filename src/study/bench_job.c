// SPDX-License-Identifier: GPL-3.0-or-later
// What every measurement does: setups, requests, replies, figures.
#include "study/bench_card.h"

#include "base/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

tl_setup bench_setup(const bench_job* job, tl_drive drive) {
    return (tl_setup){
        .design = job->specimen ? job->specimen->design : NULL,
        .drive = drive,
        .supply_share = job->specimen ? job->specimen->supply_share : 1,
        .load_ohm = bench_ohms[TL_BENCH_OHMS - 1].value,
        .loose = job->loose,
    };
}

const tl_bench_deck* bench_deck(const bench_job* job) {
    return job->decks[job->deck_count - 1];
}

static void use_deck(bench_job* job, tl_bench_deck* deck, tl_analysis analysis) {
    job->decks = tl_grow(job->decks, job->deck_count + 1, sizeof *job->decks);
    job->decks[job->deck_count++] = deck;
    job->request = (tl_request){.deck = deck->deck, .analysis = analysis};
}

void bench_ask_sweep(bench_job* job, const tl_setup* setup, unsigned per_decade, double low_hz,
                     double high_hz) {
    use_deck(job, tl_setup_deck(setup, false), TL_SWEEP);
    job->request.per_decade = per_decade;
    job->request.low_hz = low_hz;
    job->request.high_hz = high_hz;
}

void bench_ask_point(bench_job* job, const tl_setup* setup) {
    use_deck(job, tl_setup_deck(setup, true), TL_POINT);
}

void bench_ask_transient(bench_job* job, const tl_setup* setup, double stop_s, double step_s) {
    use_deck(job, tl_setup_deck(setup, false), TL_TRANSIENT);
    job->request.step_s = step_s;
    job->request.stop_s = stop_s;
    job->request.ceiling_s = step_s;
}

void bench_ask_noise(bench_job* job, const tl_setup* setup) {
    tl_bench_deck* deck = tl_setup_noise_deck(setup);
    use_deck(job, deck, TL_NOISE);
    job->request.noise_node = deck->out_node;
    job->request.noise_source = deck->source;
    job->request.per_decade = 100;
    job->request.low_hz = 10;
    job->request.high_hz = 100e3;
}

const double _Complex* bench_swept(const tl_reply* reply, size_t probe) {
    return reply->h + probe * reply->points;
}

const double* bench_real(const tl_reply* reply, size_t probe) {
    return reply->x + probe * reply->points;
}

tl_response* bench_fit(bench_job* job, const tl_reply* reply, size_t probe, bool* again) {
    double residual = 0;
    tl_response* response =
        tl_response_fit(reply->points, reply->hz, bench_swept(reply, probe), &residual);
    *again = !response && tl_answer_denser(&job->request);
    return response;
}

enum { LONGEST_ID = 160 };

static tl_bench_figure* find_figure(const bench_card* card, bench_specimen* specimen,
                                    const char* format, va_list args) {
    char id[LONGEST_ID];
    vsnprintf(id, sizeof id, format, args);
    size_t line = bench_find_line(card, id);
    return line < card->line_count ? &specimen->figures[line] : &specimen->spare;
}

tl_bench_figure* bench_figure_of(const bench_card* card, bench_specimen* specimen,
                                 const char* format, ...) {
    va_list args;
    va_start(args, format);
    tl_bench_figure* figure = find_figure(card, specimen, format, args);
    va_end(args);
    return figure;
}

tl_bench_figure* bench_figure(bench_job* job, const char* format, ...) {
    va_list args;
    va_start(args, format);
    tl_bench_figure* figure = find_figure(job->card, job->specimen, format, args);
    va_end(args);
    return figure;
}

void bench_put(bench_job* job, double value, const char* format, ...) {
    va_list args;
    va_start(args, format);
    tl_bench_figure* figure = find_figure(job->card, job->specimen, format, args);
    va_end(args);
    figure->value = value;
    free(figure->trouble);
    figure->trouble = NULL;
}

double bench_badness(const tl_bench_line* line, const tl_bench_figure* figure) {
    if (figure->trouble || isnan(figure->value))
        return NAN;
    switch (line->better) {
    case TL_BETTER_LOW:
        return figure->value;
    case TL_BETTER_HIGH:
        return -figure->value;
    case TL_BETTER_NEAR_ZERO:
        return fabs(figure->value);
    default:
        return NAN;
    }
}

static bool begins_with_one(const char* id, const char* const* beginnings) {
    for (size_t i = 0; beginnings[i]; ++i)
        if (strncmp(id, beginnings[i], strlen(beginnings[i])) == 0)
            return true;
    return false;
}

void bench_refuse(bench_job* job, const char* words) {
    if (!job->specimen)
        return;
    char* named = tl_bench_deck_words(bench_deck(job), words);
    for (size_t i = 0; i < job->card->line_count; ++i) {
        tl_bench_figure* figure = &job->specimen->figures[i];
        if (isnan(figure->value) && !figure->words && !figure->trouble &&
            begins_with_one(job->card->lines[i].id, job->kind->ids))
            figure->trouble = tl_copy(named);
    }
    free(named);
}

void bench_keep_curve(bench_job* job, tl_bench_curve_kind kind, size_t count, const double* x,
                      const double* y) {
    if (!job->specimen->curves)
        return;
    tl_bench_curve* curve = &job->specimen->curves[kind];
    free(curve->x);
    free(curve->y);
    *curve =
        (tl_bench_curve){count, tl_new(count, sizeof *curve->x), tl_new(count, sizeof *curve->y)};
    memcpy(curve->x, x, count * sizeof *x);
    memcpy(curve->y, y, count * sizeof *y);
}

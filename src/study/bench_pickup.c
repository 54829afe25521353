// SPDX-License-Identifier: GPL-3.0-or-later
// What a design's input does to the resonance of every pickup of the library, behind three leads;
// held against an ideal 1 Mohm, and against no load at all.
#include "study/bench_card.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>

static const double low_hz = 10;
static const double high_hz = 100e3;
static const double reference_ohm = 1e6;
static const double open_ohm = 1e13;

static size_t count_pairs(const bench_card* card, const tl_design* design) {
    (void)design;
    return card->pickup_count * TL_BENCH_LEADS;
}

static void ask_through(bench_job* job, tl_setup setup, size_t pair) {
    setup.pickup = job->card->pickups[pair / TL_BENCH_LEADS];
    setup.lead = job->card->leads[pair % TL_BENCH_LEADS];
    bench_ask_sweep(job, &setup, 5, low_hz, high_hz);
}

static void ask_pickup(bench_job* job) {
    ask_through(job, bench_setup(job, TL_DRIVE_INPUT), job->index);
}

/// Pole and Q at the design's input; true when more frequencies are needed.
static bool read_resonance(bench_job* job, const tl_reply* reply, bench_resonance* resonance) {
    bool again = false;
    tl_response* response = bench_fit(job, reply, TL_PROBE_IN, &again);
    *resonance = (bench_resonance){NAN, NAN};
    if (response) {
        tl_metrics metrics = tl_response_metrics(response, 200);
        *resonance = (bench_resonance){metrics.pole_hz, metrics.q};
    }
    tl_response_free(response);
    return again;
}

static void put_pair(bench_job* job, double value, const char* what) {
    bench_put(job, value, "pickup_%s_%s_%s", job->card->pickup_names[job->index / TL_BENCH_LEADS],
              bench_leads[job->index % TL_BENCH_LEADS].id, what);
}

static bool take_pickup(bench_job* job, const tl_reply* reply) {
    bench_resonance with = {0};
    if (read_resonance(job, reply, &with))
        return true;
    if (isnan(with.pole_hz)) {
        bench_refuse(job, "no resonance is left, or the frequencies solved do not determine it");
        return false;
    }
    put_pair(job, with.pole_hz, "pole_hz");
    put_pair(job, with.q, "q");
    return false;
}

static const char* const pickup_ids[] = {"pickup_", NULL};
const bench_kind bench_pickup = {pickup_ids, false, count_pairs, ask_pickup, take_pickup, NULL};

// ---- without a design

static size_t count_references(const bench_card* card, const tl_design* design) {
    return 2 * count_pairs(card, design);
}

static void ask_reference(bench_job* job) {
    tl_setup setup = bench_setup(job, TL_DRIVE_INPUT);
    size_t pairs = count_pairs(job->card, NULL);
    setup.load_ohm = job->index < pairs ? reference_ohm : open_ohm;
    ask_through(job, setup, job->index % pairs);
}

static bool take_reference(bench_job* job, const tl_reply* reply) {
    size_t pairs = count_pairs(job->card, NULL);
    bench_resonance* kept = job->index < pairs ? job->card->into_1mohm : job->card->into_open;
    return read_resonance(job, reply, &kept[job->index % pairs]);
}

const bench_kind bench_pickup_reference = {pickup_ids,    true,           count_references,
                                           ask_reference, take_reference, NULL};

// ---- one against the other

static tl_bench_figure* figure_of(const bench_card* card, bench_specimen* specimen, size_t pair,
                                  const char* what) {
    return bench_figure_of(card, specimen, "pickup_%s_%s_%s",
                           card->pickup_names[pair / TL_BENCH_LEADS],
                           bench_leads[pair % TL_BENCH_LEADS].id, what);
}

/// Sets a change in percent, clears why it was missing, and returns it.
static double put_change(tl_bench_figure* figure, double value, double reference) {
    figure->value = 100 * (value / reference - 1);
    if (!isnan(figure->value)) {
        free(figure->trouble);
        figure->trouble = NULL;
    }
    return figure->value;
}

static void keep_worst(const bench_card* card, bench_specimen* specimen, const char* id,
                       double change, size_t pair) {
    tl_bench_figure* worst = bench_figure_of(card, specimen, "%s", id);
    if (isnan(change) || fabs(change) <= fabs(worst->value))
        return;
    worst->value = change;
    free(worst->words);
    free(worst->trouble);
    worst->trouble = NULL;
    worst->words = tl_printf("with %s, %s of lead", card->pickup_names[pair / TL_BENCH_LEADS],
                             bench_leads[pair % TL_BENCH_LEADS].words);
}

/// A coil without losses is a yardstick: no pickup's Q is as high, or changes as much.
static bool is_real(const bench_card* card, size_t pair) {
    bool any = false;
    for (size_t i = 0; i < card->pickup_count; ++i)
        any = any || tl_part_has(card->pickups[i], "eddy.fraction");
    return !any || tl_part_has(card->pickups[pair / TL_BENCH_LEADS], "eddy.fraction");
}

void bench_finish_pickups(const bench_card* card, bench_specimen* specimen) {
    for (size_t pair = 0; pair < count_pairs(card, NULL); ++pair) {
        double pole_hz = figure_of(card, specimen, pair, "pole_hz")->value;
        double q = figure_of(card, specimen, pair, "q")->value;
        const bench_resonance* ideal = &card->into_1mohm[pair];
        const bench_resonance* open = &card->into_open[pair];
        put_change(figure_of(card, specimen, pair, "pole_vs_open_percent"), pole_hz, open->pole_hz);
        put_change(figure_of(card, specimen, pair, "q_vs_open_percent"), q, open->q);
        double pole = put_change(figure_of(card, specimen, pair, "pole_vs_1mohm_percent"), pole_hz,
                                 ideal->pole_hz);
        double change =
            put_change(figure_of(card, specimen, pair, "q_vs_1mohm_percent"), q, ideal->q);
        if (!is_real(card, pair))
            continue;
        keep_worst(card, specimen, "pickup_worst_pole_share_percent", pole, pair);
        keep_worst(card, specimen, "pickup_worst_q_share_percent", change, pair);
    }
}

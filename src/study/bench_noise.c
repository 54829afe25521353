// SPDX-License-Identifier: GPL-3.0-or-later
// What a design hisses: with its source shorted, with 10 kohm, and with a pickup.
#include "study/bench_card.h"

#include "base/text.h"
#include "response/weighting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double low_hz = 20;
static const double high_hz = 20e3;
static const double source_ohm = 10e3;

enum { SHORTED, RESISTOR, PICKUP };
static const char* const ids[TL_BENCH_SOURCES] = {"short", "10k", "pickup"};

static size_t count_sources(const bench_card* card, const tl_design* design) {
    (void)design;
    return card->pickup_count ? TL_BENCH_SOURCES : PICKUP;
}

static void ask_noise(bench_job* job) {
    tl_setup setup = bench_setup(job, TL_DRIVE_INPUT);
    if (job->index == RESISTOR)
        setup.source_ohm = source_ohm;
    if (job->index == PICKUP)
        setup.pickup = job->card->pickups[0];
    bench_ask_noise(job, &setup);
}

/// Who the element of a probe belongs to; free with free().
static char* name_part(const bench_job* job, tl_probe probe) {
    const tl_bench_deck* deck = bench_deck(job);
    const tl_netlist* netlist = job->specimen->design->netlist;
    if (probe.number < deck->first_card)
        return tl_copy("the source");
    if (probe.number >= deck->first_card + tl_netlist_card_count(netlist))
        return tl_copy("the load");
    return tl_copy(tl_netlist_card(netlist, probe.number - deck->first_card).name);
}

/// Puts a part where it belongs among the largest.
static void rank_part(tl_bench_noise* noise, char* name, double share) {
    size_t at = noise->count;
    while (at > 0 && noise->parts[at - 1].share < share)
        --at;
    if (at == TL_BENCH_NOISE_PARTS) {
        free(name);
        return;
    }
    if (noise->count == TL_BENCH_NOISE_PARTS)
        free(noise->parts[--noise->count].name);
    memmove(&noise->parts[at + 1], &noise->parts[at], (noise->count - at) * sizeof *noise->parts);
    noise->parts[at] = (tl_bench_noise_part){name, share};
    ++noise->count;
}

/// The five that make most of it; elements of one owner (a pickup is several) count together.
static void put_parts(bench_job* job, const tl_reply* reply, double total_v) {
    if (!job->specimen->noises)
        return;
    tl_bench_noise* noise = &job->specimen->noises[job->index];
    const tl_deck* deck = bench_deck(job)->deck;
    noise->source = tl_copy(job->index == SHORTED    ? "shorted"
                            : job->index == RESISTOR ? "10 kohm"
                                                     : job->card->pickup_names[0]);
    double source_share = 0;
    for (size_t i = 2; i < deck->output_count; ++i) {
        double volts =
            tl_noise_rms_v(reply->points, reply->hz, bench_real(reply, i), low_hz, high_hz, false);
        double share = volts * volts / (total_v * total_v);
        if (deck->outputs[i].number < bench_deck(job)->first_card)
            source_share += share;
        else if (share > 0)
            rank_part(noise, name_part(job, deck->outputs[i]), share);
    }
    if (source_share > 0)
        rank_part(noise, tl_copy("the source"), source_share);
}

/// The density at 1 kHz, which is one of the frequencies solved.
static double at_1khz(const tl_reply* reply, const double* density) {
    size_t nearest = 0;
    for (size_t i = 1; i < reply->points; ++i)
        if (fabs(log(reply->hz[i] / 1e3)) < fabs(log(reply->hz[nearest] / 1e3)))
            nearest = i;
    return density[nearest];
}

static bool take_noise(bench_job* job, const tl_reply* reply) {
    const double* output = bench_real(reply, 0);
    double total_v = tl_noise_rms_v(reply->points, reply->hz, output, low_hz, high_hz, false);
    bench_put(job, total_v, "noise_%s_v", ids[job->index]);
    bench_put(job, tl_noise_rms_v(reply->points, reply->hz, output, low_hz, high_hz, true),
              "noise_%s_a_v", ids[job->index]);
    put_parts(job, reply, total_v);
    if (job->index != SHORTED)
        return false;
    bench_put(job, at_1khz(reply, output), "noise_density_1khz_v_rthz");
    bench_put(job, at_1khz(reply, bench_real(reply, 1)), "input_noise_density_1khz_v_rthz");
    bench_keep_curve(job, TL_BENCH_NOISE, reply->points, reply->hz, output);
    return false;
}

static const char* const noise_ids[] = {"noise_", "input_noise_", NULL};
const bench_kind bench_noise = {noise_ids, false, count_sources, ask_noise, take_noise, NULL};

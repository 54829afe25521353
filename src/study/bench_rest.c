// SPDX-License-Identifier: GPL-3.0-or-later
// A design at rest, and what it does when it is switched on.
#include "study/bench_card.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>

static void ask_rest(bench_job* job) {
    tl_setup setup = bench_setup(job, TL_DRIVE_INPUT);
    bench_ask_point(job, &setup);
}

/// The transistor with the least voltage from collector to emitter, or drain to source.
static void put_margin(bench_job* job, const tl_reply* reply) {
    const tl_netlist* netlist = job->specimen->design->netlist;
    tl_bench_figure* figure = bench_figure(job, "bias_margin_v");
    const char* least = NULL;
    for (size_t i = 0; i < tl_netlist_card_count(netlist); ++i) {
        tl_card card = tl_netlist_card(netlist, i);
        if (card.kind != 'q' && card.kind != 'j' && card.kind != 'm')
            continue;
        double volts[2] = {0, 0};
        for (size_t end = 0; end < 2; ++end) {
            size_t probe = bench_deck(job)->node_probes[card.nodes[2 * end]];
            if (probe)
                volts[end] = *bench_real(reply, probe);
        }
        double across = fabs(volts[0] - volts[1]);
        if (!least || across < figure->value) {
            figure->value = across;
            least = card.name;
        }
    }
    figure->words = least ? tl_printf("at %s", least) : tl_copy("no transistors");
}

static bool take_rest(bench_job* job, const tl_reply* reply) {
    double positive = fabs(*bench_real(reply, TL_PROBE_SUPPLY));
    double negative = fabs(*bench_real(reply, TL_PROBE_NEGATIVE));
    bench_put(job, fmax(positive, negative), "supply_current_a");
    bench_put(job, *bench_real(reply, TL_PROBE_OUT), "output_dc_v");
    put_margin(job, reply);
    return false;
}

static const char* const rest_ids[] = {"supply_current", "output_dc", "bias_margin", NULL};
const bench_kind bench_rest = {rest_ids, false, NULL, ask_rest, take_rest, NULL};

// ---- switched on

static const double rises_s[] = {1e-3, 100e-3};
static const char* const rise_ids[] = {"thump_1ms_v", "thump_100ms_v"};

static size_t count_rises(const bench_card* card, const tl_design* design) {
    (void)card;
    (void)design;
    return sizeof rises_s / sizeof *rises_s;
}

/// A second is long enough for what is heard as a thump.
static void ask_power_up(bench_job* job) {
    tl_setup setup = bench_setup(job, TL_DRIVE_POWER_UP);
    setup.edge_s = rises_s[job->index];
    bench_ask_transient(job, &setup, 1, setup.edge_s / 20);
    job->request.ceiling_s = 2e-3;
}

static bool take_power_up(bench_job* job, const tl_reply* reply) {
    const double* volts = bench_real(reply, TL_PROBE_OUT);
    double most = 0;
    for (size_t i = 0; i < reply->points; ++i)
        most = fmax(most, fabs(volts[i]));
    bench_put(job, most, "%s", rise_ids[job->index]);
    return false;
}

static const char* const power_up_ids[] = {"thump", NULL};
const bench_kind bench_power_up = {power_up_ids, false,         count_rises,
                                   ask_power_up, take_power_up, NULL};

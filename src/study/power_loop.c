// SPDX-License-Identifier: GPL-3.0-or-later
// Ground loops: the DC returns, the audio shields and the stray capacitances between isolated
// outputs as a circuit inside the rig's. A pulsed load drives current through it; what drops along
// the shields stands in series in the audio leads, and comes to the amp as anything else does.
#include "base/text.h"
#include "response/weighting.h"
#include "study/known.h"
#include "study/power_work.h"
#include "study/pulse.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Added to every response, which is 0 where no loop exists: volts at the amp per ampere of pulses.
static const double known_ohm = 1e-6;
/// No more than how well responses are known: below it is nothing (1 A of pulses, -240 dBV).
static const double least_ohm = 1e-12;

/// A way to wire the returns: by consumer the return it hangs on, or TL_NOWHERE.
typedef struct {
    const char* kind;
    const char* words;
    size_t* group;
} wiring;

/// One circuit: a way of wiring and the load that pulses, 1 A of it.
typedef struct {
    const tl_power_work* work;
    const wiring* wiring;
    size_t pulsed;    ///< consumer
    tl_node* grounds; ///< by stop
    tl_node* returns; ///< by return; TL_GROUND: nobody in the path hangs on it
    size_t return_count;
    bool made;
} looping;

static size_t return_of(const looping* l, size_t stop) {
    size_t consumer = l->work->route.stops[stop].consumer;
    return consumer == TL_NOWHERE ? TL_NOWHERE : l->wiring->group[consumer];
}

/// A resistance with an inductance in series, of at least what counts as more than a wire.
static void add_lead(const tl_sink* sink, tl_node from, tl_node to, double ohm, double henry) {
    tl_node middle = henry > 0 ? tl_sink_node(sink, "inside a ground lead") : to;
    sink->element(sink->context, 'r', from, middle, fmax(ohm, TL_ROUTE_LEAST_OHM));
    if (henry > 0)
        sink->element(sink->context, 'l', middle, to, henry);
}

static tl_node ground_of(const looping* l, size_t stop) {
    return stop == SIZE_MAX ? TL_GROUND : l->grounds[stop];
}

/// The shields, the DC returns of those in the path, and the strays between returns.
static void make_loops(looping* l, const tl_sink* sink) {
    const tl_power_work* w = l->work;
    const tl_power_loop_terms* terms = &w->plan->terms;
    for (size_t i = 0; i < w->route.stop_count; ++i)
        l->grounds[i] = tl_sink_node(sink, "ground of a pedal");
    for (size_t i = 0; i < w->route.stretch_count; ++i) {
        const tl_route_stretch* stretch = &w->route.stretches[i];
        add_lead(sink, l->grounds[stretch->from], ground_of(l, stretch->to), stretch->shield_ohm,
                 terms->lead_henry_per_m * stretch->length_m);
    }
    for (size_t i = 0; i < w->route.stop_count; ++i) {
        size_t group = return_of(l, i);
        if (group == TL_NOWHERE)
            continue;
        if (l->returns[group] == TL_GROUND)
            l->returns[group] = tl_sink_node(sink, "return of a supply");
        const tl_consumer* consumer = &w->power->consumers[w->route.stops[i].consumer];
        tl_power_lead lead = tl_power_lead_of(w->power, consumer);
        add_lead(sink, l->grounds[i], l->returns[group],
                 lead.ohm_per_m * lead.length_m + 2 * lead.joint_ohm,
                 terms->lead_henry_per_m * lead.length_m);
    }
    for (size_t i = 0; i < l->return_count; ++i)
        for (size_t j = i + 1; j < l->return_count; ++j)
            if (l->returns[i] != TL_GROUND && l->returns[j] != TL_GROUND)
                tl_sink_across(sink, 'c', l->returns[i], l->returns[j], terms->stray_farad);
}

/// 1 A out of the supply, through the load, into its ground.
static void make_pulse(const looping* l, const tl_sink* sink) {
    size_t stop = 0;
    while (l->work->route.stops[stop].consumer != l->pulsed)
        ++stop;
    tl_node drive = tl_sink_node(sink, "drives the pulsed load");
    sink->element(sink->context, 'v', drive, TL_GROUND, 1);
    sink->controlled(sink->context, 'g', l->returns[return_of(l, stop)], l->grounds[stop], drive,
                     1);
}

/// In front of the first item of each stretch: what drops along its shield, in series.
static tl_node add_before(void* context, const tl_item* item, const tl_sink* sink, tl_node in) {
    looping* l = context;
    if (!l->made) {
        make_loops(l, sink);
        make_pulse(l, sink);
        l->made = true;
    }
    for (size_t i = 0; i < l->work->route.stretch_count; ++i) {
        const tl_route_stretch* stretch = &l->work->route.stretches[i];
        if (stretch->at != item)
            continue;
        tl_node near = tl_sink_node(sink, "behind the near ground");
        sink->controlled(sink->context, 'e', near, in, l->grounds[stretch->from], 1);
        in = near;
        if (stretch->to == SIZE_MAX)
            continue;
        tl_node far = tl_sink_node(sink, "behind the far ground");
        sink->controlled(sink->context, 'e', far, in, l->grounds[stretch->to], -1);
        in = far;
    }
    return in;
}

static tl_circuit* build(const tl_power_work* w, const wiring* way, size_t pulsed) {
    looping l = {.work = w,
                 .wiring = way,
                 .pulsed = pulsed,
                 .grounds = tl_new(w->route.stop_count, sizeof *l.grounds),
                 .return_count = w->board->group_count + w->board->pedal_count + 1};
    l.returns = tl_new(l.return_count, sizeof *l.returns);
    const tl_circuit_extras extras = {.before = add_before, .context = &l, .silent = true};
    tl_circuit* circuit = tl_circuit_build_extended(w->rig, &extras);
    tl_known_add(circuit, known_ohm);
    free(l.grounds);
    free(l.returns);
    return circuit;
}

// ---- ways to wire

/// As assigned; each with a return of its own; all on one.
static wiring make_wiring(const tl_power_work* w, int which) {
    static const char* const kinds[] = {"assigned", "isolated", "shared"};
    static const char* const words[] = {"as assigned", "every output isolated",
                                        "all on one shared return"};
    wiring made = {kinds[which], words[which], tl_new(w->board->pedal_count, sizeof(size_t))};
    for (size_t i = 0; i < w->board->pedal_count; ++i) {
        size_t group = w->at[i] == TL_NOWHERE ? TL_NOWHERE : w->board->outputs[w->at[i]].group;
        made.group[i] = group == TL_NOWHERE || which == 0 ? group
                        : which == 1                      ? w->board->group_count + i
                                                          : w->board->group_count;
    }
    return made;
}

/// Pedals in the path that hang on a return with another of them.
static size_t count_sharing(const tl_power_work* w, const wiring* way) {
    size_t sharing = 0;
    for (size_t i = 0; i < w->board->pedal_count; ++i) {
        bool shares = false;
        for (size_t j = 0; j < w->board->pedal_count; ++j)
            shares = shares || (j != i && way->group[i] != TL_NOWHERE &&
                                way->group[i] == way->group[j] && tl_route_meets(&w->route, j));
        sharing += shares && tl_route_meets(&w->route, i);
    }
    return sharing;
}

/// Whether two ways hang the same pedals of the path together.
static bool same_wiring(const tl_power_work* w, const wiring* a, const wiring* b) {
    for (size_t i = 0; i < w->board->pedal_count; ++i)
        for (size_t j = 0; j < i; ++j)
            if (tl_route_meets(&w->route, i) && tl_route_meets(&w->route, j) &&
                (a->group[i] == a->group[j]) != (b->group[i] == b->group[j]))
                return false;
    return true;
}

// ---- from responses to levels

double tl_power_band_hz(size_t band) {
    return pow(10, ((double)band + 13) / 10);
}

static void add_line(tl_power_hum* hum, double hz, double level_v) {
    for (size_t i = 0; i < hum->count; ++i)
        if (fabs(hum->hz[i] - hz) < 1e-9 * hz) { // two loads in step add as powers
            hum->level_v[i] = hypot(hum->level_v[i], level_v);
            return;
        }
    hum->hz = tl_grow_one(hum->hz, hum->count, sizeof *hum->hz);
    hum->level_v = tl_grow_one(hum->level_v, hum->count, sizeof *hum->level_v);
    size_t at = hum->count++;
    for (; at && hum->hz[at - 1] > hz; --at) {
        hum->hz[at] = hum->hz[at - 1];
        hum->level_v[at] = hum->level_v[at - 1];
    }
    hum->hz[at] = hz;
    hum->level_v[at] = level_v;
}

/// What a response lets through, less what was added to have it known.
static double passed_ohm(const tl_response* response, double hz) {
    double ohm = cabs(tl_response_at(response, hz) - known_ohm);
    return ohm < least_ohm ? 0 : ohm;
}

/// Adds one load's harmonics through its response, 20 Hz to 20 kHz.
static void add_load(tl_power_hum* hum, const tl_part* draw, const tl_response* response) {
    double first_hz = tl_part_number(draw, "pulse.frequency", 0);
    for (unsigned n = 1; n * first_hz <= TL_NOISE_HIGH_HZ * (1 + 1e-9); ++n)
        if (n * first_hz >= TL_NOISE_LOW_HZ * (1 - 1e-9))
            add_line(hum, n * first_hz,
                     tl_pulse_harmonic_a(draw, n) * passed_ohm(response, n * first_hz));
}

static void add_up(tl_power_hum* hum, double noise_v, const double* noise_band_v) {
    for (size_t i = 0; i < hum->count; ++i) {
        double weighted_v = hum->level_v[i] * tl_a_weighting(hum->hz[i]);
        hum->total_v = hypot(hum->total_v, hum->level_v[i]);
        hum->a_weighted_v = hypot(hum->a_weighted_v, weighted_v);
        double band = floor(10 * log10(hum->hz[i]) + 0.5) - 13;
        if (band >= 0 && band < TL_POWER_BANDS)
            hum->band_v[(size_t)band] = hypot(hum->band_v[(size_t)band], hum->level_v[i]);
    }
    hum->floor_db = hum->a_weighted_v > 0 ? 20 * log10(hum->a_weighted_v / noise_v) : NAN;
    hum->clear_db = hum->clear_hz = NAN;
    for (size_t band = 0; band < TL_POWER_BANDS; ++band) {
        double clear_db = 20 * log10(hum->band_v[band] / noise_band_v[band]);
        if (!isfinite(clear_db) || clear_db <= hum->clear_db)
            continue;
        hum->clear_db = clear_db;
        hum->clear_hz = tl_power_band_hz(band);
    }
}

static tl_status find_floor(tl_power_work* w, tl_error* error) {
    tl_noise* noise = NULL;
    const tl_noise_options options = {.reference_hz = 200};
    tl_status status = tl_study_noise(w->session, w->rig, &options, &noise, error);
    if (status != TL_OK)
        return status;
    w->plan->noise_v = tl_new(noise->amp_count, sizeof(double));
    w->plan->noise_band_v = tl_new(noise->amp_count, sizeof *w->plan->noise_band_v);
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_at* at = &noise->rig[i];
        w->plan->noise_v[i] = at->a_weighted_v;
        for (size_t band = 0; band < TL_POWER_BANDS; ++band) {
            double hz = tl_power_band_hz(band);
            w->plan->noise_band_v[i][band] = tl_noise_rms_v(
                at->count, at->hz, at->v_rthz, hz * pow(10, -0.05), hz * pow(10, 0.05), false);
        }
    }
    tl_noise_free(noise);
    return TL_OK;
}

/// All circuits of the loops: for each way of wiring, each load that pulses in the path.
typedef struct {
    tl_power_work* work;
    wiring ways[3];
    size_t way_count;
    size_t* pulsed; ///< consumers
    size_t pulsed_count;
} loops;

static void blame(void* context, size_t index, tl_error* error) {
    const loops* l = context;
    tl_error_prefix(error, "%s, the ground loop of '%s', %s", tl_rig_path(l->work->rig),
                    l->work->plan->pedals[l->pulsed[index % l->pulsed_count]].name,
                    l->ways[index / l->pulsed_count].words);
}

static void fill_loop(const loops* l, size_t way, tl_answer* const* answers) {
    const tl_power_work* w = l->work;
    tl_power_loop* loop = &w->plan->loops[way];
    *loop = (tl_power_loop){.kind = l->ways[way].kind,
                            .words = l->ways[way].words,
                            .sharing = count_sharing(w, &l->ways[way]),
                            .amps = tl_new(w->plan->amp_count, sizeof *loop->amps)};
    for (size_t amp = 0; amp < w->plan->amp_count; ++amp) {
        for (size_t i = 0; i < l->pulsed_count; ++i)
            add_load(&loop->amps[amp], w->power->consumers[l->pulsed[i]].part,
                     answers[way * l->pulsed_count + i]->solved[amp].response);
        add_up(&loop->amps[amp], w->plan->noise_v[amp], w->plan->noise_band_v[amp]);
    }
}

static tl_status solve(loops* l, tl_error* error) {
    tl_power_work* w = l->work;
    size_t count = l->way_count * l->pulsed_count;
    tl_circuit** circuits = tl_new(count, sizeof(tl_circuit*));
    tl_answer** answers = tl_new(count, sizeof(tl_answer*));
    for (size_t i = 0; i < count; ++i)
        circuits[i] = build(w, &l->ways[i / l->pulsed_count], l->pulsed[i % l->pulsed_count]);
    const tl_batch batch = {circuits, count, 200, blame, l};
    tl_status status = tl_batch_solve(w->session, &batch, answers, error);
    w->plan->loops = tl_new(l->way_count, sizeof *w->plan->loops);
    for (size_t i = 0; status == TL_OK && i < l->way_count; ++i) {
        fill_loop(l, i, answers);
        w->plan->loop_count = i + 1;
    }
    for (size_t i = 0; i < count; ++i) {
        tl_circuit_free(circuits[i]);
        tl_answer_free(answers[i]);
    }
    free(circuits);
    free(answers);
    return status;
}

static void list_ways(loops* l) {
    for (int which = 0; which < 3; ++which) {
        wiring way = make_wiring(l->work, which);
        bool known = false;
        for (size_t i = 0; i < l->way_count; ++i)
            known = known || same_wiring(l->work, &way, &l->ways[i]);
        if (known && which != 0)
            free(way.group);
        else
            l->ways[l->way_count++] = way;
    }
}

tl_status tl_power_loops(tl_power_work* w, tl_error* error) {
    loops l = {.work = w, .pulsed = tl_new(w->board->pedal_count, sizeof *l.pulsed)};
    for (size_t i = 0; i < w->board->pedal_count; ++i) {
        bool pulses = tl_part_has(w->power->consumers[i].part, "pulse.current");
        w->plan->pulsed += pulses;
        if (pulses && tl_route_meets(&w->route, i) && w->at[i] != TL_NOWHERE)
            l.pulsed[l.pulsed_count++] = i;
    }
    tl_status status = TL_OK;
    if (l.pulsed_count) {
        list_ways(&l);
        status = find_floor(w, error);
        if (status == TL_OK)
            status = solve(&l, error);
    }
    for (size_t i = 0; i < l.way_count; ++i)
        free(l.ways[i].group);
    free(l.pulsed);
    return status;
}

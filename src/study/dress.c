// SPDX-License-Identifier: GPL-3.0-or-later
// What a board's leads pick up from leads beside them, solved in the rig's own circuit: the guitar
// silent, a current into an audio lead's core or a voltage in series with it, and what arrives at
// each amp. How the leads lie and what moves in them comes in afterwards, by formula.
#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "rig/dressing.h"
#include "rig/toggle.h"
#include "study/dress_joints.h"
#include "study/dress_level.h"
#include "study/dress_loop.h"
#include "study/dress_words.h"
#include "study/fix.h"
#include "study/known.h"
#include "study/noise_buffered.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// The highest frequency that is solved.
static const double solved_hz = 100e3;
/// The level of noise and joints is told at the usual reference.
static const double reference_hz = 200;
/// The joint between a lead and what comes before it: 1 mohm keeps a source of 0 ohm apart from the
/// current that is driven in, and changes nothing else.
static const double joint_ohm = 1e-3;
/// A change this small is no more than how well responses are known.
static const double least_leak_db = -120;
/// The library's buffer that stands for "a buffer in front".
static const char buffer_name[] = "op-amp-follower";

/// What is solved of a run, in this order; beside audio the rig with the capacitance between the
/// leads (in place of the first), and what a current between them sees (of the second).
typedef enum { INJECTED, IN_SERIES, INJECTED_BUFFERED, IN_SERIES_BUFFERED, SOLVES } solve;
enum { WITH_CAPACITANCE = INJECTED, BETWEEN = IN_SERIES };

typedef struct {
    const tl_run* run;
    tl_part* lead;
    tl_part* other;
    tl_run_geometry lie;
    size_t first; ///< of its circuits
    tl_source source;
    tl_dress_probe** probes;       ///< by amp
    tl_noise* buffered;            ///< the noise with a buffer in front of the lead
    bool buffered_floor_is_todays; ///< that noise could not be solved
    bool buffered_is_mine;         ///< false: another run of the same lead frees it
} work;

typedef struct {
    tl_session* session;
    tl_rig* rig; ///< a clone, whose pedals stand as was asked for
    tl_dress* dress;
    tl_noise* noise;
    tl_part* buffer;
    const tl_part** met; ///< parts in the path, as the rig is written
    size_t met_count;
    work* works; ///< by run
    tl_circuit** circuits;
    tl_answer** answers;
    size_t count;
    size_t without_joints; ///< its circuit; 0: there are no joints
} dressing;

// ---- circuits

static tl_node collect(void* context, const tl_item* item, const tl_sink* sink, tl_node in) {
    dressing* d = context;
    (void)sink;
    if (item->part) {
        d->met = tl_grow_one(d->met, d->met_count, sizeof(tl_part*));
        d->met[d->met_count++] = item->part;
    }
    return in;
}

static bool is_met(const dressing* d, const tl_part* part) {
    for (size_t i = 0; i < d->met_count; ++i)
        if (d->met[i] == part)
            return true;
    return false;
}

/// Whether no other lead comes before it in the path.
static bool is_first_lead(const dressing* d, const tl_part* lead) {
    for (size_t i = 0; i < d->met_count; ++i)
        if (d->met[i]->kind == &tl_kind_cable)
            return d->met[i] == lead;
    return false;
}

/// What is put into the rig's circuit for one solve of a run.
typedef struct {
    const work* at;
    solve which;
    const tl_part* buffer;
    double farad;
    tl_node first; ///< beside audio: the lead that comes first
    bool second;
} addition;

static tl_node add_source(void* context, const tl_item* item, const tl_sink* sink, tl_node in) {
    const addition* a = context;
    if (item->part != a->at->lead)
        return in;
    if (a->which == INJECTED_BUFFERED || a->which == IN_SERIES_BUFFERED)
        in = a->buffer->kind->emit(a->buffer, sink, in, TL_GROUND);
    tl_node next = tl_sink_node(sink, "beside another lead");
    tl_node volt = tl_sink_node(sink, "1 V");
    sink->element(sink->context, 'v', volt, TL_GROUND, 1);
    if (a->which == IN_SERIES || a->which == IN_SERIES_BUFFERED) {
        sink->controlled(sink->context, 'e', next, in, volt, 1);
        return next;
    }
    sink->element(sink->context, 'r', in, next, joint_ohm);
    sink->controlled(sink->context, 'g', TL_GROUND, next, volt, 1);
    return next;
}

/// Two leads of the rig itself with the capacitance between them.
static tl_node add_capacitance(void* context, const tl_item* item, const tl_sink* sink,
                               tl_node in) {
    addition* a = context;
    if (item->part != a->at->lead && item->part != a->at->other)
        return in;
    if (a->second)
        tl_sink_across(sink, 'c', a->first, in, a->farad);
    a->first = in;
    a->second = true;
    return in;
}

/// Two leads of the rig itself with a current from the first into the second.
static tl_node add_current(void* context, const tl_item* item, const tl_sink* sink, tl_node in) {
    addition* a = context;
    if (item->part != a->at->lead && item->part != a->at->other)
        return in;
    if (a->second) {
        tl_node volt = tl_sink_node(sink, "1 V");
        sink->element(sink->context, 'v', volt, TL_GROUND, 1);
        sink->controlled(sink->context, 'g', a->first, in, volt, 1);
    }
    a->first = in;
    a->second = true;
    return in;
}

/// Has the voltage where the current is driven in solved too.
static void probe_lead(tl_circuit* circuit) {
    for (size_t i = 0; i < circuit->element_count; ++i)
        if (circuit->elements[i].kind == 'g') {
            circuit->outputs =
                tl_grow(circuit->outputs, circuit->output_count + 1, sizeof *circuit->outputs);
            circuit->outputs[circuit->output_count++] =
                (tl_output){circuit->elements[i].b, tl_copy("lead"), false};
            return;
        }
}

/// Has the voltage between the two ends of the current read in place of the last amp's.
static void probe_between(tl_circuit* circuit) {
    for (size_t i = 0; i < circuit->element_count; ++i) {
        tl_element current = circuit->elements[i];
        if (current.kind != 'g' || current.part || current.control != tl_known_volt(circuit))
            continue;
        tl_node follows = tl_known_follower(circuit, TL_GROUND, current.b, 1);
        circuit->outputs[circuit->output_count - 1].node =
            tl_known_follower(circuit, follows, current.a, -1);
        return;
    }
}

static void add_circuit(dressing* d, tl_circuit* circuit) {
    d->circuits = tl_grow_one(d->circuits, d->count, sizeof(tl_circuit*));
    d->circuits[d->count++] = circuit;
}

static void add_run_circuits(dressing* d, work* at) {
    d->dress->runs[at - d->works].in_path =
        is_met(d, at->lead) && (!at->other || is_met(d, at->other));
    at->first = d->count;
    if (!d->dress->runs[at - d->works].in_path)
        return;
    addition a = {at, INJECTED, d->buffer, tl_coupling_farad(&at->lie), 0, false};
    if (at->other) {
        tl_circuit_extras extras = {.context = &a, .before = add_capacitance};
        add_circuit(d, tl_circuit_build_extended(d->rig, &extras));
        a.second = false;
        extras = (tl_circuit_extras){.context = &a, .before = add_current, .silent = true};
        tl_circuit* circuit = tl_circuit_build_extended(d->rig, &extras);
        probe_between(circuit);
        tl_known_add(circuit, TL_DRESS_KNOWN_OHM);
        add_circuit(d, circuit);
        return;
    }
    tl_circuit_extras extras = {.context = &a, .before = add_source, .silent = true};
    for (a.which = INJECTED; a.which < SOLVES; ++a.which) {
        tl_circuit* circuit = tl_circuit_build_extended(d->rig, &extras);
        bool injected = a.which == INJECTED || a.which == INJECTED_BUFFERED;
        if (injected)
            probe_lead(circuit);
        tl_known_add(circuit, injected ? TL_DRESS_KNOWN_OHM : TL_DRESS_KNOWN_SHARE);
        add_circuit(d, circuit);
    }
}

/// The rig as written first; the same without its joints; then each run's.
static void build_circuits(dressing* d) {
    tl_circuit_extras extras = {.context = d, .before = collect};
    add_circuit(d, tl_circuit_build_extended(d->rig, &extras));
    const tl_part** contacts = tl_new(d->met_count, sizeof(tl_part*));
    size_t count = 0;
    for (size_t i = 0; i < d->met_count; ++i)
        if (d->met[i]->kind == &tl_kind_contact)
            contacts[count++] = d->met[i];
    tl_lead_list leads;
    tl_leads_list(d->rig, &leads);
    tl_dress_count_joints(&d->dress->joints, contacts, count, &leads);
    tl_leads_free(&leads);
    free(contacts);
    if (count) {
        tl_rig* bare = tl_dress_without_joints(d->rig);
        d->without_joints = d->count;
        add_circuit(d, tl_circuit_build_rig(bare));
        tl_rig_free(bare);
    }
    for (size_t i = 0; i < d->dress->run_count; ++i)
        add_run_circuits(d, &d->works[i]);
}

static void blame(void* context, size_t index, tl_error* error) {
    const dressing* d = context;
    (void)index;
    tl_error_prefix(error, "%s", tl_rig_path(d->rig));
}

static tl_status solve_all(dressing* d, tl_error* error) {
    d->answers = tl_new(d->count, sizeof(tl_answer*));
    tl_batch batch = {d->circuits, d->count, reference_hz, blame, d};
    return tl_batch_solve(d->session, &batch, d->answers, error);
}

// ---- figures

static tl_dress_solved solved_at(const dressing* d, const work* at, bool buffered, size_t amp) {
    const tl_answer* injected = d->answers[at->first + (buffered ? INJECTED_BUFFERED : INJECTED)];
    const tl_answer* series = d->answers[at->first + (buffered ? IN_SERIES_BUFFERED : IN_SERIES)];
    return (tl_dress_solved){injected->solved[amp].response,
                             injected->solved[injected->count - 1].response,
                             series->solved[amp].response};
}

/// How far apart the ends of two leads are that cross in the middle.
static double ends_m(const tl_run_geometry* lie, double angle_deg) {
    return hypot(lie->spacing_m, lie->length_m * sin(angle_deg * M_PI / 360));
}

/// Up to a whole step, so that what is told is enough.
static double round_up(double value, double steps) {
    return ceil(value * steps * (1 + 1e-7)) / steps;
}

static void measure_amp(const dressing* d, work* at, size_t amp, tl_dress_amp* made) {
    double floor_v = d->dress->floor_v[amp];
    size_t count = at->source.count;
    tl_run_geometry crossing = at->lie;
    crossing.angle_deg = 90;
    tl_dress_solved solved = solved_at(d, at, false, amp);
    tl_dress_probe* probes = tl_dress_probes(&at->source, &solved);
    made->as_is = tl_dress_level_of(probes, count, &at->lie, floor_v);
    made->crossing = tl_dress_level_of(probes, count, &crossing, floor_v);
    made->enough_m = round_up(tl_dress_enough_m(probes, count, &at->lie, floor_v), 1e3);
    made->enough_deg = round_up(tl_dress_enough_deg(probes, count, &at->lie, floor_v), 1);
    made->ends_m = ends_m(&at->lie, made->enough_deg);
    made->lines = tl_dress_lines(probes, count, &at->lie, &made->line_count);
    at->probes[amp] = probes;
    solved = solved_at(d, at, true, amp);
    probes = tl_dress_probes(&at->source, &solved);
    made->buffered_floor_v =
        at->buffered_floor_is_todays ? floor_v : at->buffered->rig[amp].a_weighted_v;
    made->buffered = tl_dress_level_of(probes, count, &at->lie, made->buffered_floor_v);
    free(probes);
}

static void measure_run(dressing* d, work* at, tl_dress_run* run) {
    const double impedance_hz = 1000;
    at->source = tl_source_of(at->run->part, solved_hz);
    at->probes = tl_new(d->dress->amp_count, sizeof *at->probes);
    tl_dress_solved plain = solved_at(d, at, false, 0);
    tl_dress_solved buffered = solved_at(d, at, true, 0);
    run->impedance_ohm = cabs(tl_response_at(plain.at_lead, impedance_hz) - TL_DRESS_KNOWN_OHM);
    run->buffered_ohm = cabs(tl_response_at(buffered.at_lead, impedance_hz) - TL_DRESS_KNOWN_OHM);
    run->unheard_hz = at->source.highest_hz;
    run->henry = tl_coupling_henry(&at->lie);
    run->buffered_floor_is_todays = at->buffered_floor_is_todays;
    run->from_guitar = is_first_lead(d, at->lead);
    run->amps = tl_new(d->dress->amp_count, sizeof *run->amps);
    for (size_t i = 0; i < d->dress->amp_count; ++i)
        measure_amp(d, at, i, &run->amps[i]);
}

/// What one lead passes on to another, from the rig solved with and without it; `shares` by point.
static tl_dress_leak measure_leak(const tl_solved* with, const tl_solved* without,
                                  double _Complex* shares) {
    tl_dress_leak leak = {.leak_db = least_leak_db, .leak_hz = NAN};
    for (size_t i = 0; i < TL_LOOP_POINTS; ++i) {
        double hz = tl_loop_hz(i);
        double _Complex plain = tl_response_at(without->response, hz);
        shares[i] = tl_response_at(with->response, hz) / plain - 1;
        double db = 20 * log10(cabs(shares[i]));
        if (db > leak.leak_db) {
            leak.leak_db = db;
            leak.leak_hz = hz;
        }
    }
    leak.hearing =
        tl_hearing_compare(with->response, &with->metrics, without->response, &without->metrics);
    leak.unstable = with->metrics.unstable;
    leak.unstable_hz = with->metrics.unstable_hz;
    return leak;
}

static void measure_audio(dressing* d, const work* at, tl_dress_run* run) {
    size_t amps = d->dress->amp_count;
    const tl_answer* between = d->answers[at->first + BETWEEN];
    tl_dress_loop loop = {between->solved[between->count - 1].response, run->farad};
    double _Complex* shares = tl_new(amps * TL_LOOP_POINTS, sizeof *shares);
    run->leaks = tl_new(amps, sizeof *run->leaks);
    run->loop_db = tl_loop_margin_db(&loop, &run->loop_hz);
    run->may_lie = run->loop_db >= TL_DRESS_LOOP_DB;
    for (size_t i = 0; i < amps; ++i) {
        run->leaks[i] = measure_leak(&d->answers[at->first + WITH_CAPACITANCE]->solved[i],
                                     &d->answers[0]->solved[i], shares + i * TL_LOOP_POINTS);
        if (run->leaks[i].unstable || run->leaks[i].hearing.verdict != TL_NOT_AUDIBLE)
            run->may_lie = false;
    }
    run->apart_m =
        run->may_lie ? NAN : round_up(tl_loop_apart_m(&loop, &at->lie, shares, amps), 1e3);
    free(shares);
}

static void measure_runs(dressing* d) {
    tl_dress* dress = d->dress;
    for (size_t i = 0; i < dress->run_count; ++i) {
        work* at = &d->works[i];
        tl_dress_run* run = &dress->runs[i];
        run->farad = tl_coupling_farad(&at->lie);
        if (run->in_path && at->other)
            measure_audio(d, at, run);
        else if (run->in_path)
            measure_run(d, at, run);
    }
}

/// The loudest run of those that have something to add, but `except`; as many as there are: none.
static size_t find_loudest(const tl_dress* dress, size_t amp, size_t except) {
    size_t loudest = dress->run_count;
    double most_v = 0;
    for (size_t i = 0; i < dress->run_count; ++i)
        if (dress->runs[i].amps && i != except &&
            dress->runs[i].amps[amp].as_is.a_weighted_v > most_v) {
            loudest = i;
            most_v = dress->runs[i].amps[amp].as_is.a_weighted_v;
        }
    return loudest;
}

/// The runs beside mains and dc at an amp, without `except`.
static size_t list_summands(const dressing* d, size_t amp, size_t except, tl_dress_summand* list) {
    size_t count = 0;
    for (size_t i = 0; i < d->dress->run_count; ++i) {
        const work* at = &d->works[i];
        if (!d->dress->runs[i].amps || i == except)
            continue;
        bool mains = tl_part_chosen(at->run->part, "beside", "mains");
        double hz = mains ? tl_part_number(at->run->part, "frequency", 0) : 0;
        list[count++] = (tl_dress_summand){at->probes[amp], at->source.count, at->lie, hz};
    }
    return count;
}

/// Where a run stands among those beside mains and dc.
static size_t place_among(const tl_dress* dress, size_t index) {
    size_t place = 0;
    for (size_t i = 0; i < index; ++i)
        place += dress->runs[i].amps != NULL;
    return place;
}

/// All runs together, by amp; and, when they are not buried, which to move first.
static void add_up(dressing* d) {
    tl_dress* dress = d->dress;
    tl_dress_summand* list = tl_new(dress->run_count, sizeof *list);
    dress->together = tl_new(dress->amp_count, sizeof *dress->together);
    for (size_t amp = 0; amp < dress->amp_count; ++amp) {
        double floor_v = dress->floor_v[amp];
        size_t none = dress->run_count;
        size_t count = list_summands(d, amp, none, list);
        tl_dress_sum* sum = &dress->together[amp];
        *sum = (tl_dress_sum){tl_dress_sum_of(list, count, floor_v), none, NAN, NAN, none};
        if (sum->level.verdict == TL_DRESS_BURIED)
            continue;
        sum->first = find_loudest(dress, amp, none);
        sum->next = find_loudest(dress, amp, sum->first);
        sum->enough_m = round_up(
            tl_dress_sum_enough_m(list, count, place_among(dress, sum->first), floor_v), 1e3);
        count = list_summands(d, amp, sum->first, list);
        sum->without_db = tl_dress_sum_of(list, count, floor_v).floor_db;
    }
    free(list);
}

static void compare_joints(dressing* d) {
    tl_dress_joints* joints = &d->dress->joints;
    for (size_t i = 0; d->without_joints && i < d->dress->amp_count; ++i) {
        const tl_solved* with = &d->answers[0]->solved[i];
        const tl_solved* without = &d->answers[d->without_joints]->solved[i];
        tl_hearing hearing = tl_hearing_compare(with->response, &with->metrics, without->response,
                                                &without->metrics);
        if (i == 0 || fabs(hearing.worst_db) > fabs(joints->hearing.worst_db)) {
            joints->hearing = hearing;
            joints->hearing_amp = i;
        }
    }
}

// ---- from the rig file

static tl_status take_runs(dressing* d, tl_error* error) {
    tl_dress* dress = d->dress;
    tl_status status = TL_OK;
    dress->run_count = d->rig->run_count;
    dress->runs = tl_new(dress->run_count, sizeof *dress->runs);
    d->works = tl_new(dress->run_count, sizeof *d->works);
    for (size_t i = 0; status == TL_OK && i < dress->run_count; ++i) {
        const tl_run* run = &d->rig->runs[i];
        work* at = &d->works[i];
        at->run = run;
        status = tl_run_leads(d->rig, run, &at->lead, &at->other, error);
        if (status != TL_OK)
            return status;
        at->lie = tl_run_geometry_of(run->part, at->lead, at->other);
        dress->runs[i] = (tl_dress_run){.name = tl_copy(run->name),
                                        .lead = tl_copy(run->lead),
                                        .beside = tl_part_choice(run->part, "beside"),
                                        .source = tl_dress_source_words(run),
                                        .taken = tl_dress_taken_words(run, at->lead),
                                        .length_m = at->lie.length_m,
                                        .spacing_m = at->lie.spacing_m,
                                        .angle_deg = at->lie.angle_deg,
                                        .height_m = at->lie.height_m};
    }
    return status;
}

/// The rig's own noise, in the state it is written in.
static tl_status find_floor(dressing* d, tl_error* error) {
    tl_noise_options options = {.reference_hz = reference_hz};
    tl_status status = tl_study_noise(d->session, d->rig, &options, &d->noise, error);
    if (status != TL_OK)
        return status;
    tl_dress* dress = d->dress;
    const tl_noise* noise = d->noise;
    dress->amp_count = noise->amp_count;
    dress->amps = tl_new(noise->amp_count, sizeof *dress->amps);
    dress->floor_v = tl_new(noise->amp_count, sizeof *dress->floor_v);
    dress->point_count = noise->rig[0].count;
    dress->hz = tl_new(dress->point_count, sizeof *dress->hz);
    memcpy(dress->hz, noise->rig[0].hz, dress->point_count * sizeof *dress->hz);
    dress->floor_v_rthz =
        tl_new(noise->amp_count * dress->point_count, sizeof *dress->floor_v_rthz);
    for (size_t i = 0; i < noise->amp_count; ++i) {
        dress->amps[i] = tl_copy(noise->rig[i].amp);
        dress->floor_v[i] = noise->rig[i].a_weighted_v;
        memcpy(dress->floor_v_rthz + i * dress->point_count, noise->rig[i].v_rthz,
               dress->point_count * sizeof *dress->floor_v_rthz);
    }
    return TL_OK;
}

/// The noise with a buffer in front of a run's lead. ngspice may not solve that rig though it did
/// solve the others; it is then held against today's noise.
static void find_buffered_floor(dressing* d, work* at) {
    tl_noise_options options = {.reference_hz = reference_hz};
    tl_error* unsolved = tl_error_new();
    at->buffered_is_mine = tl_study_noise_buffered(d->session, d->rig, &options, at->run, d->buffer,
                                                   &at->buffered, unsolved) == TL_OK;
    at->buffered_floor_is_todays = !at->buffered_is_mine;
    tl_error_free(unsolved);
}

/// The same for all runs, those along one lead together.
static void find_buffered_floors(dressing* d) {
    for (size_t i = 0; i < d->dress->run_count; ++i) {
        work* at = &d->works[i];
        if (at->other || !d->dress->runs[i].in_path)
            continue;
        const work* same = d->works;
        while (same->lead != at->lead || same->other || !d->dress->runs[same - d->works].in_path)
            ++same;
        if (same < at) {
            at->buffered = same->buffered;
            at->buffered_floor_is_todays = same->buffered_floor_is_todays;
        } else {
            find_buffered_floor(d, at);
        }
    }
}

/// Puts the pedals as they were asked for.
static tl_status take_fixes(dressing* d, const tl_dress_options* options, tl_error* error) {
    tl_toggle_list toggles = tl_toggles_list(d->rig);
    bool* held = tl_new(toggles.count, sizeof *held);
    tl_text words = {0};
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < options->fix_count; ++i) {
        status = tl_fix_read(&toggles, options->fixes[i], held, error);
        tl_text_add(&words, i ? ", " : "");
        tl_text_add_safe(&words, options->fixes[i]);
    }
    d->dress->fixed = tl_text_take(&words);
    free(held);
    tl_toggles_free(&toggles);
    return status;
}

/// The first lead of the chain, as an example of a path.
static void find_example(void* context, tl_part* part, const tl_item* item, const char* path) {
    static const char end[] = ".cable";
    tl_dress* dress = context;
    (void)item;
    if (dress->example_lead || part->kind != &tl_kind_cable || strncmp(path, "chain", 5) != 0)
        return;
    dress->example_lead = tl_printf("%.*s", (int)(strlen(path) - strlen(end)), path);
    dress->example_m = tl_part_number(part, "length", 0);
}

static tl_status take_buffer(dressing* d, tl_error* error) {
    tl_place nowhere = {0};
    d->dress->buffer = tl_copy(buffer_name);
    return tl_library_part(d->rig->library, &tl_kind_buffer, buffer_name, &nowhere, &d->buffer,
                           error);
}

static void free_work(dressing* d) {
    for (size_t i = 0; i < d->count; ++i) {
        tl_circuit_free(d->circuits[i]);
        if (d->answers)
            tl_answer_free(d->answers[i]);
    }
    free(d->circuits);
    free(d->answers);
    for (size_t i = 0; d->works && i < d->dress->run_count; ++i) {
        work* at = &d->works[i];
        for (size_t j = 0; at->probes && j < d->dress->amp_count; ++j)
            free(at->probes[j]);
        free(at->probes);
        free(at->source.lines);
        if (at->buffered_is_mine)
            tl_noise_free(at->buffered);
    }
    free(d->works);
    free(d->met);
    tl_rig_free(d->rig);
    tl_part_free(d->buffer);
    tl_noise_free(d->noise);
}

static tl_status study_dress(tl_session* session, tl_rig* rig, const tl_dress_options* options,
                             tl_dress** dress, tl_error* error) {
    dressing d = {
        .session = session, .rig = tl_rig_clone(rig), .dress = tl_new(1, sizeof(tl_dress))};
    d.dress->rig = tl_copy(tl_rig_title(rig));
    tl_rig_each_part(d.rig, find_example, d.dress);
    tl_status status = take_fixes(&d, options, error);
    if (status == TL_OK)
        status = take_buffer(&d, error);
    if (status == TL_OK)
        status = take_runs(&d, error);
    if (status == TL_OK)
        status = find_floor(&d, error);
    if (status == TL_OK) {
        build_circuits(&d);
        status = solve_all(&d, error);
    }
    if (status == TL_OK) {
        find_buffered_floors(&d);
        measure_runs(&d);
        add_up(&d);
        compare_joints(&d);
    }
    free_work(&d);
    if (status != TL_OK) {
        tl_dress_free(d.dress);
        d.dress = NULL;
    }
    *dress = d.dress;
    return status;
}

tl_status tl_study_dress(tl_session* session, tl_rig* rig, const tl_dress_options* options,
                         tl_dress** dress, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status status = study_dress(session, rig, options, dress, error);
    tl_locale_restore(locale);
    return status;
}

void tl_dress_free(tl_dress* dress) {
    if (!dress)
        return;
    for (size_t i = 0; i < dress->run_count; ++i) {
        tl_dress_run* run = &dress->runs[i];
        for (size_t j = 0; run->amps && j < dress->amp_count; ++j)
            free(run->amps[j].lines);
        free(run->amps);
        free(run->leaks);
        free(run->name);
        free(run->lead);
        free(run->source);
        free(run->taken);
    }
    for (size_t i = 0; i < dress->amp_count; ++i)
        free(dress->amps[i]);
    tl_dress_free_joints(&dress->joints);
    free(dress->runs);
    free(dress->amps);
    free(dress->floor_v);
    free(dress->hz);
    free(dress->floor_v_rthz);
    free(dress->together);
    free(dress->buffer);
    free(dress->fixed);
    free(dress->example_lead);
    free(dress->rig);
    free(dress);
}

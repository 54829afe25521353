// SPDX-License-Identifier: GPL-3.0-or-later
// Noise at the amp's input by ngspice's noise analysis: how much, from whom, in every state.
#include "study/noise_buffered.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/library.h"
#include "parts/noise.h"
#include "response/weighting.h"
#include "rig/dressing.h"
#include "study/alike.h"
#include "study/noise_kept.h"
#include "study/noise_owner.h"
#include "study/pedals.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_PER_DECADE = 100, MOST_PER_DECADE = 3000 };
static const double solved_low_hz = 10;
static const double solved_high_hz = 100e3;
static const double lowest_playing_v = 1e-4, highest_playing_v = 100;
/// Frequencies a decade for each unit of Q: steps this short against a resonance's width leave
/// trapezoids wrong by 1e-4 of its power at most (the error goes as 2 exp(-pi / (Q step))).
static const double per_decade_of_q = 7.5;
static const double least_share = 1e-12; ///< what rounding leaves of parts that make nothing
static const double least_rest = 1e-6;   ///< share of power below which nobody is to blame

/// A probe of a deck and whose it is.
typedef struct {
    const tl_part* part;
    tl_noise_slot slot;
    tl_makes makes;
} owner;

/// One noise analysis on its way.
typedef struct {
    tl_deck* deck;
    owner* owners; ///< by output of the deck but the first, which is all of it
    unsigned node;
    unsigned source;
    tl_noise_at at;
    char* mark; ///< what a session would know it by; NULL: it is not kept
} analysis;

/// What the study carries along. Analyses: by amp the rig as written, by amp its direct, then state
/// by state each amp; of states that come to the same circuit the first.
typedef struct {
    tl_session* session;
    tl_rig* rig; ///< a clone, whose pedals are switched
    const tl_noise_options* options;
    tl_noise* noise;
    tl_pedals pedals;
    bool* written;  ///< by toggle: as the rig has it
    tl_alike alike; ///< states that come to the same circuit
    analysis* analyses;
    size_t* jobs; ///< by job of the pool: its analysis; what the session knows already is left out
    size_t job_count;
    tl_noise_names names;
    double sharpest_q;     ///< of all resonances in all states
    const tl_part* buffer; ///< goes in front of `buffered_lead`; NULL: nothing does
    const tl_part* buffered_lead;
} listening;

// ---- asking

static void add_probe(analysis* a, char letter, unsigned number, owner whose) {
    tl_deck* deck = a->deck;
    deck->outputs = tl_grow_one(deck->outputs, deck->output_count, sizeof *deck->outputs);
    a->owners = tl_grow_one(a->owners, deck->output_count, sizeof *a->owners);
    a->owners[deck->output_count] = whose;
    deck->outputs[deck->output_count++] = (tl_probe){letter, number};
}

/// Makes a deck of a circuit that is heard at one output; what is no part's belongs to `added`.
static void make_deck(analysis* a, const tl_circuit* circuit, const tl_output* output,
                      const tl_part* added) {
    a->deck = tl_circuit_deck(circuit, NULL);
    a->deck->output_count = 0;
    free(a->deck->outputs);
    a->deck->outputs = NULL;
    a->node = output->node;
    a->at.amp = tl_copy(output->amp);
    add_probe(a, 'o', 0, (owner){0});
    for (size_t i = 0; i < circuit->element_count; ++i) {
        const tl_element* element = &circuit->elements[i];
        if (element->direct != output->direct)
            continue;
        if (element->kind == 'v' && !a->source)
            a->source = (unsigned)i + 1;
        char letter = tl_noise_letter(circuit, element);
        if (letter)
            add_probe(a, letter, (unsigned)i + 1,
                      (owner){element->part ? element->part : added, tl_noise_slot_of(element),
                              element->makes});
    }
}

static void enter_written(const listening* l) {
    for (size_t i = 0; i < l->pedals.toggles.count; ++i)
        tl_toggle_set(&l->pedals.toggles.toggles[i], l->written[i]);
}

/// Never 0: without an amp a study has ended.
static size_t amp_count(const listening* l) {
    return l->noise->amp_count ? l->noise->amp_count : 1;
}

/// The state of an analysis: the rig as written for those that come first.
static void enter_state(const listening* l, size_t index) {
    size_t first = 2 * amp_count(l);
    if (index < first)
        enter_written(l);
    else
        tl_pedals_enter(&l->pedals, l->alike.first[(index - first) / amp_count(l)]);
}

/// The buffer that a study wants in front of a lead.
static tl_node add_buffer(void* context, const tl_item* item, const tl_sink* sink, tl_node in) {
    const listening* l = context;
    bool here = l->buffer && item->part == l->buffered_lead;
    return here ? l->buffer->kind->emit(l->buffer, sink, in, TL_GROUND) : in;
}

/// How many frequencies a decade follow the sharpest resonance.
static unsigned per_decade(const listening* l) {
    double count = ceil(per_decade_of_q * l->sharpest_q);
    return (unsigned)fmin(fmax(count, LEAST_PER_DECADE), MOST_PER_DECADE);
}

static bool is_direct(const listening* l, size_t index) {
    return index >= l->noise->amp_count && index < 2 * l->noise->amp_count;
}

static tl_circuit* build_circuit(const listening* l, bool direct) {
    const tl_circuit_extras extras = {
        .context = (void*)l, .before = add_buffer, .noise = true, .direct = direct};
    return tl_circuit_build_extended(l->rig, &extras);
}

/// The circuit of a state, whichever amp is listened at.
static tl_circuit* build_listened(void* context, size_t state) {
    const listening* l = context;
    tl_pedals_enter(&l->pedals, state);
    return build_circuit(l, false);
}

/// Makes the deck of an analysis, and what a session knows it by.
static void prepare(const listening* l, size_t index) {
    analysis* a = &l->analyses[index];
    size_t amp = index % amp_count(l);
    bool direct = is_direct(l, index);
    enter_state(l, index);
    tl_circuit* circuit = build_circuit(l, direct);
    const tl_output* output = &circuit->outputs[direct ? 2 * amp + 1 : amp];
    make_deck(a, circuit, output, l->buffer);
    if (index < 2 * l->noise->amp_count && !l->buffer)
        a->mark = tl_noise_mark(&l->names, circuit, output, per_decade(l));
    tl_circuit_free(circuit);
}

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)error;
    listening* l = context;
    size_t index = l->jobs[job];
    analysis* a = &l->analyses[index];
    if (!a->deck)
        prepare(l, index);
    *request = (tl_request){.deck = a->deck,
                            .analysis = TL_NOISE,
                            .per_decade = per_decade(l),
                            .low_hz = solved_low_hz,
                            .high_hz = solved_high_hz,
                            .noise_node = a->node,
                            .noise_source = a->source};
    return TL_OK;
}

// ---- adding up

/// The row of a part, or a new one. `whose` NULL: what no part is to blame for.
static tl_noise_part* part_row(const listening* l, tl_noise_at* at, const owner* whose) {
    const tl_noise_name* who = whose ? tl_noise_name_of(&l->names, whose->part) : NULL;
    char* name = who ? tl_noise_words(who, whose->slot) : tl_copy("everything else");
    for (size_t i = 0; i < at->part_count; ++i)
        if (strcmp(at->parts[i].path, who ? who->path : "") == 0 &&
            strcmp(at->parts[i].name, name) == 0) {
            free(name);
            return &at->parts[i];
        }
    at->parts = tl_grow_one(at->parts, at->part_count, sizeof *at->parts);
    tl_noise_part* row = &at->parts[at->part_count++];
    *row = (tl_noise_part){.name = name,
                           .path = tl_copy(who ? who->path : ""),
                           .where = tl_copy(who ? who->where : ""),
                           .v_rthz = tl_new(at->count, sizeof *row->v_rthz)};
    return row;
}

/// Adds one element's noise to its part's, as squares; a stated density rises below its corner.
static void add_share(const listening* l, analysis* a, const owner* whose, const double* v_rthz,
                      double* solved) {
    tl_noise_at* at = &a->at;
    tl_noise_part* row = part_row(l, at, whose);
    bool stated = whose->makes == TL_MAKES_VOLTAGE || whose->makes == TL_MAKES_CURRENT;
    for (size_t i = 0; i < at->count; ++i) {
        double power = v_rthz[i] * v_rthz[i];
        solved[i] += power;
        if (stated)
            power *= tl_noise_rise(whose->part, whose->makes == TL_MAKES_CURRENT, at->hz[i]);
        row->v_rthz[i] += power;
    }
}

/// What ngspice's total has beyond all shares, if anything; it counts as much as any part.
static void add_rest(const listening* l, tl_noise_at* at, const double* total, double* solved) {
    double most = 0;
    for (size_t i = 0; i < at->count; ++i) {
        solved[i] = fmax(0, total[i] * total[i] - solved[i]);
        most = fmax(most, solved[i] / (total[i] * total[i]));
    }
    if (most < least_rest)
        return;
    tl_noise_part* row = part_row(l, at, NULL);
    memcpy(row->v_rthz, solved, at->count * sizeof *solved);
}

static int by_share(const void* a, const void* b) {
    const tl_noise_part* one = a;
    const tl_noise_part* two = b;
    if (one->a_share != two->a_share)
        return one->a_share < two->a_share ? 1 : -1;
    return strcmp(one->path, two->path);
}

static double rms_v(const tl_noise_at* at, const double* v_rthz, bool weighted) {
    return tl_noise_rms_v(at->count, at->hz, v_rthz, TL_NOISE_LOW_HZ, TL_NOISE_HIGH_HZ, weighted);
}

/// From powers by part to densities, totals and shares.
static void finish_parts(tl_noise_at* at) {
    for (size_t i = 0; i < at->count; ++i) {
        for (size_t j = 0; j < at->part_count; ++j) {
            at->v_rthz[i] += at->parts[j].v_rthz[i];
            at->parts[j].v_rthz[i] = sqrt(at->parts[j].v_rthz[i]);
        }
        at->v_rthz[i] = sqrt(at->v_rthz[i]);
    }
    at->total_v = rms_v(at, at->v_rthz, false);
    at->a_weighted_v = rms_v(at, at->v_rthz, true);
    for (size_t j = 0; j < at->part_count; ++j) {
        at->parts[j].share = pow(rms_v(at, at->parts[j].v_rthz, false) / at->total_v, 2);
        at->parts[j].a_share = pow(rms_v(at, at->parts[j].v_rthz, true) / at->a_weighted_v, 2);
    }
    qsort(at->parts, at->part_count, sizeof *at->parts, by_share);
    while (at->part_count && at->parts[at->part_count - 1].a_share < least_share)
        tl_noise_clear_part(&at->parts[--at->part_count]);
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    (void)request;
    (void)error;
    const listening* l = context;
    analysis* a = &l->analyses[l->jobs[job]];
    tl_noise_at* at = &a->at;
    *again = false;
    at->count = reply->points;
    at->hz = tl_new(at->count, sizeof *at->hz);
    at->v_rthz = tl_new(at->count, sizeof *at->v_rthz);
    memcpy(at->hz, reply->hz, at->count * sizeof *at->hz);
    double* solved = tl_new(at->count, sizeof *solved);
    for (size_t i = 1; i < a->deck->output_count; ++i)
        add_share(l, a, &a->owners[i], reply->x + i * reply->points, solved);
    add_rest(l, at, reply->x, solved);
    free(solved);
    finish_parts(at);
    return TL_OK;
}

static void clear_analysis(analysis* a) {
    tl_deck_free(a->deck);
    free(a->owners);
    free(a->mark);
    tl_noise_clear_at(&a->at);
    *a = (analysis){0};
}

/// Widens the band of all states by one.
static void widen(tl_noise* noise, size_t amp, const tl_noise_at* at) {
    for (size_t i = 0; i < at->count; ++i) {
        double* low = &noise->low_v_rthz[amp * at->count + i];
        double* high = &noise->high_v_rthz[amp * at->count + i];
        *low = fmin(*low, at->v_rthz[i]);
        *high = fmax(*high, at->v_rthz[i]);
    }
}

/// Room for the band, and nothing in it yet.
static void open_band(tl_noise* noise, size_t count) {
    size_t all = noise->amp_count * count;
    noise->low_v_rthz = tl_new(all, sizeof *noise->low_v_rthz);
    noise->high_v_rthz = tl_new(all, sizeof *noise->high_v_rthz);
    for (size_t i = 0; i < all; ++i)
        noise->low_v_rthz[i] = INFINITY;
}

static void keep_state(tl_noise* noise, size_t index, size_t amp, const tl_noise_at* at) {
    tl_noise_state_amp* kept = &noise->states[index].amps[amp];
    kept->total_v = at->total_v;
    kept->a_weighted_v = at->a_weighted_v;
    kept->loudest = tl_copy(at->part_count ? at->parts[0].name : "");
    kept->loudest_a_share = at->part_count ? at->parts[0].a_share : NAN;
}

/// Keeps an analysis of states that are alike for each of them.
static void keep_states(const listening* l, size_t index, const tl_noise_at* at) {
    tl_noise* noise = l->noise;
    size_t amp = index % noise->amp_count;
    if (!noise->low_v_rthz)
        open_band(noise, at->count);
    widen(noise, amp, at);
    size_t first = l->alike.first[index / noise->amp_count];
    for (size_t i = first; i != SIZE_MAX; i = l->alike.next[i])
        keep_state(noise, i, amp, at);
}

/// Puts what was heard of the rig as written, or of its direct, where it belongs.
static void keep_heard(const listening* l, size_t index, tl_noise_at* at) {
    tl_noise* noise = l->noise;
    size_t amps = noise->amp_count;
    tl_noise_at* to = index < amps ? &noise->rig[index] : &noise->direct[index - amps];
    double signal_v = to->signal_v;
    *to = *at;
    to->signal_v = signal_v;
    *at = (tl_noise_at){0};
}

static tl_status deliver(void* context, size_t job, tl_error* error) {
    (void)error;
    listening* l = context;
    size_t index = l->jobs[job];
    analysis* a = &l->analyses[index];
    size_t amps = l->noise->amp_count;
    if (a->mark)
        tl_noise_keep(&l->session->noises, a->mark, &a->at);
    if (index < 2 * amps)
        keep_heard(l, index, &a->at);
    else
        keep_states(l, index - 2 * amps, &a->at);
    clear_analysis(a);
    if (l->session->options.progress)
        l->session->options.progress(l->session->options.context, job + 1, l->job_count);
    return TL_OK;
}

static void blame(void* context, size_t job, tl_error* error) {
    const listening* l = context;
    size_t amps = l->noise->amp_count;
    size_t index = l->jobs[job];
    if (index < 2 * amps)
        tl_error_prefix(error, "%s, %s", tl_rig_path(l->rig), index < amps ? "rig" : "direct");
    else
        tl_error_prefix(error, "%s, state %zu", tl_rig_path(l->rig),
                        l->alike.first[(index - 2 * amps) / amps] + 1);
}

// ---- the playing level

/// The playing level as it was given, or the usual one.
static tl_status read_level(const listening* l, tl_error* error) {
    const char* text = l->options->playing;
    l->noise->playing_v = TL_NOISE_PLAYING_V;
    if (!text)
        return TL_OK;
    tl_text complaint = {0};
    double volts = 0;
    tl_status status = TL_OK;
    if (!tl_quantity_parse(tl_library_units(tl_session_library(l->session)), text, TL_UNIT_VOLT,
                           &volts, &complaint)) {
        tl_text shown = {0};
        tl_text_add_safe(&shown, text);
        status = tl_error_set(error, TL_BAD_INPUT, "--level '%s': %s", tl_text_get(&shown),
                              tl_text_get(&complaint));
        tl_text_free(&shown);
    } else if (!(volts >= lowest_playing_v && volts <= highest_playing_v)) {
        status = tl_error_set(error, TL_BAD_INPUT,
                              "--level '%s': a playing level is between 0.1 mV and 100 V", text);
    }
    tl_text_free(&complaint);
    l->noise->playing_v = volts;
    return status;
}

/// Looks for the sharpest resonance that could be heard: noise there has to be followed closely.
static void note_sharpness(listening* l, const tl_answer* answer) {
    for (size_t i = 0; i < answer->count; ++i) {
        size_t count = 0;
        const tl_pole* poles = tl_response_poles(answer->solved[i].response, &count);
        for (size_t j = 0; j < count; ++j) {
            double size = hypot(poles[j].re, poles[j].im);
            double hz = size / (2 * M_PI);
            if (poles[j].counts && hz > TL_NOISE_LOW_HZ / 2 && hz < 2 * TL_NOISE_HIGH_HZ)
                l->sharpest_q = fmax(l->sharpest_q, size / (2 * fabs(poles[j].re)));
        }
    }
}

static double level_of(const tl_noise* noise, const tl_solved* solved) {
    return noise->playing_v * pow(10, solved->metrics.reference_db / 20);
}

/// How much of the playing level arrives, in the rig as written and direct; finds the amps too.
static tl_status solve_levels(listening* l, tl_error* error) {
    tl_noise* noise = l->noise;
    tl_answer* answer = NULL;
    tl_status status =
        tl_study_response(l->session, l->rig, l->options->reference_hz, &answer, error);
    if (status != TL_OK)
        return status;
    noise->amp_count = answer->count / 2;
    noise->rig = tl_new(noise->amp_count, sizeof *noise->rig);
    noise->direct = tl_new(noise->amp_count, sizeof *noise->direct);
    for (size_t i = 0; i < noise->amp_count; ++i) {
        noise->rig[i].signal_v = level_of(noise, &answer->solved[2 * i]);
        noise->direct[i].signal_v = level_of(noise, &answer->solved[2 * i + 1]);
    }
    note_sharpness(l, answer);
    tl_answer_free(answer);
    return TL_OK;
}

static tl_circuit* build_state(void* context, size_t index) {
    const listening* l = context;
    tl_pedals_enter(&l->pedals, l->alike.first[index]);
    return tl_circuit_build_rig(l->rig);
}

static void deliver_level(void* context, size_t index, tl_answer* answer) {
    listening* l = context;
    for (size_t at = l->alike.first[index]; at != SIZE_MAX; at = l->alike.next[at])
        for (size_t i = 0; i < l->noise->amp_count; ++i)
            l->noise->states[at].amps[i].signal_v = level_of(l->noise, &answer->solved[i]);
    note_sharpness(l, answer);
    tl_answer_free(answer);
}

static void blame_level(void* context, size_t index, tl_error* error) {
    const listening* l = context;
    tl_error_prefix(error, "%s, state %zu", tl_rig_path(l->rig), l->alike.first[index] + 1);
}

// ---- states

static void list_states(listening* l) {
    tl_noise* noise = l->noise;
    const tl_pedals* pedals = &l->pedals;
    noise->pedal_count = pedals->count;
    noise->pedals = tl_new(pedals->count, sizeof *noise->pedals);
    for (size_t i = 0; i < pedals->count; ++i)
        noise->pedals[i] = tl_copy(pedals->names[i]);
    noise->state_count = pedals->state_count;
    noise->states = tl_new(noise->state_count, sizeof *noise->states);
    for (size_t i = 0; i < noise->state_count; ++i) {
        tl_noise_state* state = &noise->states[i];
        state->amps = tl_new(noise->amp_count, sizeof *state->amps);
        state->engaged = tl_new(pedals->count, sizeof *state->engaged);
        if (pedals->scenes)
            state->name = tl_copy(l->rig->scenes[i].name);
        for (size_t j = 0; j < pedals->count; ++j)
            state->engaged[j] = tl_pedals_on(pedals, i, j);
    }
}

/// The worst ratio of signal to A-weighted noise over a state's amps.
static double state_ratio(const tl_noise* noise, size_t index) {
    double least = INFINITY;
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_state_amp* amp = &noise->states[index].amps[i];
        least = fmin(least, amp->signal_v / amp->a_weighted_v);
    }
    return least;
}

typedef struct {
    double ratio;
    size_t index;
} rank;

static int by_ratio(const void* a, const void* b) {
    const rank* one = a;
    const rank* two = b;
    if (one->ratio != two->ratio)
        return one->ratio < two->ratio ? -1 : 1;
    return one->index < two->index ? -1 : 1;
}

static void rank_states(tl_noise* noise) {
    rank* ranks = tl_new(noise->state_count, sizeof *ranks);
    for (size_t i = 0; i < noise->state_count; ++i)
        ranks[i] = (rank){state_ratio(noise, i), i};
    qsort(ranks, noise->state_count, sizeof *ranks, by_ratio);
    noise->ranking = tl_new(noise->state_count, sizeof *noise->ranking);
    for (size_t i = 0; i < noise->state_count; ++i)
        noise->ranking[i] = ranks[i].index;
    free(ranks);
}

// ---- the study

/// Lists who makes noise of its own that nobody stated, and so is not in the answer.
static void list_silent(listening* l) {
    tl_noise* noise = l->noise;
    for (size_t i = 0; i < l->names.count; ++i) {
        const tl_noise_name* one = &l->names.names[i];
        if (one->part->design || tl_part_field(one->part->kind, "noise.voltage") < 0 ||
            tl_noise_is_stated(one->part))
            continue;
        noise->silent = tl_grow_one(noise->silent, noise->silent_count, sizeof *noise->silent);
        noise->silent[noise->silent_count++] = tl_copy(one->name ? one->name : one->path);
    }
    noise->active = l->rig->guitar.source != NULL;
}

/// Notes how the pedals stand as written (but for those a fix holds), before anyone steps on them.
static void keep_written(listening* l) {
    const tl_toggle_list* toggles = &l->pedals.toggles;
    l->written = tl_new(toggles->count, sizeof *l->written);
    for (size_t i = 0; i < toggles->count; ++i)
        l->written[i] = tl_toggle_is_on(&toggles->toggles[i]);
}

/// Lists what is to be solved: all but what the session heard before.
static void list_jobs(listening* l, size_t count) {
    l->jobs = tl_new(count, sizeof *l->jobs);
    for (size_t i = 0; i < count; ++i) {
        analysis* a = &l->analyses[i];
        if (i < 2 * l->noise->amp_count)
            prepare(l, i);
        if (a->mark && tl_noise_recall(&l->session->noises, a->mark, &a->at)) {
            keep_heard(l, i, &a->at);
            clear_analysis(a);
        } else {
            l->jobs[l->job_count++] = i;
        }
    }
}

static tl_status solve_noise(listening* l, tl_error* error) {
    size_t count = (2 + l->alike.count) * l->noise->amp_count;
    l->analyses = tl_new(count, sizeof *l->analyses);
    list_jobs(l, count);
    tl_pool_work work = {
        .context = l, .ask = ask, .take = take, .deliver = deliver, .blame = blame};
    tl_status status = tl_pool_run(l->session->pool, l->job_count, &work, error);
    for (size_t i = 0; i < count; ++i)
        clear_analysis(&l->analyses[i]);
    free(l->analyses);
    free(l->jobs);
    return status;
}

static tl_status listen(listening* l, tl_error* error) {
    tl_status status = tl_pedals_read(l->rig, l->options->fixes, l->options->fix_count,
                                      l->options->all, &l->pedals, error);
    keep_written(l);
    tl_noise_collect_names(l->rig, &l->names);
    list_silent(l);
    if (status == TL_OK)
        status = solve_levels(l, error);
    if (status == TL_OK && l->noise->amp_count == 0) {
        tl_error_set(error, TL_BAD_INPUT, "%s: no amp to hear noise at", tl_rig_path(l->rig));
        return TL_BAD_INPUT;
    }
    bool states = l->options->states;
    if (status == TL_OK && states) {
        list_states(l);
        l->alike = tl_alike_find(l->noise->state_count, true, build_listened, l);
        tl_stream stream = {
            l->alike.count, l->options->reference_hz, build_state, deliver_level, blame_level, l};
        status = tl_stream_solve(l->session, &stream, error);
    }
    if (status == TL_OK)
        status = solve_noise(l, error);
    if (status == TL_OK && states)
        rank_states(l->noise);
    return status;
}

tl_status tl_study_noise(tl_session* session, tl_rig* rig, const tl_noise_options* options,
                         tl_noise** noise, tl_error* error) {
    return tl_study_noise_buffered(session, rig, options, NULL, NULL, noise, error);
}

tl_status tl_study_noise_buffered(tl_session* session, tl_rig* rig, const tl_noise_options* options,
                                  const tl_run* run, const tl_part* buffer, tl_noise** noise,
                                  tl_error* error) {
    tl_locale locale = tl_locale_plain();
    listening l = {.session = session,
                   .rig = tl_rig_clone(rig),
                   .options = options,
                   .buffer = buffer,
                   .noise = tl_new(1, sizeof(tl_noise))};
    l.noise->reference_hz = options->reference_hz;
    tl_part* lead = NULL;
    tl_part* other = NULL;
    tl_status status = run ? tl_run_leads(l.rig, run, &lead, &other, error) : TL_OK;
    l.buffered_lead = lead;
    if (status == TL_OK)
        status = read_level(&l, error);
    if (status == TL_OK)
        status = listen(&l, error);
    tl_noise_free_names(&l.names);
    free(l.written);
    tl_alike_free(&l.alike);
    tl_pedals_free(&l.pedals);
    tl_rig_free(l.rig);
    if (status != TL_OK) {
        tl_noise_free(l.noise);
        l.noise = NULL;
    }
    *noise = l.noise;
    tl_locale_restore(locale);
    return status;
}

void tl_noise_free(tl_noise* noise) {
    if (!noise)
        return;
    for (size_t i = 0; noise->rig && i < noise->amp_count; ++i) {
        tl_noise_clear_at(&noise->rig[i]);
        tl_noise_clear_at(&noise->direct[i]);
    }
    for (size_t i = 0; i < noise->state_count; ++i) {
        for (size_t j = 0; j < noise->amp_count; ++j)
            free(noise->states[i].amps[j].loudest);
        free(noise->states[i].amps);
        free(noise->states[i].engaged);
        free(noise->states[i].name);
    }
    for (size_t i = 0; i < noise->pedal_count; ++i)
        free(noise->pedals[i]);
    for (size_t i = 0; i < noise->silent_count; ++i)
        free(noise->silent[i]);
    free(noise->silent);
    free(noise->pedals);
    free(noise->states);
    free(noise->ranking);
    free(noise->low_v_rthz);
    free(noise->high_v_rthz);
    free(noise->rig);
    free(noise->direct);
    free(noise);
}

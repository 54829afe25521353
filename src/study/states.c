// SPDX-License-Identifier: GPL-3.0-or-later
// A rig in every state of its pedals: which differ, from direct and from each other, and why.
#include "study/session.h"

#include "base/locale.h"
#include "base/text.h"
#include "rig/toggle.h"
#include "study/alike.h"
#include "study/fix.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_PEDALS = 16, ENVELOPE_POINTS = 241 };

/// What going through the states carries along.
typedef struct {
    tl_session* session;
    tl_rig* rig; ///< a clone, whose pedals are switched
    const tl_states_options* options;
    tl_toggle_list toggles;
    size_t* moving; ///< by pedal of the study: its toggle
    tl_states* states;
    tl_alike alike;                     ///< states that come to the same circuit
    double (*direct_db)[TL_BAND_COUNT]; ///< by amp
} going;

static double* new_doubles(size_t count, double value) {
    double* values = tl_new(count, sizeof *values);
    for (size_t i = 0; i < count; ++i)
        values[i] = value;
    return values;
}

/// Puts the rig's pedals into a state.
static void enter_state(const going* g, size_t index) {
    for (size_t i = 0; i < g->states->pedal_count; ++i)
        tl_toggle_set(&g->toggles.toggles[g->moving[i]], g->states->states[index].engaged[i]);
}

static tl_circuit* build(void* context, size_t index) {
    const going* g = context;
    enter_state(g, index);
    return tl_circuit_build_rig(g->rig);
}

/// Widens the envelope of an amp by one more curve.
static void widen(tl_states* states, size_t amp, const tl_response* response, double level_db) {
    double* low_db = states->low_db + amp * states->point_count;
    double* high_db = states->high_db + amp * states->point_count;
    for (size_t i = 0; i < states->point_count; ++i) {
        double db = tl_response_db(response, states->hz[i]) - level_db;
        low_db[i] = fmin(low_db[i], db);
        high_db[i] = fmax(high_db[i], db);
    }
}

static tl_circuit* build_unique(void* context, size_t index) {
    const going* g = context;
    return build(context, g->alike.first[index]);
}

/// What the first state of a circuit came to, for all others of it.
static void copy_state(going* g, size_t first) {
    tl_states* states = g->states;
    const tl_state* from = &states->states[first];
    for (size_t i = g->alike.next[first]; i != SIZE_MAX; i = g->alike.next[i]) {
        tl_state* to = &states->states[i];
        to->amps = tl_new(states->amp_count, sizeof *to->amps);
        memcpy(to->amps, from->amps, states->amp_count * sizeof *to->amps);
        to->solves = from->solves;
    }
}

static void deliver(void* context, size_t index, tl_answer* answer) {
    going* g = context;
    tl_states* states = g->states;
    tl_state* state = &states->states[g->alike.first[index]];
    state->amps = tl_new(states->amp_count, sizeof *state->amps);
    state->solves = answer->solves;
    for (size_t i = 0; i < states->amp_count; ++i) {
        const tl_solved* rig = &answer->solved[i];
        const tl_solved* direct = &states->direct->solved[2 * i + 1];
        tl_state_amp* amp = &state->amps[i];
        amp->amp = direct->amp;
        amp->metrics = rig->metrics;
        amp->residual = rig->residual;
        tl_response_bands(rig->response, amp->tone_db);
        amp->hearing =
            tl_hearing_of_bands(amp->tone_db, &rig->metrics, g->direct_db[i], &direct->metrics);
        double level_db = tl_bands_level_db(amp->tone_db);
        for (size_t j = 0; j < TL_BAND_COUNT; ++j)
            amp->tone_db[j] -= level_db;
        widen(states, i, rig->response, level_db);
    }
    copy_state(g, g->alike.first[index]);
    tl_answer_free(answer);
}

static void blame(void* context, size_t index, tl_error* error) {
    const going* g = context;
    tl_error_prefix(error, "%s, state %zu", tl_rig_path(g->rig), index + 1);
}

static void blame_unique(void* context, size_t index, tl_error* error) {
    const going* g = context;
    blame(context, g->alike.first[index], error);
}

/// Decides which pedals move: all that no fix holds; with scenes, those that have a name.
static tl_status choose_pedals(going* g, bool scenes, tl_error* error) {
    bool* held = tl_new(g->toggles.count, sizeof *held);
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < g->options->fix_count; ++i)
        status = tl_fix_read(&g->toggles, g->options->fixes[i], held, error);
    tl_states* states = g->states;
    g->moving = tl_new(g->toggles.count, sizeof *g->moving);
    states->pedals = tl_new(g->toggles.count, sizeof *states->pedals);
    for (size_t i = 0; status == TL_OK && i < g->toggles.count; ++i) {
        const tl_toggle* toggle = &g->toggles.toggles[i];
        if (held[i] || (scenes && !toggle->name))
            continue;
        g->moving[states->pedal_count] = i;
        states->pedals[states->pedal_count++] = tl_copy(toggle->name ? toggle->name : toggle->path);
    }
    free(held);
    if (status == TL_OK && states->pedal_count == 0)
        return tl_error_set(
            error, TL_BAD_INPUT,
            "%s: no pedal or loop that could be stepped on: there is only one state",
            tl_rig_path(g->rig));
    if (status == TL_OK && !scenes && states->pedal_count > MOST_PEDALS)
        return tl_error_set(
            error, TL_BAD_INPUT,
            "%s: %zu pedals and loops have more than 65536 states: hold %zu of them "
            "with --fix, such as --fix '%s=no'",
            tl_rig_path(g->rig), states->pedal_count, states->pedal_count - MOST_PEDALS,
            states->pedals[0]);
    return status;
}

/// State 0 has all off; each pedal doubles what is before it. With scenes, one state a scene.
static void list_states(going* g, bool scenes) {
    tl_states* states = g->states;
    states->count = scenes ? g->rig->scene_count : (size_t)1 << states->pedal_count;
    states->states = tl_new(states->count, sizeof *states->states);
    for (size_t i = 0; i < states->count; ++i) {
        tl_state* state = &states->states[i];
        state->engaged = tl_new(states->pedal_count, sizeof *state->engaged);
        if (scenes)
            state->name = tl_copy(g->rig->scenes[i].name);
        for (size_t j = 0; j < states->pedal_count; ++j)
            state->engaged[j] =
                scenes ? tl_scene_has(&g->rig->scenes[i], states->pedals[j]) : (i >> j & 1) != 0;
    }
}

/// Solves one state together with its direct and keeps the responses.
static tl_status solve_whole(going* g, size_t index, tl_answer** answer, tl_error* error) {
    enter_state(g, index);
    tl_circuit* circuit = tl_circuit_build(g->rig);
    tl_batch batch = {&circuit, 1, g->options->reference_hz, blame, g};
    tl_status status = tl_batch_solve(g->session, &batch, answer, error);
    tl_circuit_free(circuit);
    return status;
}

/// The directs, which no pedal moves, and room for what is gathered from every state.
static tl_status prepare(going* g, tl_error* error) {
    tl_states* states = g->states;
    tl_status status = solve_whole(g, 0, &states->direct, error);
    if (status != TL_OK)
        return status;
    states->amp_count = states->direct->count / 2;
    g->direct_db = tl_new(states->amp_count, sizeof *g->direct_db);
    for (size_t i = 0; i < states->amp_count; ++i)
        tl_response_bands(states->direct->solved[2 * i + 1].response, g->direct_db[i]);
    states->point_count = ENVELOPE_POINTS;
    states->hz = tl_new(ENVELOPE_POINTS, sizeof *states->hz);
    for (size_t i = 0; i < ENVELOPE_POINTS; ++i)
        states->hz[i] = 20 * pow(1000, (double)i / (ENVELOPE_POINTS - 1));
    states->low_db = new_doubles(states->amp_count * ENVELOPE_POINTS, INFINITY);
    states->high_db = new_doubles(states->amp_count * ENVELOPE_POINTS, -INFINITY);
    return TL_OK;
}

/// How much a state's worst amp differs from direct, for ranking.
static double state_worst(const tl_states* states, size_t index) {
    double worst = 0;
    for (size_t i = 0; i < states->amp_count; ++i)
        worst = fmax(worst, fabs(states->states[index].amps[i].hearing.worst_db));
    return worst;
}

typedef struct {
    double worst;
    size_t index;
} rank;

static int by_worst(const void* a, const void* b) {
    const rank* one = a;
    const rank* two = b;
    if (one->worst != two->worst)
        return one->worst < two->worst ? 1 : -1;
    return one->index < two->index ? -1 : 1;
}

static void rank_states(tl_states* states) {
    rank* ranks = tl_new(states->count, sizeof *ranks);
    for (size_t i = 0; i < states->count; ++i)
        ranks[i] = (rank){state_worst(states, i), i};
    qsort(ranks, states->count, sizeof *ranks, by_worst);
    states->ranking = tl_new(states->count, sizeof *states->ranking);
    for (size_t i = 0; i < states->count; ++i)
        states->ranking[i] = ranks[i].index;
    free(ranks);
}

/// The two states furthest apart: in the band where they are, they are its highest and lowest.
static void find_apart(tl_states* states) {
    states->spread.worst_db = 0;
    for (size_t amp = 0; amp < states->amp_count; ++amp)
        for (size_t band = 0; band < TL_BAND_COUNT; ++band) {
            size_t low = 0;
            size_t high = 0;
            for (size_t i = 1; i < states->count; ++i) {
                double db = states->states[i].amps[amp].tone_db[band];
                if (db < states->states[low].amps[amp].tone_db[band])
                    low = i;
                if (db > states->states[high].amps[amp].tone_db[band])
                    high = i;
            }
            double gap_db = states->states[high].amps[amp].tone_db[band] -
                            states->states[low].amps[amp].tone_db[band];
            if (gap_db > states->spread.worst_db) {
                states->spread = (tl_tone_gap){gap_db, tl_band_hz(band), amp};
                states->apart[0] = low;
                states->apart[1] = high;
            }
        }
}

/// Mean tone of the states in which a pedal is on, minus that of those in which it is off.
static double mean_effect_db(const tl_states* states, size_t pedal, size_t amp, size_t band) {
    double sum[2] = {0, 0};
    double count[2] = {0, 0};
    for (size_t i = 0; i < states->count; ++i) {
        int on = states->states[i].engaged[pedal];
        sum[on] += states->states[i].amps[amp].tone_db[band];
        count[on] += 1;
    }
    return sum[1] / count[1] - sum[0] / count[0]; // NAN when it never moves
}

static void find_effects(tl_states* states) {
    states->effects = tl_new(states->pedal_count, sizeof *states->effects);
    for (size_t pedal = 0; pedal < states->pedal_count; ++pedal) {
        tl_tone_gap* effect = &states->effects[pedal];
        effect->worst_db = NAN;
        for (size_t amp = 0; amp < states->amp_count; ++amp)
            for (size_t band = 0; band < TL_BAND_COUNT; ++band) {
                double db = mean_effect_db(states, pedal, amp, band);
                if (!isnan(db) && !(fabs(db) <= fabs(effect->worst_db)))
                    *effect = (tl_tone_gap){db, tl_band_hz(band), amp};
            }
    }
}

static tl_status go(going* g, tl_error* error) {
    g->alike = tl_alike_find(g->states->count, false, build, g);
    tl_stream stream = {
        g->alike.count, g->options->reference_hz, build_unique, deliver, blame_unique, g};
    tl_status status = prepare(g, error);
    if (status == TL_OK)
        status = tl_stream_solve(g->session, &stream, error);
    if (status != TL_OK)
        return status;
    rank_states(g->states);
    find_apart(g->states);
    find_effects(g->states);
    for (int i = 0; status == TL_OK && i < 2; ++i)
        status = solve_whole(g, g->states->apart[i], &g->states->shown[i], error);
    return status;
}

static tl_status study_states(tl_session* session, tl_rig* rig, const tl_states_options* options,
                              tl_states** states, tl_error* error) {
    going g = {.session = session, .rig = tl_rig_clone(rig), .options = options};
    g.states = tl_new(1, sizeof *g.states);
    g.toggles = tl_toggles_list(g.rig);
    bool scenes = rig->scene_count > 0 && !options->all;
    tl_status status = choose_pedals(&g, scenes, error);
    if (status == TL_OK) {
        list_states(&g, scenes);
        tl_circuit_fix_sections(&g.rig, 1);
        status = go(&g, error);
    }
    tl_toggles_free(&g.toggles);
    tl_rig_free(g.rig);
    free(g.moving);
    tl_alike_free(&g.alike);
    free(g.direct_db);
    if (status != TL_OK) {
        tl_states_free(g.states);
        g.states = NULL;
    }
    *states = g.states;
    return status;
}

tl_status tl_study_states(tl_session* session, tl_rig* rig, const tl_states_options* options,
                          tl_states** states, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status status = study_states(session, rig, options, states, error);
    tl_locale_restore(locale);
    return status;
}

void tl_states_free(tl_states* states) {
    if (!states)
        return;
    for (size_t i = 0; i < states->pedal_count; ++i)
        free(states->pedals[i]);
    for (size_t i = 0; i < states->count; ++i) {
        free(states->states[i].name);
        free(states->states[i].engaged);
        free(states->states[i].amps);
    }
    free(states->pedals);
    free(states->states);
    free(states->ranking);
    free(states->effects);
    tl_answer_free(states->direct);
    tl_answer_free(states->shown[0]);
    tl_answer_free(states->shown[1]);
    free(states->hz);
    free(states->low_db);
    free(states->high_db);
    free(states);
}

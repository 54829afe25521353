// SPDX-License-Identifier: GPL-3.0-or-later
// What is known before any trial: the rig as it is written, how each value moves each figure, and
// the corners.
#include "study/spread_work.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Values of which all corners are solved; of more only those the slopes point at.
enum { MOST_VALUES = 10 };
/// How far a value is shifted either way to see what it does, of itself.
static const double shift_share = 0.001;

/// Circuits of a plan, solved together.
typedef struct {
    tl_circuit** circuits;
    tl_answer** answers;
    size_t count;
} stack;

static void push(stack* s, tl_circuit* circuit) {
    s->circuits = tl_grow_one(s->circuits, s->count, sizeof *s->circuits);
    s->circuits[s->count++] = circuit;
}

static tl_status solve_stack(tl_session* session, stack* s, double reference_hz, tl_error* error) {
    s->answers = tl_new(s->count, sizeof *s->answers);
    tl_batch batch = {.circuits = s->circuits, .count = s->count, .reference_hz = reference_hz};
    return tl_batch_solve(session, &batch, s->answers, error);
}

static void free_stack(stack* s) {
    for (size_t i = 0; i < s->count; ++i) {
        tl_circuit_free(s->circuits[i]);
        if (s->answers)
            tl_answer_free(s->answers[i]);
    }
    free(s->circuits);
    free(s->answers);
}

static void measure(const tl_answer* answer, size_t amp, double reference_hz,
                    double figures[TL_SPREAD_FIGURES]) {
    tl_spread_measure(answer->solved[2 * amp].response, answer->solved[2 * amp + 1].response,
                      reference_hz, figures);
}

static void note_nominal(tl_spread* spread, const tl_answer* answer) {
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        double figures[TL_SPREAD_FIGURES];
        double db[TL_SPREAD_CURVES][TL_SPREAD_POINTS];
        measure(answer, amp, spread->reference_hz, figures);
        for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i)
            spread->figures[amp * TL_SPREAD_FIGURES + i].nominal = figures[i];
        spread->nominal_heard[amp] =
            tl_verdict_of(figures[TL_SPREAD_WORST_DB], figures[TL_SPREAD_STEPS]);
        tl_spread_curves(answer->solved[2 * amp].response, answer->solved[2 * amp + 1].response,
                         spread->reference_hz, figures[TL_SPREAD_LEVEL_DB], db);
        memcpy(spread->nominal_db[amp], db[0], sizeof db[0]);
        memcpy(spread->nominal_difference_db[amp], db[1], sizeof db[1]);
    }
}

/// Slopes by central differences. Answers: nominal, then of each value a little less and more.
static void note_slopes(tl_spread* spread, tl_answer* const* answers) {
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        for (size_t value = 0; value < spread->value_count; ++value) {
            double less[TL_SPREAD_FIGURES];
            double more[TL_SPREAD_FIGURES];
            measure(answers[1 + 2 * value], amp, spread->reference_hz, less);
            measure(answers[2 + 2 * value], amp, spread->reference_hz, more);
            for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i)
                spread->figures[amp * TL_SPREAD_FIGURES + i].effects[value].slope =
                    (more[i] - less[i]) / (2 * shift_share * 100);
        }
}

// ---- corners

/// Corners to be solved: by value -1 or 1.
typedef struct {
    signed char* at;
    size_t count;
    size_t values;
} corners;

static void add_corner(corners* c, const signed char* at) {
    for (size_t i = 0; i < c->count; ++i)
        if (memcmp(c->at + i * c->values, at, c->values) == 0)
            return;
    c->at = tl_grow(c->at, (c->count + 1) * c->values, 1);
    memcpy(c->at + c->count++ * c->values, at, c->values);
}

static void add_all(corners* c) {
    signed char* at = tl_new(c->values, 1);
    for (size_t mask = 0; mask < (size_t)1 << c->values; ++mask) {
        for (size_t i = 0; i < c->values; ++i)
            at[i] = mask >> i & 1 ? 1 : -1;
        add_corner(c, at);
    }
    free(at);
}

/// The two corners that a figure's slopes point at.
static void add_pointed(corners* c, const tl_spread_figure* figure) {
    signed char* up = tl_new(c->values, 1);
    signed char* down = tl_new(c->values, 1);
    for (size_t i = 0; i < c->values; ++i) {
        up[i] = figure->effects[i].slope < 0 ? -1 : 1;
        down[i] = (signed char)-up[i];
    }
    add_corner(c, up);
    add_corner(c, down);
    free(up);
    free(down);
}

static void note_corner(tl_spread_figure* figure, double value, const signed char* at,
                        size_t values) {
    if (isnan(value)) {
        ++figure->corner_none;
        return;
    }
    if (!(figure->least <= value)) {
        figure->least = value;
        memcpy(figure->least_at, at, values);
    }
    if (!(figure->most >= value)) {
        figure->most = value;
        memcpy(figure->most_at, at, values);
    }
}

static tl_status look_at_corners(tl_session* session, tl_spread_plan* plan, tl_spread* spread,
                                 tl_error* error) {
    corners c = {.values = spread->value_count};
    spread->worst_case = true;
    spread->all_corners = c.values <= MOST_VALUES;
    if (spread->all_corners)
        add_all(&c);
    for (size_t i = 0; !spread->all_corners && i < spread->amp_count * TL_SPREAD_FIGURES; ++i)
        add_pointed(&c, &spread->figures[i]);
    stack s = {0};
    double* offsets = tl_new(plan->entry_count, sizeof *offsets);
    for (size_t i = 0; i < c.count; ++i) {
        for (size_t j = 0; j < plan->entry_count; ++j)
            offsets[j] = c.at[i * c.values + plan->entries[j].value];
        push(&s, tl_spread_plan_build(plan, offsets));
    }
    tl_status status = solve_stack(session, &s, spread->reference_hz, error);
    for (size_t i = 0; status == TL_OK && i < s.count; ++i)
        for (size_t amp = 0; amp < spread->amp_count; ++amp) {
            double figures[TL_SPREAD_FIGURES];
            measure(s.answers[i], amp, spread->reference_hz, figures);
            for (size_t j = 0; j < TL_SPREAD_FIGURES; ++j)
                note_corner(&spread->figures[amp * TL_SPREAD_FIGURES + j], figures[j],
                            c.at + i * c.values, c.values);
        }
    spread->corner_count = c.count;
    free(offsets);
    free(c.at);
    free_stack(&s);
    return status;
}

// ---- all of it

static tl_spread* new_spread(tl_spread_plan* plan, const tl_spread_options* options,
                             const tl_answer* answer) {
    tl_spread* spread = tl_new(1, sizeof *spread);
    spread->rig = tl_copy(tl_rig_title(plan->rig));
    spread->trials = options->trials;
    spread->seed = options->seed;
    spread->reference_hz = options->reference_hz;
    spread->direct_assumed = !tl_rig_has_direct(plan->rig);
    spread->values = plan->values;
    spread->value_count = plan->value_count;
    plan->values = NULL;
    spread->amp_count = answer->count / 2;
    spread->amps = tl_new(spread->amp_count, sizeof *spread->amps);
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        spread->amps[amp] = tl_copy(answer->solved[2 * amp].amp);
    tl_spread_room(spread);
    return spread;
}

tl_status tl_spread_begin(tl_session* session, tl_spread_plan* plan,
                          const tl_spread_options* options, tl_spread** spread, tl_answer** careful,
                          tl_error* error) {
    stack s = {0};
    push(&s, tl_spread_plan_shift(plan, 0, 0));
    for (size_t i = 0; i < plan->value_count; ++i)
        for (int way = -1; way <= 1; way += 2)
            push(&s, tl_spread_plan_shift(plan, i, way * shift_share / plan->values[i].share));
    tl_status status = solve_stack(session, &s, options->reference_hz, error);
    if (status == TL_OK) {
        *spread = new_spread(plan, options, s.answers[0]);
        note_nominal(*spread, s.answers[0]);
        note_slopes(*spread, s.answers);
        if (options->worst_case)
            status = look_at_corners(session, plan, *spread, error);
        *careful = s.answers[0];
        s.answers[0] = NULL;
    }
    free_stack(&s);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Everything that boards are held against, solved once: the good board, good boards within
// tolerance, and the board with each thing wrong by each value it may have.
#include "study/accept_work.h"

#include "base/random.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LOOKS = 31, SEED = 1 };
static const double look_low_hz = 20;
static const double look_high_hz = 20e3;
/// What moves the curve of the good board by less, dB a standard deviation, is left out where
/// directions of tolerance are put together.
static const double least_slope_db = 0.005;
/// Cosine above which two directions are one.
static const double same_direction = 0.9995;

// What is added to see whether, and where, a suspect does anything.
static const double probe_farad = 2e-9;
static const double probe_siemens = 1 / 50e3;
static const double probe_ohm = 100e3;
/// How far values are put off, one after the other, to solve what could not be solved.
static const double nudges[] = {1e-5, 1e-4, 3e-4};

/// Circuits that are to be solved together.
typedef struct {
    tl_circuit** circuits;
    size_t count;
} stack;

static size_t push(stack* s, tl_circuit* circuit) {
    s->circuits = tl_grow_one(s->circuits, s->count, sizeof *s->circuits);
    s->circuits[s->count] = circuit;
    return s->count++;
}

static void blame(void* context, size_t index, tl_error* error) {
    const tl_prospect* p = context;
    (void)index;
    tl_error_prefix(error, "%s, with one thing wrong or within its tolerances",
                    tl_rig_path(p->plan.rig));
}

/// Puts every resistance, capacitance and inductance off by up to a share, in turn to either side.
/// Whether a fit of many poles holds is a matter of rounding; a circuit that is so little off reads
/// the same.
static void nudge(tl_circuit* circuit, double share) {
    for (size_t i = 0; i < circuit->element_count; ++i)
        if (strchr("rcl", circuit->elements[i].kind))
            circuit->elements[i].value *= 1 + share * ((double)(i % 7) - 3) / 3;
}

/// Solves those that have no answer once more, a little off.
static tl_status solve_again(tl_prospect* p, stack* s, double share, tl_answer** answers,
                             tl_error* error) {
    size_t* left = tl_new(s->count, sizeof *left);
    tl_circuit** circuits = tl_new(s->count, sizeof(tl_circuit*));
    tl_answer** found = tl_new(s->count, sizeof *found);
    tl_batch batch = {.circuits = circuits, .reference_hz = 200, .blame = blame, .context = p};
    for (size_t i = 0; i < s->count; ++i)
        if (!answers[i]) {
            nudge(s->circuits[i], share);
            left[batch.count] = i;
            circuits[batch.count++] = s->circuits[i];
        }
    tl_status status =
        batch.count ? tl_batch_solve_leniently(p->session, &batch, found, error) : TL_OK;
    for (size_t i = 0; status == TL_OK && i < batch.count; ++i)
        answers[left[i]] = found[i];
    free(left);
    free(circuits);
    free(found);
    return status;
}

/// Solves a stack, nearly all of it at least.
static tl_status solve_leniently(tl_prospect* p, stack* s, tl_answer** answers, tl_error* error) {
    tl_batch batch = {.circuits = s->circuits,
                      .count = s->count,
                      .reference_hz = 200,
                      .blame = blame,
                      .context = p};
    tl_status status = tl_batch_solve_leniently(p->session, &batch, answers, error);
    for (size_t i = 0; status == TL_OK && i < sizeof nudges / sizeof *nudges; ++i)
        status = solve_again(p, s, nudges[i], answers, error);
    if (status == TL_OK && !p->curve_count && !answers[0])
        status = tl_error_set(error, TL_FAILURE,
                              "%s: the frequencies solved do not determine the response of the "
                              "board as it is predicted",
                              tl_rig_path(p->plan.rig));
    return status;
}

/// Solves a stack; its curves follow those there are. What cannot be solved does not stop the
/// whole: of what is looked at first the good board's curve stands for it (it is then not seen),
/// later that of the one before, which is its neighbour in value or another good board.
static tl_status solve(tl_prospect* p, stack* s, tl_error* error) {
    tl_answer** answers = tl_new(s->count, sizeof *answers);
    size_t first = p->curve_count;
    tl_status status = solve_leniently(p, s, answers, error);
    p->answers = tl_grow(p->answers, p->answer_count + s->count, sizeof *p->answers);
    p->curves = tl_grow(p->curves, p->curve_count + s->count, sizeof *p->curves);
    for (size_t i = 0; i < s->count; ++i) {
        if (status == TL_OK) {
            if (answers[i])
                p->answers[p->answer_count++] = answers[i];
            p->unsolved += !answers[i];
            p->curves[p->curve_count] = answers[i] ? answers[i]->solved[p->amp].response
                                        : first    ? p->curves[p->curve_count - 1]
                                                   : p->curves[0];
            ++p->curve_count;
        }
        tl_circuit_free(s->circuits[i]);
    }
    free(s->circuits);
    free(answers);
    *s = (stack){0};
    return status;
}

static double look_hz(size_t look) {
    return look_low_hz * pow(look_high_hz / look_low_hz, (double)look / (LOOKS - 1));
}

static void look_at(const tl_prospect* p, size_t curve, double db[LOOKS]) {
    for (size_t i = 0; i < LOOKS; ++i)
        db[i] = tl_response_db(p->curves[curve], look_hz(i));
}

static bool are_same(const double one[LOOKS], const double other[LOOKS]) {
    double most = 0;
    for (size_t i = 0; i < LOOKS; ++i)
        most = fmax(most, fabs(one[i] - other[i]));
    return most < TL_ACCEPT_SAME_DB;
}

/// The value a suspect is first looked at with.
static double probe_value(const tl_suspect* suspect) {
    switch (suspect->adds) {
    case TL_ADDS_FARAD:
        return tl_suspect_adding(suspect, probe_farad);
    case TL_ADDS_SIEMENS:
        return tl_suspect_adding(suspect, probe_siemens);
    case TL_ADDS_OHM:
        return tl_suspect_adding(suspect, probe_ohm);
    default:
        return suspect->linear ? (suspect->low + suspect->high) / 2 : suspect->low;
    }
}

static bool has_number(const tl_suspect* suspect) {
    return suspect->change != TL_CHANGE_CHOICE && suspect->change != TL_CHANGE_REMOVE;
}

// ---- classes

/// Whether two suspects could be one: they add the same, or are both there or not.
static bool may_be_one(const tl_suspect* a, const tl_suspect* b) {
    if (has_number(a) != has_number(b))
        return false;
    return !has_number(a) || (a->adds == b->adds && a->adds != TL_ADDS_OTHER);
}

/// Whether a suspect stands for its class rather than another: what reaches farthest.
static bool is_wider(const tl_suspect* a, const tl_suspect* b) {
    switch (a->adds) {
    case TL_ADDS_FARAD:
        if ((a->kind == TL_CAUSE_LEAD) != (b->kind == TL_CAUSE_LEAD))
            return a->kind == TL_CAUSE_LEAD;
        return a->stated > b->stated;
    case TL_ADDS_SIEMENS:
        return a->stated < b->stated;
    case TL_ADDS_OHM:
        return a->change == TL_CHANGE_JOINT && b->change != TL_CHANGE_JOINT;
    default:
        return false;
    }
}

static void join_class(tl_prospect* p, tl_suspect_class* class, size_t suspect) {
    class->suspects = tl_grow_one(class->suspects, class->count, sizeof *class->suspects);
    class->suspects[class->count++] = suspect;
    size_t first = class->suspects[0];
    if (is_wider(&p->suspects[suspect], &p->suspects[first])) {
        class->suspects[0] = suspect;
        class->suspects[class->count - 1] = first;
    }
}

/// Puts suspects together that do the same to the curve, and leaves out those that do nothing.
/// `probes` is the curve of the first one's probe.
static void make_classes(tl_prospect* p, size_t probes) {
    double(*seen)[LOOKS] = tl_new(p->suspect_count + 1, sizeof *seen);
    double good[LOOKS];
    double db[LOOKS];
    look_at(p, 0, good);
    p->classes = tl_new(p->suspect_count + 1, sizeof *p->classes);
    for (size_t i = 0; i < p->suspect_count; ++i) {
        look_at(p, probes + i, db);
        if (are_same(good, db)) {
            ++p->unseen;
            continue;
        }
        size_t at = 0;
        while (at < p->class_count &&
               !(may_be_one(&p->suspects[p->classes[at].suspects[0]], &p->suspects[i]) &&
                 are_same(seen[at], db)))
            ++at;
        if (at == p->class_count) {
            p->classes[at].steps = has_number(&p->suspects[i]) ? TL_ACCEPT_STEPS : 1;
            p->classes[at].nodes = has_number(&p->suspects[i]) ? TL_ACCEPT_NODES : 1;
            for (size_t j = 0; j < LOOKS; ++j)
                seen[at][j] = db[j];
            ++p->class_count;
        }
        join_class(p, &p->classes[at], i);
    }
    free(seen);
}

// ---- directions of tolerance

/// A direction along one value.
static double* along_one(const tl_prospect* p, size_t value) {
    double* along = tl_new(p->plan.value_count, sizeof *along);
    along[value] = 1;
    return along;
}

static double dot(const double a[LOOKS], const double b[LOOKS]) {
    double sum = 0;
    for (size_t i = 0; i < LOOKS; ++i)
        sum += a[i] * b[i];
    return sum;
}

/// Takes a value into the direction that moves the curve as it does: shares are by size, so that
/// the whole has the size of all of them together (the root of the sum of their squares).
static void make_directions(tl_prospect* p, size_t slopes) {
    double(*moved)[LOOKS] = tl_new(p->plan.value_count + 1, sizeof *moved);
    double good[LOOKS];
    double db[LOOKS];
    look_at(p, 0, good);
    p->directions = tl_new(p->plan.value_count + 1, sizeof *p->directions);
    for (size_t value = 0; value < p->plan.value_count; ++value) {
        double most = 0;
        look_at(p, slopes + value, db);
        for (size_t i = 0; i < LOOKS; ++i) {
            db[i] = (db[i] - good[i]) / TL_ACCEPT_SLOPE_STEP;
            most = fmax(most, fabs(db[i]));
        }
        if (most < least_slope_db)
            continue;
        size_t at = 0;
        double size = sqrt(dot(db, db));
        while (at < p->direction_count &&
               fabs(dot(db, moved[at])) < same_direction * size * sqrt(dot(moved[at], moved[at])))
            ++at;
        if (at == p->direction_count) {
            p->directions[p->direction_count++].along = tl_new(p->plan.value_count, sizeof(double));
            for (size_t i = 0; i < LOOKS; ++i)
                moved[at][i] = db[i];
        }
        double length = sqrt(dot(moved[at], moved[at]));
        p->directions[at].along[value] = dot(db, moved[at]) / length;
    }
    for (size_t i = 0; i < p->direction_count; ++i) {
        double sum = 0;
        for (size_t j = 0; j < p->plan.value_count; ++j)
            sum += p->directions[i].along[j] * p->directions[i].along[j];
        for (size_t j = 0; j < p->plan.value_count; ++j)
            p->directions[i].along[j] /= sqrt(sum);
    }
    free(moved);
}

static tl_circuit* build_along(tl_prospect* p, const tl_suspect* suspect, double value,
                               const double* along) {
    double* deviations = tl_new(p->plan.value_count, sizeof *deviations);
    for (size_t i = 0; i < p->plan.value_count; ++i)
        deviations[i] = TL_ACCEPT_SLOPE_STEP * along[i];
    tl_circuit* circuit = tl_suspect_build(p, suspect, value, deviations);
    free(deviations);
    return circuit;
}

// ---- what is solved

/// The good board, a look at each suspect, and what each drawn value does.
static tl_status solve_first(tl_prospect* p, tl_error* error) {
    stack s = {0};
    push(&s, tl_suspect_build(p, NULL, 0, NULL));
    for (size_t i = 0; i < p->suspect_count; ++i)
        push(&s, tl_suspect_build(p, &p->suspects[i], probe_value(&p->suspects[i]), NULL));
    for (size_t i = 0; i < p->plan.value_count; ++i) {
        double* along = along_one(p, i);
        push(&s, build_along(p, NULL, 0, along));
        free(along);
    }
    tl_status status = solve(p, &s, error);
    if (status != TL_OK)
        return status;
    make_classes(p, 1);
    make_directions(p, 1 + p->suspect_count);
    return TL_OK;
}

/// Adds the curves of a class: its values, and at some of them what tolerances do. Of what is there
/// or not, every drawn value counts: one that did nothing before may do something now.
static void push_class(tl_prospect* p, stack* s, tl_suspect_class* class) {
    const tl_suspect* suspect = &p->suspects[class->suspects[0]];
    class->first = p->curve_count + s->count;
    for (size_t i = 0; i < class->steps; ++i)
        push(s, tl_suspect_build(p, suspect, tl_suspect_value(suspect, (double)i), NULL));
    class->directions = class->steps > 1 ? p->direction_count : p->plan.value_count;
    class->slopes = p->curve_count + s->count;
    for (size_t i = 0; i < class->nodes; ++i) {
        double value =
            tl_suspect_value(suspect, (double)(i * (TL_ACCEPT_STEPS - 1)) / (TL_ACCEPT_NODES - 1));
        for (size_t j = 0; j < class->directions; ++j) {
            double* own = class->steps > 1 ? NULL : along_one(p, j);
            push(s, build_along(p, suspect, value, own ? own : p->directions[j].along));
            free(own);
        }
    }
}

/// A good board: every value drawn from within its tolerance, as `spread` draws it.
static tl_circuit* build_trial(tl_prospect* p, size_t trial) {
    double* deviations = tl_new(p->plan.value_count, sizeof *deviations);
    for (size_t i = 0; i < p->plan.value_count; ++i)
        deviations[i] = tl_spread_offset(tl_random_uniform(SEED, trial, (uint32_t)i),
                                         p->plan.values[i].uniform) /
                        p->deviation[i];
    tl_circuit* circuit = tl_suspect_build(p, NULL, 0, deviations);
    free(deviations);
    return circuit;
}

static tl_status solve_rest(tl_prospect* p, tl_error* error) {
    stack s = {0};
    p->slopes = p->curve_count;
    for (size_t i = 0; i < p->direction_count; ++i)
        push(&s, build_along(p, NULL, 0, p->directions[i].along));
    p->trials = p->curve_count + s.count;
    for (size_t i = 0; i < TL_ACCEPT_TRIALS; ++i)
        push(&s, build_trial(p, i));
    for (size_t i = 0; i < p->class_count; ++i)
        push_class(p, &s, &p->classes[i]);
    return solve(p, &s, error);
}

/// Standard deviations of offsets within a tolerance: of a uniform one 1/sqrt(3); of a normal one
/// cut off at 3 sigma 0.98658 sigma (truncated normal distribution; computed).
static void find_deviations(tl_prospect* p) {
    p->deviation = tl_new(p->plan.value_count + 1, sizeof *p->deviation);
    for (size_t i = 0; i < p->plan.value_count; ++i)
        p->deviation[i] = p->plan.values[i].uniform ? 1 / sqrt(3) : 0.98658 / 3;
}

tl_status tl_prospect_solve(tl_prospect* prospect, tl_error* error) {
    find_deviations(prospect);
    tl_status status = solve_first(prospect, error);
    return status == TL_OK ? solve_rest(prospect, error) : status;
}

void tl_prospect_free(tl_prospect* prospect) {
    for (size_t i = 0; i < prospect->answer_count; ++i)
        tl_answer_free(prospect->answers[i]);
    for (size_t i = 0; i < prospect->class_count; ++i)
        free(prospect->classes[i].suspects);
    for (size_t i = 0; i < prospect->direction_count; ++i)
        free(prospect->directions[i].along);
    free(prospect->answers);
    free(prospect->curves);
    free(prospect->classes);
    free(prospect->directions);
    free(prospect->deviation);
    tl_suspects_free(prospect);
    tl_spread_plan_free(&prospect->plan);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Between what the levels of a good board lie, all of them together.
//
// Thousands of whole boards in many states would take seconds to solve. So each state gets a short
// way: its levels in dB as a polynomial of second degree in how far the values are off, from solves
// with each value off to either side and the strongest in pairs. Boards are drawn through that, and
// some of them solved whole to see how far off it is; that goes on top of the limits.
//
// The limits are a simultaneous band: the mean of each reading, plus and minus c standard
// deviations, where c is such that a share of TL_CARD_COVERAGE of all boards keeps to the band at
// every frequency, in every state, at every end (the sup-t band: Montiel Olea and
// Plagborg-Moller, J. Applied Econometrics 34(1), 2019; from memory). A board has many readings:
// limits for each by itself would fail one good board in ten or more.
#include "study/card_work.h"

#include "base/random.h"
#include "base/statistics.h"
#include "base/text.h"
#include "study/spread_plan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STRONGEST = 6, WHOLE = 32 };
/// How far a value is put off, of its tolerance: two standard deviations of three.
static const double off = 2.0 / 3;
/// Readings that hardly move at all are not what decides how wide the band is.
static const double least_deviation_db = 0.01;

/// The short way to the levels of one state.
typedef struct {
    tl_spread_plan plan;
    size_t end;
    size_t* ids;  ///< by value: its number among the values of all states
    double* mid;  ///< by frequency: nothing off
    double* line; ///< [value * frequencies + frequency]: by the tolerance
    double* bend; ///< the same, by its square
    size_t strong[STRONGEST];
    size_t strong_count;
    double* twist; ///< [(strong * STRONGEST + strong) * frequencies + frequency]
    double* miss;  ///< by frequency: the most it was off
    size_t first;  ///< of its circuits among those being solved
} shortcut;

typedef struct {
    tl_card_work* work;
    size_t frequencies;
    shortcut* ways; ///< by state of the card
    char** paths;   ///< values of all states
    size_t path_count;
    tl_circuit** circuits;
    tl_answer** answers;
    size_t circuit_count;
} limiting;

// ---- solving

static void push(limiting* l, tl_circuit* circuit) {
    l->circuits = tl_grow_one(l->circuits, l->circuit_count, sizeof(tl_circuit*));
    l->circuits[l->circuit_count++] = circuit;
}

static void drop_circuits(limiting* l) {
    for (size_t i = 0; i < l->circuit_count; ++i) {
        tl_circuit_free(l->circuits[i]);
        if (l->answers)
            tl_answer_free(l->answers[i]);
    }
    free(l->circuits);
    free(l->answers);
    l->circuits = NULL;
    l->answers = NULL;
    l->circuit_count = 0;
}

static tl_status solve(limiting* l, tl_error* error) {
    l->answers = tl_new(l->circuit_count, sizeof(tl_answer*));
    tl_batch batch = {l->circuits, l->circuit_count, 200, NULL, NULL};
    tl_status status = tl_batch_solve(l->work->session, &batch, l->answers, error);
    if (status != TL_OK)
        tl_error_prefix(error, "%s, limits of its levels", tl_rig_path(l->work->rig));
    return status;
}

static void read_levels(const limiting* l, const shortcut* way, size_t circuit, double* db) {
    tl_card_read_levels(l->work, way->end, l->answers[way->first + circuit], db);
}

// ---- the short way

static size_t id_of(limiting* l, const char* path) {
    for (size_t i = 0; i < l->path_count; ++i)
        if (strcmp(l->paths[i], path) == 0)
            return i;
    l->paths = tl_grow_one(l->paths, l->path_count, sizeof(char*));
    l->paths[l->path_count] = tl_copy(path);
    return l->path_count++;
}

/// A circuit with values (not entries) so far off.
static tl_circuit* build(shortcut* way, const double* values) {
    double* offsets = tl_new(way->plan.entry_count + 1, sizeof *offsets);
    for (size_t i = 0; i < way->plan.entry_count; ++i)
        offsets[i] = values[way->plan.entries[i].value];
    tl_circuit* circuit = tl_spread_plan_build(&way->plan, offsets);
    free(offsets);
    return circuit;
}

static tl_status open_way(limiting* l, size_t state, tl_error* error) {
    const tl_meter_state* at = &l->work->card->states[state];
    shortcut* way = &l->ways[state];
    way->end = at->end;
    tl_card_enter(l->work, at->end, at);
    tl_status status = tl_spread_plan_make_alone(l->work->ends[at->end].rig, &way->plan, error);
    if (status != TL_OK)
        return status;
    size_t values = way->plan.value_count;
    way->ids = tl_new(values + 1, sizeof *way->ids);
    for (size_t i = 0; i < values; ++i)
        way->ids[i] = id_of(l, way->plan.values[i].path);
    way->mid = tl_new(l->frequencies, sizeof *way->mid);
    way->miss = tl_new(l->frequencies, sizeof *way->miss);
    way->line = tl_new(values * l->frequencies + 1, sizeof *way->line);
    way->bend = tl_new(values * l->frequencies + 1, sizeof *way->bend);
    way->twist = tl_new((size_t)STRONGEST * STRONGEST * l->frequencies, sizeof *way->twist);
    return TL_OK;
}

/// Nothing off, then each value to either side.
static void push_singles(limiting* l, shortcut* way) {
    double* values = tl_new(way->plan.value_count + 1, sizeof *values);
    way->first = l->circuit_count;
    push(l, build(way, values));
    for (size_t i = 0; i < way->plan.value_count; ++i)
        for (int side = -1; side <= 1; side += 2) {
            values[i] = side * off;
            push(l, build(way, values));
            values[i] = 0;
        }
    free(values);
}

static void take_singles(const limiting* l, shortcut* way) {
    size_t n = l->frequencies;
    double* low = tl_new(n, sizeof *low);
    double* high = tl_new(n, sizeof *high);
    read_levels(l, way, 0, way->mid);
    for (size_t i = 0; i < way->plan.value_count; ++i) {
        read_levels(l, way, 1 + 2 * i, low);
        read_levels(l, way, 2 + 2 * i, high);
        for (size_t j = 0; j < n; ++j) {
            way->line[i * n + j] = (high[j] - low[j]) / (2 * off);
            way->bend[i * n + j] = (high[j] + low[j] - 2 * way->mid[j]) / (2 * off * off);
        }
    }
    free(low);
    free(high);
}

/// How much a value moves the levels, at most.
static double strength(const limiting* l, const shortcut* way, size_t value) {
    double most = 0;
    for (size_t j = 0; j < l->frequencies; ++j)
        most = fmax(most, fabs(way->line[value * l->frequencies + j]) +
                              fabs(way->bend[value * l->frequencies + j]));
    return most;
}

static void choose_strong(const limiting* l, shortcut* way) {
    size_t values = way->plan.value_count;
    bool* taken = tl_new(values + 1, sizeof *taken);
    for (way->strong_count = 0; way->strong_count < STRONGEST && way->strong_count < values;
         ++way->strong_count) {
        size_t best = values;
        for (size_t i = 0; i < values; ++i)
            if (!taken[i] && (best == values || strength(l, way, i) > strength(l, way, best)))
                best = i;
        taken[best] = true;
        way->strong[way->strong_count] = best;
    }
    free(taken);
}

/// How far off a board of the draw has a value, of its tolerance. The same in all states.
static double draw(const shortcut* way, size_t value, size_t trial) {
    double number = tl_random_uniform(TL_CARD_SEED, trial, (uint32_t)way->ids[value]);
    return tl_spread_offset(number, way->plan.values[value].uniform);
}

/// The strongest in pairs, then whole boards.
static void push_pairs(limiting* l, shortcut* way) {
    double* values = tl_new(way->plan.value_count + 1, sizeof *values);
    way->first = l->circuit_count;
    for (size_t a = 0; a < way->strong_count; ++a)
        for (size_t b = 0; b < a; ++b) {
            values[way->strong[a]] = off;
            values[way->strong[b]] = off;
            push(l, build(way, values));
            values[way->strong[a]] = 0;
            values[way->strong[b]] = 0;
        }
    for (size_t trial = 0; trial < WHOLE; ++trial) {
        for (size_t i = 0; i < way->plan.value_count; ++i)
            values[i] = draw(way, i, trial);
        push(l, build(way, values));
    }
    free(values);
}

/// The levels of a board by the short way.
static void go_short(const limiting* l, const shortcut* way, size_t trial, double* db) {
    size_t n = l->frequencies;
    double u[STRONGEST] = {0};
    memcpy(db, way->mid, n * sizeof *db);
    for (size_t i = 0; i < way->plan.value_count; ++i) {
        double x = draw(way, i, trial);
        for (size_t j = 0; j < n; ++j)
            db[j] += x * (way->line[i * n + j] + x * way->bend[i * n + j]);
        for (size_t s = 0; s < way->strong_count; ++s)
            if (way->strong[s] == i)
                u[s] = x;
    }
    for (size_t a = 0; a < way->strong_count; ++a)
        for (size_t b = 0; b < a; ++b)
            for (size_t j = 0; j < n; ++j)
                db[j] += u[a] * u[b] * way->twist[(a * STRONGEST + b) * n + j];
}

static void take_pairs(const limiting* l, shortcut* way) {
    size_t n = l->frequencies;
    double* db = tl_new(n, sizeof *db);
    double* by_short = tl_new(n, sizeof *by_short);
    size_t circuit = 0;
    for (size_t a = 0; a < way->strong_count; ++a)
        for (size_t b = 0; b < a; ++b) {
            read_levels(l, way, circuit++, db);
            const double* lines[2] = {&way->line[way->strong[a] * n],
                                      &way->line[way->strong[b] * n]};
            const double* bends[2] = {&way->bend[way->strong[a] * n],
                                      &way->bend[way->strong[b] * n]};
            for (size_t j = 0; j < n; ++j)
                way->twist[(a * STRONGEST + b) * n + j] =
                    (db[j] - way->mid[j] - off * (lines[0][j] + lines[1][j]) -
                     off * off * (bends[0][j] + bends[1][j])) /
                    (off * off);
        }
    for (size_t trial = 0; trial < WHOLE; ++trial) {
        read_levels(l, way, circuit++, db);
        go_short(l, way, trial, by_short);
        for (size_t j = 0; j < n; ++j)
            way->miss[j] = fmax(way->miss[j], fabs(db[j] - by_short[j]));
    }
    free(db);
    free(by_short);
}

static tl_status find_ways(limiting* l, tl_error* error) {
    size_t states = l->work->card->state_count;
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < states; ++i)
        status = open_way(l, i, error);
    for (size_t i = 0; status == TL_OK && i < states; ++i)
        push_singles(l, &l->ways[i]);
    if (status == TL_OK)
        status = solve(l, error);
    for (size_t i = 0; status == TL_OK && i < states; ++i) {
        take_singles(l, &l->ways[i]);
        choose_strong(l, &l->ways[i]);
    }
    drop_circuits(l);
    for (size_t i = 0; status == TL_OK && i < states; ++i)
        push_pairs(l, &l->ways[i]);
    if (status == TL_OK)
        status = solve(l, error);
    for (size_t i = 0; status == TL_OK && i < states; ++i)
        take_pairs(l, &l->ways[i]);
    drop_circuits(l);
    return status;
}

// ---- the band

/// Mean and standard deviation of one reading over the boards.
static void moments(const double* levels, size_t readings, size_t reading, double* mean,
                    double* deviation) {
    double sum = 0;
    double squares = 0;
    for (size_t t = 0; t < TL_CARD_TRIALS; ++t)
        sum += levels[t * readings + reading];
    *mean = sum / TL_CARD_TRIALS;
    for (size_t t = 0; t < TL_CARD_TRIALS; ++t) {
        double from = levels[t * readings + reading] - *mean;
        squares += from * from;
    }
    *deviation = fmax(sqrt(squares / (TL_CARD_TRIALS - 1)), least_deviation_db);
}

/// How many standard deviations hold the given share of boards at every reading.
static double find_width(const double* levels, size_t readings, const double* means,
                         const double* deviations) {
    double* worst = tl_new(TL_CARD_TRIALS, sizeof *worst);
    for (size_t t = 0; t < TL_CARD_TRIALS; ++t)
        for (size_t r = 0; r < readings; ++r)
            worst[t] = fmax(worst[t], fabs(levels[t * readings + r] - means[r]) / deviations[r]);
    qsort(worst, TL_CARD_TRIALS, sizeof *worst, tl_compare_doubles);
    double width = tl_quantile_sorted(worst, TL_CARD_TRIALS, TL_CARD_COVERAGE);
    free(worst);
    return width;
}

static void set_limits(limiting* l) {
    tl_meter_card* card = l->work->card;
    size_t n = l->frequencies;
    size_t readings = card->state_count * n;
    double* levels = tl_new(TL_CARD_TRIALS * readings, sizeof *levels);
    double* means = tl_new(readings, sizeof *means);
    double* deviations = tl_new(readings, sizeof *deviations);
    for (size_t t = 0; t < TL_CARD_TRIALS; ++t)
        for (size_t s = 0; s < card->state_count; ++s)
            go_short(l, &l->ways[s], t, levels + t * readings + s * n);
    for (size_t r = 0; r < readings; ++r)
        moments(levels, readings, r, &means[r], &deviations[r]);
    double width = find_width(levels, readings, means, deviations);
    for (size_t r = 0; r < readings; ++r) {
        tl_meter_state* state = &card->states[r / n];
        double miss_db = l->ways[r / n].miss[r % n];
        double reach_db = width * deviations[r] + miss_db + card->uncertainty_db +
                          (state->same_count ? TL_METER_SAME_DB : 0);
        state->db[r % n].low = means[r] - reach_db;
        state->db[r % n].high = means[r] + reach_db;
        card->short_db = fmax(card->short_db, miss_db);
    }
    card->level_count = readings;
    card->coverage = TL_CARD_COVERAGE;
    card->trials = TL_CARD_TRIALS;
    card->seed = TL_CARD_SEED;
    card->solved = WHOLE;
    free(levels);
    free(means);
    free(deviations);
}

tl_status tl_card_level_limits(tl_card_work* work, tl_error* error) {
    limiting l = {.work = work, .frequencies = work->card->hz_count};
    l.ways = tl_new(work->card->state_count, sizeof *l.ways);
    tl_status status = tl_statistics_prepare(error);
    if (status == TL_OK)
        status = find_ways(&l, error);
    if (status == TL_OK)
        set_limits(&l);
    for (size_t i = 0; i < work->card->state_count; ++i) {
        shortcut* way = &l.ways[i];
        if (way->plan.rig)
            tl_spread_plan_free(&way->plan);
        free(way->ids);
        free(way->mid);
        free(way->line);
        free(way->bend);
        free(way->twist);
        free(way->miss);
    }
    for (size_t i = 0; i < l.path_count; ++i)
        free(l.paths[i]);
    free(l.paths);
    free(l.ways);
    drop_circuits(&l);
    return status;
}

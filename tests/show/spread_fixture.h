// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread_fixture.h Many trials of a loaded pickup, computed here from its closed form.
///
/// The pickup is R and L in series, its load a resistance beside a capacitance:
/// H(s) = 1 / (1 + (R + s L) (1 / load + s C)). Setting it beside 1 / (1 + s / (Q w0) + s^2 / w0^2)
/// gives w0^2 = (1 + R / load) / (L C) and w0 / Q = 1 / (load C) + R / L (computed).
#ifndef TL_TEST_SPREAD_FIXTURE_H
#define TL_TEST_SPREAD_FIXTURE_H

#include "base/text.h"
#include "toneload/study.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SPREAD_POINTS = 121, SPREAD_KINDS = 4 };

/// What is asked of a fixture.
typedef struct {
    size_t trials;
    size_t amps;
    size_t values;    ///< the first four have names of their own; those after them move nothing
    double load_ohm;  ///< of the amp; a low one leaves no peak
    double tolerance; ///< a factor on all of them; 0 makes every trial the rig as written
    bool worst_case;  ///< corners too
    bool choices;     ///< two of them
} spread_wish;

static const spread_wish spread_usual = {400, 1, 4, 800e3, 1, false, false};

/// A value that is drawn, as the fixture has it.
typedef struct {
    const char *path, *about, *shown, *followed, *origin;
    double nominal, share;
    bool uniform;
} spread_part;

static const spread_part spread_parts[SPREAD_KINDS] = {
    {"guitar.pickup.inductance", "single-coil", "2.5 H +-10 %", "", "common practice", 2.5, 0.1,
     false},
    {"chain[0].capacitance", "standard-coax", "110 pF/m +-8 %", "direct[0].capacitance",
     "rig.yaml:7", 110e-12, 0.08, false},
    {"guitar.volume.pot", "", "250 kohm +-20 % uniform", "", "parts/pot.yaml: maker's sheet", 250e3,
     0.2, true},
    {"guitar.pickup.resistance", "single-coil", "6 kohm +-5 %", "", "common practice", 6e3, 0.05,
     false},
};

/// An even number in 0 to 1, the same on every machine (after the constants of Numerical Recipes).
static inline double spread_random(uint32_t* state) {
    *state = *state * 1664525u + 1013904223u;
    return (*state >> 8) / 16777216.0;
}

/// How far a value is from its nominal one, in tolerances: -1 to 1.
static inline double spread_draw(uint32_t* state, bool uniform) {
    double sum = 0;
    for (int i = 0; i < 12; ++i)
        sum += spread_random(state);
    return uniform ? 2 * spread_random(state) - 1 : fmax(-1, fmin(1, (sum - 6) / 3));
}

static inline double spread_at(double hz, const double* v, double more_farad, double load_ohm) {
    double _Complex s = 2 * 3.14159265358979 * hz * I;
    double farad = 110e-12 + 6 * v[1] + more_farad;
    double load = 1 / (1 / v[2] + 1 / load_ohm);
    return 20 * log10(cabs(1 / (1 + (v[3] + s * v[0]) * (1 / load + s * farad))));
}

/// Peak, Q, pole and -3 dB of one specimen.
static inline void spread_resonance(double* figures, const double* v, double more_farad,
                                    double load_ohm) {
    double farad = 110e-12 + 6 * v[1] + more_farad;
    double load = 1 / (1 / v[2] + 1 / load_ohm);
    double w0 = sqrt((1 + v[3] / load) / (v[0] * farad));
    double q = w0 / (1 / (load * farad) + v[3] / v[0]);
    double down = 1 - 1 / (2 * q * q);
    double f0 = w0 / (2 * 3.14159265358979);
    figures[TL_SPREAD_POLE_HZ] = f0;
    figures[TL_SPREAD_Q] = q;
    figures[TL_SPREAD_PEAK_HZ] = down > 0.02 ? f0 * sqrt(down) : (double)NAN;
    figures[TL_SPREAD_PEAK_DB] =
        down > 0.02 ? 20 * log10(q / sqrt(1 - 1 / (4 * q * q))) : (double)NAN;
    // |H|^2 = 1/2: x^2 - 2 down x - 1 = 0 for x = (f / f0)^2
    figures[TL_SPREAD_CUTOFF_HZ] = f0 * sqrt(down + sqrt(down * down + 1));
}

/// All figures of one specimen at an amp, its curves and the verdict.
static inline tl_verdict spread_specimen(const double* v, size_t amp, double load_ohm,
                                         double* figures, const double* hz, double* level,
                                         double* difference) {
    double direct[TL_SPREAD_FIGURES];
    double more = 50e-12 + 200e-12 * (double)amp;
    double load = load_ohm / (1 + (double)amp);
    spread_resonance(direct, v, 0, 1e6);
    spread_resonance(figures, v, more, load);
    double zero = spread_at(200, v, more, load), direct_zero = spread_at(200, v, 0, 1e6);
    double sum = 0, squares = 0, worst = 0;
    size_t bands = 0, presence = 0;
    for (size_t i = 0; i < SPREAD_POINTS; ++i) {
        level[i] = spread_at(hz[i], v, more, load) - zero;
        difference[i] = level[i] - (spread_at(hz[i], v, 0, 1e6) - direct_zero);
        if (hz[i] < 87 || hz[i] > 12e3)
            continue;
        worst = fabs(difference[i]) > fabs(worst) ? difference[i] : worst;
        squares += difference[i] * difference[i];
        ++bands;
        sum += hz[i] > 2e3 && hz[i] < 5e3 ? difference[i] : 0;
        presence += hz[i] > 2e3 && hz[i] < 5e3;
    }
    figures[TL_SPREAD_LEVEL_DB] = zero - direct_zero;
    figures[TL_SPREAD_PRESENCE_DB] = sum / (double)presence;
    figures[TL_SPREAD_WORST_DB] = worst;
    figures[TL_SPREAD_RMS_DB] = sqrt(squares / (double)bands);
    figures[TL_SPREAD_STEPS] = fabs(figures[TL_SPREAD_PEAK_HZ] - direct[TL_SPREAD_PEAK_HZ]) /
                               (0.079 * direct[TL_SPREAD_PEAK_HZ] / sqrt(direct[TL_SPREAD_Q]));
    double most = fmax(fabs(worst), figures[TL_SPREAD_STEPS]);
    return most < 0.5 ? TL_NOT_AUDIBLE
           : most < 1 ? TL_BORDERLINE
           : most < 3 ? TL_AUDIBLE
                      : TL_PLAIN;
}

static inline int spread_compare(const void* left, const void* right) {
    double a = *(const double*)left, b = *(const double*)right;
    return (a > b) - (a < b);
}

/// Sorts what is finite in `numbers` to the front, gives its percentiles and returns its count.
static inline size_t spread_percentiles(double* numbers, size_t count, double* percentile) {
    static const double at[TL_PERCENTILES] = {0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99};
    size_t kept = 0;
    for (size_t i = 0; i < count; ++i)
        if (isfinite(numbers[i]))
            numbers[kept++] = numbers[i];
    qsort(numbers, kept, sizeof *numbers, spread_compare);
    for (int k = 0; k < TL_PERCENTILES; ++k) {
        double place = at[k] * (double)(kept ? kept - 1 : 0);
        size_t below = (size_t)place;
        size_t above = below + 1 < kept ? below + 1 : below;
        percentile[k] =
            kept ? numbers[below] + (place - (double)below) * (numbers[above] - numbers[below])
                 : (double)NAN;
    }
    return kept;
}

/// Everything the trials came to, before it is summed up.
typedef struct {
    spread_wish wish;
    double* drawn;   ///< [trial * values + value], in tolerances
    double* figures; ///< [(amp * TL_SPREAD_FIGURES + figure) * trials + trial]
    double* levels;  ///< [(amp * SPREAD_POINTS + point) * trials + trial]
    double* differences;
} spread_trials;

/// The four values that matter, `drawn` tolerances off.
static inline void spread_values(const spread_wish* wish, const double* drawn, double v[4]) {
    for (size_t i = 0; i < SPREAD_KINDS; ++i) {
        double off = i < wish->values ? drawn[i] * spread_parts[i].share * wish->tolerance : 0;
        v[i] = spread_parts[i].nominal * (1 + off);
    }
}

static inline void spread_run(tl_spread* spread, spread_trials* t) {
    const spread_wish* wish = &t->wish;
    uint32_t state = 7;
    double v[4], figures[TL_SPREAD_FIGURES], level[SPREAD_POINTS], difference[SPREAD_POINTS];
    for (size_t trial = 0; trial < wish->trials; ++trial) {
        double* drawn = &t->drawn[trial * wish->values];
        for (size_t i = 0; i < wish->values; ++i)
            drawn[i] = spread_draw(&state, i < SPREAD_KINDS && spread_parts[i].uniform);
        spread_values(wish, drawn, v);
        for (size_t amp = 0; amp < wish->amps; ++amp) {
            tl_verdict verdict =
                spread_specimen(v, amp, wish->load_ohm, figures, spread->hz, level, difference);
            ++spread->heard[amp][verdict];
            for (size_t k = 0; k < TL_SPREAD_FIGURES; ++k)
                t->figures[(amp * TL_SPREAD_FIGURES + k) * wish->trials + trial] = figures[k];
            for (size_t k = 0; k < SPREAD_POINTS; ++k) {
                t->levels[(amp * SPREAD_POINTS + k) * wish->trials + trial] = level[k];
                t->differences[(amp * SPREAD_POINTS + k) * wish->trials + trial] = difference[k];
            }
        }
    }
}

/// Pearson's correlation of value and figure over the trials that have the figure.
static inline double spread_correlation(const spread_trials* t, const double* figures,
                                        size_t value) {
    double n = 0, x = 0, y = 0, xx = 0, yy = 0, xy = 0;
    for (size_t i = 0; i < t->wish.trials; ++i) {
        if (!isfinite(figures[i]))
            continue;
        double a = t->drawn[i * t->wish.values + value], b = figures[i] - figures[0];
        n += 1, x += a, y += b, xx += a * a, yy += b * b, xy += a * b;
    }
    double spread = (n * xx - x * x) * (n * yy - y * y);
    return spread > 1e-12 ? (n * xy - x * y) / sqrt(spread) : (double)NAN;
}

static inline void spread_effects(const spread_trials* t, const tl_spread* spread, size_t amp,
                                  size_t kind) {
    tl_spread_figure* figure = &spread->figures[amp * TL_SPREAD_FIGURES + kind];
    figure->effects = tl_new(t->wish.values, sizeof *figure->effects);
    for (size_t i = 0; i < t->wish.values; ++i) {
        double v[4], up[TL_SPREAD_FIGURES], level[SPREAD_POINTS], difference[SPREAD_POINTS];
        double* drawn = tl_new(t->wish.values, sizeof *drawn);
        spread_values(&t->wish, drawn, v);
        if (i < SPREAD_KINDS)
            v[i] *= 1.0001;
        spread_specimen(v, amp, t->wish.load_ohm, up, spread->hz, level, difference);
        free(drawn);
        double r = spread_correlation(
            t, &t->figures[(amp * TL_SPREAD_FIGURES + kind) * t->wish.trials], i);
        figure->effects[i] = (tl_spread_effect){(up[kind] - figure->nominal) * 100, r, r * r};
    }
}

/// Made-up corners: the figure as written and its greatest move by each slope.
static inline void spread_corners(const spread_wish* wish, tl_spread_figure* figure) {
    if (!wish->worst_case) {
        figure->least = figure->most = (double)NAN;
        return;
    }
    double reach = 0;
    figure->least_at = tl_new(wish->values, 1);
    figure->most_at = tl_new(wish->values, 1);
    for (size_t i = 0; i < wish->values; ++i) {
        double share = i < SPREAD_KINDS ? spread_parts[i].share : 0.1;
        reach += fabs(figure->effects[i].slope) * 100 * share;
        figure->most_at[i] = figure->effects[i].slope < 0 ? -1 : 1;
        figure->least_at[i] = (signed char)-figure->most_at[i];
    }
    figure->least = figure->nominal - reach;
    figure->most = figure->nominal + reach;
}

static inline void spread_sum_up(const spread_trials* t, tl_spread* spread, size_t amp,
                                 size_t kind) {
    size_t trials = t->wish.trials;
    tl_spread_figure* figure = &spread->figures[amp * TL_SPREAD_FIGURES + kind];
    double* sorted = tl_new(trials, sizeof *sorted);
    memcpy(sorted, &t->figures[(amp * TL_SPREAD_FIGURES + kind) * trials], trials * sizeof *sorted);
    size_t kept = spread_percentiles(sorted, trials, figure->percentile);
    double sum = 0, squares = 0;
    for (size_t i = 0; i < kept; ++i)
        sum += sorted[i] / (double)kept;
    for (size_t i = 0; i < kept; ++i)
        squares += (sorted[i] - sum) * (sorted[i] - sum);
    figure->none = trials - kept;
    figure->mean = kept ? sum : (double)NAN;
    figure->deviation = kept > 1 ? sqrt(squares / (double)(kept - 1)) : (double)NAN;
    figure->low = kept ? sorted[0] : (double)NAN;
    figure->high = kept ? sorted[kept - 1] : (double)NAN;
    figure->bars = tl_new(TL_SPREAD_BARS, sizeof *figure->bars);
    double span = figure->high - figure->low;
    for (size_t i = 0; i < kept; ++i) {
        size_t bar = span > 0 ? (size_t)((sorted[i] - figure->low) / span * TL_SPREAD_BARS) : 0;
        ++figure->bars[bar < TL_SPREAD_BARS ? bar : TL_SPREAD_BARS - 1];
    }
    free(sorted);
    spread_effects(t, spread, amp, kind);
    spread_corners(&t->wish, figure);
}

static inline tl_spread_band spread_band(const double* numbers, size_t trials) {
    tl_spread_band band;
    for (int k = 0; k < TL_PERCENTILES; ++k)
        band.db[k] = tl_new(SPREAD_POINTS, sizeof(double));
    double* sorted = tl_new(trials, sizeof *sorted);
    for (size_t point = 0; point < SPREAD_POINTS; ++point) {
        double percentile[TL_PERCENTILES];
        memcpy(sorted, &numbers[point * trials], trials * sizeof *sorted);
        spread_percentiles(sorted, trials, percentile);
        for (int k = 0; k < TL_PERCENTILES; ++k)
            band.db[k][point] = percentile[k];
    }
    free(sorted);
    return band;
}

/// The trials of the lower third of the cable's capacitance (or the upper third).
static inline tl_spread_choice spread_choose(const spread_trials* t, const tl_spread* spread,
                                             bool upper) {
    const spread_wish* wish = &t->wish;
    tl_spread_choice choice = {
        .words = tl_printf("chain[0].capacitance=%s", upper ? "upper third" : "lower third"),
        .about = tl_printf("the %s third of chain[0].capacitance", upper ? "upper" : "lower"),
        .percentile = tl_new(wish->amps * TL_SPREAD_FIGURES, sizeof *choice.percentile),
        .deviation = tl_new(wish->amps * TL_SPREAD_FIGURES, sizeof(double)),
        .heard = tl_new(wish->amps, sizeof *choice.heard)};
    double* kept = tl_new(wish->trials, sizeof *kept);
    for (size_t k = 0; k < wish->amps * TL_SPREAD_FIGURES; ++k) {
        choice.trials = 0;
        for (size_t i = 0; i < wish->trials; ++i)
            if ((upper ? 1 : -1) * t->drawn[i * wish->values + 1] > 0.15)
                kept[choice.trials++] = t->figures[k * wish->trials + i];
        spread_percentiles(kept, choice.trials, choice.percentile[k]);
        choice.deviation[k] = 0.5 * spread->figures[k].deviation;
    }
    free(kept);
    for (size_t amp = 0; amp < wish->amps; ++amp) {
        double total = (double)wish->trials;
        for (int k = 0; k < 4; ++k)
            choice.heard[amp][k] = (double)spread->heard[amp][k] / total;
        double moved = choice.heard[amp][upper ? TL_AUDIBLE : TL_PLAIN] / 2;
        choice.heard[amp][upper ? TL_AUDIBLE : TL_PLAIN] -= moved;
        choice.heard[amp][upper ? TL_PLAIN : TL_AUDIBLE] += moved;
    }
    return choice;
}

static inline void spread_name_values(tl_spread* spread) {
    spread->values = tl_new(spread->value_count, sizeof *spread->values);
    for (size_t i = 0; i < spread->value_count; ++i) {
        const spread_part* from = &spread_parts[i % SPREAD_KINDS];
        bool named = i < SPREAD_KINDS;
        spread->values[i] = (tl_spread_value){
            named ? tl_copy(from->path)
                  : tl_printf("chain[%zu].split[the wet branch].chain[%zu].%s", i, i + 1,
                              i % 2 ? "input.capacitance" : "output.resistance"),
            tl_copy(named ? from->about : "a pedal with a long name"),
            tl_copy(from->shown),
            tl_copy(from->followed),
            tl_copy(from->origin),
            from->nominal,
            from->share,
            from->uniform};
    }
}

/// The rig as written, at one amp.
static inline void spread_nominal(const spread_wish* wish, tl_spread* spread, size_t amp) {
    double v[4], figures[TL_SPREAD_FIGURES];
    double* drawn = tl_new(wish->values + 1, sizeof *drawn);
    spread_values(wish, drawn, v);
    free(drawn);
    spread->nominal_db[amp] = tl_new(SPREAD_POINTS, sizeof(double));
    spread->nominal_difference_db[amp] = tl_new(SPREAD_POINTS, sizeof(double));
    spread->nominal_heard[amp] =
        spread_specimen(v, amp, wish->load_ohm, figures, spread->hz, spread->nominal_db[amp],
                        spread->nominal_difference_db[amp]);
    for (size_t k = 0; k < TL_SPREAD_FIGURES; ++k)
        spread->figures[amp * TL_SPREAD_FIGURES + k].nominal = figures[k];
}

static inline tl_spread* spread_new(spread_wish wish) {
    tl_spread* spread = tl_new(1, sizeof *spread);
    size_t trials = wish.trials, amps = wish.amps;
    spread_trials t = {wish, tl_new(trials * wish.values + 1, sizeof(double)),
                       tl_new(amps * TL_SPREAD_FIGURES * trials, sizeof(double)),
                       tl_new(amps * SPREAD_POINTS * trials, sizeof(double)),
                       tl_new(amps * SPREAD_POINTS * trials, sizeof(double))};
    spread->rig = tl_copy("Lantern Street covers band, left board");
    spread->trials = spread->done = trials;
    spread->seed = 1;
    spread->reference_hz = 200;
    spread->value_count = wish.values;
    spread->amp_count = amps;
    spread->point_count = SPREAD_POINTS;
    spread->worst_case = spread->all_corners = wish.worst_case;
    spread->corner_count = wish.worst_case ? 16 : 0;
    spread->hz = tl_new(SPREAD_POINTS, sizeof(double));
    for (size_t i = 0; i < SPREAD_POINTS; ++i)
        spread->hz[i] = 20 * pow(1000, (double)i / (SPREAD_POINTS - 1));
    spread->amps = tl_new(amps, sizeof *spread->amps);
    spread->heard = tl_new(amps, sizeof *spread->heard);
    spread->nominal_heard = tl_new(amps, sizeof *spread->nominal_heard);
    spread->figures = tl_new(amps * TL_SPREAD_FIGURES, sizeof *spread->figures);
    spread->levels = tl_new(amps, sizeof *spread->levels);
    spread->differences = tl_new(amps, sizeof *spread->differences);
    spread->nominal_db = tl_new(amps, sizeof *spread->nominal_db);
    spread->nominal_difference_db = tl_new(amps, sizeof *spread->nominal_difference_db);
    spread_name_values(spread);
    spread_run(spread, &t);
    for (size_t amp = 0; amp < amps; ++amp) {
        spread->amps[amp] = amp ? tl_printf("wet %zu", amp) : tl_copy("dry");
        spread_nominal(&wish, spread, amp);
        for (size_t k = 0; k < TL_SPREAD_FIGURES; ++k)
            spread_sum_up(&t, spread, amp, k);
        size_t from = amp * SPREAD_POINTS * trials;
        spread->levels[amp] = spread_band(&t.levels[from], trials);
        spread->differences[amp] = spread_band(&t.differences[from], trials);
    }
    spread->choice_count = wish.choices ? 2 : 0;
    spread->choices = tl_new(2, sizeof *spread->choices);
    for (size_t i = 0; i < spread->choice_count; ++i)
        spread->choices[i] = spread_choose(&t, spread, i > 0);
    free(t.drawn);
    free(t.figures);
    free(t.levels);
    free(t.differences);
    return spread;
}

/// A trial that has no answer, for want of a better one.
static inline void spread_fail(tl_spread* spread, size_t trial, const char* why) {
    size_t kept = spread->failure_count;
    spread->failures = tl_grow(spread->failures, kept + 1, sizeof *spread->failures);
    spread->failures[kept] = (tl_spread_failure){trial, tl_copy(why)};
    ++spread->failure_count;
}

/// Puts other words in the place of what a fixture holds.
static inline void spread_say(char** where, const char* words) {
    free(*where);
    *where = tl_copy(words);
}

#endif

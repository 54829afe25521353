// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/fit_judge.h"

#include "base/quantity.h"
#include "base/statistics.h"
#include "base/text.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

static const double between = 0.95;          ///< of the truth in the intervals
static const double together = 0.98;         ///< of a correlation: two values move as one
static const double loose = 0.1;             ///< of an interval: then that matters
static const double told_within = 0.6931472; ///< ln 2: a factor of two either way
static const double boundless = 20;          ///< of a coordinate: nothing is known
static const double chance_z = -3.29;        ///< one sweep in 2000 has so few runs by chance
static const double exact = 1e-6;            ///< misses that are rounding

static const char* const units[TL_FIT_TOTAL] = {"H", "ohm", "F", "", "ohm", ""};

__attribute__((format(printf, 3, 4))) static void say(char*** list, size_t* count,
                                                      const char* format, ...) {
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    *list = tl_grow_one(*list, *count, sizeof **list);
    (*list)[(*count)++] = tl_text_take(&words);
}

#define WARN(fit, ...) say(&(fit)->warnings, &(fit)->warning_count, __VA_ARGS__)
#define NOTE(fit, ...) say(&(fit)->notes, &(fit)->note_count, __VA_ARGS__)

/// What a value is called in sentences.
static const char* words_of(tl_fit_value value) {
    static const char* const words[TL_FIT_TOTAL] = {
        "inductance",      "resistance", "capacitance", "share of the inductance under eddy losses",
        "eddy resistance", "level"};
    return words[value];
}

// ---- values and intervals

static void estimate(tl_fit* fit, const tl_fit_problem* problem, const tl_fit_spread* spread,
                     tl_fit_value value, bool known) {
    tl_fit_estimate* one = &fit->values[value];
    double at = problem->at[value];
    bool is_free = false;
    for (size_t j = 0; j < problem->free_count; ++j)
        is_free = is_free || problem->free[j] == value;
    *one = (tl_fit_estimate){.name = tl_fit_name(value),
                             .unit = units[value],
                             .used = is_free || known,
                             .known = known,
                             .told = true,
                             .value = tl_fit_number(value, at)};
    one->low = one->high = one->value;
    if (!is_free)
        return;
    double half = fit->student_t * sqrt(spread->covariance[value][value]);
    bool open = spread->blind[value] || tl_fit_is_end(value, at) || !(half < boundless);
    one->told = !open && half < told_within;
    one->low = open ? 0 : tl_fit_number(value, at - half);
    one->high = tl_fit_number(value, at + half);
    if (open)
        one->high = value == TL_FIT_EDDY_FRACTION ? 1 : INFINITY;
}

static void pair_up(tl_fit* fit, const tl_fit_problem* problem, const tl_fit_spread* spread) {
    size_t n = problem->free_count;
    fit->pairs = tl_new(n * (n - 1) / 2, sizeof *fit->pairs);
    for (size_t i = 0; i + 1 < n; ++i)
        for (size_t j = i + 1; j < n; ++j) {
            tl_fit_value a = problem->free[i];
            tl_fit_value b = problem->free[j];
            double size = sqrt(spread->covariance[a][a] * spread->covariance[b][b]);
            double r = size > 0 ? spread->covariance[a][b] / size : 0;
            fit->pairs[fit->pair_count++] = (tl_fit_pair){a, b, r};
        }
}

/// What follows from the values: logarithms of the pole's frequency and of Q.
static bool resonance(const tl_fit_problem* problem, const double at[TL_FIT_TOTAL], double ln[2]) {
    const tl_fit_coil coil = tl_fit_coil_at(at, problem->eddy);
    bool found = tl_fit_pole(&coil, &ln[0], &ln[1]);
    ln[0] = log(ln[0]);
    ln[1] = log(ln[1]);
    return found;
}

/// Its interval, to first order: the values' covariance between the slopes.
static void find_resonance(tl_fit* fit, const tl_fit_problem* problem,
                           const tl_fit_spread* spread) {
    static const double step = 1e-4;
    double middle[2];
    double slopes[TL_FIT_TOTAL][2] = {{0}};
    fit->resonance_hz = fit->resonance_low_hz = fit->resonance_high_hz = NAN;
    fit->q = fit->q_low = fit->q_high = NAN;
    if (!resonance(problem, problem->at, middle))
        return;
    for (size_t j = 0; j < problem->free_count; ++j) {
        tl_fit_value value = problem->free[j];
        double at[TL_FIT_TOTAL];
        double up[2];
        double down[2];
        memcpy(at, problem->at, sizeof at);
        at[value] += step;
        bool found = resonance(problem, at, up);
        at[value] -= 2 * step;
        if (!found || !resonance(problem, at, down))
            return;
        for (int k = 0; k < 2; ++k)
            slopes[value][k] = (up[k] - down[k]) / (2 * step);
    }
    double half[2] = {0};
    for (int k = 0; k < 2; ++k) {
        for (int a = 0; a < TL_FIT_TOTAL; ++a)
            for (int b = 0; b < TL_FIT_TOTAL; ++b)
                half[k] += slopes[a][k] * spread->covariance[a][b] * slopes[b][k];
        half[k] = fit->student_t * sqrt(fmax(half[k], 0));
    }
    fit->resonance_hz = exp(middle[0]);
    fit->resonance_low_hz = exp(middle[0] - half[0]);
    fit->resonance_high_hz = exp(middle[0] + half[0]);
    fit->q = exp(middle[1]);
    fit->q_low = exp(middle[1] - half[1]);
    fit->q_high = exp(middle[1] + half[1]);
}

// ---- misses

void tl_fit_judge_misses(tl_fit* fit, const tl_fit_problem* problem) {
    enum { WINDOW = 5, FEWEST = 20 };
    size_t n = problem->data->count;
    size_t count = tl_fit_miss_count(problem);
    double* misses = tl_new(count, sizeof *misses);
    tl_fit_misses(problem, misses);
    double sums[2] = {0};
    double weights = 0;
    for (size_t i = 0; i < n; ++i)
        weights += problem->data->root_weight[i] * problem->data->root_weight[i];
    for (size_t i = 0; i < count; ++i)
        sums[i >= n] += misses[i] * misses[i];
    fit->size_rms = sqrt(sums[0] / weights);
    fit->phase_rms = fit->phased ? sqrt(sums[1] / weights) : NAN;
    fit->noise = fit->runs_z = fit->miss = fit->miss_hz = NAN;
    size_t above = 0;
    size_t runs = 1;
    double steps = 0;
    for (size_t i = 0; i < n; ++i) {
        above += misses[i] > 0;
        runs += i > 0 && (misses[i] > 0) != (misses[i - 1] > 0);
        steps += i > 0 ? (misses[i] - misses[i - 1]) * (misses[i] - misses[i - 1]) : 0;
        misses[i] /= problem->data->root_weight[i];
    }
    if (n >= FEWEST) {
        // Runs of signs (Wald and Wolfowitz, Ann. Math. Statist. 11, 1940), and what changes from
        // point to point (von Neumann 1941; both from memory).
        double a = (double)above;
        double b = (double)(n - above);
        double m = 2 * a * b / (double)n;
        double deviation = sqrt(m * (m - 1) / ((double)n - 1));
        fit->runs_z = deviation > 0 ? ((double)runs - m - 1) / deviation : NAN;
        fit->noise = sqrt(steps / 2 / ((double)n - 1) * (double)n / weights);
        fit->miss = 0;
        for (size_t i = 0; i + WINDOW <= n; ++i) {
            double mean = 0;
            for (size_t j = 0; j < WINDOW; ++j)
                mean += misses[i + j] / WINDOW;
            if (fabs(mean) > fabs(fit->miss)) {
                fit->miss = mean;
                fit->miss_hz = problem->data->omega[i + WINDOW / 2] / (2 * M_PI);
            }
        }
        fit->misses = fit->runs_z < chance_z && fit->size_rms > exact;
    }
    free(misses);
}

// ---- sentences

static bool is_loose(const tl_fit_estimate* one) {
    return !one->known && one->used && !(one->high < one->value * (1 + loose));
}

/// A frequency to three digits; free with free().
static char* hz_words(double hz) {
    double unit = pow(10, floor(log10(hz)) - 2);
    tl_text words = {0};
    tl_quantity_add(&words, TL_UNIT_HERTZ, round(hz / unit) * unit);
    return tl_text_take(&words);
}

/// What would tell a value that the sweep leaves open.
static void warn_of_value(tl_fit* fit, const tl_fit_problem* problem, tl_fit_value value) {
    const tl_fit_estimate* one = &fit->values[value];
    if (!one->used || one->known || one->told)
        return;
    tl_text open = {0};
    if (isinf(one->high) || one->low <= 0)
        tl_text_addf(&open, "The sweep does not tell the %s", words_of(value));
    else
        tl_text_addf(&open, "The sweep hardly tells the %s", words_of(value));
    char* low = hz_words(problem->data->omega[0] / (2 * M_PI));
    char* high = hz_words(problem->data->omega[problem->data->count - 1] / (2 * M_PI));
    double henry = tl_fit_number(TL_FIT_INDUCTANCE, problem->at[TL_FIT_INDUCTANCE]);
    double ohm = tl_fit_number(TL_FIT_RESISTANCE, problem->at[TL_FIT_RESISTANCE]);
    switch (value) {
    case TL_FIT_RESISTANCE:
        WARN(fit,
             "%s: it shows below some %.0f Hz, and the sweep begins at %s. Read it with an "
             "ohmmeter and say --hold '{resistance: ..}', or begin lower.",
             tl_text_get(&open), fmin(ohm / (2 * M_PI * henry), 200), low);
        break;
    case TL_FIT_CAPACITANCE:
        WARN(fit,
             "%s: it shows at the resonance and beyond, and the sweep ends at %s. Sweep "
             "higher, or bring the resonance down with a known capacitor across the pickup (as "
             "'capacitance' in --load).",
             tl_text_get(&open), high);
        break;
    case TL_FIT_INDUCTANCE:
        WARN(fit,
             "%s: it shows where the impedance rises with frequency, between some hundred hertz "
             "and the resonance; the sweep goes from %s to %s.",
             tl_text_get(&open), low, high);
        break;
    default:
        WARN(fit, "%s: it shows around the resonance, best in the phase of the impedance.",
             tl_text_get(&open));
    }
    tl_text_free(&open);
    free(low);
    free(high);
}

/// Which values move as one, and matter: `group[i]` is the first of those that value i goes with.
static void find_groups(const tl_fit* fit, int group[TL_FIT_TOTAL]) {
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        group[i] = i;
    for (size_t i = 0; i < fit->pair_count; ++i) {
        const tl_fit_pair* pair = &fit->pairs[i];
        if (fabs(pair->correlation) < together ||
            (!is_loose(&fit->values[pair->a]) && !is_loose(&fit->values[pair->b])))
            continue;
        int from = group[pair->b];
        for (int j = 0; j < TL_FIT_TOTAL; ++j)
            group[j] = group[j] == from ? group[pair->a] : group[j];
    }
}

static bool is_in(const int group[TL_FIT_TOTAL], int first, tl_fit_value value) {
    return group[value] == first;
}

/// What would tell values apart that move as one.
static const char* what_tells(const tl_fit* fit, const int group[TL_FIT_TOTAL], int first) {
    if (is_in(group, first, TL_FIT_SCALE))
        return "an impedance, a response whose zero is known (gain_db or ratio), or a value held, "
               "such as the resistance by an ohmmeter";
    if (is_in(group, first, TL_FIT_INDUCTANCE) && is_in(group, first, TL_FIT_CAPACITANCE))
        return "an impedance below the resonance, a second sweep with a known capacitor across it, "
               "or a value held; what is told is the resonance";
    if (is_in(group, first, TL_FIT_RESISTANCE))
        return "an impedance with its phase, or the resistance by an ohmmeter (--hold)";
    return fit->phased ? "more points around and above the resonance"
                       : "the phase, around and above the resonance";
}

/// One sentence for values that move as one; nothing for one that goes by itself.
static void warn_of_group(tl_fit* fit, const int group[TL_FIT_TOTAL], int first) {
    int count = 0;
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        count += group[i] == first;
    if (count < 2)
        return;
    tl_text words = {0};
    int said = 0;
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        if (group[i] == first) {
            const char* between = said == 0 ? "" : said + 1 == count ? " and " : ", ";
            tl_text_addf(&words, "%sthe %s", between, words_of((tl_fit_value)i));
            ++said;
        }
    WARN(fit, "The sweep cannot tell %s apart: their errors move together. What would: %s.",
         tl_text_get(&words), what_tells(fit, group, first));
    tl_text_free(&words);
}

/// What is open by itself, and what only together.
static void warn_of_open(tl_fit* fit, const tl_fit_problem* problem) {
    int group[TL_FIT_TOTAL];
    find_groups(fit, group);
    for (int i = 0; i < TL_FIT_TOTAL; ++i) {
        bool alone = true;
        for (int j = 0; j < TL_FIT_TOTAL; ++j)
            alone = alone && (i == j || group[i] != group[j]);
        if (alone)
            warn_of_value(fit, problem, (tl_fit_value)i);
    }
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        warn_of_group(fit, group, i);
}

static void warn_of_misses(tl_fit* fit) {
    if (!fit->misses)
        return;
    char* where = hz_words(fit->miss_hz);
    WARN(fit,
         "The pickup is not quite this model: it lies %s what was measured by up to %.2g %%, near "
         "%s, and such misses hang together (point to point they scatter by %.2g %%). The "
         "intervals count chance alone: they are too narrow.",
         fit->miss > 0 ? "above" : "below", 100 * expm1(fabs(fit->miss)), where, 100 * fit->noise);
    free(where);
}

static void warn_of_rival(tl_fit* fit) {
    if (!fit->rival)
        return;
    tl_text words = {0};
    for (int i = 0; i <= TL_FIT_CAPACITANCE; ++i) {
        static const tl_unit as[] = {TL_UNIT_HENRY, TL_UNIT_OHM, TL_UNIT_FARAD};
        double unit = pow(10, floor(log10(fit->rival_values[i])) - 3);
        tl_text_add(&words, i ? ", " : "");
        tl_quantity_add(&words, as[i], round(fit->rival_values[i] / unit) * unit);
    }
    WARN(
        fit,
        "Another pickup fits this sweep as well: %s. The one whose capacitance is nearer to a "
        "usual "
        "winding's (80 to 200 pF) is shown. An impedance would tell which it is, or a second sweep "
        "with another load, or a value held.",
        tl_text_get(&words));
    tl_text_free(&words);
}

/// A response can be met by a mirror of the pickup, with less inductance and far more capacitance;
/// the search does not always come past the pickup itself.
static void warn_of_odd_winding(tl_fit* fit) {
    static const double odd_farad = 1e-9; // five times the most that is usual
    const tl_fit_estimate* found = &fit->values[TL_FIT_CAPACITANCE];
    if (fit->kind != TL_MEASURED_RESPONSE || fit->rival || found->known || found->value < odd_farad)
        return;
    WARN(fit,
         "A winding of %.2g nF is not usual (80 to 200 pF): a pickup of more inductance and less "
         "capacitance may fit this response as well. An impedance would tell which it is, or the "
         "inductance held (--hold) as a meter reads it.",
         1e9 * found->value);
}

static void note_eddy(tl_fit* fit) {
    if (!fit->eddy_tried)
        return;
    if (fit->eddy)
        NOTE(fit,
             "Eddy losses are in the model: they lower Akaike's criterion by %.4g (10 would do).",
             fit->eddy_aicc);
    else if (fit->eddy_aicc >= 10)
        NOTE(fit, "Eddy losses were left out: with them no values came out that a coil can have.");
    else
        NOTE(fit,
             "Eddy losses were left out: the sweep does not call for them (they would %s Akaike's "
             "criterion by %.2g; 10 lower is asked for).",
             fit->eddy_aicc >= 0 ? "lower" : "raise", fabs(fit->eddy_aicc));
}

static void note_meter(tl_fit* fit) {
    if (fit->eddy)
        NOTE(fit,
             "An inductance meter at the bare pickup would read %.4g H at 120 Hz and %.4g H at 1 "
             "kHz: losses take from it as frequency rises, the capacitance adds to it.",
             fit->meter_henry[0], fit->meter_henry[1]);
}

void tl_fit_judge(tl_fit* fit, const tl_fit_problem* problem, const double held[TL_FIT_TOTAL]) {
    tl_fit_spread spread;
    tl_fit_spread_of(problem, &spread);
    fit->condition = spread.condition;
    fit->freedom = tl_fit_miss_count(problem) - problem->free_count;
    fit->student_t = tl_student_quantile((1 + between) / 2, (double)fit->freedom);
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        estimate(fit, problem, &spread, (tl_fit_value)i, !isnan(held[i]));
    pair_up(fit, problem, &spread);
    for (int i = 0; i <= TL_FIT_CAPACITANCE; ++i) // else there are others everywhere
        fit->rival = fit->rival && fit->values[i].told;
    find_resonance(fit, problem, &spread);
    fit->meter_hz[0] = 120;
    fit->meter_hz[1] = 1000;
    const tl_fit_coil coil = tl_fit_coil_at(problem->at, problem->eddy);
    for (int i = 0; i < 2; ++i)
        fit->meter_henry[i] = tl_fit_meter_henry(&coil, fit->meter_hz[i]);
    warn_of_open(fit, problem);
    warn_of_rival(fit);
    warn_of_odd_winding(fit);
    warn_of_misses(fit);
    note_eddy(fit);
    note_meter(fit);
}

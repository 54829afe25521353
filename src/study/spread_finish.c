// SPDX-License-Identifier: GPL-3.0-or-later
// What trials come to: percentiles, histograms, shares of verdicts, correlations.
#include "study/spread_work.h"

#include "base/statistics.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>

// ---- one figure

/// Its numbers that exist, ascending; returns how many.
static size_t collect(const tl_spread_trials* trials, size_t amp, size_t figure, double* numbers) {
    size_t count = 0;
    for (size_t i = 0; i < trials->done; ++i) {
        double number = tl_spread_figures_of(trials, trials->first + i, amp)[figure];
        if (!isnan(number))
            numbers[count++] = number;
    }
    qsort(numbers, count, sizeof *numbers, tl_compare_doubles);
    return count;
}

static void fill_moments(tl_spread_figure* figure, size_t count, const double* numbers) {
    double sum = 0;
    double squares = 0;
    for (size_t i = 0; i < count; ++i)
        sum += numbers[i];
    figure->mean = sum / (double)count; // of none: NAN
    for (size_t i = 0; i < count; ++i)
        squares += (numbers[i] - figure->mean) * (numbers[i] - figure->mean);
    figure->deviation = count > 1 ? sqrt(squares / (double)(count - 1)) : NAN;
}

static void fill_bars(tl_spread_figure* figure, size_t count, const double* numbers) {
    figure->low = count ? numbers[0] : NAN;
    figure->high = count ? numbers[count - 1] : NAN;
    double width = (figure->high - figure->low) / TL_SPREAD_BARS;
    for (size_t i = 0; i < count; ++i) {
        double place = width > 0 ? (numbers[i] - figure->low) / width : 0;
        size_t bar = place < TL_SPREAD_BARS ? (size_t)place : TL_SPREAD_BARS - 1;
        ++figure->bars[bar];
    }
}

static void fill_figure(tl_spread_figure* figure, size_t count, const double* numbers,
                        size_t answers) {
    for (size_t i = 0; i < TL_PERCENTILES; ++i)
        figure->percentile[i] = tl_quantile_sorted(numbers, count, tl_percentiles[i] / 100);
    figure->none = answers - count;
    fill_moments(figure, count, numbers);
    fill_bars(figure, count, numbers);
}

// ---- values and figures

/// Pearson's correlation over the trials that have the figure; NAN when one of both never changes.
static double correlate(const tl_spread_trials* trials, size_t amp, size_t figure, double mean,
                        const double* offsets) {
    double sum = 0;
    double count = 0;
    for (size_t i = 0; i < trials->done; ++i)
        if (!isnan(tl_spread_figures_of(trials, trials->first + i, amp)[figure])) {
            sum += offsets[i];
            count += 1;
        }
    double middle = sum / count;
    double xx = 0;
    double yy = 0;
    double xy = 0;
    for (size_t i = 0; i < trials->done; ++i) {
        double y = tl_spread_figures_of(trials, trials->first + i, amp)[figure] - mean;
        if (isnan(y))
            continue;
        double x = offsets[i] - middle;
        xx += x * x;
        yy += y * y;
        xy += x * y;
    }
    const double rounding = 1e-8; // a figure that only this much changes does not
    double least = rounding * fmax(fabs(mean), 1);
    return count > 2 && xx > 0 && yy > least * least * count ? xy / sqrt(xx * yy) : NAN;
}

static void fill_effects(tl_spread* spread, const tl_spread_trials* trials, double* offsets) {
    for (size_t value = 0; value < spread->value_count; ++value) {
        for (size_t i = 0; i < trials->done; ++i)
            offsets[i] = tl_spread_trial_offset(spread, value, trials->first + i);
        for (size_t i = 0; i < spread->amp_count * TL_SPREAD_FIGURES; ++i) {
            tl_spread_effect* effect = &spread->figures[i].effects[value];
            effect->correlation = correlate(trials, i / TL_SPREAD_FIGURES, i % TL_SPREAD_FIGURES,
                                            spread->figures[i].mean, offsets);
            effect->variance_share = effect->correlation * effect->correlation;
        }
    }
}

static void count_verdicts(tl_spread* spread, const tl_spread_trials* trials) {
    for (size_t i = 0; i < trials->done; ++i)
        for (size_t amp = 0; amp < spread->amp_count; ++amp) {
            const double* figures = tl_spread_figures_of(trials, trials->first + i, amp);
            if (!isnan(figures[TL_SPREAD_LEVEL_DB]))
                ++spread->heard[amp][tl_verdict_of(figures[TL_SPREAD_WORST_DB],
                                                   figures[TL_SPREAD_STEPS])];
        }
}

// ---- curves

/// A walk along bins: how many trials lie below the one it is at.
typedef struct {
    const uint32_t* bins;
    size_t bin;
    double below;
} walk;

/// The level of the trial of a rank, counted from 0 upwards: those of one bin share it evenly.
static double level_of_rank(walk* w, double rank) {
    while (w->bin + 1 < TL_SPREAD_BINS && w->below + w->bins[w->bin] <= rank)
        w->below += w->bins[w->bin++];
    double inside = (rank - w->below + 0.5) / fmax(w->bins[w->bin], 1);
    return TL_SPREAD_LOWEST_DB + TL_SPREAD_BIN_DB * ((double)w->bin + inside);
}

/// Percentiles of counts in bins, by the definition that tl_quantile_sorted() has.
static void fill_point(const uint32_t* bins, size_t point, tl_spread_band* band) {
    double total = 0;
    for (size_t i = 0; i < TL_SPREAD_BINS; ++i)
        total += bins[i];
    walk w = {bins, 0, 0};
    for (size_t i = 0; i < TL_PERCENTILES; ++i) {
        double place = (total - 1) * tl_percentiles[i] / 100;
        double rank = floor(place);
        band->db[i][point] = NAN;
        if (total == 0)
            continue;
        double low = level_of_rank(&w, rank);
        walk on = w;
        double high = rank + 1 < total ? level_of_rank(&on, rank + 1) : low;
        band->db[i][point] = low + (place - rank) * (high - low);
    }
}

static void fill_curves(tl_spread* spread, const tl_spread_trials* trials) {
    for (size_t amp = 0; amp < spread->amp_count; ++amp)
        for (size_t point = 0; point < TL_SPREAD_POINTS; ++point) {
            fill_point(tl_spread_bins(trials, amp, 0, point), point, &spread->levels[amp]);
            fill_point(tl_spread_bins(trials, amp, 1, point), point, &spread->differences[amp]);
        }
}

// ---- all of it

static void copy_failures(tl_spread* spread, const tl_spread_trials* trials) {
    size_t count =
        trials->failure_count < TL_SPREAD_FAILURES ? trials->failure_count : TL_SPREAD_FAILURES;
    spread->failure_count = trials->failure_count;
    spread->failures = tl_new(count, sizeof *spread->failures);
    for (size_t i = 0; i < count; ++i)
        spread->failures[i] =
            (tl_spread_failure){trials->failures[i].trial, tl_copy(trials->failures[i].why)};
}

tl_status tl_spread_finish(tl_spread* spread, const tl_spread_trials* trials,
                           const tl_spread_options* options, tl_error* error) {
    double* numbers = tl_new(trials->done + 1, sizeof *numbers);
    spread->done = trials->done;
    copy_failures(spread, trials);
    size_t answers = trials->done - trials->failure_count;
    for (size_t i = 0; i < spread->amp_count * TL_SPREAD_FIGURES; ++i) {
        size_t count = collect(trials, i / TL_SPREAD_FIGURES, i % TL_SPREAD_FIGURES, numbers);
        fill_figure(&spread->figures[i], count, numbers, answers);
    }
    count_verdicts(spread, trials);
    fill_effects(spread, trials, numbers);
    free(numbers);
    fill_curves(spread, trials);
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < options->choice_count; ++i)
        status = tl_spread_choose(spread, trials, options->choices[i], error);
    if (status == TL_OK && options->dump)
        status = tl_spread_dump(spread, trials, options->dump, error);
    return status;
}

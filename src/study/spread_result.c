// SPDX-License-Identifier: GPL-3.0-or-later
// A result as such: what its figures are called, its memory, and where a drawn value lies.
#include "study/spread_work.h"

#include "base/random.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>

const double tl_percentiles[TL_PERCENTILES] = {1, 5, 25, 50, 75, 95, 99};

static const tl_spread_kind kinds[TL_SPREAD_FIGURES] = {
    [TL_SPREAD_PEAK_HZ] = {"peak_hz", "peak", "Hz"},
    [TL_SPREAD_PEAK_DB] = {"peak_db", "peak height", "dB"},
    [TL_SPREAD_POLE_HZ] = {"pole_hz", "pole", "Hz"},
    [TL_SPREAD_Q] = {"q", "Q of the pole", ""},
    [TL_SPREAD_CUTOFF_HZ] = {"cutoff_hz", "-3 dB point", "Hz"},
    [TL_SPREAD_LEVEL_DB] = {"level_db", "level against direct", "dB"},
    [TL_SPREAD_PRESENCE_DB] = {"presence_db", "presence (2 to 5 kHz) against direct", "dB"},
    [TL_SPREAD_WORST_DB] = {"worst_db", "worst band against direct, either way", "dB"},
    [TL_SPREAD_RMS_DB] = {"rms_db", "rms difference from direct", "dB"},
    [TL_SPREAD_STEPS] = {"peak_shift_steps", "peak shift in just-noticeable steps", ""},
};

const tl_spread_kind* tl_spread_figure_at(size_t index) {
    return index < TL_SPREAD_FIGURES ? &kinds[index] : NULL;
}

double tl_spread_trial_offset(const tl_spread* spread, size_t value, size_t trial) {
    return tl_spread_offset(tl_random_uniform(spread->seed, trial, (uint32_t)value),
                            spread->values[value].uniform);
}

void tl_spread_room(tl_spread* spread) {
    size_t figures = spread->amp_count * TL_SPREAD_FIGURES;
    size_t values = spread->value_count;
    spread->figures = tl_new(figures, sizeof *spread->figures);
    for (size_t i = 0; i < figures; ++i) {
        tl_spread_figure* figure = &spread->figures[i];
        *figure = (tl_spread_figure){.least = NAN, .most = NAN};
        figure->bars = tl_new(TL_SPREAD_BARS, sizeof *figure->bars);
        figure->effects = tl_new(values, sizeof *figure->effects);
        figure->least_at = tl_new(values, 1);
        figure->most_at = tl_new(values, 1);
    }
    spread->heard = tl_new(spread->amp_count, sizeof *spread->heard);
    spread->nominal_heard = tl_new(spread->amp_count, sizeof *spread->nominal_heard);
    spread->point_count = TL_SPREAD_POINTS;
    spread->hz = tl_new(TL_SPREAD_POINTS, sizeof *spread->hz);
    for (size_t i = 0; i < TL_SPREAD_POINTS; ++i)
        spread->hz[i] = tl_spread_point_hz(i);
    spread->levels = tl_new(spread->amp_count, sizeof *spread->levels);
    spread->differences = tl_new(spread->amp_count, sizeof *spread->differences);
    spread->nominal_db = tl_new(spread->amp_count, sizeof *spread->nominal_db);
    spread->nominal_difference_db =
        tl_new(spread->amp_count, sizeof *spread->nominal_difference_db);
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        for (size_t i = 0; i < TL_PERCENTILES; ++i) {
            spread->levels[amp].db[i] = tl_new(TL_SPREAD_POINTS, sizeof(double));
            spread->differences[amp].db[i] = tl_new(TL_SPREAD_POINTS, sizeof(double));
        }
        spread->nominal_db[amp] = tl_new(TL_SPREAD_POINTS, sizeof(double));
        spread->nominal_difference_db[amp] = tl_new(TL_SPREAD_POINTS, sizeof(double));
    }
}

static void free_figure(tl_spread_figure* figure) {
    free(figure->bars);
    free(figure->effects);
    free(figure->least_at);
    free(figure->most_at);
}

static void free_amp(tl_spread* spread, size_t amp) {
    for (size_t i = 0; i < TL_PERCENTILES; ++i) {
        free(spread->levels[amp].db[i]);
        free(spread->differences[amp].db[i]);
    }
    free(spread->nominal_db[amp]);
    free(spread->nominal_difference_db[amp]);
    for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i)
        free_figure(&spread->figures[amp * TL_SPREAD_FIGURES + i]);
}

void tl_spread_free(tl_spread* spread) {
    if (!spread)
        return;
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        free(spread->amps[amp]);
        if (spread->figures) // made once amps and values are known
            free_amp(spread, amp);
    }
    for (size_t i = 0; i < spread->choice_count; ++i) {
        free(spread->choices[i].words);
        free(spread->choices[i].about);
        free(spread->choices[i].percentile);
        free(spread->choices[i].deviation);
        free(spread->choices[i].heard);
    }
    size_t failures =
        spread->failure_count < TL_SPREAD_FAILURES ? spread->failure_count : TL_SPREAD_FAILURES;
    for (size_t i = 0; i < failures; ++i)
        free(spread->failures[i].why);
    tl_spread_values_free(spread->values, spread->value_count);
    free(spread->rig);
    free(spread->failures);
    free(spread->amps);
    free(spread->figures);
    free(spread->heard);
    free(spread->nominal_heard);
    free(spread->hz);
    free(spread->levels);
    free(spread->differences);
    free(spread->nominal_db);
    free(spread->nominal_difference_db);
    free(spread->choices);
    free(spread);
}

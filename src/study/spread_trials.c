// SPDX-License-Identifier: GPL-3.0-or-later
// What is kept of trials, and what is read off one.
#include "study/spread_trials.h"

#include "base/text.h"
#include "response/response_internal.h"

#include <math.h>
#include <stdlib.h>
#include <unistd.h>

static const double first_hz = 20;
static const double last_hz = 20e3;

double tl_spread_point_hz(size_t point) {
    return first_hz * pow(last_hz / first_hz, (double)point / (TL_SPREAD_POINTS - 1));
}

/// Bytes that this machine has for everything.
static double machine_bytes(void) {
    return (double)sysconf(_SC_PHYS_PAGES) * (double)sysconf(_SC_PAGE_SIZE);
}

tl_status tl_spread_trials_new(tl_spread_trials* trials, size_t first, size_t count, size_t amps,
                               tl_error* error) {
    const double most_share = 0.6;
    size_t numbers = count * amps * TL_SPREAD_FIGURES;
    double bytes = (double)numbers * sizeof *trials->figures;
    *trials = (tl_spread_trials){.first = first, .count = count, .amps = amps};
    if (bytes > most_share * machine_bytes())
        return tl_error_set(error, TL_FAILURE,
                            "%zu trials would take %.0f GB of memory here, and this machine has "
                            "%.0f: run fewer, or shards of them on several machines",
                            count, bytes / 1e9, machine_bytes() / 1e9);
    trials->figures = tl_new(numbers, sizeof *trials->figures);
    for (size_t i = 0; i < numbers; ++i)
        trials->figures[i] = NAN;
    size_t bins = amps * TL_SPREAD_CURVES * TL_SPREAD_POINTS * TL_SPREAD_BINS;
    trials->bins = tl_new(bins, sizeof *trials->bins);
    return TL_OK;
}

void tl_spread_trials_free(tl_spread_trials* trials) {
    for (size_t i = 0; i < trials->failure_count; ++i)
        free(trials->failures[i].why);
    free(trials->failures);
    free(trials->figures);
    free(trials->bins);
    *trials = (tl_spread_trials){0};
}

uint32_t* tl_spread_bins(const tl_spread_trials* trials, size_t amp, size_t curve, size_t point) {
    size_t row = (amp * TL_SPREAD_CURVES + curve) * TL_SPREAD_POINTS + point;
    return trials->bins + row * TL_SPREAD_BINS;
}

double* tl_spread_figures_of(const tl_spread_trials* trials, size_t trial, size_t amp) {
    size_t row = (trial - trials->first) * trials->amps + amp;
    return trials->figures + row * TL_SPREAD_FIGURES;
}

void tl_spread_fail(tl_spread_trials* trials, size_t trial, const char* why) {
    trials->failures =
        tl_grow_one(trials->failures, trials->failure_count, sizeof *trials->failures);
    trials->failures[trials->failure_count++] = (tl_spread_failure){trial, tl_copy(why)};
    for (size_t amp = 0; amp < trials->amps; ++amp)
        for (size_t i = 0; i < TL_SPREAD_FIGURES; ++i)
            tl_spread_figures_of(trials, trial, amp)[i] = NAN;
}

bool tl_spread_has_answer(const tl_spread_trials* trials, size_t trial) {
    return !isnan(tl_spread_figures_of(trials, trial, 0)[TL_SPREAD_LEVEL_DB]);
}

double tl_spread_measure(const tl_response* rig, const tl_response* direct, double reference_hz,
                         double figures[TL_SPREAD_FIGURES]) {
    tl_metrics of_rig = tl_response_metrics(rig, reference_hz);
    tl_metrics of_direct = tl_response_metrics(direct, reference_hz);
    tl_hearing hearing = tl_hearing_compare(rig, &of_rig, direct, &of_direct);
    figures[TL_SPREAD_PEAK_HZ] = of_rig.peak_hz;
    figures[TL_SPREAD_PEAK_DB] = of_rig.peak_db;
    figures[TL_SPREAD_POLE_HZ] = of_rig.pole_hz;
    figures[TL_SPREAD_Q] = of_rig.q;
    figures[TL_SPREAD_CUTOFF_HZ] = of_rig.cutoff_hz;
    figures[TL_SPREAD_LEVEL_DB] = hearing.level_db;
    figures[TL_SPREAD_PRESENCE_DB] = hearing.presence_db;
    figures[TL_SPREAD_WORST_DB] =
        fabs(hearing.worst_db); // of many, signs that flip would tell nothing
    figures[TL_SPREAD_RMS_DB] = hearing.rms_db;
    figures[TL_SPREAD_STEPS] = hearing.peak_shift_steps;
    return of_rig.unstable ? of_rig.unstable_hz : of_direct.unstable_hz;
}

void tl_spread_curves(const tl_response* rig, const tl_response* direct, double reference_hz,
                      double level_db, double db[TL_SPREAD_CURVES][TL_SPREAD_POINTS]) {
    double x[TL_SPREAD_POINTS];
    double power[TL_SPREAD_POINTS];
    double of_direct[TL_SPREAD_POINTS];
    double ratio = pow(last_hz / first_hz, 1.0 / (TL_SPREAD_POINTS - 1));
    double hz = first_hz;
    for (size_t i = 0; i < TL_SPREAD_POINTS; ++i, hz *= ratio)
        x[i] = tl_response_scaled(rig, hz);
    tl_response_powers(rig, TL_SPREAD_POINTS, x, power, NULL);
    hz = first_hz;
    for (size_t i = 0; i < TL_SPREAD_POINTS; ++i, hz *= ratio)
        x[i] = tl_response_scaled(direct, hz);
    tl_response_powers(direct, TL_SPREAD_POINTS, x, of_direct, NULL);
    const double db_of_log = 10 / M_LN10; // log() takes half of log10()'s time
    double reference = tl_response_power(rig, tl_response_scaled(rig, reference_hz));
    for (size_t i = 0; i < TL_SPREAD_POINTS; ++i) {
        db[0][i] = db_of_log * log(power[i] / reference);
        db[1][i] = db_of_log * log(power[i] / of_direct[i]) - level_db;
    }
}

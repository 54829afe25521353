// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/harmonics.h"

#include "base/text.h"
#include "response/fft.h"
#include "response/spline.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

/// Mean of one period.
static double mean_of(const double* samples) {
    double sum = 0;
    for (size_t i = 0; i < TL_PERIOD_SAMPLES; ++i)
        sum += samples[i];
    return sum / TL_PERIOD_SAMPLES;
}

/// A whole number of periods has no mean but the drift's: a parabola through the means of the
/// first, middle and last period is taken off. Its own mean over a period differs from its value at
/// the period's middle by a constant, which is of no matter here.
static void take_drift_off(double* samples, size_t periods) {
    if (periods < 3)
        return;
    size_t middle = (periods - 1) / 2;
    double last = (double)(periods - 1);
    double x1 = (double)middle;
    double y0 = mean_of(samples);
    double y1 = mean_of(samples + middle * TL_PERIOD_SAMPLES);
    double y2 = mean_of(samples + (periods - 1) * TL_PERIOD_SAMPLES);
    double first_slope = (y1 - y0) / x1;
    double bend = ((y2 - y1) / (last - x1) - first_slope) / last;
    for (size_t i = 0; i < periods * TL_PERIOD_SAMPLES; ++i) {
        double x = ((double)i + 0.5) / TL_PERIOD_SAMPLES - 0.5;
        samples[i] -= y0 + first_slope * x + bend * x * (x - x1);
    }
}

static tl_status resample(size_t count, const double* time_s, const double* volts, double hz,
                          double end_s, size_t periods, double* samples, tl_error* error) {
    size_t wanted = periods * TL_PERIOD_SAMPLES;
    double* places = tl_new(wanted, sizeof *places);
    for (size_t i = 0; i < wanted; ++i)
        places[i] = end_s - ((double)periods - (double)i / TL_PERIOD_SAMPLES) / hz;
    tl_status status = tl_spline(count, time_s, volts, wanted, places, samples, error);
    free(places);
    return status;
}

/// Reads harmonics and what lies between them off the bins; `periods` bins apart.
static void read_bins(const double _Complex* bins, size_t periods, tl_harmonics* harmonics) {
    double first = cabs(bins[periods]);
    double sum = 0;
    double most = 0;
    for (size_t bin = 1; bin <= TL_HARMONICS * periods; ++bin) {
        double share = cabs(bins[bin]) / first;
        if (bin % periods != 0)
            most = fmax(most, share);
        else
            harmonics->share[bin / periods] = share;
        if (bin % periods == 0 && bin > periods)
            sum += share * share;
    }
    harmonics->fundamental_v = 2 * first / (double)(periods * TL_PERIOD_SAMPLES);
    harmonics->thd_share = sqrt(sum);
    harmonics->floor_share = most;
}

tl_status tl_harmonics_measure(size_t count, const double* time_s, const double* volts, double hz,
                               double end_s, size_t periods, tl_harmonics* harmonics,
                               tl_error* error) {
    size_t wanted = periods * TL_PERIOD_SAMPLES;
    *harmonics = (tl_harmonics){0};
    if (periods == 0)
        return tl_error_set(error, TL_FAILURE, "no period to measure");
    tl_fft* fft = tl_fft_new(wanted, error);
    if (!fft)
        return TL_FAILURE;
    double* samples = tl_fft_samples(wanted);
    double _Complex* bins = (double _Complex*)(void*)tl_fft_samples(wanted + 2);
    tl_status status = resample(count, time_s, volts, hz, end_s, periods, samples, error);
    if (status == TL_OK) {
        take_drift_off(samples, periods);
        tl_fft_forward(fft, samples, bins);
        read_bins(bins, periods, harmonics);
        if (!(harmonics->fundamental_v > 0))
            status = tl_error_set(error, TL_FAILURE, "nothing of the sine came out");
    }
    tl_fft_free_samples(samples);
    tl_fft_free_samples(bins);
    tl_fft_free(fft);
    return status;
}

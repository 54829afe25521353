// SPDX-License-Identifier: GPL-3.0-or-later
/// @file sound.h A response as a filter for sound, strings to send through it, and true peak.
#ifndef TONELOAD_SOUND_H
#define TONELOAD_SOUND_H

#include "toneload/error.h"
#include "toneload/response.h"

#include <stddef.h>

/// Sampling rates that a filter can be made for.
enum { TL_LOWEST_RATE_HZ = 8000, TL_HIGHEST_RATE_HZ = 192000 };

/// A response as a finite impulse response at one sampling rate. Never changes once made.
typedef struct tl_filter tl_filter;

typedef struct {
    double rate_hz;
    /// What the recording was made through, to be taken out of it first; NULL: nothing.
    const tl_response* through;
    double max_gain_db; ///< with `through`: no frequency is raised by more
} tl_filter_options;

/// How well a filter does what the response says.
typedef struct {
    size_t delay_samples; ///< a frequency f leaves later by this, and as much as the response says
    double checked_hz;    ///< from 50 Hz up to here the filter was held against the response
    double error_db;      ///< the largest difference found
    double error_degrees;
    double highest_db; ///< the most that any frequency is raised
    /// The range in which the limit of `max_gain_db` takes 0.1 dB or more away; NAN: nowhere.
    double limited_low_hz;
    double limited_high_hz;
    /// With `through`: below this frequency what was lost is not brought back, by as many
    /// first-order high-passes as `cut_order` says; NAN and 0: not needed.
    double cut_hz;
    unsigned cut_order;
} tl_filter_facts;

/// Designs a filter. Its taps reach from `delay_samples` (1 ms; with `through` 3 ms; never less
/// than 44 samples) before the impulse to as far as the response rings. They follow it up to 4050
/// Hz below half the rate (less in proportion below 44.1 kHz); from there a taper takes the rest
/// away. The error is half of 0.01 dB and 0.1 degree at most, but where the limit of `max_gain_db`
/// takes something away: it is then what `error_db` says. What that limit and its high-passes take
/// is no error. TL_BAD_INPUT for a rate that is out of
/// range or a response that rings for more than 4 seconds; TL_FAILURE when FFTW cannot be loaded.
TL_API tl_status tl_filter_new(const tl_response* response, const tl_filter_options* options,
                               tl_filter** filter, tl_error* error);
TL_API void tl_filter_free(tl_filter* filter);
TL_API const double* tl_filter_taps(const tl_filter* filter, size_t* count);
TL_API tl_filter_facts tl_filter_get_facts(const tl_filter* filter);

/// A filter at work on a stream of samples, one channel.
typedef struct tl_convolver tl_convolver;

/// NULL when FFTW cannot be loaded.
TL_API tl_convolver* tl_convolver_new(const tl_filter* filter, tl_error* error);
TL_API void tl_convolver_free(tl_convolver* convolver);
/// How many samples it takes at a time.
TL_API size_t tl_convolver_block(const tl_convolver* convolver);
/// Takes a block and gives the block that belongs to it: nothing is held back. The end of a sound
/// is followed by zeros for as long as the filter has taps, less one.
TL_API void tl_convolver_run(tl_convolver* convolver, const double* in, double* out);

/// One string of the piece that tl_pluck_play() plays.
typedef struct {
    const char* name; ///< "E2"
    double hz;        ///< ISO 16 (A4 = 440 Hz), equal temperament
    double start_s;
    double seconds; ///< until it is damped
} tl_pluck;

/// The piece: the six open strings one by one, then a chord of E major. NULL past the last.
TL_API const tl_pluck* tl_pluck_at(size_t index);
/// Plays the piece at a rate: the voltage of the pickup's coil without anything connected, largest
/// value 1. Free with free(). The same samples every time.
TL_API double* tl_pluck_play(double rate_hz, size_t* count);

/// Measures the largest true peak of one channel (ITU-R BS.1770, annex 2). `{0}` is a new one.
typedef struct {
    double past[11];
    double peak; ///< the largest magnitude so far, 1 being full scale
} tl_true_peak;

/// Takes samples; after the last ones 11 zeros bring out what the interpolation still holds.
TL_API void tl_true_peak_add(tl_true_peak* meter, size_t count, const double* samples);

#endif

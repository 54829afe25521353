// SPDX-License-Identifier: GPL-3.0-or-later
/// @file response.h The response as a rational function of frequency, and what is read off it.
///
/// A lumped rig's response is a rational function of j*omega, so a dozen solved frequencies
/// determine it everywhere. Everything here evaluates that function; nothing interpolates a grid.
#ifndef TONELOAD_RESPONSE_H
#define TONELOAD_RESPONSE_H

#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>

/// A fitted response. Never changes once made, so threads may share it.
typedef struct tl_response tl_response;

/// A pole of the response. A complex pair is given once, by its member with im >= 0.
typedef struct {
    double re;     ///< real part, rad/s
    double im;     ///< imaginary part, rad/s, >= 0
    double weight; ///< |residue| / |pole|, in units of the response
    /// The weight is at least 1e-4 of max |H| and |p|/2pi lies within the solved band: no artefact
    /// of the fit. Poles beyond the band are what the band needs, not where the rig has them.
    bool counts;
} tl_pole;

/// What a builder reads off one response. A figure that does not exist is NAN.
/// All levels but `reference_db` are relative to the level at the reference frequency.
typedef struct {
    double reference_hz;
    double reference_db; ///< 20 log10 |H| at the reference frequency, re the source's 1 V
    double peak_hz;      ///< highest interior maximum above the reference, when >= 0.1 dB
    double peak_db;
    double pole_hz; ///< |p| / 2 pi of the resonance's pole pair
    double q;       ///< |p| / (2 |Re p|)
    double bandwidth_q;
    /// First frequency above the peak (the reference when none) where the level has fallen to half
    /// power, -3.0103 dB re the reference; NAN: beyond the solved band.
    double cutoff_hz;
    bool unstable;      ///< a counting pole lies in the right half plane
    double unstable_hz; ///< its |p| / 2 pi, else NAN
} tl_metrics;

/// Loads what fitting needs, which tl_response_fit() otherwise does when first called. TL_FAILURE
/// when it cannot be loaded.
TL_API tl_status tl_response_prepare(tl_error* error);

/// Fits `count` solved samples: `hz` ascending and positive, `h` complex. Every seventh sample
/// (the 4th, 11th, 18th, ...) is held out: the fit never sees it. `*residual` becomes the largest
/// held-out error relative to max(|H|, max|H|/1000). Returns NULL when that exceeds 1e-7 (the
/// samples then do not determine the response, and more are needed), and, with an infinite
/// residual, when a sample is not finite, not in order, or there are fewer than four.
/// Method: AAA (Nakatsukasa, Sete, Trefethen, SIAM J. Sci. Comput. 40(3), 2018) in conjugate pairs.
TL_API tl_response* tl_response_fit(size_t count, const double* hz, const double _Complex* h,
                                    double* residual);
TL_API void tl_response_free(tl_response* response);

/// H at a frequency in Hz.
TL_API double _Complex tl_response_at(const tl_response* response, double hz);
/// 20 log10 |H| at a frequency in Hz.
TL_API double tl_response_db(const tl_response* response, double hz);
/// The solved band, Hz.
TL_API double tl_response_low_hz(const tl_response* response);
TL_API double tl_response_high_hz(const tl_response* response);

/// The poles, ascending in |p|; owned by the response.
TL_API const tl_pole* tl_response_poles(const tl_response* response, size_t* count);

/// Peak, pole, Q, bandwidth Q and -3 dB relative to the level at `reference_hz` (200 Hz is usual).
/// With a reference outside the solved band, or no level there, only the poles' figures exist.
TL_API tl_metrics tl_response_metrics(const tl_response* response, double reference_hz);

/// Bands of the ear: ERB numbers 3 to 37 (Glasberg and Moore 1990).
enum { TL_BAND_COUNT = 35 };
/// Centre of band `index` (0 to TL_BAND_COUNT - 1), Hz.
TL_API double tl_band_hz(size_t index);
/// Level of each band, dB: 10 log10 of |H|^2 averaged uniformly in ERB number over one ERB; NAN for
/// a band that reaches beyond the solved band.
TL_API void tl_response_bands(const tl_response* response, double levels_db[TL_BAND_COUNT]);
/// Mean of rig minus direct over the bands centred in 200 Hz to 1 kHz, dB: what a player takes
/// back by turning the amp up, and what every "matched" difference has had taken off.
TL_API double tl_matched_level_db(const tl_response* rig, const tl_response* direct);
/// The same mean over any curve of band levels: taken off, it leaves the curve's tone.
TL_API double tl_bands_level_db(const double levels_db[TL_BAND_COUNT]);

/// What a difference is to the ear: the worse of |worst_db| in dB and the peak's shift in steps is
/// under 0.5, under 1, under 3, or more.
typedef enum { TL_NOT_AUDIBLE, TL_BORDERLINE, TL_AUDIBLE, TL_PLAIN } tl_verdict;
/// "not audible", "borderline", "audible", "plain".
TL_API const char* tl_verdict_words(tl_verdict verdict);

/// The verdict on a worst difference and a peak's shift in steps (NAN: none).
TL_API tl_verdict tl_verdict_of(double worst_db, double peak_shift_steps);

/// Rig minus direct as the ear has it. All but `level_db` is after taking the level off.
typedef struct {
    double level_db;    ///< mean of the bands centred in 200 Hz to 1 kHz
    double worst_db;    ///< the band difference that is largest either way
    double worst_hz;    ///< the centre of that band
    double rms_db;      ///< over all bands
    double presence_db; ///< mean of the bands centred in 2 to 5 kHz
    unsigned bands_over_half_db;
    unsigned bands_over_1db;
    unsigned bands_over_3db;
    double peak_shift_steps; ///< |peak shift| in just-noticeable steps of 0.079 f / sqrt(Q); NAN
                             ///< when either has no peak
    bool extrapolated;       ///< the peak lies above 2 kHz, where the step was never tested
    tl_verdict verdict;
} tl_hearing;

/// Thresholds and sources: see hearing.c.
TL_API tl_hearing tl_hearing_compare(const tl_response* rig, const tl_metrics* rig_metrics,
                                     const tl_response* direct, const tl_metrics* direct_metrics);
/// The same from band levels that are known already.
TL_API tl_hearing tl_hearing_of_bands(const double rig_db[TL_BAND_COUNT], const tl_metrics* rig,
                                      const double direct_db[TL_BAND_COUNT],
                                      const tl_metrics* direct);
/// How bad a difference is, by the scale of its verdict: for ranking.
TL_API double tl_hearing_size(const tl_hearing* hearing);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file hearing.c What the ear makes of the difference between two responses.
///
/// Thresholds, as collected in published sources: level differences of 0.5 to 1 dB are just
/// noticeable for most sounds (Open University, Hearing, 10.3; seen); a resonance is heard to move
/// when it moves by 0.079 f / sqrt(Q) (Gagne and Zurek, JASA 83:2293, 1988, abstract seen; tested
/// from 300 to 2000 Hz, so above that it is extrapolated).

#include "response/response_internal.h"

#include <math.h>

static const double presence_low_hz = 2000.0;
static const double presence_high_hz = 5000.0;
static const double noticeable_share = 0.079;
static const double tested_high_hz = 2000.0;

/// The shift of the peak in just-noticeable steps of the direct's resonance.
static void measure_shift(tl_hearing* hearing, const tl_metrics* rig, const tl_metrics* direct) {
    hearing->peak_shift_steps = NAN;
    if (isnan(rig->peak_hz) || isnan(direct->peak_hz) || isnan(direct->q))
        return;
    double step_hz = noticeable_share * direct->peak_hz / sqrt(direct->q);
    hearing->peak_shift_steps = fabs(rig->peak_hz - direct->peak_hz) / step_hz;
    hearing->extrapolated = direct->peak_hz > tested_high_hz;
}

tl_verdict tl_verdict_of(double worst_db, double peak_shift_steps) {
    double worst = fabs(worst_db);
    if (peak_shift_steps > worst) // false when there is none
        worst = peak_shift_steps;
    return worst < 0.5 ? TL_NOT_AUDIBLE
           : worst < 1 ? TL_BORDERLINE
           : worst < 3 ? TL_AUDIBLE
                       : TL_PLAIN;
}

tl_hearing tl_hearing_of_bands(const double rig_db[TL_BAND_COUNT], const tl_metrics* rig,
                               const double direct_db[TL_BAND_COUNT], const tl_metrics* direct) {
    tl_hearing hearing = {0};
    double difference_db[TL_BAND_COUNT];
    for (size_t i = 0; i < TL_BAND_COUNT; ++i)
        difference_db[i] = rig_db[i] - direct_db[i];
    hearing.level_db = tl_bands_level_db(difference_db);
    double squares = 0;
    for (size_t i = 0; i < TL_BAND_COUNT; ++i) {
        double db = difference_db[i] - hearing.level_db;
        double size_db = fabs(db);
        difference_db[i] = db;
        squares += db * db;
        hearing.bands_over_half_db += size_db > 0.5;
        hearing.bands_over_1db += size_db > 1;
        hearing.bands_over_3db += size_db > 3;
        if (i == 0 || size_db > fabs(hearing.worst_db)) {
            hearing.worst_db = db;
            hearing.worst_hz = tl_band_hz(i);
        }
    }
    hearing.rms_db = sqrt(squares / TL_BAND_COUNT);
    hearing.presence_db = tl_bands_mean_db(difference_db, presence_low_hz, presence_high_hz);
    measure_shift(&hearing, rig, direct);
    hearing.verdict = tl_verdict_of(hearing.worst_db, hearing.peak_shift_steps);
    return hearing;
}

tl_hearing tl_hearing_compare(const tl_response* rig, const tl_metrics* rig_metrics,
                              const tl_response* direct, const tl_metrics* direct_metrics) {
    double rig_db[TL_BAND_COUNT];
    double direct_db[TL_BAND_COUNT];
    tl_response_bands(rig, rig_db);
    tl_response_bands(direct, direct_db);
    return tl_hearing_of_bands(rig_db, rig_metrics, direct_db, direct_metrics);
}

double tl_hearing_size(const tl_hearing* hearing) {
    return fmax(fabs(hearing->worst_db), hearing->peak_shift_steps); // fmax() passes NAN over
}

const char* tl_verdict_words(tl_verdict verdict) {
    static const char* const words[] = {"not audible", "borderline", "audible", "plain"};
    return words[verdict];
}

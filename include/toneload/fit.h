// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit.h A pickup worked out from a measured sweep: its values and how well they are known.
#ifndef TONELOAD_FIT_H
#define TONELOAD_FIT_H

#include "toneload/measured.h"

#include <stdbool.h>
#include <stddef.h>

/// What is worked out. The first five are a pickup's; the last is the level of a response whose
/// zero is nobody's.
typedef enum {
    TL_FIT_INDUCTANCE,
    TL_FIT_RESISTANCE,
    TL_FIT_CAPACITANCE,
    TL_FIT_EDDY_FRACTION,
    TL_FIT_EDDY_RESISTANCE,
    TL_FIT_SCALE,
    TL_FIT_TOTAL
} tl_fit_value;

/// A value with the interval that holds the truth in 95 of 100 sweeps, as far as the misses are
/// chance.
typedef struct {
    const char* name; ///< "inductance", "eddy.fraction"; "scale"
    const char* unit; ///< "H", "ohm", "F"; "" for a share and for the scale
    bool used;        ///< part of the model that was kept
    bool known;       ///< given, not fitted: low and high are the value
    bool told;        ///< the data says what it is, within a factor of two
    double value;
    double low; ///< 0 and INFINITY when not told at all
    double high;
} tl_fit_estimate;

/// A frequency of the sweep, or the mean of several that lie close together.
typedef struct {
    double hz;
    double weight;   ///< how many frequencies of the file
    double measured; ///< ohm, or a ratio
    double fitted;
    double measured_rad; ///< NAN: the file has no phase
    double fitted_rad;
} tl_fit_point;

/// Two values whose estimates move together.
typedef struct {
    tl_fit_value a;
    tl_fit_value b;
    double correlation; ///< -1 to 1
} tl_fit_pair;

typedef struct {
    char* file;
    tl_measured_kind kind;
    size_t measured; ///< frequencies of the file
    bool phased;
    bool robust;
    double robust_scale; ///< misses of this size weigh half; NAN for least squares
    char* controls;      ///< what stands between pickup and meter, as it was given; NULL: nothing
    char* cable;
    char* load;
    char* held; ///< values that were given
    tl_fit_point* points;
    size_t point_count;
    tl_fit_point* curve; ///< the model over the same frequencies, densely, nothing measured
    size_t curve_count;
    tl_fit_estimate values[TL_FIT_TOTAL];
    tl_fit_pair* pairs; ///< of fitted values
    size_t pair_count;
    double condition; ///< of the scaled normal equations' root: how far the data is from telling
    bool rival;       ///< other values were found that fit as well
    double rival_values[TL_FIT_TOTAL];
    bool eddy;        ///< eddy losses were kept
    bool eddy_tried;  ///< there were points enough, and they were not given
    double eddy_aicc; ///< by how much they lower Akaike's criterion; NAN when not tried
    size_t freedom;   ///< degrees of freedom
    double student_t; ///< what standard errors are multiplied by
    double size_rms;  ///< of the misses, as a share
    double phase_rms; ///< radians; NAN without phase
    double noise;     ///< what of size_rms changes from point to point; NAN when too few points
    double runs_z;    ///< how unlike chance the signs' order is, in standard deviations; NAN
    double miss;      ///< greatest smoothed miss, a share with its sign; NAN when too few points
    double miss_hz;
    bool misses;         ///< it is more than chance
    double resonance_hz; ///< of the bare pickup: its pole; NAN when there is none
    double resonance_low_hz;
    double resonance_high_hz;
    double q; ///< NAN the same
    double q_low;
    double q_high;
    double meter_hz[2]; ///< where an inductance meter would read
    double meter_henry[2];
    char** warnings; ///< sentences
    size_t warning_count;
    char** notes;
    size_t note_count;
} tl_fit;

/// "inductance", "eddy.fraction".
TL_API const char* tl_fit_name(tl_fit_value value);

/// How a sweep was made, and what is known already.
typedef struct {
    const char* controls; ///< "{volume: {..}, tone: {..}}", or NULL
    const char* cable;    ///< "standard-coax=3 m", or NULL
    const char* load;     ///< an amp's values or library name, "open", or NULL
    const char* held;     ///< "{resistance: 5.35 kohm}", or NULL
    bool robust;
} tl_fit_options;

#endif

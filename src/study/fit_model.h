// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit_model.h What a pickup behind controls, cable and load measures, as a formula.
#ifndef TL_STUDY_FIT_MODEL_H
#define TL_STUDY_FIT_MODEL_H

#include "toneload/fit.h"

#include <complex.h>
#include <stdbool.h>

/// What stands between a pickup's terminal and the meter, at one frequency: V1 = a V2 + b I2,
/// I1 = c V2 + d I2, I2 flowing out of it.
typedef struct {
    double complex a;
    double complex b;
    double complex c;
    double complex d;
} tl_two_port;

/// Values as they are fitted: logarithms; of the eddy share f, ln(f / (1 - f)). Beyond what any
/// coil could have they count as its end, and nothing changes with them.
double tl_fit_coordinate(tl_fit_value value, double number);
double tl_fit_number(tl_fit_value value, double coordinate);
/// Whether a coordinate is at such an end.
bool tl_fit_is_end(tl_fit_value value, double coordinate);

/// A pickup by its values.
typedef struct {
    double number[TL_FIT_TOTAL];
    bool is_end[TL_FIT_TOTAL];
    bool eddy; ///< else the eddy values do not count
} tl_fit_coil;
tl_fit_coil tl_fit_coil_at(const double at[TL_FIT_TOTAL], bool eddy);

/// The logarithm of what is measured at the meter, an impedance in ohm or a ratio to the pickup's
/// EMF; and how it changes with each coordinate, when `slopes` is not NULL.
double complex tl_fit_model(tl_measured_kind kind, double omega, const tl_two_port* port,
                            const tl_fit_coil* coil, double complex slopes[TL_FIT_TOTAL]);

/// The pole of the bare pickup: its frequency and Q. False when it has no resonance.
bool tl_fit_pole(const tl_fit_coil* coil, double* hz, double* q);

/// What an inductance meter reads at the bare pickup's terminals.
double tl_fit_meter_henry(const tl_fit_coil* coil, double hz);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file weighting.h Noise over a band, and as loud as the ear has it.
#ifndef TL_RESPONSE_WEIGHTING_H
#define TL_RESPONSE_WEIGHTING_H

#include <stdbool.h>
#include <stddef.h>

/// A-weighting as a ratio (IEC 61672-1:2013, Annex E; its formula seen in a transcription), 1 at
/// 1 kHz.
double tl_a_weighting(double hz);

/// Root mean square, V, of a density in V/sqrt(Hz) given at ascending frequencies, from `low_hz` to
/// `high_hz` which must lie within them; `a_weighted`: through A-weighting. Trapezoids over the
/// logarithm of frequency, of frequency times power density: exact for 1/f noise, 0.005 % for white
/// noise at 100 points a decade, and good at resonances, where straight lines in logarithms lose
/// power.
double tl_noise_rms_v(size_t count, const double* hz, const double* density_v_rthz, double low_hz,
                      double high_hz, bool a_weighted);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file pulse.h The spectrum of a square pulse, as pedals and runs of leads state theirs.
#ifndef TL_STUDY_PULSE_H
#define TL_STUDY_PULSE_H

#include "parts/part.h"

/// Root mean square of harmonic `n`, A, of the `pulse: {current, duty}` of a part: a current that
/// is drawn for a share d of each period has 2 I |sin(n pi d)| / (n pi), peak (Fourier series, any
/// text).
double tl_pulse_harmonic_a(const tl_part* part, unsigned n);

#endif

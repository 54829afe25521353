// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit.h What the ways to show a fit share.
#ifndef TL_SHOW_FIT_H
#define TL_SHOW_FIT_H

#include "toneload/fit.h"

/// A value of a fit with four digits and its unit, shares in percent; free with free().
char* tl_fit_shown(double value, const char* unit);

/// What was measured, in words: "impedance and phase at 200 frequencies from 20 Hz to 20 kHz"; free
/// with free().
char* tl_fit_measured_words(const tl_fit* fit);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file low_cut.h Where a lost low end stops being brought back.
#ifndef TL_RESPONSE_LOW_CUT_H
#define TL_RESPONSE_LOW_CUT_H

#include "toneload/response.h"

#include <complex.h>

/// As many equal first-order high-passes as `order` says; 0: none.
typedef struct {
    double hz; ///< the corner of each
    unsigned order;
} tl_low_cut;

/// The low-cut with which rig / through stays well under `limit` below its lowest place between
/// 20 Hz and 2 kHz. A coupling capacitor lets nothing through at 0 Hz; taken out, it would have to
/// be raised without end there.
tl_low_cut tl_low_cut_find(const tl_response* rig, const tl_response* through, double limit);

/// What it does at a frequency.
double _Complex tl_low_cut_at(tl_low_cut cut, double hz);

#endif

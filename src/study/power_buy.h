// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power_buy.h Changes in figures one can buy, and what both makers of changes need.
#ifndef TL_STUDY_POWER_BUY_H
#define TL_STUDY_POWER_BUY_H

#include "base/text.h"
#include "study/power_work.h"

/// Supplies come in steps: up to whole 5 mA, 10 above 100.
double tl_power_buy_ma(double needs_ma);

/// Adds what an output has to give for a moment when its peak does not cover the start of one of
/// its pedals, and returns that, A; else NAN.
double tl_power_add_start(tl_text* text, const tl_power_work* work, const size_t* pedals,
                          size_t count, double peak_ma);

/// A change of nothing yet.
tl_power_change tl_power_no_change(void);
/// Keeps a change, which the plan then owns.
void tl_power_keep_change(tl_power_plan* plan, const tl_power_change* change);

/// Who can be fed all the same, as `work->at`; and when no one more output does, all of those that
/// would, as a change.
tl_status tl_power_feed_rest(tl_power_work* work, tl_error* error);

#endif

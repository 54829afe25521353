// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power.h What the pages of a power plan have in common.
#ifndef TL_SHOW_POWER_H
#define TL_SHOW_POWER_H

#include "base/text.h"
#include "toneload/power.h"

/// The cautions of a power plan, bits of tl_caution.
enum { TL_POWER_CAUTIONS = 1 | 2 | 4 | 8 | 16 };

/// The verdict in a sentence without its full stop; free with free().
char* tl_power_headline(const tl_power_plan* plan);
size_t tl_power_count(const tl_power_plan* plan, tl_power_gravity gravity);
/// Whether it may be plugged in like this: an assignment by the rules, and no error.
bool tl_power_is_ready(const tl_power_plan* plan);
/// How many hang on a return.
size_t tl_power_hanging(const tl_power_plan* plan, size_t group);

/// Adds what the figures are reckoned with, a line each.
void tl_power_add_terms(tl_text* text, const tl_power_plan* plan);
/// Whether a digital or pulsed load is not in the figures of the ground loops.
bool tl_power_leaves_out(const tl_power_pedal* pedal);
/// Adds the part on ground loops, or why there is none.
void tl_power_add_loops(tl_text* text, const tl_power_plan* plan);
/// One plain sentence on the ground loops at the amp where they are worst; free with free().
char* tl_power_loop_words(const tl_power_plan* plan);
/// The amp at which the ground loops are worst against its noise.
size_t tl_power_worst_amp(const tl_power_plan* plan);
/// A loop by its kind, or NULL.
const tl_power_loop* tl_power_loop_of(const tl_power_plan* plan, const char* kind);
/// "18 mA", by a meter's digits; free with free().
char* tl_power_ma(double ampere);
/// "9 V, 100 mA".
char* tl_power_output_words(const tl_power_output* output);

#endif

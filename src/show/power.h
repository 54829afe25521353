// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power.h What the pages of a power plan have in common.
#ifndef TL_SHOW_POWER_H
#define TL_SHOW_POWER_H

#include "base/text.h"
#include "toneload/power.h"
#include "toneload/show.h"

/// The cautions of a power plan, bits of tl_caution.
enum { TL_POWER_CAUTIONS = 1 | 2 | 4 | 8 | 16 };

/// The verdict in a sentence without its full stop; free with free().
char* tl_power_headline(const tl_power_plan* plan);
size_t tl_power_count(const tl_power_plan* plan, tl_power_gravity gravity);
/// Whether it may be plugged in like this: an assignment by the rules, and no error.
bool tl_power_is_ready(const tl_power_plan* plan);
/// How many hang on a return.
size_t tl_power_hanging(const tl_power_plan* plan, size_t group);

/// The verdict, and what stands in the way if anything does; free with free().
char* tl_power_verdict(const tl_power_plan* plan);
/// The polarity of all pedals when it is one, else NULL.
const char* tl_power_polarity(const tl_power_plan* plan);
/// The tables of a plan. Free each with tl_table_free().
tl_table* tl_power_pedals_table(const tl_power_plan* plan);
tl_table* tl_power_outputs_table(const tl_power_plan* plan); ///< those in use
tl_table* tl_power_supplies_table(const tl_power_plan* plan);
tl_table* tl_power_mains_table(const tl_power_plan* plan); ///< and whether the supplies take it
tl_table* tl_power_faults_table(const tl_power_plan* plan);
tl_table* tl_power_loops_table(const tl_power_plan* plan);
/// Adds which outputs are spare.
void tl_power_add_spare(tl_text* text, const tl_power_plan* plan);

/// Adds what the figures are reckoned with, a line each.
void tl_power_add_terms(tl_text* text, const tl_power_plan* plan);
/// Whether a digital or pulsed load is not in the figures of the ground loops.
bool tl_power_leaves_out(const tl_power_pedal* pedal);
/// Adds the part on ground loops, or why there is none.
void tl_power_add_loops(tl_text* text, const tl_power_plan* plan);
/// Adds why there are no figures of ground loops, when there are none.
void tl_power_add_no_loops(tl_text* text, const tl_power_plan* plan);
/// Adds who may well be heard and is in no figure of them.
void tl_power_add_left_out(tl_text* text, const tl_power_plan* plan);
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

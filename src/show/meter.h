// SPDX-License-Identifier: GPL-3.0-or-later
/// @file meter.h What the text of a bench card and its data have in common.
#ifndef TL_SHOW_METER_H
#define TL_SHOW_METER_H

#include "base/text.h"
#include "toneload/meter.h"
#include "toneload/show.h"

/// A step of the work, in words; NULL past the last. The caller has the order from the index.
const char* tl_meter_step(const tl_meter_card* card, size_t index);
/// Notes that go with the levels; NULL past the last.
const char* tl_meter_note(const tl_meter_card* card, size_t index);

/// "6.2 kohm, 2.4 H, 110 pF; generator 50 ohm, 100 mV; ..": how levels are measured. Free with
/// free().
char* tl_meter_setup_words(const tl_meter_card* card);
/// What the limits of the levels stand for. Free with free().
char* tl_meter_limit_words(const tl_meter_card* card);

/// The tables of a card: leads and how they are wired where there are some, DC plugs the same, and
/// the levels of a state. What is to be written in is a row of underscores, what is to be ticked
/// "[ ]". Free each with tl_table_free().
tl_table* tl_meter_leads_table(const tl_meter_card* card);
tl_table* tl_meter_continuity_table(const tl_meter_card* card);
tl_table* tl_meter_supplies_table(const tl_meter_card* card);
tl_table* tl_meter_levels_table(const tl_meter_card* card, const tl_meter_state* state);
/// Which state it is, and which read the same; free with free().
char* tl_meter_state_words(const tl_meter_card* card, const tl_meter_state* state);
/// Adds which leads turn the polarity over, and where the probes go.
/// Adds which leads' limits hold a joint that is worn in the rig, and what they read once mended.
void tl_meter_add_worn(tl_text* text, const tl_meter_card* card);
void tl_meter_add_crossed(tl_text* text, const tl_meter_card* card);
void tl_meter_add_supply_words(tl_text* text, const tl_meter_card* card);

/// All cautions there are: leads are soldered, supplies plugged in, pedals opened.
#define TL_METER_CAUTIONS TL_CAUTIONS_ALL

#endif

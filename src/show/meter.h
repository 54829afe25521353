// SPDX-License-Identifier: GPL-3.0-or-later
/// @file meter.h What the text of a bench card and its data have in common.
#ifndef TL_SHOW_METER_H
#define TL_SHOW_METER_H

#include "toneload/meter.h"

/// A step of the work, in words; NULL past the last. The caller has the order from the index.
const char* tl_meter_step(const tl_meter_card* card, size_t index);
/// Notes that go with the levels; NULL past the last.
const char* tl_meter_note(const tl_meter_card* card, size_t index);

/// "6.2 kohm, 2.4 H, 110 pF; generator 50 ohm, 100 mV; ..": how levels are measured. Free with
/// free().
char* tl_meter_setup_words(const tl_meter_card* card);
/// What the limits of the levels stand for. Free with free().
char* tl_meter_limit_words(const tl_meter_card* card);

/// All cautions there are: leads are soldered, supplies plugged in, pedals opened.
#define TL_METER_CAUTIONS TL_CAUTIONS_ALL

#endif

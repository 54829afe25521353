// SPDX-License-Identifier: GPL-3.0-or-later
/// @file engaged.h Which pedals are on, as people write it: "drive, delay", "drive + delay", a
/// scene, "all off".
#ifndef TL_STUDY_ENGAGED_H
#define TL_STUDY_ENGAGED_H

#include "base/place.h"
#include "rig/toggle.h"

/// Switches on what is named between commas or plus signs, and all others off; of a scene, those
/// others that have a name. TL_BAD_INPUT at the name that is neither pedal, loop nor scene; `place`
/// is that of the words.
tl_status tl_engaged_read(const tl_rig* rig, const tl_toggle_list* list, const char* words,
                          const tl_place* place, tl_error* error);

/// What is on, without what stands in a loop that is off: "drive + delay", or "all off". Free with
/// free().
char* tl_engaged_words(const tl_toggle_list* list);

/// Whether a pedal is in a loop that is off.
bool tl_engaged_left_out(const tl_toggle_list* list, size_t index);

#endif

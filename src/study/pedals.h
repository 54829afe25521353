// SPDX-License-Identifier: GPL-3.0-or-later
/// @file pedals.h The states a player can put a rig in: which pedals move, and how each is in each.
#ifndef TL_STUDY_PEDALS_H
#define TL_STUDY_PEDALS_H

#include "rig/toggle.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    const tl_rig* rig;
    tl_toggle_list toggles;
    size_t* moving;     ///< by pedal that moves: its toggle
    const char** names; ///< by pedal that moves: its item's name, or its path
    size_t count;       ///< pedals that move
    bool scenes;        ///< the states are the scenes the rig names
    size_t state_count; ///< 1 when nothing moves
} tl_pedals;

/// Lists the pedals and loops of a rig, holds those the fixes name ("NAME=yes") and lets the others
/// move: in every combination, or (unless `all`) in the scenes the rig names, if it names any.
/// TL_BAD_INPUT when a fix cannot be used or there are more than 2^16 states. Free with
/// tl_pedals_free() in any case.
tl_status tl_pedals_read(tl_rig* rig, const char* const* fixes, size_t fix_count, bool all,
                         tl_pedals* pedals, tl_error* error);
void tl_pedals_free(tl_pedals* pedals);

/// Whether a pedal is on in a state. State 0 has all off; each pedal doubles what is before it.
bool tl_pedals_on(const tl_pedals* pedals, size_t state, size_t pedal);
/// Puts the rig into a state.
void tl_pedals_enter(const tl_pedals* pedals, size_t state);

#endif

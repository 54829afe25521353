// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fix.h Pedals held on or off, as the user says it.
#ifndef TL_STUDY_FIX_H
#define TL_STUDY_FIX_H

#include "rig/toggle.h"

/// Reads one "NAME=yes" (or the path of the pedal), puts that pedal there and marks it in `held`.
/// TL_BAD_INPUT with the nearest name when there is no such pedal.
tl_status tl_fix_read(const tl_toggle_list* list, const char* text, bool* held, tl_error* error);

#endif

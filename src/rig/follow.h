// SPDX-License-Identifier: GPL-3.0-or-later
/// @file follow.h Parts whose values move together with those of another: `follows` in a rig file.
#ifndef TL_RIG_FOLLOW_H
#define TL_RIG_FOLLOW_H

#include "rig/rig.h"

#include <stdbool.h>
#include <stddef.h>

/// TL_BAD_INPUT at a `follows` that names nothing, another kind of part, or leads back to itself.
tl_status tl_rig_check_followers(tl_rig* rig, tl_error* error);

/// The tolerance that holds for a value: its own where it states one; that of the value it follows;
/// or (unless `only_stated`) that of its kind. `*from` (may be NULL) is the part it comes from.
tl_status tl_rig_tolerance(tl_rig* rig, tl_part* part, size_t field, bool only_stated,
                           tl_value_tolerance* tolerance, const tl_part** from, tl_error* error);

#endif

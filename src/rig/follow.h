// SPDX-License-Identifier: GPL-3.0-or-later
/// @file follow.h Parts whose values move together with those of another: `follows` in a rig file.
#ifndef TL_RIG_FOLLOW_H
#define TL_RIG_FOLLOW_H

#include "rig/rig.h"

/// TL_BAD_INPUT at a `follows` that names nothing, another kind of part, or leads back to itself.
tl_status tl_rig_check_followers(tl_rig* rig, tl_error* error);

#endif

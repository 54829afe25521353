// SPDX-License-Identifier: GPL-3.0-or-later
/// @file path.h Paths that name one value in a rig: `chain[2].length`, `guitar.volume.position`.
#ifndef TL_RIG_PATH_H
#define TL_RIG_PATH_H

#include "rig/rig.h"

#include <stdbool.h>

/// What a path names: a value of a part, or a whole part.
typedef struct {
    tl_part** part;
    int field; ///< -1: the whole part
} tl_target;

/// Finds what `path` names. `input` is the text the path stands in, from its first byte, for the
/// error's caret. TL_BAD_INPUT with the names that would fit when there is no such thing.
tl_status tl_rig_find(tl_rig* rig, const char* path, const tl_input* input, tl_target* target,
                      tl_error* error);

/// Finds the part that an item's or a pickup's name or a path names, as `follows` does: a path may
/// end at an item
/// (`chain[0]`) or a pickup (`guitar.pickups[neck]`). `place` is where the words stand.
/// TL_BAD_INPUT there, with the nearest name, when they name none.
tl_status tl_rig_find_part(tl_rig* rig, const char* words, const tl_place* place, tl_part** part,
                           tl_error* error);

/// Says that no item of the chain that `fits` has the name that stands at `node`, with the nearest
/// that one has; `what` are its kinds: "pedal or buffer". Returns TL_BAD_INPUT.
tl_status tl_rig_no_such_item(tl_rig* rig, const tl_yaml* node, bool (*fits)(const tl_part* part),
                              const char* what, tl_error* error);

/// Puts a value where a path points. A whole part keeps what stands beside it (`length`,
/// `engaged`, `follows`). Call tl_rig_check() once all values are set.
tl_status tl_rig_set(tl_rig* rig, const tl_target* target, const tl_yaml* value, tl_error* error);

#endif

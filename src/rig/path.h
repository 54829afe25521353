// SPDX-License-Identifier: GPL-3.0-or-later
/// @file path.h Paths that name one value in a rig: `chain[2].length`, `guitar.volume.position`.
#ifndef TL_RIG_PATH_H
#define TL_RIG_PATH_H

#include "rig/rig.h"

/// What a path names: a value of a part, or a whole part.
typedef struct {
    tl_part** part;
    int field; ///< -1: the whole part
} tl_target;

/// Finds what `path` names. `input` is the text the path stands in, from its first byte, for the
/// error's caret. TL_BAD_INPUT with the names that would fit when there is no such thing.
tl_status tl_rig_find(tl_rig* rig, const char* path, const tl_input* input, tl_target* target,
                      tl_error* error);

/// Puts a value where a path points. A whole part keeps what stands beside it (`length`,
/// `engaged`). Call tl_rig_check() once all values are set.
tl_status tl_rig_set(tl_rig* rig, const tl_target* target, const tl_yaml* value, tl_error* error);

#endif

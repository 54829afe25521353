// SPDX-License-Identifier: GPL-3.0-or-later
/// @file vary.h A path and the values it takes in turn, as the user wrote them.
#ifndef TL_STUDY_VARY_H
#define TL_STUDY_VARY_H

#include "base/yaml.h"
#include "rig/path.h"

#include <stddef.h>

/// One "PATH=V1,V2,..", read.
typedef struct {
    tl_input* input; ///< the whole word, for carets
    char* path;
    tl_yaml** values;
    char** words; ///< the values as they were written
    size_t count;
} tl_vary;

/// Reads a vary. TL_BAD_INPUT with a caret; free with tl_vary_free() in any case.
tl_status tl_vary_read(const char* text, tl_vary* vary, tl_error* error);
void tl_vary_free(tl_vary* vary);

/// Puts value `pick` of a vary into a rig. Call tl_rig_check() once all are set.
tl_status tl_vary_set(const tl_vary* vary, size_t pick, tl_rig* rig, tl_error* error);

#endif

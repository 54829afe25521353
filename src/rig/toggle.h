// SPDX-License-Identifier: GPL-3.0-or-later
/// @file toggle.h What a player steps on: pedals and switcher loops, and the scenes a rig names.
#ifndef TL_RIG_TOGGLE_H
#define TL_RIG_TOGGLE_H

#include "rig/rig.h"

/// A pedal or loop that can be on or off.
typedef struct {
    tl_part* part;
    int field;        ///< its `engaged`
    const char* name; ///< the item's name, or NULL
    char* path;       ///< "chain[2]"
} tl_toggle;

typedef struct {
    tl_toggle* toggles;
    size_t count;
} tl_toggle_list;

/// All pedals and loops of a rig (not of its direct), in the order of the signal.
tl_toggle_list tl_toggles_list(tl_rig* rig);
void tl_toggles_free(tl_toggle_list* list);

bool tl_toggle_is_on(const tl_toggle* toggle);
void tl_toggle_set(const tl_toggle* toggle, bool on);

/// Reads the `scenes` of a rig file: [{name, engaged: [names]}, ..]. TL_BAD_INPUT at a name that no
/// pedal or loop has.
tl_status tl_scenes_read(tl_rig* rig, const tl_yaml* node, tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file noise_owner.h Whose noise an element's is, and what a builder calls the part.
#ifndef TL_STUDY_NOISE_OWNER_H
#define TL_STUDY_NOISE_OWNER_H

#include "circuit/circuit.h"
#include "rig/rig.h"

#include <stddef.h>

/// What of a part makes noise: an amp's stopper, input resistance and stated noise count apart.
typedef enum {
    TL_NOISE_SLOT_WHOLE,
    TL_NOISE_SLOT_STOPPER,
    TL_NOISE_SLOT_STATED,
} tl_noise_slot;

typedef struct {
    const tl_part* part;
    char* path;
    char* where; ///< of leads and joints, as the cut list has them; else ""
    char* name;  ///< of its item, or NULL
} tl_noise_name;

typedef struct {
    tl_noise_name* names;
    size_t count;
} tl_noise_names;

/// Names of all parts of a rig. Free with tl_noise_free_names().
void tl_noise_collect_names(tl_rig* rig, tl_noise_names* names);
void tl_noise_free_names(tl_noise_names* names);
/// NULL for a part that is not the rig's.
const tl_noise_name* tl_noise_name_of(const tl_noise_names* names, const tl_part* part);

/// What a builder calls what makes the noise: "volume pot at 50 %"; free with free().
char* tl_noise_words(const tl_noise_name* who, tl_noise_slot which);

tl_noise_slot tl_noise_slot_of(const tl_element* element);
/// The letter under which ngspice tells an element's noise; 0 when it makes none.
char tl_noise_letter(const tl_circuit* circuit, const tl_element* element);

#endif

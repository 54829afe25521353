// SPDX-License-Identifier: GPL-3.0-or-later
/// @file slots.h A rig with an empty slot in every gap of its chain, into which a buffer can be
/// put, and the pedals that must see the pickup itself.
#ifndef TL_STUDY_SLOTS_H
#define TL_STUDY_SLOTS_H

#include "rig/rig.h"
#include "study/pedals.h"

#include <stdbool.h>
#include <stddef.h>

/// A place between two items. Empty, it is a wire.
typedef struct {
    tl_item* item;
    char* words; ///< "after chain[2] 'drive'"
    char* path;  ///< what a buffer put there would be called: "chain[3]"
} tl_slot;

/// A pedal that needs the pickup.
typedef struct {
    const tl_part* part;
    char* name; ///< the item's name, or its path
} tl_needer;

typedef struct {
    tl_rig* rig;
    tl_slot* slots; ///< in the order of the signal
    size_t count;
    tl_needer* needers;
    size_t needer_count;
} tl_slots;

/// Whether a needer is in the path and on, and then whether it sees the pickup itself.
typedef enum { TL_NEEDER_OFF, TL_NEEDER_SEES, TL_NEEDER_CUT_OFF } tl_sight;

/// Opens slots in a rig: in its chain, in the chains of loops that are on in some state, and in the
/// branches of splits; not in a pot's tuner-out. Paths of the rig no longer hold afterwards.
tl_slots tl_slots_open(tl_rig* rig, const tl_pedals* pedals);
/// Empties the slots, but leaves the rig to its owner.
void tl_slots_free(tl_slots* slots);

/// Puts a part into a slot (NULL: takes it out again). The slot borrows it.
void tl_slots_put(const tl_slots* slots, size_t slot, tl_part* part);

/// What every needer sees in the state the rig is in; room for `needer_count` of them.
void tl_slots_look(const tl_slots* slots, tl_sight* sights);

#endif

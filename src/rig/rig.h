// SPDX-License-Identifier: GPL-3.0-or-later
/// @file rig.h What a rig is made of, for the rooms that build and study it.
#ifndef TL_RIG_RIG_H
#define TL_RIG_RIG_H

#include "base/yaml.h"
#include "parts/part.h"
#include "rig/board.h"
#include "rig/measure.h"
#include "rig/power.h"
#include "toneload/rig.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct tl_branch tl_branch;
typedef struct tl_item tl_item;

/// Items in order, from the guitar to the amp.
typedef struct {
    tl_item* items;
    size_t count;
    tl_place place;
} tl_chain;

/// One line of a chain: a part; a loop with a chain of its own; a pot with a branch for a tuner; or
/// a split into branches, which has no part.
struct tl_item {
    char* name;          ///< unique in the rig, or NULL
    tl_part* part;       ///< NULL for a split
    tl_chain loop;       ///< of a loop
    tl_branch* branches; ///< of a split, or a pot's tuner-out (one)
    size_t branch_count;
    tl_place place;
};

/// A chain and what it ends in: an amp, a resistance, or nothing.
struct tl_branch {
    char* name; ///< of a split's branch; "tuner-out"; NULL for the rig itself
    tl_chain chain;
    tl_part* amp; ///< NULL: it ends in no amp
    tl_part* end; ///< NULL: open, or in an amp, or in a split
    tl_place place;
};

/// A pickup with its own controls; each control may be NULL.
typedef struct {
    char* name;
    tl_part* pickup;
    tl_part* volume;
    tl_part* tone;
    tl_place place;
} tl_voice;

/// Pickups, or an active source; then the controls all of them share.
typedef struct {
    tl_voice* voices;
    size_t voice_count;
    bool listed;     ///< under `pickups`, with a wiring, even when there is one
    tl_part* wiring; ///< of `pickups`
    tl_part* source;
    tl_part* volume;
    tl_part* tone;
    tl_place place;
} tl_guitar;

/// A stretch over which an audio lead runs beside another lead.
typedef struct {
    char* name;
    char* lead; ///< the audio lead, as written: an item's name or path
    tl_place lead_place;
    char* other; ///< beside audio: the other lead; else NULL
    tl_place other_place;
    tl_part* part; ///< of the kind `run`
    tl_place place;
} tl_run;

/// Pedals and loops that are on together; all others that have a name are off.
typedef struct {
    char* name;
    char** engaged; ///< names
    size_t engaged_count;
} tl_scene;

struct tl_rig {
    tl_library* library;
    char* path;
    char* title;
    tl_guitar guitar;
    tl_branch main; ///< chain and amp
    tl_chain direct;
    bool has_direct;
    tl_scene* scenes; ///< clones borrow them
    size_t scene_count;
    tl_run* runs; ///< of `dressing`; clones borrow them
    size_t run_count;
    tl_power* power;      ///< NULL: the file says nothing of it; clones borrow it
    tl_pedalboard* board; ///< NULL: the file says nothing of it; clones borrow it
    tl_measure* measure;  ///< NULL: the file says nothing of it; clones borrow it
    tl_input* input;      ///< the rig's text; clones borrow it
    bool is_clone;
};

/// A copy to change. It borrows the texts of the original, which must outlive it.
tl_rig* tl_rig_clone(const tl_rig* rig);

/// What only the whole can tell: names given twice, values that no longer agree. To be called after
/// values were changed.
tl_status tl_rig_check(tl_rig* rig, tl_error* error);

/// The part at the head of the line that `part` follows, whose values its own move with; NULL when
/// it follows none. Both are of the rig that is asked, be it a clone.
tl_part* tl_rig_leader(tl_rig* rig, tl_part* part);

/// Whether an item is the switcher's loop kind.
bool tl_item_is_loop(const tl_item* item);
/// Whether what has the name is on in a scene.
bool tl_scene_has(const tl_scene* scene, const char* name);
/// Whether an item is a split.
bool tl_item_is_split(const tl_item* item);

/// Adds to `*order` the number of a part's item in a walk over all items of a chain, each before
/// what it holds; false when it is of none.
bool tl_chain_order(const tl_chain* chain, const tl_part* part, size_t* order);

/// Calls `visit` on every part of the rig in a fixed order, with its path ("chain[2].cable").
/// Items of loops that are off are visited too. `visit` may change values but not the part.
typedef void (*tl_part_visit)(void* context, tl_part* part, const tl_item* item, const char* path);
void tl_rig_each_part(tl_rig* rig, tl_part_visit visit, void* context);

#endif

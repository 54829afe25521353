// SPDX-License-Identifier: GPL-3.0-or-later
/// @file board.h What a rig's pedals stand on: `board` in a rig file.
#ifndef TL_RIG_BOARD_H
#define TL_RIG_BOARD_H

#include "base/yaml.h"
#include "parts/part.h"
#include "toneload/build.h"
#include "toneload/rig.h"

#include <stdbool.h>
#include <stddef.h>

/// The jacks a thing on the board can have.
typedef enum {
    TL_JACK_IN,
    TL_JACK_OUT,
    TL_JACK_SEND,   ///< of a loop, to its chain
    TL_JACK_RETURN, ///< of a loop, from its chain
    TL_JACK_TUNER,  ///< of a volume pedal
    TL_JACK_OUT2,   ///< of what feeds a split: its second branch
    TL_JACK_POWER,
    TL_JACKS
} tl_jack_use;
/// "in", "out", "send", ..: the key in a rig file.
const char* tl_jack_word(tl_jack_use use);

/// A jack, in the pedal's own frame: as it stands when it is not turned.
typedef struct {
    tl_part* part; ///< of the kind `jack`; NULL: there is none
    tl_part* plug; ///< what goes into it; NULL: the board's
    tl_place place;
} tl_jack;

/// What stands on the board or hangs under it.
typedef struct {
    char* name;       ///< as written: a name or a path
    const char* kind; ///< "pedal", "supply" or "device"
    size_t order;     ///< of a pedal: its item's number in a walk over all items of the chain
    size_t supply;    ///< of a supply: which of `power`; else TL_BUILD_NONE
    size_t within;    ///< which place it has its jacks in; itself, but for `within`
    tl_part* part;    ///< of the kind `place`; NULL when `within` another
    tl_part* fastener;
    tl_jack jacks[TL_JACKS];
    tl_part* outputs; ///< of a supply; NULL: not said
    tl_part* plug;    ///< of a supply: what goes into its outputs; NULL: the board's
    double left_m;    ///< as it stands, turned
    double front_m;
    double width_m;
    double depth_m;
    unsigned quarters; ///< turned by, clockwise as seen from above
    bool under;
    tl_place place;
} tl_placed;

typedef struct {
    tl_part* part; ///< of the kind `board`
    tl_part* fastener;
    tl_part* plug;     ///< of leads between pedals; NULL: not said
    tl_part* dc_plug;  ///< of DC leads; NULL: not said
    tl_part* far_plug; ///< at guitar and amp; NULL: not said
    tl_placed* placed;
    size_t count;
    tl_place place;
} tl_pedalboard;

/// Reads `board` of a rig whose chain and power are read. TL_BAD_INPUT with its place, for pedals
/// that overlap or stand off the board too.
tl_status tl_pedalboard_read(tl_rig* rig, const tl_yaml* node, tl_error* error);
void tl_pedalboard_free(tl_pedalboard* board);

/// Calls `visit` on every part of it with its path ("board.pedals[0]").
void tl_pedalboard_each_part(tl_pedalboard* board,
                             void (*visit)(void* context, tl_part* part, const char* name,
                                           const char* path),
                             void* context);

/// A jack of something placed: where it is on the board, which side of the board it looks to, and
/// where a bent plug is to let its lead go (-1: not said).
typedef struct {
    tl_spot_m spot;
    tl_side side;
    int towards;
    double height_m; ///< NAN: not said
} tl_jack_place;
/// The place has to have the jack.
tl_jack_place tl_placed_jack(const tl_pedalboard* board, const tl_placed* placed, tl_jack_use use);
/// The same for output `which` of `count` of a supply: as `outputs` says, or evenly along the side;
/// along its front when nothing is said.
tl_jack_place tl_placed_output(const tl_placed* supply, size_t which, size_t count);

/// The place of an item, by its number in the walk; NULL: it has none.
const tl_placed* tl_pedalboard_find(const tl_pedalboard* board, size_t order);

#endif

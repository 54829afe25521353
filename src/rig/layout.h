// SPDX-License-Identifier: GPL-3.0-or-later
/// @file layout.h The leads of a rig on its board: which jacks each joins, its way, its length.
///
/// A lead lies on the deck, not over what stands on it, and may cross other leads and lie below
/// their plugs. It leaves its plug straight, or to the side the plug lets it; its way is the
/// shortest whose bends keep the least radius (rig/route.h). Its length is the way, what it drops
/// through the deck when one end is below, and slack: a share of that, but at least so much;
/// rounded up to 5 mm.
#ifndef TL_RIG_LAYOUT_H
#define TL_RIG_LAYOUT_H

#include "rig/board.h"
#include "rig/rig.h"
#include "rig/route.h"

#include <stdbool.h>
#include <stddef.h>

// What is taken where a rig does not say; all of it is printed with the answer.
#define TL_LAYOUT_SLACK_SHARE 0.05 ///< from memory: builders leave about a finger's width
#define TL_LAYOUT_SLACK_LEAST_M 0.015
#define TL_LAYOUT_DROP_M 0.04       ///< from memory: a deck and what hangs below it
#define TL_LAYOUT_OUTER_M 5e-3      ///< from memory: a usual patch lead
#define TL_LAYOUT_DC_OUTER_M 3.5e-3 ///< from memory: a usual DC lead
#define TL_LAYOUT_BEND 5.0 ///< common practice: 5 to 10 diameters for flexible coaxial lead
#define TL_LAYOUT_ROUND_M 5e-3

/// An end of a lead.
typedef struct {
    const tl_placed* placed; ///< whose jack; NULL: off the board
    char* name;              ///< "drive in", "guitar"
    size_t box;              ///< which place's box the jack is in; TL_BUILD_NONE: off the board
    size_t output;           ///< which of a supply's, counted from 1; 0: none
    const tl_part* plug;
    tl_jack_place jack;
    tl_area_m body; ///< the plug
    tl_route_end end;
    bool settled; ///< the plug is in place
    int choice;   ///< 1 or -1: which way a bent plug looks; 0: one way only
} tl_layout_end;

typedef struct {
    tl_part* cable; ///< NULL: a DC lead
    char* path;     ///< of the cable in the rig; "" for a DC lead
    tl_layout_end from;
    tl_layout_end to;
    bool on_board; ///< both its ends are
    double outer_m;
    bool outer_assumed;
    double bend_least_m;
    bool bend_assumed;
    tl_route_way way; ///< none: there is no way at all
    double bend_m;    ///< the least radius of its way; INFINITY: no bends
    bool over_edge;   ///< part of it lies off the board
    double drop_m;    ///< down through the deck, and `over_m`
    double over_m;    ///< from its plug over the deck, until it is past what hangs below that
    double length_m;  ///< finished; NAN off the board
} tl_layout_lead;

typedef struct {
    const tl_pedalboard* board;
    tl_library* library;
    double share; ///< of slack
    double least_m;
    double drop_m;
    tl_part* defaults[3]; ///< plugs the board does not say: of patch leads, far ends, DC
    tl_layout_lead* leads;
    size_t count;
} tl_layout;

/// Lays out the audio leads of a rig that has a `board`, in the order of the signal. TL_BAD_INPUT
/// when the library lacks a plug. Free with tl_layout_free() in any case.
tl_status tl_layout_make(tl_rig* rig, tl_layout* layout, tl_error* error);
void tl_layout_free(tl_layout* layout);

/// A DC lead, from an output of a supply to a pedal's power jack.
typedef struct {
    const tl_placed* supply; ///< NULL: off the board
    size_t output;           ///< among those of the supply
    size_t output_count;
    const char* from_name;
    const tl_placed* pedal; ///< NULL: off the board
    const char* to_name;
    const tl_part* wire; ///< its make; NULL: nothing says it
} tl_layout_feed;
tl_status tl_layout_add_dc(tl_layout* layout, const tl_layout_feed* feed, tl_error* error);
/// Finds the ways of all leads from `first` on, with the plugs of those before in place.
void tl_layout_route(tl_layout* layout, size_t first);

/// The box of something placed, as it stands.
tl_area_m tl_layout_box(const tl_placed* placed);
/// Whether a plug is known to pass over a box: both heights are stated.
bool tl_layout_passes_over(const tl_layout_end* end, const tl_placed* placed);
/// Of two plugs that face each other across a gap: how wide it must be for both, with the thickness
/// of neither lead counted; NAN: they do not face each other.
double tl_layout_gap_m(const tl_layout_end* one, const tl_layout_end* other);
/// Whether two ends are in the same output of a supply: one plug goes in there.
bool tl_layout_same_output(const tl_layout_end* one, const tl_layout_end* other);
/// Whether two overlap by more than a ruler's width of error.
bool tl_layout_areas_meet(const tl_area_m* one, const tl_area_m* other);

/// Gives the cables whose length is `layout` their lengths. TL_BAD_INPUT at the word when the rig
/// has no board or an end of the cable no place on it.
tl_status tl_layout_apply(tl_rig* rig, tl_error* error);

#endif

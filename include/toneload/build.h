// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build.h A board to be built: where things stand, the leads to cut, what does not fit, what
/// it takes and costs, and whether it holds.
#ifndef TONELOAD_BUILD_H
#define TONELOAD_BUILD_H

#include "toneload/api.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// No box, no lead: where an index could stand.
#define TL_BUILD_NONE SIZE_MAX

/// A place on the board: x from its left edge to the right, y from its front edge (the player's) to
/// the back, as the player stands before it.
typedef struct {
    double x_m;
    double y_m;
} tl_spot_m;

typedef enum { TL_SIDE_LEFT, TL_SIDE_RIGHT, TL_SIDE_FRONT, TL_SIDE_BACK } tl_side;
/// "left", "right", "front", "back".
TL_API const char* tl_side_word(tl_side side);

/// What stands on the board, or is fixed under it.
typedef struct {
    char* name;
    const char* kind; ///< "pedal" (buffers too), "supply" or "device"
    bool under;       ///< below the deck: nothing on top of it is in its way
    double left_m;    ///< its left edge from the board's
    double front_m;   ///< its front edge from the board's
    double width_m;   ///< as it stands, turned
    double depth_m;
    double height_m;  ///< NAN: not said
    double weight_kg; ///< NAN: not said
    bool thin;        ///< a thin housing, which a strong fastener may dent or tear
} tl_build_box;

/// One end of a lead.
typedef struct {
    char* name;       ///< "drive in", "brick/3", "guitar", "amp"
    size_t box;       ///< whose jack it is; TL_BUILD_NONE: off the board
    tl_side side;     ///< of the box
    tl_spot_m jack;   ///< where the plug goes in
    tl_spot_m leaves; ///< where the lead leaves the plug
    char* plug;       ///< a library name ("right-angle"), or "" when none is said
    tl_spot_m low;    ///< the plug as it lies there: its left front corner
    tl_spot_m high;   ///< and its right back one; both NAN off the board
    double room_m;    ///< how far the plug stands out from the jack; NAN off the board
    double body_m;    ///< how wide it is along the side; NAN off the board
    double farad;     ///< the plug's own; NAN: not stated
    bool joined; ///< it has no plug of its own: it hangs on that of an earlier lead in this jack
} tl_build_end;

/// A lead to make, or one that comes made.
typedef struct {
    size_t number;    ///< from 1, in the order of the signal; DC leads follow
    const char* kind; ///< "audio" or "dc"
    bool on_board;    ///< both its ends are; else its length is the rig's and it has no way
    char* path;       ///< of its cable in the rig ("chain[6]"); "" for a DC lead
    char* type;       ///< its cable's library name; of a DC lead "22 AWG"; else ""
    tl_build_end from;
    tl_build_end to;
    tl_spot_m* way; ///< corners of its route, both ends included, each rounded by `bend_m`
    size_t way_count;
    double route_m;  ///< along the way, bends as the arcs they are, and `drop_m`; NAN off the board
    double drop_m;   ///< of the route: down through the deck, when one end is below it, and from
                     ///< the plug over the deck until it is past what hangs below the plug
    double slack_m;  ///< what was added to it; NAN off the board
    double length_m; ///< finished, between where it leaves its plugs
    double cut_m;    ///< what to cut off the reel: length and both ends' preparation
    double preparation_m; ///< of the cut: what ends inside both plugs together
    double stated_m;      ///< what the rig file says; NAN: it takes the layout's
    bool over_edge;       ///< part of its way lies off the board
    double diameter_m;    ///< outer; NAN: not known
    double bend_m; ///< the tightest bend its way needs, radius at the lead's middle; INFINITY: none
    double bend_least_m; ///< the least its make allows; NAN: not known
    double farad;        ///< of the lead alone; NAN for DC
    double loop_ohm;     ///< both conductors in series, joints not included; NAN: not known
} tl_build_lead;

typedef enum { TL_BUILD_ERROR, TL_BUILD_WARNING, TL_BUILD_NOTE } tl_build_gravity;
/// "error", "warning", "note".
TL_API const char* tl_build_gravity_word(tl_build_gravity gravity);

/// Something to know before it is built.
typedef struct {
    tl_build_gravity gravity;
    const char* kind;  ///< "overlap", "off-board", "plugs", "bend", "slack", "fastening",
                       ///< "power", "splitter", ..
    size_t box;        ///< or TL_BUILD_NONE
    size_t other;      ///< the other box, or TL_BUILD_NONE
    size_t lead;       ///< index, or TL_BUILD_NONE
    size_t other_lead; ///< or TL_BUILD_NONE
    char* words;
} tl_build_finding;

/// How a box is held.
typedef struct {
    size_t box;
    char* fastener;       ///< what holds it, by its library name; "" when it has values of its own
    double area_m2;       ///< of fastener under it; NAN: not said
    double strength_pa;   ///< as stated; NAN: not said
    double force_n;       ///< area times strength: pulled straight off, all of it at once
    double needed_n;      ///< weight at the stated acceleration; NAN: no weight
    double factor;        ///< force over needed
    double least_factor;  ///< what is asked for
    double least_area_m2; ///< that would give it
    double pull_n;        ///< the most its housing stands; NAN: no thin one, or not said
    bool pull_assumed;    ///< nobody said it: a figure of ours for thin housings
    double most_area_m2;  ///< that can be pulled off without more than that
} tl_build_hold;

/// Packs of one size that are bought of an item: reels, sheets, bags, pieces.
typedef struct {
    double packs; ///< how many
    double pack;  ///< how much is in one, in the line's unit
    bool drum;    ///< cut off a drum in one piece, at so much a `pack`
    double price; ///< of one; NAN: the price file does not say
    double total; ///< NAN the same
    char* from;   ///< where the price stands ("prices.yaml:7"), or ""
} tl_build_purchase;

/// A line of the bill of materials.
typedef struct {
    const char* group; ///< "lead", "plug", "splitter", "joint", "mount", "tie" or "fastener"
    char* item;        ///< "patch-coax", "right-angle plug", "tie mount"
    double count;      ///< what is needed: pieces, metres or square metres, spares included
    double spare;      ///< of that, what the board itself does not use
    const char* unit;  ///< "", "m" or "m2"
    double waste;      ///< what is bought beyond `count`, in `unit`; NAN: no pack is known
    bool too_short;    ///< reels are known, and none of them is long enough for every lead
    bool work;         ///< something to do and nothing to buy: it may lack a price
    tl_build_purchase* purchases; ///< what to buy; none when no pack is known
    size_t purchase_count;
    double total; ///< of all purchases; NAN: the price file does not say
    bool proven;  ///< it cannot be had for less (without prices: with less waste)
    double least; ///< what it cannot be had for less than, when it is not proven; else NAN
} tl_build_line;

/// A piece that leads are cut off.
typedef struct {
    size_t line;     ///< of the bill
    double length_m; ///< of the piece
    double left_m;   ///< of it, in the end
    size_t* leads;   ///< by index, in the order of the cut list
    size_t lead_count;
} tl_build_reel;

typedef struct {
    char* rig; ///< title
    double width_m;
    double depth_m;
    double weight_kg;       ///< of the board itself; NAN: not said
    double total_weight_kg; ///< of all that states a weight
    size_t weightless;      ///< boxes that state none
    tl_build_box* boxes;    ///< as the rig has them
    size_t box_count;
    tl_build_lead* leads;
    size_t lead_count;
    tl_build_finding* findings; ///< errors first
    size_t finding_count;
    tl_build_hold* holds; ///< by box; none when no fastening is said
    size_t hold_count;
    double acceleration_g;
    bool acceleration_assumed;
    tl_build_line* lines; ///< the bill of materials
    size_t line_count;
    tl_build_reel* reels; ///< which leads come off which piece; a piece each when no reel is known
    size_t reel_count;
    char* prices;      ///< the price file's name; NULL: no prices
    char* currency;    ///< free text of the price file's, never trusted; NULL: no prices
    unsigned decimals; ///< of the currency: 2 for cents
    double total;      ///< of the lines that have a price, each rounded half up
    size_t unpriced;   ///< lines without, but for work
    char** unused;     ///< what the price file has and the board does not need
    size_t unused_count;
    char* no_dc;    ///< why there are no DC leads, in words; NULL: there are
    char** assumed; ///< what was taken where the rig does not say, a sentence each with its source
    size_t assumed_count;
} tl_build;

typedef struct {
    const char* prices; ///< the user's price file, or NULL
} tl_build_options;

/// Frees what tl_study_build() made.
TL_API void tl_build_free(tl_build* build);

#endif

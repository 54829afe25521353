// SPDX-License-Identifier: GPL-3.0-or-later
/// @file route.h The shortest way for a lead that must not bend too tightly, around what stands
/// there.
#ifndef TL_RIG_ROUTE_H
#define TL_RIG_ROUTE_H

#include "toneload/build.h"

#include <stdbool.h>
#include <stddef.h>

/// An end of a lead: where it leaves its plug, and whither. `free`: in any direction.
typedef struct {
    tl_spot_m spot;
    double heading_rad; ///< out of the plug, from x to y
    bool free;
} tl_route_end;

/// A rectangle: one that is in the way, or that a way must stay within.
typedef struct {
    tl_spot_m low;  ///< its left front corner
    tl_spot_m high; ///< its right back corner
} tl_area_m;

/// What the middle line of a lead may not enter or leave, and how tightly it may bend.
typedef struct {
    const tl_area_m* walls;
    size_t wall_count;
    const tl_area_m* within; ///< NULL: no limit
    double radius_m;         ///< least radius of its middle line
} tl_route_rules;

typedef struct {
    tl_spot_m* way; ///< both ends, and between them corners to be rounded by `radius_m`
    size_t way_count;
    double length_m; ///< bends counted as arcs
    bool bends;
} tl_route_way;

/// Finds the shortest way from one end to the other made of arcs of the least radius and straight
/// pieces between them; false when there is none. Free `way->way` with free().
///
/// Without anything in the way it is Dubins' (L. E. Dubins, On curves of minimal length with a
/// constraint on average curvature, Am. J. Math. 79, 1957: arc, straight, arc, or three arcs; from
/// memory). A box is gone around on circles of the least radius that lean on its corners along
/// either side or halfway; an end has some more that touch its own circles and a corner, a side, or
/// a corner's circle. Between such circles, and those the ends set out on, lie their common
/// tangents, and the shortest chain of those is found by A* (Hart, Nilsson, Raphael, 1968; from
/// memory).
bool tl_route_find(const tl_route_end* from, const tl_route_end* to, const tl_route_rules* rules,
                   tl_route_way* way);

#endif

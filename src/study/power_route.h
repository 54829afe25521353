// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power_route.h The way of the signal past everything that has power: grounds it meets, the
/// audio shields between them, and the amps it ends in.
#ifndef TL_STUDY_POWER_ROUTE_H
#define TL_STUDY_POWER_ROUTE_H

#include "rig/rig.h"

#include <stdbool.h>
#include <stddef.h>

/// A ground on the way: a pedal's that has power, or where leads part.
typedef struct {
    size_t consumer; ///< of the rig's power, or SIZE_MAX where leads part
    size_t before;   ///< the ground the signal comes from, or SIZE_MAX
} tl_route_stop;

/// The audio lead between two grounds.
typedef struct {
    size_t from;
    size_t to;         ///< or SIZE_MAX: the amp's earth
    const tl_item* at; ///< its first item: what the shield drops stands in series there; or NULL
    double shield_ohm;
    double length_m;
} tl_route_stretch;

typedef struct {
    char* name;  ///< as the circuit names its outputs, in their order
    size_t last; ///< the last ground before it, or SIZE_MAX
} tl_route_amp;

typedef struct {
    tl_route_stop* stops;
    size_t stop_count;
    tl_route_stretch* stretches;
    size_t stretch_count;
    tl_route_amp* amps;
    size_t amp_count;
    bool assumed; ///< some lead states no resistance: `TL_ROUTE_OHM_PER_M` stands for it
} tl_route;

/// Core plus shield of a lead that says nothing (from memory: 20 to 150 mohm/m).
#define TL_ROUTE_OHM_PER_M 0.08
/// A joint of two shields at least.
#define TL_ROUTE_LEAST_OHM 1e-3

/// Goes along the rig in the state it is in. The shield is `share` of a lead's resistance, and its
/// joints are as good as the core's.
tl_route tl_route_make(const tl_rig* rig, double share);
void tl_route_free(tl_route* route);

/// Whether the way passes a consumer's ground.
bool tl_route_meets(const tl_route* route, size_t consumer);

/// Whether an amp hears through a consumer in the state the rig is in.
bool tl_route_leads(const tl_route* route, size_t amp, size_t consumer);

#endif

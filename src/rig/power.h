// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power.h What feeds a rig's pedals: supplies, outputs, draws, DC leads and the mains.
#ifndef TL_RIG_POWER_H
#define TL_RIG_POWER_H

#include "base/yaml.h"
#include "parts/part.h"
#include "toneload/rig.h"

#include <stdbool.h>
#include <stddef.h>

enum { TL_OUTPUT_VOLTS = 8 }; ///< most voltages an output can be set to

/// A DC lead and the joint at each of its four plug contacts.
typedef struct {
    tl_part* wire;  ///< NULL: not said
    tl_part* joint; ///< NULL: not said, or none
} tl_dc_lead;

/// An output of a supply.
typedef struct {
    char* name; ///< within its supply
    tl_part* part;
    double volts_v[TL_OUTPUT_VOLTS]; ///< one, or what it can be set to
    size_t volt_count;
    tl_place place;
} tl_output_plug;

typedef struct {
    char* name;
    tl_part* part;
    tl_output_plug* outputs;
    size_t output_count;
    tl_place place;
} tl_supply;

/// A pedal or buffer of the chain, or a device that is not in it, and what it draws.
typedef struct {
    char* name;                 ///< as written: a name or a path
    const struct tl_item* item; ///< of the rig that was read; NULL for a device
    tl_part* part;
    tl_dc_lead lead; ///< what it says of its own; else the rig's
    bool given;      ///< it names its output
    size_t supply;   ///< of the output it names
    size_t output;
    tl_place output_place;
    tl_place place;
} tl_consumer;

typedef struct {
    tl_part* settings;
    tl_part* mains; ///< NULL: not said
    tl_part** tour; ///< other mains it is to be plugged into
    size_t tour_count;
    tl_dc_lead lead;
    tl_supply* supplies;
    size_t supply_count;
    tl_consumer* consumers;
    size_t consumer_count;
    tl_place place;
} tl_power;

/// Reads `power` of a rig whose chain is read. TL_BAD_INPUT with its place.
tl_status tl_power_read(tl_rig* rig, const tl_yaml* node, tl_error* error);
void tl_power_free(tl_power* power);

/// Calls `visit` on every part of it with its path ("power.supplies[0]").
void tl_power_each_part(tl_power* power,
                        void (*visit)(void* context, tl_part* part, const char* name,
                                      const char* path),
                        void* context);

#endif

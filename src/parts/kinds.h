// SPDX-License-Identifier: GPL-3.0-or-later
/// @file kinds.h The kinds of part by name, for those who place them in a rig.
#ifndef TL_PARTS_KINDS_H
#define TL_PARTS_KINDS_H

#include "parts/part.h"

extern const tl_part_kind tl_kind_pickup;
extern const tl_part_kind tl_kind_source;
extern const tl_part_kind tl_kind_volume;
extern const tl_part_kind tl_kind_tone;
extern const tl_part_kind tl_kind_pot;
extern const tl_part_kind tl_kind_cable;
extern const tl_part_kind tl_kind_contact;
extern const tl_part_kind tl_kind_pedal;
extern const tl_part_kind tl_kind_buffer;
extern const tl_part_kind tl_kind_loop;
extern const tl_part_kind tl_kind_amp;
extern const tl_part_kind tl_kind_end;
extern const tl_part_kind tl_kind_wiring;
extern const tl_part_kind tl_kind_run;
extern const tl_part_kind tl_kind_power;
extern const tl_part_kind tl_kind_mains;
extern const tl_part_kind tl_kind_supply;
extern const tl_part_kind tl_kind_output;
extern const tl_part_kind tl_kind_draw;
extern const tl_part_kind tl_kind_dc_lead;
extern const tl_part_kind tl_kind_board;
extern const tl_part_kind tl_kind_place;
extern const tl_part_kind tl_kind_jack;
extern const tl_part_kind tl_kind_outputs;
extern const tl_part_kind tl_kind_plug;
extern const tl_part_kind tl_kind_fastener;
extern const tl_part_kind tl_kind_measure;
extern const tl_part_kind tl_kind_generator;
extern const tl_part_kind tl_kind_meter;

/// A frequency at which a board is measured.
extern const tl_field* const tl_measure_frequency;

/// The words of every yes-or-no field, in this order: index 1 is yes.
extern const char* const tl_no_yes[];

/// Number of rows of a field table.
#define TL_FIELDS(table) (table), sizeof(table) / sizeof *(table)

#endif

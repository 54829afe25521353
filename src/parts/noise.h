// SPDX-License-Identifier: GPL-3.0-or-later
/// @file noise.h What pedals, buffers and amps may state of their own noise: `noise: {voltage,
/// current, corner}`, referred to their input.
///
/// The current is at the jack, across the input resistance, whose noise it has in it; the voltage
/// is behind input resistance and capacitance. Densities are those of the flat part; below its
/// corner a density's power goes up as 1/f: e^2 (1
/// + corner / f) (S. Franco, Design with Operational Amplifiers and Analog Integrated Circuits, 3rd
/// ed., section 7.1, from memory). Where noise is stated, it has that of the input resistance in
/// it.
#ifndef TL_PARTS_NOISE_H
#define TL_PARTS_NOISE_H

#include "parts/part.h"

// clang-format off
/// Rows of a kind's fields.
#define TL_NOISE_FIELDS \
    {"noise.voltage", TL_UNIT_NOISE_DENSITY, 0, 1e-4, NULL, 0}, \
    {"noise.current", TL_UNIT_NOISE_CURRENT, 0, 1e-6, NULL, 0}, \
    {"noise.corner", TL_UNIT_HERTZ, 0, 1e6, NULL, 0}, \
    {"noise.current_corner", TL_UNIT_HERTZ, 0, 1e6, NULL, 0}
// clang-format on

/// Voltage and current go together, and corners need them.
tl_status tl_noise_check(const tl_part* part, tl_error* error);

/// Whether a part states its noise.
bool tl_noise_is_stated(const tl_part* part);

/// How much more power than its flat part a stated density has at a frequency: 1 + corner / f. Of
/// the current, with `current`, which has the voltage's corner when none is given for it.
double tl_noise_rise(const tl_part* part, bool current, double hz);

/// What a part's input resistance is to a sink: 'q' when its noise is stated otherwise, else 'r'.
char tl_noise_resistor(const tl_part* part, const tl_sink* sink);

/// Puts the current a part states in at `in`, to ground, where its input resistance is; nothing
/// when it states none or the sink takes none.
void tl_noise_emit_current(const tl_part* part, const tl_sink* sink, tl_node in);

/// Puts the voltage a part states in series behind `in`, right before what amplifies it: the
/// input's resistance and capacitance do not divide it. Returns the node behind it, or `in`.
tl_node tl_noise_emit_voltage(const tl_part* part, const tl_sink* sink, tl_node in);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
// Pedals and buffers: input resistance and capacitance to ground, a gain, an output resistance and
// a coupling capacitor; and the three ways a pedal lets the signal by when it is off.
#include "parts/kinds.h"
#include "parts/noise.h"

static const char* const bypasses[] = {"true-bypass", "buffered-bypass", "loaded-bypass", NULL};
const char* const tl_no_yes[] = {"no", "yes", NULL};

// clang-format off
#define STAGE_FIELDS \
    {"input.resistance", TL_UNIT_OHM, 100, 1e13, NULL, TL_FIELD_NEEDED}, \
    {"input.capacitance", TL_UNIT_FARAD, 0, 100e-9, NULL, 0}, \
    {"gain", TL_UNIT_GAIN, -1e5, 1e5, NULL, 0}, \
    {"output.resistance", TL_UNIT_OHM, 0, 1e6, NULL, TL_FIELD_NEEDED}, \
    {"output.coupling", TL_UNIT_FARAD, 10e-12, 0.1, NULL, 0}, \
    TL_NOISE_FIELDS
// clang-format on

static const tl_field buffer_fields[] = {STAGE_FIELDS};
static const tl_field pedal_fields[] = {
    {"bypass", 0, 0, 0, bypasses, TL_FIELD_NEEDED},
    STAGE_FIELDS,
    {"needs_pickup", 0, 0, 0, tl_no_yes, 0}, // must see it itself, with nothing driving in between
    {"engaged", 0, 0, 0, tl_no_yes, TL_FIELD_NEEDED | TL_FIELD_BESIDE},
};

static tl_status check(const tl_part* stage, tl_error* error) {
    const tl_value* gain = tl_part_value(stage, "gain");
    if (gain->given && gain->number == 0)
        return tl_error_at(error, &gain->place, "a gain of 0 lets no signal through");
    return tl_noise_check(stage, error);
}

static void emit_input(const tl_part* stage, const tl_sink* sink, tl_node in, tl_node low) {
    tl_sink_across(sink, tl_noise_resistor(stage, sink), in, low,
                   tl_part_number(stage, "input.resistance", 0));
    tl_sink_across(sink, 'c', in, low, tl_part_number(stage, "input.capacitance", 0));
    tl_noise_emit_current(stage, sink, in);
}

static tl_node emit_stage(const tl_part* stage, const tl_sink* sink, tl_node in, double gain) {
    emit_input(stage, sink, in, TL_GROUND);
    tl_node inside = tl_noise_emit_voltage(stage, sink, in);
    tl_node made = tl_sink_node(sink, "output stage");
    sink->controlled(sink->context, 'e', made, TL_GROUND, inside, gain);
    tl_node out = tl_sink_along(sink, 'r', made, tl_part_number(stage, "output.resistance", 0),
                                "after output resistance");
    return tl_sink_along(sink, 'c', out, tl_part_number(stage, "output.coupling", 0),
                         "after coupling");
}

static tl_node emit_buffer(const tl_part* buffer, const tl_sink* sink, tl_node in, tl_node low) {
    (void)low;
    if (buffer->design)
        return sink->design(sink->context, buffer->design, in);
    return emit_stage(buffer, sink, in, tl_part_number(buffer, "gain", 1));
}

static tl_node emit_pedal(const tl_part* pedal, const tl_sink* sink, tl_node in, tl_node low) {
    if (tl_part_chosen(pedal, "engaged", "yes"))
        return emit_stage(pedal, sink, in, tl_part_number(pedal, "gain", 1));
    if (tl_part_chosen(pedal, "bypass", "buffered-bypass"))
        return emit_stage(pedal, sink, in, 1);
    if (tl_part_chosen(pedal, "bypass", "loaded-bypass"))
        emit_input(pedal, sink, in, low);
    return in;
}

const tl_part_kind tl_kind_buffer = {"buffer", "a buffer", "buffer", true, TL_FIELDS(buffer_fields),
                                     check,    emit_buffer};
const tl_part_kind tl_kind_pedal = {"pedal", "a pedal", "pedal", true, TL_FIELDS(pedal_fields),
                                    check,   emit_pedal};

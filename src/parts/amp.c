// SPDX-License-Identifier: GPL-3.0-or-later
// What a chain ends in: an amp's input, or a plain resistance such as a tuner's.
#include "parts/kinds.h"
#include "parts/noise.h"

static const char* const places[] = {"grid", "jack", NULL};

static const tl_field amp_fields[] = {
    {"resistance", TL_UNIT_OHM, 10, 1e13, NULL, TL_FIELD_NEEDED},
    {"capacitance", TL_UNIT_FARAD, 0, 100e-9, NULL, 0},
    {"stopper", TL_UNIT_OHM, 1, 10e6, NULL, 0},
    {"grid", TL_UNIT_FARAD, 0.1e-12, 10e-9, NULL, 0},
    {"read", 0, 0, 0, places, 0}, // where the response is read; not said: the grid
    TL_NOISE_FIELDS,
};

static const tl_field end_fields[] = {
    {"resistance", TL_UNIT_OHM, 10, 1e13, NULL, TL_FIELD_NEEDED},
};

static tl_status check(const tl_part* amp, tl_error* error) {
    if (tl_part_has(amp, "stopper") == tl_part_has(amp, "grid"))
        return tl_noise_check(amp, error);
    return tl_error_at(error, &amp->place,
                       "an amp's 'stopper' and 'grid' belong together: give both or neither");
}

/// Returns the node the response is read at: the grid when there is one and nothing else is said,
/// else the jack. The noise voltage that the amp states is at the grid, its current at the jack.
static tl_node emit_amp(const tl_part* amp, const tl_sink* sink, tl_node in, tl_node low) {
    tl_sink_across(sink, tl_noise_resistor(amp, sink), in, low,
                   tl_part_number(amp, "resistance", 0));
    tl_sink_across(sink, 'c', in, low, tl_part_number(amp, "capacitance", 0));
    tl_noise_emit_current(amp, sink, in);
    tl_node grid = tl_sink_along(sink, 'r', in, tl_part_number(amp, "stopper", 0), "grid");
    tl_sink_across(sink, 'c', grid, low, tl_part_number(amp, "grid", 0));
    tl_node behind = tl_noise_emit_voltage(amp, sink, grid);
    return tl_part_chosen(amp, "read", "jack") ? in : behind;
}

static tl_node emit_end(const tl_part* end, const tl_sink* sink, tl_node in, tl_node low) {
    tl_sink_across(sink, 'r', in, low, tl_part_number(end, "resistance", 0));
    return in;
}

const tl_part_kind tl_kind_amp = {"amp", "an amp", "amp", false, TL_FIELDS(amp_fields),
                                  check, emit_amp};
const tl_part_kind tl_kind_end = {"end", "an end", NULL, false, TL_FIELDS(end_fields),
                                  NULL,  emit_end};

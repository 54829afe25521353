// SPDX-License-Identifier: GPL-3.0-or-later
// A magnetic pickup: a flat EMF of 1 V in series with inductance and resistance, the winding's
// capacitance across the terminals; optionally part of the inductance bridged by a resistance, for
// eddy currents in cores and covers.
#include "parts/kinds.h"

static const tl_field fields[] = {
    {"inductance", TL_UNIT_HENRY, 1e-3, 50, NULL, TL_FIELD_NEEDED},
    {"resistance", TL_UNIT_OHM, 10, 200e3, NULL, TL_FIELD_NEEDED},
    {"capacitance", TL_UNIT_FARAD, 1e-12, 10e-9, NULL, TL_FIELD_NEEDED},
    {"eddy.fraction", TL_UNIT_FRACTION, 0.001, 0.999, NULL, 0},
    {"eddy.resistance", TL_UNIT_OHM, 100, 100e6, NULL, 0},
};

static tl_status check(const tl_part* pickup, tl_error* error) {
    if (tl_part_has(pickup, "eddy.fraction") == tl_part_has(pickup, "eddy.resistance"))
        return TL_OK;
    return tl_error_at(error, &pickup->place,
                       "eddy losses need both 'fraction' and 'resistance', or leave 'eddy' out");
}

static tl_node emit(const tl_part* pickup, const tl_sink* sink, tl_node in, tl_node low) {
    (void)in;
    double henry = tl_part_number(pickup, "inductance", 0);
    double share = tl_part_number(pickup, "eddy.fraction", 0);
    tl_node emf = tl_sink_node(sink, "EMF");
    tl_sink_across(sink, 'v', emf, low, 1);
    tl_node core = tl_sink_along(sink, 'l', emf, henry * (1 - share), "after inductance");
    tl_node eddy = tl_sink_along(sink, 'l', core, henry * share, "after eddy-loss inductance");
    if (share > 0)
        tl_sink_across(sink, 'r', core, eddy, tl_part_number(pickup, "eddy.resistance", 0));
    tl_node hot =
        tl_sink_along(sink, 'r', eddy, tl_part_number(pickup, "resistance", 0), "pickup terminal");
    tl_sink_across(sink, 'c', hot, low, tl_part_number(pickup, "capacitance", 0));
    return hot;
}

const tl_part_kind tl_kind_pickup = {"pickup",          "a pickup", "pickup", false,
                                     TL_FIELDS(fields), check,      emit};

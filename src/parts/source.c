// SPDX-License-Identifier: GPL-3.0-or-later
// An active guitar or a wireless receiver: 1 V behind an output resistance and, when there is one,
// a coupling capacitor.
#include "parts/kinds.h"

static const tl_field fields[] = {
    {"output.resistance", TL_UNIT_OHM, 0, 1e6, NULL, TL_FIELD_NEEDED},
    {"output.coupling", TL_UNIT_FARAD, 10e-12, 0.1, NULL, 0},
};

static tl_node emit(const tl_part* source, const tl_sink* sink, tl_node in, tl_node low) {
    (void)in;
    tl_node emf = tl_sink_node(sink, "EMF");
    tl_sink_across(sink, 'v', emf, low, 1);
    tl_node out = tl_sink_along(sink, 'r', emf, tl_part_number(source, "output.resistance", 0),
                                "after output resistance");
    return tl_sink_along(sink, 'c', out, tl_part_number(source, "output.coupling", 0),
                         "after coupling");
}

const tl_part_kind tl_kind_source = {
    "source", "an active source", "source", false, TL_FIELDS(fields), NULL, emit};

// SPDX-License-Identifier: GPL-3.0-or-later
// A plug joint or switch contact: resistance in series, leakage resistance to ground behind it; and
// how often it opens for a moment.
#include "parts/kinds.h"

static const tl_field fields[] = {
    {"resistance", TL_UNIT_OHM, 0, 1e6, NULL, TL_FIELD_NEEDED},
    {"leakage", TL_UNIT_OHM, 1e3, 1e15, NULL, 0},
    {"openings", TL_UNIT_COUNT, 0, 1e6, NULL, 0}, // a 1000 hours of use; no part of the circuit
};

static tl_node emit(const tl_part* contact, const tl_sink* sink, tl_node in, tl_node low) {
    tl_node out =
        tl_sink_along(sink, 'r', in, tl_part_number(contact, "resistance", 0), "after the contact");
    tl_sink_across(sink, 'r', out, low, tl_part_number(contact, "leakage", 0));
    return out;
}

const tl_part_kind tl_kind_contact = {"contact",         "a contact", "contact", true,
                                      TL_FIELDS(fields), NULL,        emit};

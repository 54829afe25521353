// SPDX-License-Identifier: GPL-3.0-or-later
// The board: its size, what stands on it, its jacks and plugs, what holds things down. None of it
// stands in the chain or writes itself into the circuit of the sound.
#include "parts/kinds.h"

static const char* const sides[] = {"left", "right", "front", "back", NULL}; // as tl_side
static const char* const sockets[] = {"jack-6.3",     "barrel", "jack-3.5",
                                      "battery-snap", "usb-c",  NULL};
static const char* const leavings[] = {"straight", "sideways", NULL};

static const tl_field board_fields[] = {
    {"width", TL_UNIT_METRE, 0.05, 3, NULL, TL_FIELD_NEEDED}, // left to right
    {"depth", TL_UNIT_METRE, 0.05, 3, NULL, TL_FIELD_NEEDED}, // front to back
    {"weight", TL_UNIT_KILOGRAM, 0.05, 100, NULL, 0},
    {"slack.share", TL_UNIT_FRACTION, 0, 1, NULL, 0},    // of a lead's route
    {"slack.least", TL_UNIT_METRE, 0, 1, NULL, 0},       // of a lead, at least
    {"drop", TL_UNIT_METRE, 0, 0.5, NULL, 0},            // of a lead down through the deck
    {"acceleration", TL_UNIT_COUNT, 0.1, 1000, NULL, 0}, // in g, that fastenings are to stand
    {"factor", TL_UNIT_COUNT, 1, 100, NULL, 0},          // least holding force over what it takes
    {"cover", TL_UNIT_FRACTION, 0.001, 1, NULL, 0},      // of each bottom, by fastener
    {"mounts", TL_UNIT_METRE, 0.02, 1, NULL, 0},         // from one tie mount to the next
    {"spares", TL_UNIT_FRACTION, 0, 1, NULL, 0},         // of plugs, mounts and ties, more
    {"waste", TL_UNIT_FRACTION, 0, 2, NULL, 0},          // of fastener, more
    {"reel", TL_UNIT_METRE, 0.1, 1000, NULL, 0},         // leads come on reels of that
};

static const tl_field place_fields[] = {
    {"left", TL_UNIT_METRE, 0, 3, NULL, TL_FIELD_NEEDED},  // its left edge from the board's
    {"front", TL_UNIT_METRE, 0, 3, NULL, TL_FIELD_NEEDED}, // its front edge from the board's
    {"width", TL_UNIT_METRE, 0.01, 2, NULL, TL_FIELD_NEEDED},
    {"depth", TL_UNIT_METRE, 0.01, 2, NULL, TL_FIELD_NEEDED},
    {"height", TL_UNIT_METRE, 5e-3, 0.5, NULL, 0},
    {"weight", TL_UNIT_KILOGRAM, 1e-3, 50, NULL, 0},
    {"turn", TL_UNIT_DEGREE, 0, 270, NULL, 0},        // clockwise as seen from above
    {"thin", 0, 0, 0, tl_no_yes, 0},                  // a thin housing
    {"under", 0, 0, 0, tl_no_yes, 0},                 // below the deck
    {"area", TL_UNIT_SQUARE_METRE, 1e-5, 1, NULL, 0}, // of fastener under it
    {"cover", TL_UNIT_FRACTION, 0.001, 1, NULL, 0},   // of its bottom, in place of the area
    {"pull", TL_UNIT_NEWTON, 1, 10e3, NULL, 0},       // the most its housing stands
};

static const tl_field jack_fields[] = {
    {"side", 0, 0, 0, sides, TL_FIELD_NEEDED},
    {"at", TL_UNIT_METRE, 0, 2, NULL, TL_FIELD_NEEDED},
    {"height", TL_UNIT_METRE, 0, 0.5, NULL, 0}, // of its middle over the deck
    {"towards", 0, 0, 0, sides, 0},             // where a plug that is bent lets its lead go
};

static const tl_field outputs_fields[] = {
    {"side", 0, 0, 0, sides, TL_FIELD_NEEDED},
    {"first", TL_UNIT_METRE, 0, 2, NULL, 0}, // the first output
    {"step", TL_UNIT_METRE, 1e-3, 1, NULL, 0},
    {"height", TL_UNIT_METRE, 0, 0.5, NULL, 0},
    {"towards", 0, 0, 0, sides, 0},
};

static const tl_field plug_fields[] = {
    {"fits", 0, 0, 0, sockets, TL_FIELD_NEEDED},
    {"leaves", 0, 0, 0, leavings, TL_FIELD_NEEDED},            // how the lead goes out of it
    {"room", TL_UNIT_METRE, 1e-3, 0.2, NULL, TL_FIELD_NEEDED}, // stands out from the jack
    {"body", TL_UNIT_METRE, 1e-3, 0.1, NULL, TL_FIELD_NEEDED}, // along the side
    {"height", TL_UNIT_METRE, 1e-3, 0.1, NULL, 0},
    {"reach", TL_UNIT_METRE, 1e-3, 0.2, NULL, 0}, // sideways: from the jack to where the lead goes
    {"preparation", TL_UNIT_METRE, 0, 0.2, NULL, 0},  // of lead that ends inside it
    {"capacitance", TL_UNIT_FARAD, 0, 1e-9, NULL, 0}, // of its own, between its contacts
};

static const tl_field fastener_fields[] = {
    {"strength", TL_UNIT_PASCAL, 100, 100e6, NULL, TL_FIELD_NEEDED},
};

/// There is no more fastener under a thing than it has bottom.
static tl_status check_area(const tl_part* place, tl_error* error) {
    const tl_value* area = tl_part_value(place, "area");
    const tl_value* cover = tl_part_value(place, "cover");
    double bottom_m2 = tl_part_number(place, "width", 0) * tl_part_number(place, "depth", 0);
    if (area->given && cover->given)
        return tl_error_at(error, &cover->place,
                           "'cover' is a share of its bottom, in place of 'area': give one of the "
                           "two");
    if (area->given && area->number > bottom_m2 * (1 + 1e-9))
        return tl_error_at(error, &area->place,
                           "%.6g cm2 of fastener, but its bottom has only %.6g cm2",
                           1e4 * area->number, 1e4 * bottom_m2);
    return TL_OK;
}

static tl_status check_place(const tl_part* place, tl_error* error) {
    const tl_value* turn = tl_part_value(place, "turn");
    if (turn->given && turn->number != 0 && turn->number != 90 && turn->number != 180 &&
        turn->number != 270)
        return tl_error_at(error, &turn->place,
                           "turned by %.6g deg: expected 0, 90, 180 or 270 deg, clockwise as seen "
                           "from above",
                           turn->number);
    return check_area(place, error);
}

static tl_status check_plug(const tl_part* plug, tl_error* error) {
    bool sideways = tl_part_chosen(plug, "leaves", "sideways");
    const tl_value* reach = tl_part_value(plug, "reach");
    if (sideways && !reach->given)
        return tl_error_at(error, &plug->place,
                           "a plug that lets its lead go sideways needs 'reach': how far from the "
                           "jack's middle");
    if (!sideways && reach->given)
        return tl_error_at(error, &reach->place,
                           "'reach' goes with a plug that lets its lead go sideways");
    return TL_OK;
}

const tl_part_kind tl_kind_board = {"board", "'board'", NULL, false, TL_FIELDS(board_fields),
                                    NULL,    NULL};
const tl_part_kind tl_kind_place = {
    "place", "a place on the board", NULL, false, TL_FIELDS(place_fields), check_place, NULL};
const tl_part_kind tl_kind_jack = {"jack", "a jack", NULL, false, TL_FIELDS(jack_fields),
                                   NULL,   NULL};
const tl_part_kind tl_kind_outputs = {
    "outputs", "a supply's row of outputs", NULL, false, TL_FIELDS(outputs_fields), NULL, NULL};
const tl_part_kind tl_kind_plug = {"plug",     "a plug", "plug", false, TL_FIELDS(plug_fields),
                                   check_plug, NULL};
const tl_part_kind tl_kind_fastener = {
    "fastener", "a fastener", "fastener", false, TL_FIELDS(fastener_fields), NULL, NULL};

// SPDX-License-Identifier: GPL-3.0-or-later
// Pots: a guitar's volume and tone control, and a volume pedal in the chain.
#include "parts/kinds.h"

#include <math.h>
#include <string.h>

static const char* const tapers[] = {"linear", "audio", NULL};
static const char* const wirings[] = {"series", "parallel", NULL};
static const char* const joints[] = {"pickup", "wiper", NULL};

static const tl_field volume_fields[] = {
    {"pot", TL_UNIT_OHM, 100, 20e6, NULL, TL_FIELD_NEEDED},
    {"taper", 0, 0, 0, tapers, TL_FIELD_NEEDED},
    {"position", TL_UNIT_FRACTION, 0, 1, NULL, TL_FIELD_NEEDED | TL_FIELD_BESIDE},
    {"bleed.capacitor", TL_UNIT_FARAD, 1e-12, 10e-6, NULL, 0},
    {"bleed.resistor", TL_UNIT_OHM, 10, 20e6, NULL, 0},
    {"bleed.wiring", 0, 0, 0, wirings, 0},
};

static const tl_field pot_fields[] = {
    {"pot", TL_UNIT_OHM, 100, 20e6, NULL, TL_FIELD_NEEDED},
    {"taper", 0, 0, 0, tapers, TL_FIELD_NEEDED},
    {"position", TL_UNIT_FRACTION, 0, 1, NULL, TL_FIELD_NEEDED | TL_FIELD_BESIDE},
};

static const tl_field tone_fields[] = {
    {"pot", TL_UNIT_OHM, 100, 20e6, NULL, TL_FIELD_NEEDED},
    {"taper", 0, 0, 0, tapers, 0},
    {"position", TL_UNIT_FRACTION, 0, 1, NULL, TL_FIELD_NEEDED | TL_FIELD_BESIDE},
    {"capacitor", TL_UNIT_FARAD, 10e-12, 10e-6, NULL, TL_FIELD_NEEDED | TL_FIELD_BESIDE},
    {"joins", 0, 0, 0, joints, TL_FIELD_BESIDE},
};

double tl_taper_share(double position, bool audio) {
    if (position <= 0 || position >= 1)
        return position <= 0 ? 0 : 1;
    return audio ? (pow(81, position) - 1) / 80 : position;
}

/// The share of a pot below its wiper; a taper that was not said is audio.
static double share(const tl_part* pot) {
    return tl_taper_share(tl_part_number(pot, "position", 1),
                          !tl_part_chosen(pot, "taper", "linear"));
}

static tl_status check_position(const tl_part* pot, tl_error* error) {
    const tl_value* position = tl_part_value(pot, "position");
    if (!position->given || share(pot) > 0)
        return TL_OK;
    return tl_error_at(error, &position->place,
                       "a volume at 0 %% lets no signal through: nothing to measure");
}

static tl_status check_volume(const tl_part* volume, tl_error* error) {
    bool capacitor = tl_part_has(volume, "bleed.capacitor");
    bool resistor = tl_part_has(volume, "bleed.resistor");
    bool wiring = tl_part_has(volume, "bleed.wiring");
    if (resistor && !capacitor)
        return tl_error_at(error, &tl_part_value(volume, "bleed.resistor")->place,
                           "a bleed needs its 'capacitor'");
    if (wiring && !(capacitor && resistor))
        return tl_error_at(
            error, &tl_part_value(volume, "bleed.wiring")->place,
            "'wiring' says how a bleed's capacitor and resistor are joined: it needs "
            "both");
    if (resistor && !wiring)
        return tl_error_at(error, &tl_part_value(volume, "bleed.resistor")->place,
                           "a bleed of capacitor and resistor needs 'wiring: series' or "
                           "'wiring: parallel'");
    return check_position(volume, error);
}

/// The two parts of a pot; the wiper is returned. What comes to 0 ohm is a wire.
static tl_node divide(const tl_part* pot, const tl_sink* sink, tl_node in, tl_node low) {
    double total_ohm = tl_part_number(pot, "pot", 0);
    double below = share(pot);
    tl_node wiper = tl_sink_along(sink, 'r', in, (1 - below) * total_ohm, "wiper");
    tl_sink_across(sink, 'r', wiper, low, below * total_ohm);
    return wiper;
}

/// A bleed hangs over the pot's upper part; over a wire it does nothing.
static void add_bleed(const tl_part* volume, const tl_sink* sink, tl_node in, tl_node wiper) {
    double farad = tl_part_number(volume, "bleed.capacitor", 0);
    double ohm = tl_part_number(volume, "bleed.resistor", 0);
    if (in == wiper || farad == 0)
        return;
    if (tl_part_chosen(volume, "bleed.wiring", "series")) {
        tl_node middle = tl_sink_along(sink, 'c', in, farad, "inside the bleed");
        tl_sink_across(sink, 'r', middle, wiper, ohm);
    } else {
        tl_sink_across(sink, 'c', in, wiper, farad);
        tl_sink_across(sink, 'r', in, wiper, ohm);
    }
}

static tl_node emit_volume(const tl_part* volume, const tl_sink* sink, tl_node in, tl_node low) {
    tl_node wiper = divide(volume, sink, in, low);
    add_bleed(volume, sink, in, wiper);
    return wiper;
}

static tl_node emit_tone(const tl_part* tone, const tl_sink* sink, tl_node in, tl_node low) {
    double ohm = share(tone) * tl_part_number(tone, "pot", 0);
    tl_node after = tl_sink_along(sink, 'r', in, ohm, "inside the tone control");
    tl_sink_across(sink, 'c', after, low, tl_part_number(tone, "capacitor", 0));
    return in;
}

const tl_part_kind tl_kind_volume = {"volume",   "a volume control",       "pot",
                                     false,      TL_FIELDS(volume_fields), check_volume,
                                     emit_volume};
const tl_part_kind tl_kind_tone = {"tone", "a tone control", "pot", false, TL_FIELDS(tone_fields),
                                   NULL,   emit_tone};
const tl_part_kind tl_kind_pot = {"pot",          "a pot", "pot", true, TL_FIELDS(pot_fields),
                                  check_position, divide};

// SPDX-License-Identifier: GPL-3.0-or-later
// Cautions: what has to be said wherever an answer leads to work on mains, solder or batteries.
// They are common practice, all of them; local codes stand above them.
#include "toneload/show.h"

#include "base/text.h"
#include "show/wrap.h"

/// A caution by its bit.
typedef struct {
    tl_caution bit;
    const char* words;
} caution;

static const caution cautions[] = {
    {TL_CAUTION_UNPLUG,
     "Unplug the board from the mains, and wait a minute, before opening or rewiring anything."},
    {TL_CAUTION_MAINS,
     "Mains wiring (inlets, sockets, a supply's primary side) is for licensed persons and by the "
     "local code; nothing here replaces either."},
    {TL_CAUTION_EARTH,
     "Fuses and earth stay as the code and the maker say. Never lift a mains earth against hum: it "
     "is what keeps a fault from the player's hands."},
    {TL_CAUTION_SOLDER,
     "Soldering: iron at 300 C and more, fumes off the flux. Air the room, do not breathe the "
     "smoke, keep the iron in its stand, wash hands afterwards."},
    {TL_CAUTION_BATTERY,
     "Batteries: never charge what is not made for it, never short one, take them out of pedals "
     "that have a supply connected or go into store."},
};
enum { CAUTIONS = sizeof cautions / sizeof *cautions };

/// The next chosen caution from `at` on, in their fixed order; NULL after the last.
static const caution* next_chosen(const caution* at, unsigned chosen) {
    for (; at < cautions + CAUTIONS; ++at)
        if (chosen & (unsigned)at->bit)
            return at;
    return NULL;
}

char* tl_cautions_text(unsigned chosen) {
    tl_text text = {0};
    tl_text_add(&text, "Cautions\n");
    for (const caution* at = next_chosen(cautions, chosen); at; at = next_chosen(at + 1, chosen))
        tl_wrap_point(&text, at->words);
    return tl_text_take(&text);
}

json_t* tl_cautions_json(unsigned chosen) {
    json_t* list = json_array();
    for (const caution* at = next_chosen(cautions, chosen); at; at = next_chosen(at + 1, chosen))
        json_array_append_new(list, json_string(at->words));
    return list;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What a bench card says beside its figures: the order of work, and how levels are measured.
#include "show/meter.h"

#include "base/quantity.h"
#include "base/text.h"
#include "toneload/show.h"

#include <stdlib.h>

/// A step, and what it needs to be of any use.
typedef struct {
    const char* words;
    bool dc;    ///< there are DC plugs
    bool leads; ///< there are leads
} step;

static const step steps[] = {
    {"Board unplugged from the mains, batteries out, a minute waited. Look at it: cold or bridged "
     "joints, strands astray, loose jacks, leads under strain or bent tighter than their make "
     "allows.",
     false, false},
    {"Number the leads as on this card. Zero the meter: shorted leads for ohm, open leads for pF.",
     false, true},
    {"Continuity of every lead, both plugs out: what is to be closed and what open. Move the lead "
     "at both plugs meanwhile: a reading that jumps is a broken strand or a cold joint.",
     false, true},
    {"Insulation between the two contacts of every lead, far end open, on the highest ohm range. "
     "Do not touch the contacts: a hand is about 1 Mohm.",
     false, true},
    {"Loop resistance of every lead: short the far plug, read at the near one.", false, true},
    {"Capacitance of every audio lead, far end open, away from metal and hands.", false, true},
    {"The mains side of the supplies (earth, insulation, leakage current) is tested by a licensed "
     "person with a tester made for it, before anything is plugged in. Not part of this card.",
     true, false},
    {"Supplies plugged in, no pedal on them: volts and polarity at every DC plug, probes as the "
     "card says. A wrong sign here kills a pedal: stop and mend it.",
     true, false},
    {"Pedals on, one after the other: volts at every DC plug again, then the AC range for ripple.",
     true, false},
    {"Levels: generator, dummy and voltmeter as below. Note the generator's open output at the "
     "first frequency: that is 0 dB. Then all frequencies, state by state; a pedal's own knobs at "
     "unity.",
     false, false},
    {"Every foot switch a few times with a signal on: no crackle, no loss, the same level again.",
     false, false},
    {"A reading outside its limits: once more, then with another lead in its place; 'toneload "
     "accept' says which cause is the likeliest. Sign.",
     false, false},
};
enum { STEPS = sizeof steps / sizeof *steps };

const char* tl_meter_step(const tl_meter_card* card, size_t index) {
    for (size_t i = 0; i < STEPS; ++i) {
        if ((steps[i].dc && !card->supply_count) || (steps[i].leads && !card->lead_count))
            continue;
        if (!index--)
            return steps[i].words;
    }
    return NULL;
}

static const char* const notes[] = {
    "The voltmeter must be good to the highest frequency: many hand-held ones are not above 1 kHz. "
    "A scope with a 10:1 probe, or an audio interface behind a buffer, is.",
    "Many generators show the level they give into 50 ohm: open, it is twice as much. 0 dB is what "
    "the voltmeter reads of the generator with nothing else on it.",
    "A pedal that is on is taken with the gain the rig states. One that shapes or distorts by "
    "itself is read with it off; its own sound is no fault.",
};
enum { NOTES = sizeof notes / sizeof *notes };

const char* tl_meter_note(const tl_meter_card* card, size_t index) {
    size_t count = card->pedal_count ? NOTES : NOTES - 1; // the last one is of pedals
    return index < count ? notes[index] : NULL;
}

static char* quantity(tl_unit unit, double value) {
    tl_text words = {0};
    tl_quantity_add(&words, unit, value);
    return tl_text_take(&words);
}

char* tl_meter_setup_words(const tl_meter_card* card) {
    char* generator = quantity(TL_UNIT_OHM, card->generator_ohm);
    char* level = quantity(TL_UNIT_VOLT, card->level_v);
    char* ohm = quantity(TL_UNIT_OHM, card->meter_ohm);
    char* farad = quantity(TL_UNIT_FARAD, card->meter_farad);
    char* dummy = card->bare ? tl_copy("") : tl_printf(" - dummy (%s)", card->dummy);
    char* words = tl_printf(
        "Generator (%s, %s open)%s - first lead - board - last lead - voltmeter (%s, %s)%s.%s%s",
        generator, level, dummy, ohm, farad,
        card->amp ? " across the amp's jack, the amp plugged in" : ", no amp",
        card->controls ? " The guitar's volume and tone stand behind the dummy."
        : card->bare   ? " No dummy, no volume, no tone."
                       : " No volume or tone: the dummy's box goes straight into the lead.",
        card->end_count < 2 ? ""
        : card->amp         ? " One end at a time; the others keep their amps."
                            : " One end at a time; the others are open.");
    free(dummy);
    free(generator);
    free(level);
    free(ohm);
    free(farad);
    return words;
}

char* tl_meter_limit_words(const tl_meter_card* card) {
    return tl_printf(
        "Limits: of %zu boards drawn within their tolerances (seed %ju), %g %% keep to all %zu "
        "readings together; %g dB of the voltmeter on top. A band for each reading by itself would "
        "fail more good boards. Levels are worked out by a polynomial in each value; %zu "
        "boards "
        "solved whole in every state differ by %.2g dB at most, which is in the limits.%s",
        card->trials, (uintmax_t)card->seed, 100 * card->coverage, card->level_count,
        card->uncertainty_db, card->solved, card->short_db,
        card->one_state ? " The card of all states has more readings to keep to together, and so "
                          "limits a little wider than these."
        : card->state_count > 1 ? " A card or form of one state (--state) has fewer readings, and "
                                  "so limits a little narrower than these."
                                : "");
}

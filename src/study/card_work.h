// SPDX-License-Identifier: GPL-3.0-or-later
/// @file card_work.h The steps of a bench card, each in a file of its own.
#ifndef TL_STUDY_CARD_WORK_H
#define TL_STUDY_CARD_WORK_H

#include "rig/measure.h"
#include "rig/toggle.h"
#include "study/session.h"
#include "toneload/build.h"
#include "toneload/meter.h"

// What is taken of meters and hands where nothing is said; all of it is printed with the card.
#define TL_CARD_CUT_M 0.01          ///< common practice: a lead cut and soldered by hand
#define TL_CARD_LENGTH_SHARE 0.01   ///< from memory: of a lead that came made
#define TL_CARD_FARAD 3e-12         ///< from memory: a hand-held meter, its open leads zeroed
#define TL_CARD_FARAD_SHARE 0.02    ///< from memory: of the reading
#define TL_CARD_PLUG_FARAD 5e-12    ///< from memory: the most that a plug adds by itself
#define TL_CARD_OHM 0.2             ///< common practice: what such a meter leaves open
#define TL_CARD_OHM_SHARE 0.1       ///< from memory: copper of one gauge, warm or cold
#define TL_CARD_INSULATION_OHM 20e6 ///< common practice: sound leads are far above
#define TL_CARD_OUTPUT_SHARE 0.05   ///< common practice: a regulated output
#define TL_CARD_RIPPLE_V 0.01       ///< common practice: an output fit for sound
#define TL_CARD_COVERAGE 0.98       ///< of good boards, that pass at all frequencies and states
enum { TL_CARD_TRIALS = 1000, TL_CARD_SEED = 1 };

/// One end with the meter there.
typedef struct {
    char* name;
    tl_rig* rig; ///< on the bench; its pedals are switched
    tl_toggle_list toggles;
    size_t* moving; ///< by pedal of the card: its toggle
} tl_card_end;

typedef struct {
    tl_session* session;
    tl_rig* rig; ///< as the file has it
    const tl_card_options* options;
    tl_meter_card* card;
    tl_measure_terms terms;
    tl_card_end* ends;
    tl_build* build; ///< the rig laid out on its board; NULL: it has none
} tl_card_work;

/// Adds a sentence on what was assumed.
void tl_card_assume(tl_meter_card* card, const char* format, ...) TL_PRINTF(2, 3);

/// Every lead, without those that feed pedals; numbered as the board's cut list has them.
tl_status tl_card_leads(tl_card_work* work, tl_error* error);
/// DC leads, and what arrives at their plugs. A rig without power, or one whose pedals cannot all
/// be fed, has a card all the same.
tl_status tl_card_supplies(tl_card_work* work, tl_error* error);

/// Ends, states and frequencies, and the levels expected there.
tl_status tl_card_levels(tl_card_work* work, tl_error* error);
/// Limits of those levels.
tl_status tl_card_level_limits(tl_card_work* work, tl_error* error);
/// Puts an end's rig into a state of the card.
void tl_card_enter(const tl_card_work* work, size_t end, const tl_meter_state* state);
/// The levels of an answer at the end it is read at, dB, at the card's frequencies.
void tl_card_read_levels(const tl_card_work* work, size_t end, const tl_answer* answer, double* db);

#endif

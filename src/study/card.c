// SPDX-License-Identifier: GPL-3.0-or-later
// The bench card of a finished board, from its steps.
#include "study/card_work.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

void tl_card_assume(tl_meter_card* card, const char* format, ...) {
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    card->assumed = tl_grow(card->assumed, card->assumed_count + 1, sizeof *card->assumed);
    card->assumed[card->assumed_count++] = tl_text_take(&words);
}

/// A dummy's parts in words: "8.2 kohm, 4.7 H, 110 pF".
static char* dummy_words(const tl_measure_terms* terms) {
    static const char* const coil[] = {"resistance", "inductance", "capacitance"};
    tl_text words = {0};
    const tl_part* dummy = terms->dummy;
    if (terms->bare)
        return tl_copy("none");
    if (dummy->kind == &tl_kind_source) {
        tl_quantity_add(&words, TL_UNIT_OHM, tl_part_number(dummy, "output.resistance", 0));
        if (tl_part_has(dummy, "output.coupling")) {
            tl_text_add(&words, " and ");
            tl_quantity_add(&words, TL_UNIT_FARAD, tl_part_number(dummy, "output.coupling", 0));
        }
        return tl_text_take(&words);
    }
    for (size_t i = 0; i < 3; ++i) {
        const tl_unit unit = dummy->kind->fields[tl_part_field(dummy->kind, coil[i])].unit;
        tl_text_add(&words, i ? ", " : "");
        tl_quantity_add(&words, unit, tl_part_number(dummy, coil[i], 0));
    }
    if (tl_part_has(dummy, "eddy.fraction")) {
        double share = tl_part_number(dummy, "eddy.fraction", 0);
        tl_text_addf(&words, ", %.4g %% of the inductance bridged by ", 100 * share);
        tl_quantity_add(&words, TL_UNIT_OHM, tl_part_number(dummy, "eddy.resistance", 0));
    }
    return tl_text_take(&words);
}

static void assume_dummy(tl_card_work* work) {
    const tl_measure_terms* terms = &work->terms;
    tl_meter_card* card = work->card;
    if (!terms->dummy_stated)
        tl_card_assume(card,
                       "No dummy is said ('measure: {dummy: ..}'): real parts with the "
                       "values of the rig's own %s, whose resistor, coil and capacitor were "
                       "measured to 1 %%.",
                       terms->dummy->kind == &tl_kind_source ? "source"
                       : work->rig->guitar.voice_count > 1   ? "first pickup"
                                                             : "pickup");
    else if (!terms->bare)
        tl_card_assume(card, "The dummy's parts are within 1 %% where it states no tolerance "
                             "(they are measured before they are used).");
}

static void state_terms(tl_card_work* work) {
    const tl_measure_terms* terms = &work->terms;
    tl_meter_card* card = work->card;
    card->dummy = dummy_words(terms);
    card->bare = terms->bare;
    card->generator_ohm = terms->generator_ohm;
    card->level_v = terms->level_v;
    card->meter_ohm = terms->meter_ohm;
    card->meter_farad = terms->meter_farad;
    card->uncertainty_db = terms->uncertainty_db;
    card->amp = terms->amp;
    card->controls = terms->controls;
    assume_dummy(work);
    if (terms->generator_assumed || terms->level_assumed)
        tl_card_assume(card,
                       "Of the generator is taken where it is not said: %g ohm, %g mV (common "
                       "practice).",
                       TL_MEASURE_GENERATOR_OHM, 1e3 * TL_MEASURE_LEVEL_V);
    if (terms->meter_assumed)
        tl_card_assume(card,
                       "Of the voltmeter is taken where it is not said: %g Mohm (common "
                       "practice), %g pF within %g %% (from memory: a 10:1 probe).",
                       1e-6 * TL_MEASURE_METER_OHM, 1e12 * TL_MEASURE_METER_FARAD,
                       100 * TL_MEASURE_METER_SHARE);
    if (terms->uncertainty_assumed)
        tl_card_assume(card,
                       "Two readings of it against each other are within %g dB (common "
                       "practice: 3 %% of a scope, and reading it).",
                       TL_MEASURE_UNCERTAINTY_DB);
}

static void end_free(tl_card_end* end) {
    tl_toggles_free(&end->toggles);
    free(end->moving);
    tl_rig_free(end->rig);
}

static tl_status study_card(tl_card_work* work, tl_error* error) {
    state_terms(work);
    tl_status status = tl_card_levels(work, error);
    if (status == TL_OK)
        status = tl_card_level_limits(work, error);
    if (status == TL_OK)
        status = tl_card_leads(work, error);
    return status == TL_OK ? tl_card_supplies(work, error) : status;
}

tl_status tl_study_card(tl_session* session, tl_rig* rig, const tl_card_options* options,
                        tl_meter_card** card, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_card_work work = {.session = session,
                         .rig = rig,
                         .options = options,
                         .card = tl_new(1, sizeof(tl_meter_card)),
                         .terms = tl_measure_of(rig)};
    work.card->rig = tl_copy(tl_rig_title(rig));
    tl_status status = study_card(&work, error);
    for (size_t i = 0; work.ends && i < work.card->end_count; ++i)
        end_free(&work.ends[i]);
    free(work.ends);
    tl_build_free(work.build);
    if (status != TL_OK) {
        tl_meter_card_free(work.card);
        work.card = NULL;
    }
    *card = work.card;
    tl_locale_restore(locale);
    return status;
}

void tl_meter_card_free(tl_meter_card* card) {
    if (!card)
        return;
    for (size_t i = 0; i < card->lead_count; ++i) {
        tl_meter_lead* lead = &card->leads[i];
        free(lead->path);
        free(lead->type);
        free(lead->from);
        free(lead->to);
        free(lead->plugs[0]);
        free(lead->plugs[1]);
        free(lead->worn);
    }
    for (size_t i = 0; i < card->supply_count; ++i) {
        free(card->supplies[i].pedal);
        free(card->supplies[i].output);
    }
    for (size_t i = 0; i < card->state_count; ++i) {
        tl_meter_state* state = &card->states[i];
        tl_words_free(state->same, state->same_count);
        tl_words_free(state->on, state->on_count);
        free(state->name);
        free(state->engaged);
        free(state->db);
    }
    tl_words_free(card->ends, card->end_count);
    tl_words_free(card->pedals, card->pedal_count);
    tl_words_free(card->assumed, card->assumed_count);
    free(card->leads);
    free(card->supplies);
    free(card->states);
    free(card->no_dc);
    free(card->dummy);
    free(card->hz);
    free(card->rig);
    free(card);
}

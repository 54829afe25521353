// SPDX-License-Identifier: GPL-3.0-or-later
// toneload card: what a meter must read of a finished board.
#include "cli/command.h"

#include <stdlib.h>

/// One state at one end in CSV is the form that `accept` reads once it is filled in.
static tl_status shown(const request* asked, const tl_meter_card* card, char** text,
                       tl_error* error) {
    bool one = asked->state && card->state_count == 1;
    if (asked->csv && asked->state && !one)
        return tl_error_set(error, TL_BAD_INPUT,
                            "--csv of one state is the form for 'accept', which is measured at one "
                            "end: say which by --end, such as --end '%s'",
                            card->ends[0]);
    *text = asked->json   ? tl_json_text(tl_meter_json(card))
            : !asked->csv ? tl_meter_text(card)
            : one         ? tl_meter_form_csv(card)
                          : tl_meter_csv(card);
    return TL_OK;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_meter_card* card = NULL;
    char* text = NULL;
    const tl_card_options options = {asked->state, asked->end};
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_card(session, rig, &options, &card, error);
    if (status == TL_OK)
        status = shown(asked, card, &text, error);
    if (status == TL_OK)
        status = request_write(asked, text, error);
    free(text);
    tl_meter_card_free(card);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_card = {
    "card",
    "RIG.yaml",
    "what a meter must read of a finished board: leads, DC, levels, with limits",
    "Prints a bench card to write on: of every lead capacitance, loop resistance, insulation and\n"
    "continuity; volts and polarity at every DC plug; and the level at 10 frequencies in each "
    "state,\n"
    "through a dummy pickup, with limits that a good board keeps to. The rig's 'measure' says how\n"
    "it is measured:\n"
    "\n"
    "  measure:\n"
    "    dummy: {resistance: 6 kohm, inductance: 2.5 H, capacitance: 110 pF}\n"
    "    generator: {resistance: 50 ohm, level: 100 mV}\n"
    "    meter: {resistance: 10 Mohm, capacitance: 20 pF}\n"
    "    amp: off\n"
    "\n"
    "  toneload card board.yaml\n"
    "  toneload card board.yaml --state 'all off' --csv --output levels.csv",
    OPTION_STATE | OPTION_END | OPTION_JSON | OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS |
        OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

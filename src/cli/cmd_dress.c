// SPDX-License-Identifier: GPL-3.0-or-later
// toneload dress: what the leads pick up from leads beside them, and what the joints are good for.
#include "cli/command.h"

#include <stdlib.h>

static char* shown(const request* asked, const tl_dress* dress) {
    if (asked->json)
        return tl_json_text(tl_dress_json(dress));
    return asked->csv ? tl_dress_csv(dress) : tl_dress_text(dress);
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_dress* dress = NULL;
    tl_dress_options options = {asked->fixes, asked->fix_count};
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_dress(session, rig, &options, &dress, error);
    if (status == TL_OK && asked->plot)
        status = tl_dress_draw(dress, asked->plot, error);
    if (status == TL_OK) {
        char* text = shown(asked, dress);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_dress_free(dress);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_dress = {
    "dress",
    "RIG.yaml",
    "what the leads pick up from leads beside them, and what the joints are good for",
    "Solves, in the rig's own circuit, what each audio lead named under 'dressing' picks up from "
    "the\n"
    "mains, DC or audio lead beside it: electric and magnetic field, side by side and crossing, "
    "as\n"
    "it is and behind a buffer, A-weighted against the rig's own noise; and says what spacing or\n"
    "angle buries it. Then the joints ('contact') by kind: what they do to the tone, and how "
    "often\n"
    "one opens in a gig.\n"
    "\n"
    "  dressing:\n"
    "    - {name: wall lead, lead: 'chain[0]', beside: mains, length: 50 cm, spacing: 10 mm,\n"
    "       diameter: 7 mm, pair: 3 mm, shield: {coverage: 95 %, diameter: 5 mm},\n"
    "       voltage: 230 V, frequency: 50 Hz, current: 0.5 A}\n"
    "\n"
    "  toneload dress board.yaml --plot dress.svg",
    OPTION_FIX | OPTION_PLOT | OPTION_JSON | OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS |
        OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

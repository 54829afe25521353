// SPDX-License-Identifier: GPL-3.0-or-later
// toneload power: is there power for all of it, and what hangs on what.
#include "cli/command.h"

#include <stdlib.h>

static char* power_shown(const request* asked, const tl_power_plan* plan) {
    return asked->json  ? tl_json_text(tl_power_json(plan))
           : asked->csv ? tl_power_csv(plan)
                        : tl_power_text(plan);
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_power_plan* plan = NULL;
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_power(session, rig, &plan, error);
    if (status == TL_OK && asked->plot)
        status = tl_power_draw(plan, asked->plot, error);
    if (status == TL_OK) {
        char* text = power_shown(asked, plan);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_power_plan_free(plan);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_power = {
    "power",
    "RIG.yaml",
    "is there power for all of it: outputs, what fails with what, ground loops",
    "Assigns the pedals of the rig's 'power' to the outputs of its supplies by exact "
    "optimisation,\n"
    "around those that name an 'output', or proves that it cannot be and says what stands in the\n"
    "way and the smallest change that would do. Checks volts, polarity, currents, starts, leads,\n"
    "mains and heat, says what goes silent when one thing fails, and solves what pulsed loads put\n"
    "on the sound through the ground loops, isolated against shared.\n"
    "\n"
    "  toneload power board.yaml --plot power.svg",
    OPTION_PLOT | OPTION_JSON | OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS |
        OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

// SPDX-License-Identifier: GPL-3.0-or-later
// toneload netlist: the circuit as a SPICE deck.
#include "cli/command.h"

#include <stdlib.h>

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_status status = request_session(asked, SESSION_READS, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK) {
        char* text = tl_study_netlist(rig);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_netlist = {
    "netlist",
    "RIG.yaml",
    "the circuit as a SPICE deck, for ngspice and gnucap",
    "Prints the rig and its direct as a deck that `ngspice -b` and gnucap run as it is: 301\n"
    "frequencies from 10 Hz to 100 kHz, with a table of what each node is in comments.\n"
    "\n"
    "  toneload netlist rig.yaml --output rig.cir && ngspice -b rig.cir",
    OPTION_OUTPUT | OPTION_PARTS,
    1,
    1,
    run,
};

// SPDX-License-Identifier: GPL-3.0-or-later
// toneload build: what to cut for a board, and what does not fit on it.
#include "cli/command.h"

#include <stdlib.h>

static char* build_shown(const request* asked, const tl_build* build) {
    if (asked->bill && !asked->json)
        return asked->csv ? tl_build_bill_csv(build) : tl_build_bill_text(build);
    return asked->json  ? tl_json_text(tl_build_json(build))
           : asked->csv ? tl_build_csv(build)
                        : tl_build_text(build);
}

/// The drawing goes first: an answer should not stand there whose drawing could not be made.
static tl_status draw(const request* asked, const tl_build* build, tl_error* error) {
    tl_drawing_options options = {.scale = asked->scale, .paper = asked->paper};
    char* svg = NULL;
    tl_status status = tl_build_drawing(build, &options, &svg, error);
    if (status == TL_OK)
        status = tl_show_write(asked->drawing, svg, error);
    free(svg);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_build* build = NULL;
    tl_build_options options = {.prices = asked->prices};
    tl_status status = request_session(asked, SESSION_READS, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_build(session, rig, &options, &build, error);
    if (status == TL_OK && asked->drawing)
        status = draw(asked, build, error);
    if (status == TL_OK) {
        char* text = build_shown(asked, build);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_build_free(build);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_build = {
    "build",
    "RIG.yaml",
    "what to cut: each lead's way and length on the board, what it takes, and what does not fit",
    "Lays the rig out on its 'board': the shortest way of every lead around what stands there, "
    "with\n"
    "bends its make allows, and from it the cut list, audio and DC; a cable that says 'length:\n"
    "layout' has that length in every other command too. Says which plugs are in each other's "
    "way,\n"
    "which bends are too tight and which leads too short. Who hangs on which output of a supply "
    "is\n"
    "the assignment of 'toneload power'. Counts what it takes, off which reel each lead is cut, "
    "and\n"
    "with '--prices' what to buy and what it costs; and says whether fasteners hold what they "
    "carry.\n"
    "\n"
    "  toneload build board.yaml --prices prices.yaml --drawing board.svg --paper A3",
    OPTION_DRAWING | OPTION_SCALE | OPTION_PAPER | OPTION_PRICES | OPTION_BILL | OPTION_JSON |
        OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS,
    1,
    1,
    run,
};

// SPDX-License-Identifier: GPL-3.0-or-later
// toneload accept: finished boards, as measured, against the rig they were built to.
#include "cli/command.h"

#include <stdlib.h>
#include <string.h>

static char* shown(const request* asked, const tl_accept* accept) {
    if (asked->json)
        return tl_json_text(tl_accept_json(accept));
    return asked->csv ? tl_accept_csv(accept) : tl_accept_text(accept);
}

static tl_status read_offset(const char* words, tl_offset* offset, tl_error* error) {
    static const char* const known[] = {"by-file", "keep", "remove"};
    for (size_t i = 0; words && i < sizeof known / sizeof *known; ++i)
        if (strcmp(words, known[i]) == 0) {
            *offset = (tl_offset)i;
            return TL_OK;
        }
    if (!words)
        return TL_OK;
    char* safe = tl_show_safe(words);
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT, "--offset '%s': expected keep, remove or by-file", safe);
    free(safe);
    return status;
}

static tl_status show(const request* asked, const tl_accept* accept, tl_error* error) {
    tl_status status = asked->plot ? tl_accept_draw(accept, asked->plot, error) : TL_OK;
    if (status != TL_OK)
        return status;
    char* text = shown(asked, accept);
    status = request_write(asked, text, error);
    free(text);
    return status;
}

static tl_status judge(const request* asked, tl_measured* const* measured, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_accept* accept = NULL;
    tl_accept_options options = {
        .state = asked->state, .amp = asked->end, .as_written = asked->as_written};
    tl_status status = read_offset(asked->offset, &options.offset, error);
    if (status == TL_OK)
        status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_accept(session, rig, &options, (const tl_measured* const*)measured,
                                 asked->words + 1, asked->word_count - 1, &accept, error);
    if (status == TL_OK)
        status = show(asked, accept, error);
    tl_accept_free(accept);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    size_t count = asked->word_count - 1;
    tl_measured** measured = calloc(count, sizeof *measured);
    if (!measured)
        abort();
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = tl_measured_read(asked->words[1 + i], &measured[i], error);
    if (status == TL_OK)
        status = judge(asked, measured, error);
    for (size_t i = 0; i < count; ++i)
        tl_measured_free(measured[i]);
    free(measured);
    return status;
}

const command command_accept = {
    "accept",
    "RIG.yaml FILE.csv [FILE2.csv ..]",
    "finished boards, as measured, against what the rig file predicts",
    "Holds each measured board against the prediction: whether its readings are what the rig's\n"
    "tolerances and the meter allow, and if not, what single thing may be wrong and how probable\n"
    "that is: a lead of another capacitance, a missing buffer, a pedal that is on or in another\n"
    "bypass, a volume not at ten, a bad joint, a leak. The rig is taken as 'measure' in its file\n"
    "says it stands on the bench, as for 'card'. A file is CSV with frequency_hz and level_db,\n"
    "level_v, gain_db or ratio. Several boards cost hardly more than one.\n"
    "\n"
    "  toneload accept board.yaml measured.csv --plot accept.svg",
    OPTION_ON | OPTION_AS_WRITTEN | OPTION_END | OPTION_OFFSET | OPTION_PLOT | OPTION_JSON |
        OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    2,
    10000,
    run,
};

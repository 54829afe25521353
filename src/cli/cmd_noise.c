// SPDX-License-Identifier: GPL-3.0-or-later
// toneload noise: what hisses at the amp, and who makes it.
#include "cli/answers.h"
#include "cli/command.h"

#include <stdio.h>
#include <stdlib.h>

static char* noise_text(const tl_rig* rig, const tl_noise* noise, const tl_noise_options* options) {
    char* words = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&words, &size);
    if (!to)
        abort();
    char* text = tl_noise_text(noise, options, tl_rig_title(rig));
    fputs(text, to);
    free(text);
    print_assumed_direct(to, rig);
    fclose(to);
    return words;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_noise* noise = NULL;
    tl_noise_options options = {.reference_hz = asked->reference_hz,
                                .playing = asked->level,
                                .states = true,
                                .fixes = asked->fixes,
                                .fix_count = asked->fix_count,
                                .all = asked->all};
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_noise(session, rig, &options, &noise, error);
    if (status == TL_OK && asked->plot)
        status = tl_noise_draw(noise, tl_rig_title(rig), asked->plot, error);
    if (status == TL_OK) {
        char* text = asked->json  ? tl_json_text(tl_noise_json(noise, tl_rig_title(rig)))
                     : asked->csv ? tl_noise_csv(noise, &options)
                                  : noise_text(rig, noise, &options);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_noise_free(noise);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_noise = {
    "noise",
    "RIG.yaml",
    "what hisses at the amp's input, who makes it, and in which state it is worst",
    "Solves the noise at each amp's input, from 20 Hz to 20 kHz and as the ear weights it, of the\n"
    "rig as written, plugged straight in, and in every state of the pedals, and says which part\n"
    "makes how much of it. Pedals, buffers and amps may state theirs: 'noise: {voltage: 5 "
    "nV/rtHz,\n"
    "current: 0.5 pA/rtHz, corner: 100 Hz}'.\n"
    "\n"
    "  toneload noise board.yaml --level '150 mV' --plot noise.svg",
    OPTION_LEVEL | OPTION_FIX | OPTION_ALL | OPTION_PLOT | OPTION_JSON | OPTION_CSV |
        OPTION_REFERENCE | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

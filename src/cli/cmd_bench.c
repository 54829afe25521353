// SPDX-License-Identifier: GPL-3.0-or-later
// toneload bench: buffer designs measured as a bench would, against limits, beside each other.
#include "cli/command.h"

#include <stdio.h>
#include <stdlib.h>

static char* shown(const request* asked, const tl_rig* rig, const tl_bench* bench) {
    const char* title = rig ? tl_rig_title(rig) : NULL;
    if (asked->json)
        return tl_json_text(tl_bench_json(bench, title));
    return asked->csv ? tl_bench_csv(bench) : tl_bench_text(bench, title, asked->all);
}

static tl_status show(const request* asked, const tl_rig* rig, const tl_bench* bench,
                      tl_error* error) {
    tl_status status = asked->plot ? tl_bench_draw(bench, asked->plot, error) : TL_OK;
    if (status != TL_OK)
        return status;
    char* text = shown(asked, rig, bench);
    status = request_write(asked, text, error);
    free(text);
    return status;
}

/// A design of which nothing could be measured is a failure, once the others have been shown.
static tl_status check_measured(const tl_bench* bench, tl_error* error) {
    for (size_t i = 0; i < bench->count; ++i)
        if (bench->designs[i].troubles == bench->line_count) {
            char* shown = tl_show_safe(bench->designs[i].file);
            tl_error_set(error, TL_FAILURE, "%s: nothing of it could be measured", shown);
            free(shown);
            return TL_FAILURE;
        }
    return TL_OK;
}

/// An analysis of one buffer takes a second at most; one that does not end should not take a
/// minute.
static const double time_limit_s = 10;

static tl_status measure(const request* asked, tl_design* const* designs, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_bench* bench = NULL;
    request limited = *asked;
    limited.time_limit_s = asked->time_limit_s > 0 ? asked->time_limit_s : time_limit_s;
    tl_status status = request_session(&limited, SESSION_SOLVES, &session, error);
    if (status == TL_OK && asked->rig)
        status = tl_rig_read(tl_session_library(session), asked->rig, &rig, error);
    const tl_bench_options options = {rig, asked->limits_file, asked->corners};
    if (status == TL_OK)
        status = tl_study_bench(session, designs, asked->word_count, &options, &bench, error);
    if (status == TL_OK)
        status = show(asked, rig, bench, error);
    if (status == TL_OK)
        status = check_measured(bench, error);
    tl_bench_free(bench);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

/// Says what looks wrong in a circuit that will be measured all the same.
static void warn(const tl_design* design) {
    size_t count = 0;
    const char* const* remarks = tl_design_remarks(design, &count);
    for (size_t i = 0; i < count; ++i) {
        char* shown = tl_show_safe(remarks[i]);
        fprintf(stderr, "toneload: warning: %s\n", shown);
        free(shown);
    }
}

static tl_status run(const request* asked, tl_error* error) {
    tl_design** designs = calloc(asked->word_count, sizeof *designs);
    if (!designs)
        abort();
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < asked->word_count; ++i)
        status = tl_design_read(asked->words[i], &designs[i], error);
    for (size_t i = 0; status == TL_OK && i < asked->word_count; ++i)
        warn(designs[i]);
    if (status == TL_OK)
        status = measure(asked, designs, error);
    for (size_t i = 0; i < asked->word_count; ++i)
        tl_design_free(designs[i]);
    free(designs);
    return status;
}

const command command_bench = {
    "bench",
    "DESIGN.yaml [DESIGN2.yaml ..]",
    "buffer designs measured as on a bench, against limits, side by side",
    "A design names a SPICE subcircuit, its pins and its supply. The bench measures bias, gain,\n"
    "impedances, what it does to pickups and to long leads, stability, headroom, distortion, "
    "noise\n"
    "and supply rejection, holds each against a limit and says why it matters. Several designs\n"
    "stand beside each other, the best value of each line marked.\n"
    "\n"
    "  toneload bench mine.yaml yours.yaml --rig rig.yaml --plot bench.svg",
    OPTION_RIG | OPTION_LIMITS | OPTION_CORNERS | OPTION_DETAILS | OPTION_PLOT | OPTION_JSON |
        OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    64,
    run,
};

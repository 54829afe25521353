// SPDX-License-Identifier: GPL-3.0-or-later
// toneload spread: what a batch of a rig will sound like.
#include "cli/command.h"
#include "cli/spread.h"

#include <stdio.h>
#include <stdlib.h>

static tl_spread_options read_options(const request* asked) {
    return (tl_spread_options){.trials = asked->trials,
                               .seed = asked->seed,
                               .reference_hz = asked->reference_hz,
                               .only_stated = asked->only_stated,
                               .worst_case = asked->worst_case,
                               .shard = asked->shard,
                               .shards = asked->shards,
                               .resume = asked->resume,
                               .choices = asked->selects,
                               .choice_count = asked->select_count,
                               .dump = asked->dump};
}

/// What a shard cannot do: it has no answer of its own.
static tl_status check_shard(const request* asked, tl_error* error) {
    if (!asked->output)
        return tl_error_set(error, TL_BAD_INPUT,
                            "--shard %zu/%zu needs --output FILE, for toneload merge", asked->shard,
                            asked->shards);
    if (asked->json || asked->csv || asked->plot || asked->histograms || asked->sensitivity ||
        asked->dump || asked->select_count)
        return tl_error_set(error, TL_BAD_INPUT,
                            "a shard's trials are shown by toneload merge, which takes --json, "
                            "--csv, --plot, --histograms, --dump and --select");
    return TL_OK;
}

static tl_status run_shard(const request* asked, tl_session* session, tl_rig* rig,
                           const tl_spread_options* options, tl_error* error) {
    size_t done = 0;
    size_t count = 0;
    tl_status status =
        tl_study_spread_shard(session, rig, options, asked->output, &done, &count, error);
    if (status != TL_OK)
        return status;
    char* path = tl_show_safe(asked->output);
    if (done < count)
        status = tl_error_set(error, TL_FAILURE,
                              "stopped: %zu of the %zu trials of shard %zu/%zu are in %s; --resume "
                              "goes on from there",
                              done, count, asked->shard, asked->shards, path);
    else
        fprintf(stderr, "shard %zu/%zu: %zu trials in %s\n", asked->shard, asked->shards, count,
                path);
    free(path);
    return status;
}

static tl_status run_whole(const request* asked, tl_session* session, tl_rig* rig,
                           const tl_spread_options* options, tl_error* error) {
    tl_spread* spread = NULL;
    tl_status status = tl_study_spread(session, rig, options, &spread, error);
    if (status == TL_OK)
        status = spread_show(asked, spread, error);
    if (status == TL_OK && spread->done < spread->trials)
        status =
            tl_error_set(error, TL_FAILURE, "stopped: the answer is of the first %zu of %zu trials",
                         spread->done, spread->trials);
    tl_spread_free(spread);
    return status;
}

/// A long run should not end in a folder that is not there.
static tl_status check_places(const request* asked, tl_error* error) {
    const char* const paths[] = {asked->resume ? NULL : asked->output, asked->plot,
                                 asked->histograms, asked->sensitivity, asked->dump};
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < sizeof paths / sizeof *paths; ++i)
        status = tl_show_check_place(paths[i], error);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_spread_options options = read_options(asked);
    tl_status status = asked->shards ? check_shard(asked, error) : TL_OK;
    if (status == TL_OK)
        status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = check_places(asked, error);
    request_catch_stop();
    if (status == TL_OK)
        status = asked->shards ? run_shard(asked, session, rig, &options, error)
                               : run_whole(asked, session, rig, &options, error);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_spread = {
    "spread",
    "RIG.yaml [--trials N] [--seed S]",
    "what a batch will sound like: parts drawn from within their tolerances",
    "Draws every value from within its tolerance, N times, and shows what becomes of the sound:\n"
    "percentiles, how often the ear notices, and which part to measure or select. Tolerances "
    "stand\n"
    "in the rig ('resistance: 6 kohm +-10 %') or come with the kind of part; 'follows: NAME' lets\n"
    "parts of one reel move together. Trial i depends on seed and i alone, so that --jobs and\n"
    "--shard change nothing. Ctrl-C gives what is done so far.\n"
    "\n"
    "  toneload spread rig.yaml --trials 10000 --plot fan.svg --histograms bars.svg\n"
    "  toneload spread rig.yaml --select 'chain[0].capacitance=lowest of 5' --worst-case\n"
    "  toneload spread rig.yaml --trials 1000000 --shard 2/7 --output spread-2.part",
    OPTION_TRIALS | OPTION_SEED | OPTION_WORST | OPTION_SELECT | OPTION_STATED | OPTION_PLOT |
        OPTION_HISTOGRAMS | OPTION_SENSITIVITY | OPTION_DUMP | OPTION_SHARD | OPTION_RESUME |
        OPTION_DETAILS | OPTION_JSON | OPTION_CSV | OPTION_REFERENCE | OPTION_OUTPUT |
        OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

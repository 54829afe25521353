// SPDX-License-Identifier: GPL-3.0-or-later
// A spread from beginning to end: in one run, as a shard, and from shards.
#include "study/spread_work.h"

#include "base/file.h"
#include "base/locale.h"
#include "base/pack.h"
#include "base/statistics.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

/// Seconds between two times that a shard's file is written while it runs.
static const double save_every_s = 20;

/// All of a run that is under way.
typedef struct {
    tl_session* session;
    const tl_spread_options* options;
    tl_spread_plan plan;
    tl_spread* spread;
    tl_answer* careful;
    tl_spread_pattern pattern;
    tl_spread_trials trials;
    const char* path; ///< of a shard
    double saved_s;
} running;

static double now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static tl_status begin(running* r, tl_rig* rig, tl_error* error) {
    tl_status status = tl_spread_plan_make(rig, r->options->only_stated, &r->plan, error);
    if (status == TL_OK)
        status = tl_spread_begin(r->session, &r->plan, r->options, &r->spread, &r->careful, error);
    return status == TL_OK ? tl_spread_check_choices(r->spread, r->options, error) : status;
}

static void end(running* r) {
    tl_spread_pattern_free(&r->pattern);
    tl_answer_free(r->careful);
    tl_spread_trials_free(&r->trials);
    tl_spread_plan_free(&r->plan);
}

static tl_status save(const running* r, tl_error* error) {
    return tl_spread_shard_write(r->path, r->spread, r->options->shard, r->options->shards,
                                 &r->trials, error);
}

/// Keeps a shard's file up to date, so that little is lost when the machine is.
static tl_status landed(void* context, const tl_spread_trials* trials, tl_error* error) {
    (void)trials;
    running* r = context;
    if (!r->path || now_s() - r->saved_s < save_every_s)
        return TL_OK;
    r->saved_s = now_s();
    return save(r, error);
}

static tl_status run_trials(running* r, tl_error* error) {
    tl_spread_work work = {.session = r->session,
                           .plan = &r->plan,
                           .pattern = &r->pattern,
                           .seed = r->options->seed,
                           .reference_hz = r->options->reference_hz,
                           .landed = landed,
                           .context = r};
    r->saved_s = now_s();
    if (r->trials.done == r->trials.count)
        return TL_OK;
    tl_status status = tl_spread_pattern_find(r->session, &r->plan, r->careful, &r->pattern, error);
    return status == TL_OK ? tl_spread_run(&work, &r->trials, error) : status;
}

static tl_status check_options(const tl_spread_options* options, tl_error* error) {
    enum { MOST_TRIALS = 1000000000 };
    if (options->trials < 1 || options->trials > MOST_TRIALS)
        return tl_error_set(error, TL_BAD_INPUT, "%zu trials: expected 1 to %d", options->trials,
                            MOST_TRIALS);
    if (options->shards && (options->shard < 1 || options->shard > options->shards))
        return tl_error_set(error, TL_BAD_INPUT,
                            "shard %zu of %zu: expected K/N with K from 1 to N", options->shard,
                            options->shards);
    if (options->shards > options->trials)
        return tl_error_set(error, TL_BAD_INPUT, "%zu shards of %zu trials: some would be empty",
                            options->shards, options->trials);
    return TL_OK;
}

static tl_status study_spread(tl_session* session, tl_rig* rig, const tl_spread_options* options,
                              tl_spread** spread, tl_error* error) {
    running r = {.session = session, .options = options};
    tl_status status = check_options(options, error);
    if (status == TL_OK)
        status = begin(&r, rig, error);
    if (status == TL_OK)
        status = tl_spread_trials_new(&r.trials, 0, options->trials, r.spread->amp_count, error);
    if (status == TL_OK)
        status = run_trials(&r, error);
    if (status == TL_OK && !r.trials.done)
        status = tl_error_set(error, TL_FAILURE,
                              "stopped before any trial was done: there is no answer");
    if (status == TL_OK)
        status = tl_spread_finish(r.spread, &r.trials, options, error);
    end(&r);
    if (status != TL_OK) {
        tl_spread_free(r.spread);
        r.spread = NULL;
    }
    *spread = r.spread;
    return status;
}

tl_status tl_study_spread(tl_session* session, tl_rig* rig, const tl_spread_options* options,
                          tl_spread** spread, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status status = study_spread(session, rig, options, spread, error);
    tl_locale_restore(locale);
    return status;
}

// ---- shards

/// Puts a file's name in front of what is wrong with it.
static tl_status of_file(const char* path, tl_status status, tl_error* error) {
    tl_error_prefix(error, "%s", path);
    return status;
}

/// Takes over what a file has already, if it is of this very run. What it says of itself comes
/// first: only then is it known how much memory its trials may ask for.
static tl_status resume(running* r, tl_error* error) {
    tl_spread_shard old;
    tl_status status = tl_spread_shard_peek(r->path, &old, error);
    if (status != TL_OK)
        return status;
    bool same = old.identity == tl_spread_identity(r->spread, r->options->shards) &&
                old.spread->trials == r->options->trials && old.shard == r->options->shard &&
                old.shards == r->options->shards && old.spread->amp_count == r->spread->amp_count;
    tl_spread_shard_free(&old);
    if (!same)
        return of_file(r->path,
                       tl_error_set(error, TL_BAD_INPUT,
                                    "of another rig, seed, number of trials or shard: it cannot be "
                                    "resumed here"),
                       error);
    status = tl_spread_shard_read(r->path, &r->trials, &old, error);
    if (status == TL_OK) {
        r->trials.done = old.trials.done;
        tl_spread_shard_free(&old);
    }
    return status;
}

static tl_status study_shard(running* r, tl_rig* rig, tl_error* error) {
    size_t first = 0;
    size_t count = 0;
    tl_status status = check_options(r->options, error);
    if (status == TL_OK)
        status = begin(r, rig, error);
    if (status != TL_OK)
        return status;
    tl_spread_shard_range(r->options->trials, r->options->shard, r->options->shards, &first,
                          &count);
    status = tl_spread_trials_new(&r->trials, first, count, r->spread->amp_count, error);
    if (status != TL_OK)
        return status;
    if (r->options->resume && tl_file_exists(r->path))
        status = resume(r, error);
    if (status == TL_OK)
        status = run_trials(r, error);
    return status == TL_OK ? save(r, error) : status;
}

tl_status tl_study_spread_shard(tl_session* session, tl_rig* rig, const tl_spread_options* options,
                                const char* path, size_t* done, size_t* count, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    running r = {.session = session, .options = options, .path = path};
    tl_status status = tl_checksum_prepare(error);
    if (status == TL_OK)
        status = study_shard(&r, rig, error);
    *done = r.trials.done;
    *count = r.trials.count;
    tl_spread_free(r.spread);
    end(&r);
    tl_locale_restore(locale);
    return status;
}

/// Shards being put together.
typedef struct {
    tl_spread* spread; ///< what needs no trials
    uint32_t identity;
    size_t shards;
    size_t count; ///< trials of all shards
    size_t amps;
    bool* there;  ///< by shard; NULL before the first
    size_t noted; ///< how many are
    tl_spread_trials trials;
} merging;

/// What is wrong with a shard that could be read, beside those before it.
static tl_status check_shard(const merging* m, const tl_spread_shard* shard, tl_error* error) {
    if (shard->identity != m->identity || shard->shards != m->shards ||
        shard->spread->trials != m->count || shard->spread->amp_count != m->amps)
        return tl_error_set(
            error, TL_BAD_INPUT,
            "of another run than the first one given: rig, --seed, --trials, the number of "
            "shards, --reference-hz, --worst-case or --only-stated differ");
    if (m->there[shard->shard - 1])
        return tl_error_set(error, TL_BAD_INPUT, "shard %zu of %zu is there twice", shard->shard,
                            shard->shards);
    if (shard->trials.done < shard->trials.count)
        return tl_error_set(error, TL_BAD_INPUT,
                            "only %zu of its %zu trials are done: finish it with --resume",
                            shard->trials.done, shard->trials.count);
    return TL_OK;
}

/// Notes what a shard says of itself. What needs no trials is taken from shard 1, so that the order
/// the files are given in does not matter.
static tl_status note_shard(merging* m, const char* path, tl_error* error) {
    tl_spread_shard shard;
    tl_status status = tl_spread_shard_peek(path, &shard, error);
    if (status != TL_OK)
        return status;
    if (!m->there) {
        m->identity = shard.identity;
        m->shards = shard.shards;
        m->count = shard.spread->trials;
        m->amps = shard.spread->amp_count;
        m->there = tl_new(m->shards, sizeof *m->there);
    }
    status = check_shard(m, &shard, error);
    if (status != TL_OK)
        of_file(path, status, error);
    if (status == TL_OK) {
        m->there[shard.shard - 1] = true;
        ++m->noted;
    }
    if (status == TL_OK && (!m->spread || shard.shard == 1)) {
        tl_spread* other = m->spread;
        m->spread = shard.spread;
        shard.spread = other;
    }
    tl_spread_shard_free(&shard);
    return status;
}

static tl_status add_shard(merging* m, const char* path, tl_error* error) {
    tl_spread_shard shard;
    tl_status status = tl_spread_shard_read(path, &m->trials, &shard, error);
    if (status != TL_OK)
        return status;
    if (shard.identity != m->identity || shard.trials.done != shard.trials.count)
        status =
            of_file(path, tl_error_set(error, TL_BAD_INPUT, "it changed while it was read"), error);
    m->trials.done += shard.trials.done;
    tl_spread_shard_free(&shard);
    return status;
}

static tl_status check_complete(const merging* m, tl_error* error) {
    enum { MOST_NAMED = 20 };
    tl_text missing = {0};
    size_t left = m->shards - m->noted;
    size_t named = 0;
    for (size_t i = 0; named < left && named < MOST_NAMED; ++i)
        if (!m->there[i])
            tl_text_addf(&missing, "%s%zu", named++ ? ", " : "", i + 1);
    if (left > named)
        tl_text_addf(&missing, " and %zu more", left - named);
    tl_status status =
        left ? tl_error_set(error, TL_BAD_INPUT, "of %zu shards these are missing: %s", m->shards,
                            tl_text_get(&missing))
             : TL_OK;
    tl_text_free(&missing);
    return status;
}

static int compare_failures(const void* a, const void* b) {
    const tl_spread_failure* x = a;
    const tl_spread_failure* y = b;
    return (x->trial > y->trial) - (x->trial < y->trial);
}

static tl_status merge(merging* m, const char* const* paths, size_t count,
                       const tl_spread_options* options, tl_error* error) {
    if (!count)
        return tl_error_set(error, TL_BAD_INPUT, "nothing to put together: no shard");
    tl_status status = tl_statistics_prepare(error);
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = note_shard(m, paths[i], error);
    if (status == TL_OK)
        status = tl_spread_check_choices(m->spread, options, error);
    if (status == TL_OK)
        status = check_complete(m, error);
    if (status == TL_OK) // the files hold as much: only now is there reason to take the memory
        status = tl_spread_trials_new(&m->trials, 0, m->count, m->amps, error);
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = add_shard(m, paths[i], error);
    if (status != TL_OK)
        return status;
    if (m->trials.failure_count)
        qsort(m->trials.failures, m->trials.failure_count, sizeof *m->trials.failures,
              compare_failures);
    return tl_spread_finish(m->spread, &m->trials, options, error);
}

tl_status tl_spread_merge(const char* const* paths, size_t count, const tl_spread_options* options,
                          tl_spread** spread, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    merging m = {0};
    tl_status status = merge(&m, paths, count, options, error);
    tl_spread_trials_free(&m.trials);
    free(m.there);
    if (status != TL_OK) {
        tl_spread_free(m.spread);
        m.spread = NULL;
    }
    *spread = m.spread;
    tl_locale_restore(locale);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread_work.h The steps of a spread, each in a file of its own.
///
/// A result is made in two steps, so that shards can be put together anywhere: what is known before
/// any trial is run (the rig as written, slopes, corners), and what the trials come to.
#ifndef TL_STUDY_SPREAD_WORK_H
#define TL_STUDY_SPREAD_WORK_H

#include "study/spread_trials.h"

/// Makes a result with all that needs no trials; takes the plan's values over. `careful` becomes
/// the answer of the rig as it is written; free with tl_answer_free().
tl_status tl_spread_begin(tl_session* session, tl_spread_plan* plan,
                          const tl_spread_options* options, tl_spread** spread, tl_answer** careful,
                          tl_error* error);
/// Memory for the figures of a result whose amps and values are known.
void tl_spread_room(tl_spread* spread);

/// Fills in what the trials come to. TL_BAD_INPUT when a choice cannot be read.
tl_status tl_spread_finish(tl_spread* spread, const tl_spread_trials* trials,
                           const tl_spread_options* options, tl_error* error);
/// Whether all choices can be read and name drawn values: asked before the long work.
tl_status tl_spread_check_choices(const tl_spread* spread, const tl_spread_options* options,
                                  tl_error* error);
/// Adds a choice and what it leaves.
tl_status tl_spread_choose(tl_spread* spread, const tl_spread_trials* trials, const char* words,
                           tl_error* error);
/// Writes every trial's values and figures as CSV.
tl_status tl_spread_dump(const tl_spread* spread, const tl_spread_trials* trials, const char* path,
                         tl_error* error);

/// Where a drawn value lies in a trial, -1 to 1 of its tolerance.
double tl_spread_trial_offset(const tl_spread* spread, size_t value, size_t trial);

/// A shard as its file has it.
typedef struct {
    tl_spread* spread; ///< what needs no trials
    size_t shard;      ///< from 1
    size_t shards;
    uint32_t identity; ///< a sum over all that shards of one run have in common
    tl_spread_trials trials;
} tl_spread_shard;

/// Which trials a shard has.
void tl_spread_shard_range(size_t trials, size_t shard, size_t shards, size_t* first,
                           size_t* count);
tl_status tl_spread_shard_write(const char* path, const tl_spread* spread, size_t shard,
                                size_t shards, const tl_spread_trials* trials, tl_error* error);
/// Reads what a shard says of itself, without its trials.
tl_status tl_spread_shard_peek(const char* path, tl_spread_shard* shard, tl_error* error);
/// Reads a shard's trials and bins into `into`, which has room for its trials at least; `shard` has
/// no memory for them. TL_BAD_INPUT with what is wrong when it is damaged, cut short or of another
/// version.
tl_status tl_spread_shard_read(const char* path, tl_spread_trials* into, tl_spread_shard* shard,
                               tl_error* error);
void tl_spread_shard_free(tl_spread_shard* shard);
/// The sum that shards of one run have in common.
uint32_t tl_spread_identity(const tl_spread* spread, size_t shards);

#endif

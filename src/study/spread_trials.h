// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread_trials.h Trials of a rig: solved, measured and kept.
#ifndef TL_STUDY_SPREAD_TRIALS_H
#define TL_STUDY_SPREAD_TRIALS_H

#include "study/session.h"
#include "study/spread_plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// Curves are kept as counts in bins, at frequencies that are always the same, so that those of
/// several machines add up to what one would have.
enum { TL_SPREAD_POINTS = 121, TL_SPREAD_BINS = 12000, TL_SPREAD_CURVES = 2 };
#define TL_SPREAD_BIN_DB 0.01
#define TL_SPREAD_LOWEST_DB (-80.0)

/// The frequency of a point: 20 Hz to 20 kHz, evenly spaced in log.
double tl_spread_point_hz(size_t point);

/// Trials `first` to `first + count - 1` of a run, and what became of the first `done` of them.
typedef struct {
    size_t first;
    size_t count;
    size_t done;
    size_t amps;
    double* figures;             ///< [((trial - first) * amps + amp) * TL_SPREAD_FIGURES + figure]
    uint32_t* bins;              ///< [((amp * CURVES + curve) * POINTS + point) * BINS + bin]
    tl_spread_failure* failures; ///< ascending
    size_t failure_count;
} tl_spread_trials;

/// Memory for trials, all of it taken now, so that a long run either has it or does not begin:
/// TL_FAILURE when it would take most of what the machine has.
tl_status tl_spread_trials_new(tl_spread_trials* trials, size_t first, size_t count, size_t amps,
                               tl_error* error);
void tl_spread_trials_free(tl_spread_trials* trials);
/// Bins of a curve at a point.
uint32_t* tl_spread_bins(const tl_spread_trials* trials, size_t amp, size_t curve, size_t point);
/// Adds a trial that has no answer; its figures become NAN.
void tl_spread_fail(tl_spread_trials* trials, size_t trial, const char* why);
/// Figures of a trial at an amp.
double* tl_spread_figures_of(const tl_spread_trials* trials, size_t trial, size_t amp);

/// Whether a trial has an answer.
bool tl_spread_has_answer(const tl_spread_trials* trials, size_t trial);

/// What is read off one trial at one amp, from its response and its direct's. Returns where an
/// unstable pole of either lies, Hz; NAN when there is none.
double tl_spread_measure(const tl_response* rig, const tl_response* direct, double reference_hz,
                         double figures[TL_SPREAD_FIGURES]);
/// The level of both curves at every point, dB: the rig re its level at the reference, and the rig
/// minus direct with `level_db` taken off.
void tl_spread_curves(const tl_response* rig, const tl_response* direct, double reference_hz,
                      double level_db, double db[TL_SPREAD_CURVES][TL_SPREAD_POINTS]);

/// How trials are solved: the nominal rig's fits at as few frequencies as hold.
typedef struct {
    unsigned per_decade;
    size_t points;
    double* hz;
    size_t outputs;
    tl_response** responses; ///< by output
} tl_spread_pattern;

/// Finds the fewest frequencies at which the nominal rig and the two with every value at one end of
/// its tolerance come out as `careful`, the nominal rig's answer, has it.
tl_status tl_spread_pattern_find(tl_session* session, tl_spread_plan* plan,
                                 const tl_answer* careful, tl_spread_pattern* pattern,
                                 tl_error* error);
void tl_spread_pattern_free(tl_spread_pattern* pattern);

typedef struct {
    tl_session* session;
    tl_spread_plan* plan;
    const tl_spread_pattern* pattern;
    uint64_t seed;
    double reference_hz;
    /// Called after some trials more are done, in the calling thread. May be NULL. An error ends
    /// the run.
    tl_status (*landed)(void* context, const tl_spread_trials* trials, tl_error* error);
    void* context;
} tl_spread_work;

/// Runs the trials that are not done yet. Those that have no answer are noted and the rest go on;
/// `done` falls short of `count` when the session was told to stop.
tl_status tl_spread_run(const tl_spread_work* work, tl_spread_trials* trials, tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread.h What a batch of rigs will sound like: many trials of a rig with every value drawn
/// from within its tolerance, and what became of them.
#ifndef TONELOAD_SPREAD_H
#define TONELOAD_SPREAD_H

#include "toneload/api.h"
#include "toneload/response.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// Percentiles that are given: 1, 5, 25, 50, 75, 95 and 99.
enum { TL_PERCENTILES = 7 };
TL_API extern const double tl_percentiles[TL_PERCENTILES];

/// Figures of a trial, at each amp: indices into tl_spread_figure_at().
enum {
    TL_SPREAD_PEAK_HZ,
    TL_SPREAD_PEAK_DB,
    TL_SPREAD_POLE_HZ,
    TL_SPREAD_Q,
    TL_SPREAD_CUTOFF_HZ,
    TL_SPREAD_LEVEL_DB,
    TL_SPREAD_PRESENCE_DB,
    TL_SPREAD_WORST_DB, ///< its size, whichever way
    TL_SPREAD_RMS_DB,
    TL_SPREAD_STEPS, ///< the peak's shift in just-noticeable steps
    TL_SPREAD_FIGURES
};
typedef struct {
    const char* name;  ///< "peak_hz"
    const char* title; ///< "peak", for people
    const char* unit;  ///< "Hz", "dB" or ""
} tl_spread_kind;
TL_API const tl_spread_kind* tl_spread_figure_at(size_t index);

/// A value that is drawn. Those that follow it move with it.
typedef struct {
    char* path;     ///< "chain[0].capacitance"
    char* about;    ///< its item's name or part: "single-coil"; "" when there is none
    char* shown;    ///< "110 pF/m +-8 %"
    char* followed; ///< paths of the values that move with it, joined by ", "; "" for none
    char* origin;   ///< where the tolerance comes from: "rig.yaml:7" or the library's words
    double nominal; ///< SI unit
    double share;   ///< tolerance, of the nominal value
    bool uniform;   ///< else normal, cut off at 3 sigma, which the tolerance is
} tl_spread_value;

/// How one drawn value moves one figure.
typedef struct {
    double slope; ///< change of the figure when the value rises by 1 %, to first order, at the rig
                  ///< as it is written; NAN when the figure does not exist there
    double correlation;    ///< of value and figure over the trials (Pearson)
    double variance_share; ///< its square: what of the figure's variance goes with the value
} tl_spread_effect;

/// One figure at one amp, over the trials that have it. NAN where there is nothing to tell.
typedef struct {
    double nominal; ///< of the rig as it is written
    double percentile[TL_PERCENTILES];
    double mean;
    double deviation; ///< standard deviation
    size_t none;      ///< trials in which it does not exist
    double low;       ///< the histogram's ends: the least and the greatest trial
    double high;
    size_t* bars;              ///< TL_SPREAD_BARS counts
    tl_spread_effect* effects; ///< by drawn value
    /// Worst case, when it was asked for: the lowest and the highest the figure gets with every
    /// value at one end of its tolerance or the other.
    double least;
    double most;
    signed char* least_at; ///< by drawn value: -1 or 1
    signed char* most_at;
    size_t corner_none; ///< corners looked at in which it does not exist
} tl_spread_figure;
enum { TL_SPREAD_BARS = 40 };

/// Percentiles of a curve, [percentile][point], from bins of 0.01 dB.
typedef struct {
    double* db[TL_PERCENTILES];
} tl_spread_band;

/// Trials that a choice of parts leaves, each counted as often as the choice would take it.
typedef struct {
    char* words;                          ///< as asked: "chain[0].capacitance=lowest of 5"
    char* about;                          ///< "the lowest of 5 reels", "the lower third"
    size_t trials;                        ///< that have any weight
    double (*percentile)[TL_PERCENTILES]; ///< [amp * TL_SPREAD_FIGURES + figure]
    double(*deviation);                   ///< the same
    double (*heard)[4];                   ///< by amp: share of each verdict
} tl_spread_choice;

/// A trial that has no answer.
typedef struct {
    size_t trial;
    char* why;
} tl_spread_failure;

typedef struct {
    char* rig; ///< title
    size_t trials;
    uint64_t seed;
    double reference_hz;
    size_t done;                 ///< trials that were run; fewer than `trials` when it was stopped
    bool direct_assumed;         ///< the rig names no direct: 6 m of standard-coax stand in
    tl_spread_failure* failures; ///< the first TL_SPREAD_FAILURES of them
    size_t failure_count;        ///< all of them
    size_t value_count;
    tl_spread_value* values;
    size_t amp_count;
    char** amps;
    tl_spread_figure* figures; ///< [amp * TL_SPREAD_FIGURES + figure]
    size_t (*heard)[4];        ///< by amp: trials of each verdict
    tl_verdict* nominal_heard; ///< by amp
    bool worst_case;           ///< corners were asked for
    bool all_corners;          ///< every one of them was solved; else those the slopes point at
    size_t corner_count;
    size_t point_count; ///< of curves
    double* hz;
    tl_spread_band* levels;      ///< by amp: rig, relative to its level at the reference
    tl_spread_band* differences; ///< by amp: rig minus direct, levels matched
    double** nominal_db;         ///< by amp: the rig as it is written
    double** nominal_difference_db;
    tl_spread_choice* choices;
    size_t choice_count;
} tl_spread;
enum { TL_SPREAD_FAILURES = 100 };

#endif

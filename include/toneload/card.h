// SPDX-License-Identifier: GPL-3.0-or-later
/// @file card.h What the bench found of buffer designs: figures, limits, verdicts, curves.
///
/// Plain figures: the study fills them in (bench.h), show draws them.
#ifndef TONELOAD_CARD_H
#define TONELOAD_CARD_H

#include "toneload/api.h"

#include <stdbool.h>
#include <stddef.h>

struct tl_design;

typedef enum { TL_GRADE_NONE, TL_GRADE_PASS, TL_GRADE_MARGINAL, TL_GRADE_FAIL } tl_grade;
/// "", "pass", "marginal", "fail".
TL_API const char* tl_grade_words(tl_grade grade);

typedef enum { TL_BETTER_NONE, TL_BETTER_LOW, TL_BETTER_HIGH, TL_BETTER_NEAR_ZERO } tl_better;

/// What a figure is held to: bounds, or words. A bound that is not given is infinite.
typedef struct {
    char* figure; ///< the id of the line it holds for
    double pass_low;
    double pass_high;
    double marginal_low;
    double marginal_high;
    char* pass_words;     ///< of a figure in words: "stable"; NULL when bounds are given
    char* marginal_words; ///< "rings"; NULL when there is nothing between pass and fail
    char* words;          ///< the limit as people write it: "below 1 kohm"
    char* why;            ///< why it matters, one plain sentence; NULL when nobody said
    char* source;         ///< where it is from, or "common practice"; NULL when nobody said
} tl_bench_limit;

/// A line of the card: the same for all designs.
typedef struct {
    char* id;    ///< "output_impedance_1khz_ohm"
    char* group; ///< "gain", "noise": lines of a group stand together
    char* title; ///< "output impedance at 1 kHz"
    char* unit;  ///< SI: "ohm", "F", "Hz", "V", "A", "V/rtHz", "V/s"; "dB", "deg", "%", ""
    tl_better better;
    bool detail;                 ///< one of many that a line above sums up
    const tl_bench_limit* limit; ///< NULL: none; owned by the bench
    size_t best;                 ///< the design with the best value; SIZE_MAX: none stands out
} tl_bench_line;

/// One figure of one design.
typedef struct {
    double value;  ///< NAN when there is none
    int beyond;    ///< 1: at least `value`, the most that was tried; -1: at most `value`
    char* words;   ///< in place of a value ("rings"), or what goes with it ("at 10 nF, 10 kohm")
    char* trouble; ///< why it could not be measured; NULL when it could
    tl_grade grade;
} tl_bench_figure;

/// Who makes the noise at the output.
typedef struct {
    char* name;   ///< element as the user wrote it, or "the source"
    double share; ///< of the noise power, 20 Hz to 20 kHz
} tl_bench_noise_part;

enum { TL_BENCH_NOISE_PARTS = 5 };

typedef struct {
    char* source; ///< "shorted", "10 kohm", a pickup's name
    size_t count;
    tl_bench_noise_part parts[TL_BENCH_NOISE_PARTS]; ///< the largest first
} tl_bench_noise;

typedef enum {
    TL_BENCH_GAIN,        ///< dB against Hz, 1 Mohm and no lead
    TL_BENCH_GAIN_LOADED, ///< dB against Hz, into 10 nF and 10 kohm
    TL_BENCH_INPUT,       ///< input impedance, ohm against Hz
    TL_BENCH_THD,         ///< % against peak volts at 1 kHz
    TL_BENCH_NOISE,       ///< output noise density, V/rtHz against Hz, source shorted
    TL_BENCH_CURVES
} tl_bench_curve_kind;

typedef struct {
    size_t count; ///< 0: could not be measured
    double* x;
    double* y;
} tl_bench_curve;

typedef struct {
    const struct tl_design* design;
    char* name;               ///< the design's, free text of the user's
    char* file;               ///< where it was read from
    tl_bench_figure* figures; ///< by line
    tl_bench_curve curves[TL_BENCH_CURVES];
    tl_bench_noise* noises;
    size_t noise_count;
    size_t passes; ///< lines by grade
    size_t marginals;
    size_t fails;
    size_t troubles;
    tl_bench_figure* worst; ///< by line, over all corners; NULL without corners
    char** worst_at;        ///< by line: the corner ("r1 +5 %, supply -10 %")
    size_t corner_count;    ///< specimens measured, the nominal one included
    bool by_slope;          ///< too many parts for all combinations: corners by each figure's slope
} tl_bench_design;

typedef struct {
    tl_bench_line* lines;
    size_t line_count;
    tl_bench_design* designs;
    size_t count;
    tl_bench_limit* limits;
    size_t limit_count;
} tl_bench;

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bench.h Buffer designs on the bench: figures, limits, verdicts, curves.
#ifndef TONELOAD_BENCH_H
#define TONELOAD_BENCH_H

#include "toneload/design.h"
#include "toneload/error.h"
#include "toneload/rig.h"
#include "toneload/study.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum { TL_GRADE_NONE, TL_GRADE_PASS, TL_GRADE_MARGINAL, TL_GRADE_FAIL } tl_grade;
/// "", "pass", "marginal", "fail".
TL_API const char* tl_grade_words(tl_grade grade);

typedef enum { TL_BETTER_NONE, TL_BETTER_LOW, TL_BETTER_HIGH, TL_BETTER_NEAR_ZERO } tl_better;

/// What a figure is held to. A bound that is not given is infinite.
typedef struct {
    double pass_low;
    double pass_high;
    double marginal_low;
    double marginal_high;
    char* words;  ///< the limit as people write it: "below 1 kohm"
    char* why;    ///< why it matters, one plain sentence
    char* source; ///< where the limit is from, or "common practice"
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
    const tl_design* design;
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

typedef struct {
    tl_rig* rig;        ///< the setting it will live in, or NULL
    const char* limits; ///< a limits file; NULL: the one that comes with toneload
    bool corners;
} tl_bench_options;

/// Measures designs. What cannot be measured is in the figures' `trouble`; TL_BAD_INPUT when the
/// limits cannot be used, TL_FAILURE when there is no solver.
TL_API tl_status tl_study_bench(tl_session* session, tl_design* const* designs, size_t count,
                                const tl_bench_options* options, tl_bench** bench, tl_error* error);
TL_API void tl_bench_free(tl_bench* bench);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bench_fixture.h Buffer designs as a bench might find them: all figures are made up.
#ifndef TL_TEST_BENCH_FIXTURE_H
#define TL_TEST_BENCH_FIXTURE_H

#include "base/text.h"
#include "toneload/card.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

enum { FIXTURE_KINDS = 3, FIXTURE_POINTS = 121, FIXTURE_LEVELS = 25 };

/// A line, and what a good, a middling and a poor design get on it.
typedef struct {
    const char* id;
    const char* group;
    const char* title;
    const char* unit;
    tl_better better;
    bool detail;
    const char* limit; ///< NULL: none
    double pass_low, pass_high, marginal_low, marginal_high;
    const char* why;
    double values[FIXTURE_KINDS];
    const char* words[FIXTURE_KINDS];
} fixture_line;

#define LOW TL_BETTER_LOW
#define HIGH TL_BETTER_HIGH
#define ZERO TL_BETTER_NEAR_ZERO
#define NO TL_BETTER_NONE
#define INF ((double)INFINITY)
#define NEVER ((double)NAN)

// clang-format off
static const fixture_line fixture_lines[] = {
{"supply_current_a", "supply and bias", "supply current", "A", LOW, false, "below 2 mA", -INF, 2e-3, -INF, 5e-3, "A battery lasts a week of gigs at 2 mA.", {6.1e-4, 1.42e-3, 4.4e-3}, {0}},
{"output_dc_v", "supply and bias", "DC at the output", "V", ZERO, false, "within 10 mV", -0.01, 0.01, -0.1, 0.1, "DC at the output clicks when the buffer is switched in, and crackles in the next pot.", {0, 1.2e-3, -0.31}, {0}},
{"bias_margin_v", "supply and bias", "smallest voltage across a transistor", "V", HIGH, false, "above 1 V", 1, INF, 0.5, INF, "A transistor near its knee clips early.", {3.12, 2.4, 0.72}, {NULL, NULL, "at q1"}},
{"thump_1ms_v", "supply and bias", "thump, supply on in 1 ms", "V", LOW, false, NULL, 0, 0, 0, 0, NULL, {0.21, 1.2, 3.9}, {0}},
{"thump_100ms_v", "supply and bias", "thump, supply on in 100 ms", "V", LOW, false, NULL, 0, 0, 0, 0, NULL, {0.03, 0.7, 2.2}, {0}},
{"gain_1khz_db", "gain", "gain at 1 kHz", "dB", ZERO, false, "above -0.5 dB", -0.5, INF, -1, INF, "What is lost here is made up by noise later.", {0.002, -0.31, -2.84}, {0}},
{"flatness_db", "gain", "flatness, 20 Hz to 20 kHz", "dB", LOW, false, "below 0.5 dB", -INF, 0.5, -INF, 1, "Beyond it the buffer has a tone of its own.", {0.01, 0.22, 3.4}, {0}},
{"low_cutoff_hz", "gain", "-3 dB below", "Hz", LOW, false, "below 20 Hz", -INF, 20, -INF, 40, "Low notes of a bass lie at 40 Hz.", {1, 4.8, 61}, {0}},
{"high_cutoff_hz", "gain", "-3 dB above", "Hz", HIGH, false, "above 100 kHz", 1e5, INF, 2e4, INF, "The top octave should keep its phase.", {1e7, 4.4e6, 17300}, {0}},
{"phase_20hz_deg", "gain", "phase at 20 Hz", "deg", ZERO, false, NULL, 0, 0, 0, 0, NULL, {0.4, 13.2, 71.8}, {0}},
{"phase_20khz_deg", "gain", "phase at 20 kHz", "deg", ZERO, false, NULL, 0, 0, 0, 0, NULL, {-0.03, -0.5, -48}, {0}},
{"input_impedance_1khz_ohm", "input", "input impedance at 1 kHz", "ohm", HIGH, false, "above 470 kohm", 470e3, INF, 220e3, INF, "A low input impedance takes the top off a pickup.", {4.7e6, 512e3, 38.4e3}, {0}},
{"input_resistance_1khz_ohm", "input", "as R parallel C: R at 1 kHz", "ohm", HIGH, true, NULL, 0, 0, 0, 0, NULL, {4.9e6, 520e3, 39e3}, {0}},
{"input_capacitance_1khz_farad", "input", "as R parallel C: C at 1 kHz", "F", LOW, true, NULL, 0, 0, 0, 0, NULL, {4.4e-12, 21e-12, 340e-12}, {0}},
{"output_impedance_1khz_ohm", "output", "output impedance at 1 kHz", "ohm", LOW, false, "below 1 kohm", -INF, 1e3, -INF, 5e3, "A high output impedance loses treble into a long lead.", {102, 340, 9.8e3}, {0}},
{"pickup_worst_q_share_percent", "pickups", "worst change of a pickup's Q", "%", ZERO, false, "within 10 %", -10, 10, -25, 25, "The peak of the pickup is its voice.", {3.1, -9.2, -71}, {"with the single-coil behind 3 m", "with the humbucker behind 3 m", "with the humbucker behind 0.3 m"}},
{"pickup_worst_pole_share_percent", "pickups", "worst change of its resonance", "%", ZERO, false, "within 5 %", -5, 5, -10, 10, "The peak's place is its voice too.", {-0.4, -2.2, -22.6}, {"with the single-coil behind 0.3 m", "with the single-coil behind 0.3 m", "with the single-coil behind 0.3 m"}},
{"pickup_single-coil_3m_q", "pickups", "single-coil, 3 m: Q", "", NO, true, NULL, 0, 0, 0, 0, NULL, {3.31, 2.98, 0.71}, {0}},
{"drive_worst_gain_db", "drive", "gain change into 10 nF and 10 kohm", "dB", ZERO, false, "within 0.5 dB", -0.5, 0.5, -1, 1, "The next input should not turn the guitar down.", {-0.09, -0.28, -5.9}, {0}},
{"drive_worst_cutoff_hz", "drive", "-3 dB into 10 nF and 10 kohm", "Hz", HIGH, false, "above 20 kHz", 2e4, INF, 1e4, INF, "A hundred metres of lead must not dull it.", {1.5e5, 46.8e3, 1.62e3}, {0}},
{"cable_100mdb_20khz_farad", "drive", "longest lead for 0.1 dB at 20 kHz", "F", HIGH, false, "above 1 nF", 1e-9, INF, 0.3e-9, INF, "Ten metres of lead are 1 nF.", {12e-9, 3.6e-9, 12e-12}, {0}},
{"stability", "stability", "stability", "", NO, false, "stable", 0, 0, 0, 0, "An oscillating buffer eats the battery and the treble.", {NEVER, NEVER, NEVER}, {"stable", "rings at 10 nF, 1 Mohm", "oscillates at 1 nF, 10 kohm"}},
{"peaking_worst_db", "stability", "worst peaking", "dB", LOW, false, "below 1 dB", -INF, 1, -INF, 3, "Peaking above the audible is a step towards oscillating.", {0, 1.4, 0}, {NULL, "at 10 nF, 1 Mohm", NULL}},
{"overshoot_worst_percent", "stability", "worst overshoot of a step", "%", LOW, false, NULL, 0, 0, 0, 0, NULL, {0, 14.2, 0}, {0}},
{"headroom_1khz_v", "headroom", "largest sine at 1 kHz for 1 % THD", "V", HIGH, false, "above 2 V", 2, INF, 1, INF, "Hot pickups reach 2 V peak.", {4.5, 3.32, 0.61}, {0}},
{"headroom_sag_1khz_v", "headroom", "the same on a sagging battery", "V", HIGH, false, "above 1.5 V", 1.5, INF, 1, INF, "A battery at 7 V is not empty yet.", {3.4, 2.11, 0.22}, {0}},
{"thd_100mv_percent", "headroom", "THD at 0.1 V", "%", LOW, false, "below 0.1 %", -INF, 0.1, -INF, 1, "Below it nobody hears it.", {2.2e-4, 0.0123, 0.41}, {0}},
{"thd_1v_percent", "headroom", "THD at 1 V", "%", LOW, false, "below 1 %", -INF, 1, -INF, 3, "Above it a clean guitar is not clean.", {1.9e-3, 0.122, 8.3}, {0}},
{"harmonic_2_1v_percent", "headroom", "second harmonic at 1 V", "%", LOW, true, NULL, 0, 0, 0, 0, NULL, {1.8e-3, 0.12, 7.7}, {0}},
{"thd_floor_percent", "headroom", "numerical floor of THD", "%", NO, true, NULL, 0, 0, 0, 0, NULL, {3.1e-8, 2.7e-8, 4e-8}, {0}},
{"slew_v_per_s", "headroom", "slew limit", "V/s", HIGH, false, "above 0.2 V/us", 2e5, INF, 1e5, INF, "2 V at 20 kHz take 0.25 V/us.", {1.3e7, 5.1e5, 7.7e4}, {0}},
{"noise_density_1khz_v_rthz", "noise", "noise density at 1 kHz", "V/rtHz", LOW, false, "below 40 nV/rtHz", -INF, 40e-9, -INF, 100e-9, "The hiss of a 100 kohm resistor is 41 nV/rtHz.", {7.3e-9, 22e-9, 118e-9}, {0}},
{"noise_short_v", "noise", "noise, source shorted", "V", LOW, false, NULL, 0, 0, 0, 0, NULL, {1.1e-6, 3.2e-6, 17e-6}, {0}},
{"noise_pickup_a_v", "noise", "noise with a pickup, A-weighted", "V", LOW, false, NULL, 0, 0, 0, 0, NULL, {4.9e-6, 7.7e-6, 15e-6}, {0}},
{"psrr_100hz_db", "supply", "supply rejection at 100 Hz", "dB", HIGH, false, "above 40 dB", 40, INF, 20, INF, "A cheap supply hums with 10 mV.", {62.4, 41.2, 6.1}, {0}},
{"psrr_20khz_db", "supply", "supply rejection at 20 kHz", "dB", HIGH, false, "above 20 dB", 20, INF, 10, INF, "Switching supplies whistle.", {48, 33, 5.8}, {0}},
{"rig_worst_db", "in the rig", "worst against the ideal buffer", "dB", ZERO, false, "within 0.5 dB", -0.5, 0.5, -1, 1, "Half a dB is not audible.", {-0.06, -0.42, -7.7}, {NULL, "at 4.4 kHz", "at 4.4 kHz"}},
{"rig_verdict", "in the rig", "to the ear", "", NO, false, "not audible", 0, 0, 0, 0, "It is what counts.", {NEVER, NEVER, NEVER}, {"not audible", "borderline", "plain"}},
};
// clang-format on
enum { FIXTURE_LINES = sizeof fixture_lines / sizeof *fixture_lines };

static inline tl_grade fixture_grade(const tl_bench_limit* limit, const tl_bench_figure* figure,
                                     int kind) {
    if (!limit || figure->trouble)
        return TL_GRADE_NONE;
    if (limit->pass_words)
        return kind == 0 ? TL_GRADE_PASS : kind == 1 ? TL_GRADE_MARGINAL : TL_GRADE_FAIL;
    double value = figure->value;
    if (value >= limit->pass_low && value <= limit->pass_high)
        return TL_GRADE_PASS;
    bool marginal = value >= limit->marginal_low && value <= limit->marginal_high;
    return marginal ? TL_GRADE_MARGINAL : TL_GRADE_FAIL;
}

static inline void fixture_curve(tl_bench_curve* curve, tl_bench_curve_kind what, int kind,
                                 double scale) {
    static const double out_ohm[] = {100, 340, 9800}, in_ohm[] = {4.7e6, 512e3, 38.4e3},
                        in_farad[] = {5e-12, 21e-12, 340e-12}, low_hz[] = {0.1, 4.8, 61},
                        gain[] = {1, 0.965, 0.72}, clip_v[] = {4.5, 3.3, 0.6},
                        noise[] = {7.3e-9, 22e-9, 118e-9}, second[] = {2e-3, 0.12, 5};
    curve->count = what == TL_BENCH_THD ? FIXTURE_LEVELS : FIXTURE_POINTS;
    curve->x = tl_new(curve->count, sizeof(double));
    curve->y = tl_new(curve->count, sizeof(double));
    double pi = 3.14159265358979;
    for (size_t i = 0; i < curve->count; ++i) {
        double part = (double)i / (double)(curve->count - 1);
        double hz = 10 * pow(1e5, part), v = 0.02 * pow(300, part);
        bool loaded = what == TL_BENCH_GAIN_LOADED;
        double divider = loaded ? 1e4 / (1e4 + out_ohm[kind] * scale) : 1;
        double out_hz = 1 / (2 * pi * out_ohm[kind] * scale * (loaded ? 1e-8 : 1e-10));
        curve->x[i] = what == TL_BENCH_THD ? v : hz;
        curve->y[i] =
            what == TL_BENCH_THD
                ? second[kind] * v * scale + 30 / (1 + exp(12 * (clip_v[kind] - v) / clip_v[kind]))
            : what == TL_BENCH_INPUT
                ? 1 / hypot(1 / (in_ohm[kind] * scale), 2 * pi * hz * in_farad[kind])
            : what == TL_BENCH_NOISE ? noise[kind] * scale * sqrt(1 + 120 / hz)
                                     : 20 * log10(gain[kind] * divider / hypot(1, hz / out_hz) /
                                                  hypot(1, low_hz[kind] * scale / hz));
    }
}

static inline void fixture_design(tl_bench* bench, size_t index, bool corners) {
    static const char* const names[] = {"FET source follower, 9 V",
                                        "bipolar emitter follower, bootstrapped",
                                        "a poor buffer in a pedal"};
    static const char* const parts[] = {"j1", "rg", "rs", "q1", "the source"};
    static const char* const sources[] = {"shorted", "10 kohm", "single-coil"};
    tl_bench_design* design = &bench->designs[index];
    int kind = (int)(index % FIXTURE_KINDS);
    double scale = 1 + 0.07 * (double)(index / FIXTURE_KINDS);
    design->name = index < FIXTURE_KINDS
                       ? tl_copy(names[kind])
                       : tl_printf("%s, version %zu", names[kind], index / FIXTURE_KINDS + 1);
    design->file = tl_printf("designs/design-%zu.yaml", index + 1);
    design->figures = tl_new(bench->line_count, sizeof *design->figures);
    for (size_t i = 0; i < bench->line_count; ++i) {
        const fixture_line* line = &fixture_lines[i];
        tl_bench_figure* figure = &design->figures[i];
        figure->value = line->values[kind] * scale;
        figure->words = tl_copy(line->words[kind]);
        figure->beyond = i == 8 && kind == 0 ? 1 : i == 7 && kind == 0 ? -1 : 0;
        if (index == 2 && (i == 33 || i == 37 || i == 3))
            figure->trouble = tl_copy(i == 3 ? "the start did not settle in 5 s" : "no pickup");
        if (figure->trouble)
            figure->value = (double)NAN;
        figure->grade = fixture_grade(bench->lines[i].limit, figure, kind);
        design->passes += figure->grade == TL_GRADE_PASS;
        design->marginals += figure->grade == TL_GRADE_MARGINAL;
        design->fails += figure->grade == TL_GRADE_FAIL;
        design->troubles += figure->trouble != NULL;
    }
    for (int i = 0; i < TL_BENCH_CURVES; ++i)
        fixture_curve(&design->curves[i], (tl_bench_curve_kind)i, kind, scale);
    design->noise_count = 3;
    design->noises = tl_new(3, sizeof *design->noises);
    for (size_t i = 0; i < 3; ++i) {
        design->noises[i].source = tl_copy(sources[i]);
        design->noises[i].count = 5;
        for (size_t j = 0; j < 5; ++j)
            design->noises[i].parts[j] =
                (tl_bench_noise_part){tl_copy(parts[(i + j) % 5]), 0.62 / pow(4, (double)j)};
    }
    if (!corners)
        return;
    design->corner_count = kind == 2 ? 23 : 33;
    design->by_slope = kind == 2;
    design->worst = tl_new(bench->line_count, sizeof *design->worst);
    design->worst_at = tl_new(bench->line_count, sizeof *design->worst_at);
    for (size_t i = 0; i < bench->line_count; ++i) {
        const fixture_line* line = &fixture_lines[i];
        double worse = line->better == TL_BETTER_HIGH ? 0.5 : 2;
        design->worst[i] = (tl_bench_figure){design->figures[i].value * worse, 0,
                                             tl_copy(line->words[kind]), NULL, TL_GRADE_NONE};
        design->worst[i].grade = fixture_grade(bench->lines[i].limit, &design->worst[i], kind);
        design->worst_at[i] = tl_copy("r1 +5 %, r2 -5 %, c1 -20 %, supply -10 %");
    }
}

/// A bench of `count` made-up designs: good, middling and poor ones in turn.
static inline tl_bench* fixture_new(size_t count, bool corners) {
    tl_bench* bench = tl_new(1, sizeof *bench);
    bench->line_count = FIXTURE_LINES;
    bench->lines = tl_new(FIXTURE_LINES, sizeof *bench->lines);
    bench->limits = tl_new(FIXTURE_LINES, sizeof *bench->limits);
    bench->limit_count = FIXTURE_LINES;
    for (size_t i = 0; i < FIXTURE_LINES; ++i) {
        const fixture_line* from = &fixture_lines[i];
        tl_bench_limit* limit = &bench->limits[i];
        bool words = from->limit && from->pass_low == from->pass_high;
        *limit = (tl_bench_limit){.figure = tl_copy(from->id),
                                  .pass_low = from->pass_low,
                                  .pass_high = from->pass_high,
                                  .marginal_low = from->marginal_low,
                                  .marginal_high = from->marginal_high,
                                  .pass_words = words ? tl_copy(from->limit) : NULL,
                                  .words = tl_copy(from->limit),
                                  .why = tl_copy(from->why),
                                  .source = tl_copy("common practice")};
        bench->lines[i] =
            (tl_bench_line){tl_copy(from->id),
                            tl_copy(from->group),
                            tl_copy(from->title),
                            tl_copy(from->unit),
                            from->better,
                            from->detail,
                            from->limit ? limit : NULL,
                            count > 1 && from->better != TL_BETTER_NONE ? 0 : SIZE_MAX};
    }
    bench->count = count;
    bench->designs = tl_new(count, sizeof *bench->designs);
    for (size_t i = 0; i < count; ++i)
        fixture_design(bench, i, corners);
    return bench;
}

static inline void fixture_free_figures(tl_bench_figure* figures, size_t count) {
    for (size_t i = 0; figures && i < count; ++i) {
        free(figures[i].words);
        free(figures[i].trouble);
    }
    free(figures);
}

static inline void fixture_free_design(tl_bench_design* design, size_t lines) {
    free(design->name);
    free(design->file);
    fixture_free_figures(design->figures, lines);
    fixture_free_figures(design->worst, lines);
    for (size_t i = 0; design->worst_at && i < lines; ++i)
        free(design->worst_at[i]);
    free(design->worst_at);
    for (int i = 0; i < TL_BENCH_CURVES; ++i) {
        free(design->curves[i].x);
        free(design->curves[i].y);
    }
    for (size_t i = 0; i < design->noise_count; ++i) {
        free(design->noises[i].source);
        for (size_t j = 0; j < design->noises[i].count; ++j)
            free(design->noises[i].parts[j].name);
    }
    free(design->noises);
}

static inline void fixture_free(tl_bench* bench) {
    for (size_t i = 0; i < bench->line_count; ++i) {
        free(bench->lines[i].id);
        free(bench->lines[i].group);
        free(bench->lines[i].title);
        free(bench->lines[i].unit);
        free(bench->limits[i].figure);
        free(bench->limits[i].pass_words);
        free(bench->limits[i].marginal_words);
        free(bench->limits[i].words);
        free(bench->limits[i].why);
        free(bench->limits[i].source);
    }
    for (size_t i = 0; i < bench->count; ++i)
        fixture_free_design(&bench->designs[i], bench->line_count);
    free(bench->lines);
    free(bench->limits);
    free(bench->designs);
    free(bench);
}

/// Puts other words in the place of what a fixture holds.
static inline void fixture_say(char** where, const char* words) {
    free(*where);
    *where = tl_copy(words);
}

#endif

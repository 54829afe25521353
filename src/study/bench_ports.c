// SPDX-License-Identifier: GPL-3.0-or-later
// What a design is from outside: input and output impedance, and what comes in by the supply.
#include "study/bench_card.h"

#include "base/text.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

/// 20 points a decade from 10 Hz to 100 kHz: the 41st, 61st and 21st are 1 kHz, 10 kHz and 100 Hz.
enum { PER_DECADE = 20 };
static const struct {
    const char* id;
    size_t point;
} spots[] = {{"100hz", 20}, {"1khz", 40}, {"10khz", 60}};

/// A source next to nothing loads; to leave an output capacitor without a way for direct current
/// would leave it without an operating point.
static const double next_to_open_ohm = 1e9;

/// |Z|, and Z as a resistance beside a capacitance (negative when it is inductive).
static void put_impedance(bench_job* job, const char* side, const char* spot, double hz,
                          double _Complex ohm) {
    double _Complex siemens = 1 / ohm;
    bench_put(job, cabs(ohm), "%s_impedance_%s_ohm", side, spot);
    bench_put(job, 1 / creal(siemens), "%s_resistance_%s_ohm", side, spot);
    bench_put(job, cimag(siemens) / (2 * M_PI * hz), "%s_capacitance_%s_farad", side, spot);
}

static void ask_input(bench_job* job) {
    tl_setup setup = bench_setup(job, TL_DRIVE_INPUT);
    bench_ask_sweep(job, &setup, PER_DECADE, 10, 100e3);
}

static bool take_input(bench_job* job, const tl_reply* reply) {
    const double _Complex* volts = bench_swept(reply, TL_PROBE_IN);
    const double _Complex* amperes = bench_swept(reply, TL_PROBE_SOURCE);
    for (size_t i = 0; i < sizeof spots / sizeof *spots; ++i)
        put_impedance(job, "input", spots[i].id, reply->hz[spots[i].point],
                      volts[spots[i].point] / -amperes[spots[i].point]);
    double* ohm = tl_new(reply->points, sizeof *ohm);
    for (size_t i = 0; i < reply->points; ++i)
        ohm[i] = cabs(volts[i] / -amperes[i]);
    bench_keep_curve(job, TL_BENCH_INPUT, reply->points, reply->hz, ohm);
    free(ohm);
    return false;
}

static const char* const input_ids[] = {"input_impedance", "input_resistance", "input_capacitance",
                                        NULL};
const bench_kind bench_input = {input_ids, false, NULL, ask_input, take_input, NULL};

// ---- output

enum { GRID, AT_20_KHZ }; // rounds

static tl_setup output_setup(const bench_job* job) {
    tl_setup setup = bench_setup(job, TL_DRIVE_OUTPUT);
    setup.load_ohm = job->round == GRID ? next_to_open_ohm : setup.load_ohm;
    return setup;
}

static void ask_output(bench_job* job) {
    job->round = GRID;
    tl_setup setup = output_setup(job);
    bench_ask_sweep(job, &setup, PER_DECADE, 10, 100e3);
}

/// The smallest capacitance beside an impedance that changes the level by a ratio: with
/// z = r + jx and b = w C, |1 + jb z|^2 = (1 - b x)^2 + (b r)^2. INFINITY when there is none.
static double capacitance_for(double _Complex ohm, double hz, double ratio) {
    double square = creal(ohm) * creal(ohm) + cimag(ohm) * cimag(ohm);
    double x = cimag(ohm);
    double rest = x * x - square * (1 - ratio * ratio); // of square b^2 - 2 x b + 1 = ratio^2
    double least = INFINITY;
    for (int sign = -1; rest >= 0 && sign <= 1; sign += 2) {
        double b = (x + sign * sqrt(rest)) / square;
        if (b > 0)
            least = fmin(least, b);
    }
    return least / (2 * M_PI * hz);
}

/// The lead that costs, or lifts, 0.1 dB at 20 kHz.
static void put_cable(bench_job* job, double _Complex ohm, double hz) {
    const double step = pow(10, 0.1 / 20);
    double farad = fmin(capacitance_for(ohm, hz, step), capacitance_for(ohm, hz, 1 / step));
    const double most_farad = 1e-3;
    bench_put(job, fmin(farad, most_farad), "cable_100mdb_20khz_farad");
    if (farad > most_farad)
        bench_figure(job, "cable_100mdb_20khz_farad")->beyond = 1;
}

static bool take_output(bench_job* job, const tl_reply* reply) {
    const double _Complex* ohm = bench_swept(reply, TL_PROBE_OUT);
    if (job->round == AT_20_KHZ) {
        put_cable(job, ohm[0], reply->hz[0]);
        return false;
    }
    for (size_t i = 0; i < sizeof spots / sizeof *spots; ++i)
        put_impedance(job, "output", spots[i].id, reply->hz[spots[i].point], ohm[spots[i].point]);
    job->round = AT_20_KHZ;
    tl_setup setup = output_setup(job);
    bench_ask_sweep(job, &setup, 1, 20e3, 200e3);
    return true;
}

static const char* const output_ids[] = {"output_impedance", "output_resistance",
                                         "output_capacitance", "cable_100mdb", NULL};
const bench_kind bench_output = {output_ids, false, NULL, ask_output, take_output, NULL};

// ---- supply

/// Pairs of frequencies a decade apart.
static const struct {
    double hz;
    const char* ids[2]; ///< NULL: of no interest
} pairs[] = {
    {50, {"psrr_50hz_db", NULL}},
    {60, {"psrr_60hz_db", NULL}},
    {100, {"psrr_100hz_db", "psrr_1khz_db"}},
    {120, {"psrr_120hz_db", NULL}},
    {20e3, {"psrr_20khz_db", "psrr_200khz_db"}},
};
enum { PAIRS = sizeof pairs / sizeof *pairs };

static size_t count_ripples(const bench_card* card, const tl_design* design) {
    (void)card;
    return design->negative == TL_NO_PIN ? PAIRS : 2 * PAIRS;
}

static void ask_ripple(bench_job* job) {
    tl_setup setup = bench_setup(job, job->index < PAIRS ? TL_DRIVE_SUPPLY : TL_DRIVE_NEGATIVE);
    double hz = pairs[job->index % PAIRS].hz;
    bench_ask_sweep(job, &setup, 1, hz, 10 * hz);
}

/// How far down 1 V of ripple comes out; with two supplies, the worse of them.
static bool take_ripple(bench_job* job, const tl_reply* reply) {
    const double most_db = 300; // 1 V comes out as less than the solver can tell from nothing
    for (size_t i = 0; i < 2; ++i) {
        const char* id = pairs[job->index % PAIRS].ids[i];
        if (!id)
            continue;
        double db = -20 * log10(cabs(bench_swept(reply, TL_PROBE_OUT)[i]));
        tl_bench_figure* figure = bench_figure(job, "%s", id);
        if (!isnan(figure->value) && figure->value <= db)
            continue;
        bench_put(job, fmin(db, most_db), "%s", id);
        figure->beyond = db > most_db ? 1 : 0;
    }
    return false;
}

static const char* const ripple_ids[] = {"psrr", NULL};
const bench_kind bench_ripple = {ripple_ids, false, count_ripples, ask_ripple, take_ripple, NULL};

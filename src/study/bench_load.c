// SPDX-License-Identifier: GPL-3.0-or-later
// A design driving loads: gain, band, peaking and the step response, one job a load.
#include "study/bench_card.h"

#include "base/root.h"
#include "base/text.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double low_hz = 0.1;
static const double high_hz = 100e6;
static const double half_power_db = 3.0102999566398120; // 10 log10 2
static const double step_v = 0.1;

/// Faster than anything a guitar sends; faster still would go past a follower by its capacitances.
static const double edge_s = 50e-9;
/// Poles sharper than this are looked at with an edge that excites them.
static const double ringing_q = 1;

enum { SWEEP, STEP }; // rounds of a job
enum { STEP_POINTS = 2000, MOST_STEP_POINTS = 50000 };

static size_t count_loads(const bench_card* card, const tl_design* design) {
    (void)card;
    (void)design;
    return TL_BENCH_LOADS;
}

static tl_setup setup_of(const bench_job* job, tl_drive drive) {
    tl_setup setup = bench_setup(job, drive);
    setup.load_ohm = bench_ohms[job->index / TL_BENCH_FARADS].value;
    setup.load_farad = bench_farads[job->index % TL_BENCH_FARADS].value;
    return setup;
}

static void ask_load(bench_job* job) {
    tl_setup setup = setup_of(job, TL_DRIVE_INPUT);
    bench_ask_sweep(job, &setup, 5, low_hz, high_hz);
    job->round = SWEEP;
}

/// Level over 1 kHz less 3 dB, for the search of a corner.
typedef struct {
    const tl_response* response;
    double level_db;
} corner;

static double above_corner(void* context, double log_hz) {
    const corner* c = context;
    return tl_response_db(c->response, exp(log_hz)) - c->level_db + half_power_db;
}

/// The first corner on the way from 1 kHz to `end_hz`; NAN when there is none.
static double find_corner(const tl_response* response, double end_hz) {
    corner c = {response, tl_response_db(response, 1e3)};
    const int steps = 400;
    double from = log(1e3);
    double step = (log(end_hz) - from) / steps;
    double at = above_corner(&c, from);
    for (int i = 1; i <= steps; ++i) {
        double next = above_corner(&c, from + step * i);
        if (next < 0)
            return exp(tl_root_find(above_corner, &c, from + step * (i - 1), at, from + step * i,
                                    next, 1e-12));
        at = next;
    }
    return NAN;
}

static double degrees(double _Complex h) {
    return carg(h) * 180 / M_PI;
}

/// Highest less lowest level from 20 Hz to 20 kHz.
static double flatness_db(const tl_response* response) {
    double low = INFINITY;
    double high = -INFINITY;
    for (int i = 0; i <= 600; ++i) {
        double db = tl_response_db(response, 20 * pow(1000, i / 600.0));
        low = fmin(low, db);
        high = fmax(high, db);
    }
    return high - low;
}

static void put_cutoff(bench_job* job, double hz, double end_hz, const char* id) {
    bench_put(job, isnan(hz) ? end_hz : hz, "%s", id);
    if (isnan(hz))
        bench_figure(job, "%s", id)->beyond = end_hz > 1e3 ? 1 : -1;
}

static void keep_gain(bench_job* job, const tl_response* response, tl_bench_curve_kind kind) {
    enum { POINTS = 241 };
    double hz[POINTS];
    double db[POINTS];
    for (int i = 0; i < POINTS; ++i) {
        hz[i] = 10 * pow(1e5, i / (POINTS - 1.0));
        db[i] = tl_response_db(response, hz[i]);
    }
    bench_keep_curve(job, kind, POINTS, hz, db);
}

/// Figures of the design with next to no load.
static void put_gain(bench_job* job, const tl_response* response) {
    bench_put(job, tl_response_db(response, 1e3), "gain_1khz_db");
    bench_put(job, flatness_db(response), "flatness_db");
    put_cutoff(job, find_corner(response, low_hz), low_hz, "low_cutoff_hz");
    put_cutoff(job, find_corner(response, high_hz), high_hz, "high_cutoff_hz");
    double inverts = creal(tl_response_at(response, 1e3)) < 0 ? -1 : 1;
    bench_put(job, degrees(inverts * tl_response_at(response, 20)), "phase_20hz_deg");
    bench_put(job, degrees(inverts * tl_response_at(response, 20e3)), "phase_20khz_deg");
    keep_gain(job, response, TL_BENCH_GAIN);
}

/// The least damped pair of poles that counts above 1 kHz: what it rings at, if it does. (A bias
/// network that is bootstrapped resonates at a hertz or so, and no step of this length shows it.)
static void find_ringing(const tl_response* response, double* hz, double* best_q) {
    size_t count = 0;
    const tl_pole* poles = tl_response_poles(response, &count);
    *best_q = 0.5;
    *hz = NAN;
    for (size_t i = 0; i < count; ++i) {
        double size = hypot(poles[i].re, poles[i].im);
        double q = poles[i].re < 0 ? size / (-2 * poles[i].re) : INFINITY;
        if (poles[i].counts && poles[i].im > 2 * M_PI * 1e3 && q > *best_q) {
            *best_q = q;
            *hz = size / (2 * M_PI);
        }
    }
}

/// How far the highest maximum on the way up lies above the level at 1 kHz; 0 when there is none. A
/// level that still rises where the sweep ends, as that of a follower which its capacitances
/// bridge, is none. A resonance sharper than the steps of this walk is one that the response knows
/// of itself.
static double peaking_db(const tl_response* response) {
    const int steps = 500;
    tl_metrics metrics = tl_response_metrics(response, 1e3);
    double level_db = tl_response_db(response, 1e3);
    double most_db = isnan(metrics.peak_db) ? 0 : metrics.peak_db;
    double before_db = 0;
    double at_db = 0;
    for (int i = 1; i <= steps; ++i) {
        double next_db =
            tl_response_db(response, 1e3 * pow(high_hz / 1e3, (double)i / steps)) - level_db;
        if (at_db >= before_db && at_db > next_db)
            most_db = fmax(most_db, at_db);
        before_db = at_db;
        at_db = next_db;
    }
    return most_db;
}

static void note_load(bench_job* job, const tl_response* response) {
    bench_specimen* specimen = job->specimen;
    size_t load = job->index;
    tl_metrics metrics = tl_response_metrics(response, 1e3);
    specimen->gain_1khz_db[load] = tl_response_db(response, 1e3);
    specimen->gain_20khz_db[load] = tl_response_db(response, 20e3);
    double cutoff = find_corner(response, high_hz);
    specimen->cutoff_hz[load] = isnan(cutoff) ? INFINITY : cutoff;
    specimen->peaking_db[load] = peaking_db(response);
    specimen->oscillates[load] = metrics.unstable;
    find_ringing(response, &specimen->ringing_hz[load], &specimen->ringing_q[load]);
    if (metrics.unstable)
        specimen->ringing_hz[load] = metrics.unstable_hz;
    specimen->overshoot_share[load] = NAN;
    specimen->loaded[load] = true;
}

/// A step long enough for the slowest of what settles, and with steps short enough for the fastest
/// of what rings to be seen; of what oscillates, some periods.
static void ask_step(bench_job* job) {
    const bench_specimen* specimen = job->specimen;
    size_t load = job->index;
    double cutoff = fmin(specimen->cutoff_hz[load], high_hz);
    double ringing = specimen->ringing_hz[load];
    bool rings = !isnan(ringing) && specimen->ringing_q[load] > ringing_q;
    tl_setup setup = setup_of(job, TL_DRIVE_STEP);
    setup.amplitude_v = step_v;
    setup.edge_s = rings ? fmin(edge_s, 0.2 / ringing) : edge_s;
    setup.time_s = 20 / (isnan(ringing) ? cutoff : fmin(cutoff, ringing));
    if (specimen->oscillates[load])
        setup.time_s = 20 / ringing;
    setup.time_s = fmax(setup.time_s, 200 * setup.edge_s);
    double step_s = setup.time_s / STEP_POINTS;
    if (rings)
        step_s = fmax(fmin(step_s, 1 / (20 * ringing)), setup.time_s / MOST_STEP_POINTS);
    bench_ask_transient(job, &setup, setup.time_s, step_s);
    job->round = STEP;
}

static bool take_sweep(bench_job* job, const tl_reply* reply) {
    bool again = false;
    tl_response* response = bench_fit(job, reply, TL_PROBE_OUT, &again);
    if (!response) {
        if (!again)
            bench_refuse(job, "the frequencies solved do not determine the response");
        return again;
    }
    note_load(job, response);
    if (job->index == TL_BENCH_LIGHT)
        put_gain(job, response);
    if (job->index == TL_BENCH_HEAVY)
        keep_gain(job, response, TL_BENCH_GAIN_LOADED);
    tl_response_free(response);
    ask_step(job);
    return true;
}

/// Largest less smallest between two times.
static double swing(const tl_reply* reply, const double* volts, double from_s, double to_s) {
    double low = INFINITY;
    double high = -INFINITY;
    for (size_t i = 0; i < reply->points; ++i)
        if (reply->time_s[i] >= from_s && reply->time_s[i] <= to_s) {
            low = fmin(low, volts[i]);
            high = fmax(high, volts[i]);
        }
    return high - low;
}

/// How much is left of the least damped ringing after a time.
static double ringing_left(const bench_specimen* s, size_t load, double time_s) {
    return isnan(s->ringing_hz[load])
               ? 0
               : exp(-M_PI * s->ringing_hz[load] / s->ringing_q[load] * time_s);
}

/// How far past its end the output goes, and whether it ever settles: what swings as much in the
/// last tenth of the time as in the tenth before its middle, and more than its poles account for,
/// oscillates.
static void take_step(bench_job* job, const tl_reply* reply) {
    const double* volts = bench_real(reply, TL_PROBE_OUT);
    size_t load = job->index;
    double end_s = job->request.stop_s;
    double height = step_v * pow(10, job->specimen->gain_1khz_db[load] / 20);
    double sign = volts[reply->points - 1] < volts[0] ? -1 : 1;
    double most = 0;
    for (size_t i = 0; i < reply->points; ++i)
        most = fmax(most, sign * (volts[i] - volts[0]));
    double last = swing(reply, volts, 0.9 * end_s, end_s);
    double before = swing(reply, volts, 0.4 * end_s, 0.5 * end_s);
    double accounted = 1.05 * ringing_left(job->specimen, load, 0.5 * end_s);
    job->specimen->overshoot_share[load] = fmax(0, most / height - 1);
    if (last > fmax(0.02 * height, 0.01 * step_v) && last > before * fmax(0.9, accounted))
        job->specimen->oscillates[load] = true;
}

static bool take_load(bench_job* job, const tl_reply* reply) {
    if (job->round == SWEEP)
        return take_sweep(job, reply);
    take_step(job, reply);
    return false;
}

static const char* const load_ids[] = {"gain_1khz",  "flatness", "low_cutoff", "high_cutoff",
                                       "phase_",     "drive_",   "stability",  "peaking_",
                                       "overshoot_", NULL};
const bench_kind bench_load = {load_ids, false, count_loads, ask_load, take_load, NULL};

// ---- all loads together

// A pair of poles with a phase margin under 45 degrees overshoots by more than this and peaks by
// more than that (second-order formula; computed).
static const double rings_share = 0.233;
static const double rings_db = 2.35;

/// The figure of a load.
static tl_bench_figure* figure_of(const bench_card* card, bench_specimen* specimen,
                                  const char* head, size_t load, const char* tail) {
    return bench_figure_of(card, specimen, "%s_%s_%s_%s", head,
                           bench_farads[load % TL_BENCH_FARADS].id,
                           bench_ohms[load / TL_BENCH_FARADS].id, tail);
}

static void set(tl_bench_figure* figure, double value) {
    free(figure->trouble);
    figure->trouble = NULL;
    figure->value = value;
}

static char* load_words(size_t load) {
    const bench_step* farad = &bench_farads[load % TL_BENCH_FARADS];
    const char* ohm = bench_ohms[load / TL_BENCH_FARADS].words;
    return farad->value > 0 ? tl_printf("into %s, %s", farad->words, ohm)
                            : tl_printf("into %s alone", ohm);
}

static void finish_load(const bench_card* card, bench_specimen* s, size_t load) {
    if (!s->loaded[load])
        return;
    if (s->loaded[TL_BENCH_LIGHT]) {
        set(figure_of(card, s, "drive", load, "gain_db"),
            s->gain_1khz_db[load] - s->gain_1khz_db[TL_BENCH_LIGHT]);
        set(figure_of(card, s, "drive", load, "20khz_db"),
            s->gain_20khz_db[load] - s->gain_20khz_db[TL_BENCH_LIGHT]);
    }
    tl_bench_figure* cutoff = figure_of(card, s, "drive", load, "cutoff_hz");
    cutoff->beyond = isinf(s->cutoff_hz[load]) ? 1 : 0;
    set(cutoff, fmin(s->cutoff_hz[load], high_hz));
    set(figure_of(card, s, "peaking", load, "db"), s->peaking_db[load]);
    tl_bench_figure* overshoot = figure_of(card, s, "overshoot", load, "percent");
    if (s->oscillates[load]) {
        s->overshoot_share[load] = NAN;
        free(overshoot->trouble);
        overshoot->trouble = tl_copy("it oscillates");
    }
    if (!isnan(s->overshoot_share[load]))
        set(overshoot, 100 * s->overshoot_share[load]);
}

/// The load at which a measure is largest; TL_BENCH_LOADS when it was measured at none.
static size_t find_worst(const bench_specimen* s, const double* measure) {
    size_t worst = TL_BENCH_LOADS;
    for (size_t i = 0; i < TL_BENCH_LOADS; ++i)
        if (s->loaded[i] && !isnan(measure[i]) &&
            (worst == TL_BENCH_LOADS || measure[i] > measure[worst]))
            worst = i;
    return worst;
}

static void put_worst(tl_bench_figure* figure, double value, size_t load) {
    set(figure, value);
    figure->words = load_words(load);
}

/// Whether a figure is measured by sines and edges, of a circuit that is quiet by itself.
static bool needs_rest(const char* id) {
    static const char* const heads[] = {"headroom_", "thd_", "harmonic_", "slew_", "thump_"};
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        if (strncmp(id, heads[i], strlen(heads[i])) == 0)
            return true;
    return false;
}

/// What an oscillating circuit makes of a sine or a step is none of its figures (bench_run.c does
/// not even try).
static void spoil(const bench_card* card, bench_specimen* s) {
    for (size_t i = 0; i < card->line_count; ++i) {
        if (!needs_rest(card->lines[i].id))
            continue;
        tl_bench_figure* figure = &s->figures[i];
        free(figure->words);
        free(figure->trouble);
        *figure = (tl_bench_figure){.value = NAN, .trouble = tl_copy("it oscillates")};
    }
}

/// In words, with the first load at which it is so.
static void put_stability(const bench_card* card, bench_specimen* s) {
    tl_bench_figure* figure = bench_figure_of(card, s, "stability");
    size_t worst = find_worst(s, s->overshoot_share);
    for (size_t i = 0; i < TL_BENCH_LOADS; ++i)
        if (s->loaded[i] && s->oscillates[i]) {
            set(figure, NAN);
            figure->words = tl_copy("oscillates");
            if (s->oscillates[TL_BENCH_LIGHT])
                spoil(card, s);
            return;
        }
    if (worst == TL_BENCH_LOADS || figure->trouble)
        return;
    bool rings = s->overshoot_share[worst] > rings_share;
    for (size_t i = 0; i < TL_BENCH_LOADS; ++i)
        rings = rings || (s->loaded[i] && s->peaking_db[i] > rings_db);
    figure->words = tl_copy(rings ? "rings" : "stable");
}

/// The worst of all loads.
static void sum_up(const bench_card* card, bench_specimen* s) {
    for (size_t i = 0; i < TL_BENCH_LOADS; ++i)
        finish_load(card, s, i);
    size_t worst = find_worst(s, s->peaking_db);
    if (worst < TL_BENCH_LOADS)
        put_worst(bench_figure_of(card, s, "peaking_worst_db"), s->peaking_db[worst], worst);
    worst = find_worst(s, s->overshoot_share);
    if (worst < TL_BENCH_LOADS)
        put_worst(bench_figure_of(card, s, "overshoot_worst_percent"),
                  100 * s->overshoot_share[worst], worst);
    if (s->loaded[TL_BENCH_HEAVY] && s->loaded[TL_BENCH_LIGHT])
        set(bench_figure_of(card, s, "drive_worst_gain_db"),
            s->gain_1khz_db[TL_BENCH_HEAVY] - s->gain_1khz_db[TL_BENCH_LIGHT]);
    size_t lowest = TL_BENCH_LOADS;
    for (size_t i = 0; i < TL_BENCH_LOADS; ++i)
        if (s->loaded[i] && (lowest == TL_BENCH_LOADS || s->cutoff_hz[i] < s->cutoff_hz[lowest]))
            lowest = i;
    if (lowest == TL_BENCH_LOADS)
        return;
    tl_bench_figure* cutoff = bench_figure_of(card, s, "drive_worst_cutoff_hz");
    put_worst(cutoff, fmin(s->cutoff_hz[lowest], high_hz), lowest);
    cutoff->beyond = isinf(s->cutoff_hz[lowest]) ? 1 : 0;
}

void bench_finish_loads(const bench_card* card, bench_specimen* s) {
    sum_up(card, s);
    put_stability(card, s);
}

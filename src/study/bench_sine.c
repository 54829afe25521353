// SPDX-License-Identifier: GPL-3.0-or-later
// Sines through a design: distortion against level, the largest that stays clean, and the slope
// of its steepest edge.
#include "study/bench_card.h"

#include "base/text.h"
#include "response/harmonics.h"

#include <math.h>
#include <stdlib.h>

static const double level_hz = 1e3;
static const double clean_share = 0.01; // THD
/// Levels, V peak; those without an id are for the curve alone.
static const struct {
    double volts;
    const char* id;
} levels[] = {{0.05, NULL}, {0.1, "100mv"}, {0.2, NULL}, {0.5, "500mv"}, {1, "1v"},
              {1.5, NULL},  {2, "2v"},      {3, NULL},   {4, NULL}};
enum { LEVELS = sizeof levels / sizeof *levels };

enum { STEPS_A_PERIOD = 200, PERIODS = 12, MOST_PERIODS = 384, MEASURED = 6 };
/// A bias that still settles shows as components between the harmonics: with more of them than
/// this, or a ten-thousandth of the distortion, there has to be more time before the periods that
/// are measured.
static const double settled_share = 2e-6;
static const double settled_of_thd = 1e-4;
enum { SEARCH_STEPS_A_PERIOD = 128, SEARCH_PERIODS = 6, SEARCH_MEASURED = 3 };

static void ask_sine(bench_job* job, double share, double hz, double volts, int periods,
                     int steps) {
    tl_setup setup = bench_setup(job, TL_DRIVE_SINE);
    setup.supply_share *= share;
    setup.hz = hz;
    setup.amplitude_v = volts;
    bench_ask_transient(job, &setup, periods / hz, 1 / (hz * steps));
}

static bool measure(const bench_job* job, const tl_reply* reply, double hz, size_t periods,
                    tl_harmonics* harmonics) {
    tl_error* error = tl_error_new();
    bool done = tl_harmonics_measure(reply->points, reply->time_s, bench_real(reply, TL_PROBE_OUT),
                                     hz, job->request.stop_s, periods, harmonics, error) == TL_OK;
    tl_error_free(error);
    return done;
}

// ---- distortion

/// One job goes through all levels, since they make one curve. The first entry of its state is how
/// many periods it runs.
static void ask_level(bench_job* job) {
    int periods = job->state[0] > 0 ? (int)job->state[0] : PERIODS;
    ask_sine(job, 1, level_hz, levels[job->round].volts, periods, STEPS_A_PERIOD);
    job->state[0] = periods;
}

/// Asks for the same level with twice the time to settle, if that is wanted and not too long; a
/// point of the curve alone is good enough as it is.
static bool wait_longer(bench_job* job, const tl_harmonics* harmonics) {
    double settled = fmax(settled_share, settled_of_thd * harmonics->thd_share);
    if (!levels[job->round].id || harmonics->floor_share < settled ||
        2 * job->state[0] > MOST_PERIODS)
        return false;
    job->state[0] *= 2;
    ask_level(job);
    return true;
}

/// The floor is that of all levels that come out clean: beyond, a bias that still moves shows.
static void put_level(bench_job* job, const tl_harmonics* harmonics) {
    const char* id = levels[job->round].id;
    if (!id)
        return;
    bench_put(job, 100 * harmonics->thd_share, "thd_%s_percent", id);
    for (int n = 2; n <= 6; ++n)
        bench_put(job, 100 * harmonics->share[n], "harmonic_%d_%s_percent", n, id);
    tl_bench_figure* floor = bench_figure(job, "thd_floor_percent");
    if (harmonics->thd_share < clean_share && !(floor->value >= 100 * harmonics->floor_share))
        floor->value = 100 * harmonics->floor_share;
}

/// Adds a point to the curve of distortion against level.
static void add_point(bench_job* job, double volts, double percent) {
    if (!job->specimen->curves)
        return;
    tl_bench_curve* curve = &job->specimen->curves[TL_BENCH_THD];
    curve->x = tl_grow(curve->x, curve->count + 1, sizeof *curve->x);
    curve->y = tl_grow(curve->y, curve->count + 1, sizeof *curve->y);
    curve->x[curve->count] = volts;
    curve->y[curve->count++] = percent;
}

static bool take_level(bench_job* job, const tl_reply* reply) {
    tl_harmonics harmonics;
    if (!measure(job, reply, level_hz, MEASURED, &harmonics)) {
        bench_refuse(job, "nothing of the sine came out");
        return false;
    }
    if (wait_longer(job, &harmonics))
        return true;
    put_level(job, &harmonics);
    add_point(job, levels[job->round].volts, 100 * harmonics.thd_share);
    if (++job->round == LEVELS)
        return false;
    ask_level(job);
    return true;
}

static const char* const distortion_ids[] = {"thd_", "harmonic_", NULL};
const bench_kind bench_distortion = {distortion_ids, false, NULL, ask_level, take_level, ask_level};

// ---- headroom

/// A fresh battery is 9 V, one at the end of its life 7 V.
static const double flat_share = 7.0 / 9;
static const double tolerance = 0.002;
static const double most_volts = 100;

static const struct {
    double hz;
    double share;
    const char* id;
} searches[] = {
    {100, 1, "headroom_100hz_v"},
    {1e3, 1, "headroom_1khz_v"},
    {5e3, 1, "headroom_5khz_v"},
    {100, flat_share, "headroom_sag_100hz_v"},
    {1e3, flat_share, "headroom_sag_1khz_v"},
    {5e3, flat_share, "headroom_sag_5khz_v"},
};

static size_t count_searches(const bench_card* card, const tl_design* design) {
    (void)card;
    (void)design;
    return sizeof searches / sizeof *searches;
}

/// What a search knows: clean at the low level, not so at the high one (0: none found yet), with
/// the logarithms of distortion over what is allowed.
enum { LOW, HIGH, AT_LOW, AT_HIGH };

static double tried_volts(const bench_job* job) {
    const double* s = job->state;
    if (s[HIGH] == 0)
        return s[LOW] == 0 ? 0.5 : 2 * s[LOW];
    if (s[LOW] == 0)
        return s[HIGH] / 4;
    // Between the two, in logarithms: by their slope when that stays well inside, else half way.
    double width = log(s[HIGH] / s[LOW]);
    double share = job->round % 3 ? -s[AT_LOW] / (s[AT_HIGH] - s[AT_LOW]) : 0.5;
    return s[LOW] * exp(width * fmin(fmax(share, 0.05), 0.95));
}

static void ask_volts(bench_job* job) {
    ask_sine(job, searches[job->index].share, searches[job->index].hz, tried_volts(job),
             SEARCH_PERIODS, SEARCH_STEPS_A_PERIOD);
}

static void ask_headroom(bench_job* job) {
    ask_volts(job);
}

/// What a circuit cannot swing, peak, whatever it is made of, unless its model knows no supply.
static double supply_span_v(const bench_job* job) {
    const tl_design* design = job->specimen->design;
    return job->specimen->supply_share * (design->supply_v - fmin(design->negative_v, 0));
}

/// Ends a search; true when there is no more to find out.
static bool is_found(bench_job* job) {
    const double* s = job->state;
    const char* id = searches[job->index].id;
    if (s[LOW] > 2 * supply_span_v(job)) {
        bench_figure(job, "%s", id)->words = tl_copy("no limit from the supply");
        return true;
    }
    if (s[LOW] >= most_volts || (s[HIGH] > 0 && s[HIGH] < 1e-4)) {
        bench_put(job, fmax(s[LOW], s[HIGH]), "%s", id);
        bench_figure(job, "%s", id)->beyond = s[LOW] >= most_volts ? 1 : -1;
        return true;
    }
    if (s[HIGH] > 0 && s[LOW] > 0 && s[HIGH] / s[LOW] < 1 + tolerance) {
        bench_put(job, s[LOW], "%s", id);
        return true;
    }
    return job->round > 40;
}

static bool take_headroom(bench_job* job, const tl_reply* reply) {
    double volts = tried_volts(job);
    tl_harmonics harmonics;
    bool came_out = measure(job, reply, searches[job->index].hz, SEARCH_MEASURED, &harmonics);
    double over = came_out ? log(fmax(harmonics.thd_share, 1e-9) / clean_share) : 1;
    job->state[over > 0 ? HIGH : LOW] = volts;
    job->state[over > 0 ? AT_HIGH : AT_LOW] = over;
    ++job->round;
    if (is_found(job))
        return false;
    ask_volts(job);
    return true;
}

static const char* const headroom_ids[] = {"headroom_", NULL};
const bench_kind bench_headroom = {headroom_ids, false,         count_searches,
                                   ask_headroom, take_headroom, ask_volts};

// ---- slew

static const double edge_v = 1;
static const double edge_s = 10e-9;

/// Down and up by 2 V; a lead's worth of capacitance hangs on the output, as it will.
static void ask_slew(bench_job* job) {
    tl_setup setup = bench_setup(job, TL_DRIVE_PULSE);
    setup.load_farad = bench_farads[3].value;
    setup.amplitude_v = edge_v;
    setup.time_s = 200e-6;
    setup.edge_s = edge_s;
    bench_ask_transient(job, &setup, setup.time_s, setup.time_s / 1000);
    job->request.step_s = edge_s;
}

/// The slope between a tenth and nine tenths of an edge that begins at `from_s`, V/s.
static double slope_of(const tl_reply* reply, const double* volts, double from_s, double to_s) {
    size_t first = 0;
    while (first + 1 < reply->points && reply->time_s[first + 1] <= from_s)
        ++first;
    size_t last = first;
    while (last + 1 < reply->points && reply->time_s[last + 1] < to_s)
        ++last;
    double height = volts[last] - volts[first];
    double crossed_s[2] = {NAN, NAN};
    for (int end = 0; end < 2; ++end) {
        double level = volts[first] + (end ? 0.9 : 0.1) * height;
        for (size_t i = first + 1; i <= last && isnan(crossed_s[end]); ++i)
            if ((volts[i] - level) * height >= 0) {
                double part = (level - volts[i - 1]) / (volts[i] - volts[i - 1]);
                crossed_s[end] =
                    reply->time_s[i - 1] + part * (reply->time_s[i] - reply->time_s[i - 1]);
            }
    }
    return fabs(0.8 * height / (crossed_s[1] - crossed_s[0]));
}

static bool take_slew(bench_job* job, const tl_reply* reply) {
    const double* volts = bench_real(reply, TL_PROBE_OUT);
    double end_s = job->request.stop_s;
    double up = slope_of(reply, volts, 0.1 * end_s, 0.5 * end_s);
    double down = slope_of(reply, volts, 0.5 * end_s, end_s);
    double most = 0.5 * 2 * edge_v / edge_s; // the edge itself cannot tell more
    bench_put(job, fmin(fmin(up, down), most), "slew_v_per_s");
    tl_bench_figure* figure = bench_figure(job, "slew_v_per_s");
    figure->beyond = fmin(up, down) > most ? 1 : 0;
    figure->words = tl_copy(down < up ? "downwards, into 1 nF" : "upwards, into 1 nF");
    return false;
}

static const char* const slew_ids[] = {"slew", NULL};
const bench_kind bench_slew = {slew_ids, false, NULL, ask_slew, take_slew, NULL};

// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/dress_level.h"

#include "base/root.h"
#include "base/text.h"
#include "response/weighting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;
static const double lowest_hz = 20, highest_hz = 20e3;

tl_dress_probe* tl_dress_probes(const tl_source* source, const tl_dress_solved* solved) {
    tl_dress_probe* probes = tl_new(source->count, sizeof *probes);
    for (size_t i = 0; i < source->count; ++i) {
        double hz = source->lines[i].hz;
        bool heard = hz >= lowest_hz && hz <= highest_hz;
        probes[i] = (tl_dress_probe){source->lines[i], heard ? tl_a_weighting(hz) : 0,
                                     tl_response_at(solved->injected, hz) - TL_DRESS_KNOWN_OHM,
                                     tl_response_at(solved->at_lead, hz) - TL_DRESS_KNOWN_OHM,
                                     tl_response_at(solved->in_series, hz) - TL_DRESS_KNOWN_SHARE};
    }
    return probes;
}

double _Complex tl_through_capacitance(double farad, double hz, double _Complex injected,
                                       double _Complex at_lead) {
    double _Complex siemens = 2 * pi * hz * farad * (double _Complex)I;
    return siemens * injected / (1 + siemens * at_lead);
}

/// Powers at the amp, V^2, of one line: through the capacitance, and induced. Voltage and current
/// of a lead have no fixed phase between them, so powers are added.
static void line_powers(const tl_dress_probe* probe, double farad, double henry, double* electric,
                        double* magnetic) {
    double hz = probe->line.hz;
    double volt =
        probe->line.volt * cabs(tl_through_capacitance(farad, hz, probe->injected, probe->at_lead));
    double induced = probe->line.ampere * 2 * pi * hz * henry * cabs(probe->in_series);
    *electric = volt * volt;
    *magnetic = induced * induced;
}

void tl_dress_judge(tl_dress_level* level, double floor_v) {
    level->floor_db = 20 * log10(level->a_weighted_v / floor_v);
    level->verdict = level->floor_db > 0                     ? TL_DRESS_ABOVE
                     : level->floor_db > -TL_DRESS_MARGIN_DB ? TL_DRESS_NEAR
                                                             : TL_DRESS_BURIED;
}

/// What has been added up, V^2 at the amp.
typedef struct {
    double heard;
    double above;
    double electric; ///< A-weighted
    double magnetic; ///< A-weighted
} powers;

static void add_power(powers* sum, const tl_dress_probe* probe, double electric, double magnetic) {
    double weight = probe->weight * probe->weight;
    sum->electric += weight * electric;
    sum->magnetic += weight * magnetic;
    *(probe->line.hz > highest_hz ? &sum->above : &sum->heard) += electric + magnetic;
}

/// Runs that have their phase in common with run `first`, of those from there on: it alone, but for
/// mains of one frequency.
static bool in_phase(const tl_dress_summand* runs, size_t first, size_t other) {
    return first == other ||
           (runs[first].mains_hz > 0 && runs[first].mains_hz == runs[other].mains_hz &&
            runs[first].count == runs[other].count);
}

static bool has_earlier(const tl_dress_summand* runs, size_t index) {
    for (size_t i = 0; i < index; ++i)
        if (in_phase(runs, i, index))
            return true;
    return false;
}

/// Mains of one frequency have the same lines, and in the worst case their voltages add and so do
/// their currents.
static void add_in_phase(powers* sum, const tl_dress_summand* runs, size_t count, size_t first) {
    size_t lines = runs[first].count;
    double* electric_v = tl_new(lines, sizeof *electric_v);
    double* magnetic_v = tl_new(lines, sizeof *magnetic_v);
    for (size_t i = first; i < count; ++i) {
        if (!in_phase(runs, first, i))
            continue;
        double farad = tl_coupling_farad(&runs[i].lie);
        double henry = tl_coupling_henry(&runs[i].lie);
        for (size_t j = 0; j < lines; ++j) {
            double electric = 0;
            double magnetic = 0;
            line_powers(&runs[i].probes[j], farad, henry, &electric, &magnetic);
            electric_v[j] += sqrt(electric);
            magnetic_v[j] += sqrt(magnetic);
        }
    }
    for (size_t j = 0; j < lines; ++j)
        add_power(sum, &runs[first].probes[j], electric_v[j] * electric_v[j],
                  magnetic_v[j] * magnetic_v[j]);
    free(electric_v);
    free(magnetic_v);
}

tl_dress_level tl_dress_sum_of(const tl_dress_summand* runs, size_t count, double floor_v) {
    powers sum = {0};
    for (size_t i = 0; i < count; ++i)
        if (!has_earlier(runs, i))
            add_in_phase(&sum, runs, count, i);
    double weighted = sum.electric + sum.magnetic;
    tl_dress_level level = {.total_v = sqrt(sum.heard),
                            .a_weighted_v = sqrt(weighted),
                            .above_v = sqrt(sum.above),
                            .electric = weighted > 0 ? sum.electric / weighted : NAN};
    tl_dress_judge(&level, floor_v);
    return level;
}

tl_dress_level tl_dress_level_of(const tl_dress_probe* probes, size_t count,
                                 const tl_run_geometry* lie, double floor_v) {
    tl_dress_summand run = {probes, count, *lie, 0};
    return tl_dress_sum_of(&run, 1, floor_v);
}

/// Looking for a spacing or an angle of one of these runs.
typedef struct {
    tl_dress_summand* runs;
    size_t count;
    tl_dress_summand* moved;
    double floor_v;
} search;

/// How far the level is from buried, dB.
static double excess_db(const search* s) {
    return tl_dress_sum_of(s->runs, s->count, s->floor_v).floor_db + TL_DRESS_MARGIN_DB;
}

static double excess_at_spacing(void* context, double log_m) {
    search* s = context;
    s->moved->lie.spacing_m = exp(log_m);
    return excess_db(s);
}

static double excess_at_angle(void* context, double angle_deg) {
    search* s = context;
    s->moved->lie.angle_deg = angle_deg;
    return excess_db(s);
}

/// Where the excess, which falls from `low` to `high`, is gone; NAN when it is not there at `low`
/// or not gone at `high`.
static double find_end(tl_root_function* excess, search* s, double low, double high) {
    double at_low = excess(s, low);
    double at_high = low < high ? excess(s, high) : at_low;
    if (!(at_low > 0) || !(at_high <= 0))
        return NAN;
    return isinf(at_high) ? high : tl_root_find(excess, s, low, at_low, high, at_high, 1e-9);
}

double tl_dress_sum_enough_m(const tl_dress_summand* runs, size_t count, size_t moved,
                             double floor_v) {
    tl_dress_summand* copies = tl_new(count, sizeof *copies);
    memcpy(copies, runs, count * sizeof *copies);
    search s = {copies, count, &copies[moved], floor_v};
    double spacing_m = runs[moved].lie.spacing_m;
    double enough_m = exp(find_end(excess_at_spacing, &s, log(spacing_m), log(TL_DRESS_FAR_M)));
    free(copies);
    return enough_m;
}

double tl_dress_enough_m(const tl_dress_probe* probes, size_t count, const tl_run_geometry* lie,
                         double floor_v) {
    tl_dress_summand run = {probes, count, *lie, 0};
    return tl_dress_sum_enough_m(&run, 1, 0, floor_v);
}

/// Just short of crossing, since there the magnetic part is none at all and its level no number.
double tl_dress_enough_deg(const tl_dress_probe* probes, size_t count, const tl_run_geometry* lie,
                           double floor_v) {
    tl_dress_summand run = {probes, count, *lie, 0};
    search s = {&run, 1, &run, floor_v};
    return find_end(excess_at_angle, &s, lie->angle_deg, 89.9999);
}

static int by_hz(const void* a, const void* b) {
    const tl_dress_line* one = a;
    const tl_dress_line* two = b;
    return one->hz < two->hz ? -1 : one->hz > two->hz;
}

tl_dress_line* tl_dress_lines(const tl_dress_probe* probes, size_t count,
                              const tl_run_geometry* lie, size_t* line_count) {
    tl_dress_line* lines = tl_new(count, sizeof *lines);
    double farad = tl_coupling_farad(lie);
    double henry = tl_coupling_henry(lie);
    size_t heard = 0;
    for (size_t i = 0; i < count; ++i) {
        double electric = 0;
        double magnetic = 0;
        line_powers(&probes[i], farad, henry, &electric, &magnetic);
        if (probes[i].line.hz <= highest_hz &&
            electric + magnetic > TL_DRESS_NOTHING_V * TL_DRESS_NOTHING_V)
            lines[heard++] = (tl_dress_line){probes[i].line.hz, sqrt(electric + magnetic)};
    }
    if (heard)
        qsort(lines, heard, sizeof *lines, by_hz);
    size_t kept = 0;
    for (size_t i = 0; i < heard; ++i) {
        bool again = kept && lines[i].hz <= lines[kept - 1].hz * (1 + 1e-9);
        if (again)
            lines[kept - 1].volt = hypot(lines[kept - 1].volt, lines[i].volt);
        else
            lines[kept++] = lines[i];
    }
    *line_count = kept;
    return lines;
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file metrics.c Peak, pole, Q and -3 dB read off the rational function.
///
/// A track of frequencies brackets what is looked for. It holds a grid, the neighbourhood of every
/// resonant pole, and then every maximum and minimum itself, so that the level runs one way between
/// two neighbours and no crossing can hide. Each figure is a root refined on the function.

#include "base/root.h"
#include "base/statistics.h"
#include "base/text.h"
#include "response/response_internal.h"

#include <math.h>
#include <stdlib.h>

/// Track points a decade; bends closer together than this come from poles nearby.
static const double points_per_decade = 24.0;
enum { OFFSETS = 11 }; ///< points about a resonant pole
/// Half power: 3.0103 dB below.
static const double half = 0.5;
/// Least height of a peak that is one, dB.
static const double least_peak_db = 0.1;
/// Where the resonance is looked for when there is no peak.
static const double resonance_low_hz = 500.0;
static const double resonance_high_hz = 20e3;

/// One frequency of the track.
typedef struct {
    double x;
    double power;
    double slope;
} point;

typedef struct {
    const tl_response* response;
    size_t count;
    point* points; ///< ascending in x, from the reference to the end of the solved band
} track;

/// What the functions whose roots are looked for know.
typedef struct {
    const tl_response* response;
    double level;
} root_context;

static double slope_of(void* context, double x) {
    const root_context* c = context;
    return tl_response_slope(c->response, x);
}

static double power_above(void* context, double x) {
    const root_context* c = context;
    return tl_response_power(c->response, x) - c->level;
}

// Finds the root between two frequencies where the function has opposite signs.
static double find_root(const tl_response* response, tl_root_function* of, double level, double low,
                        double high) {
    root_context context = {response, level};
    return tl_root_find(of, &context, low, of(&context, low), high, of(&context, high), 1e-15);
}

// Collects the neighbourhoods of the resonant poles within the track, ascending. A pole's bends lie
// within a few |Re p| of its Im p, however narrow it is. Returns how many there are.
static size_t find_neighbourhoods(const tl_response* response, double low, double high,
                                  double* places) {
    static const double offsets[OFFSETS] = {-8.0, -4.0, -2.0, -1.0, -0.5, 0.0,
                                            0.5,  1.0,  2.0,  4.0,  8.0};
    size_t count = 0;
    for (size_t i = 0; i < response->pole_count; i++) {
        const tl_pole* pole = &response->poles[i];
        for (size_t k = 0; pole->im > 0.0 && k < OFFSETS; k++) {
            const double x = (pole->im + offsets[k] * pole->re) / response->scale_rad_s;
            if (x > low && x < high) {
                places[count++] = x;
            }
        }
    }
    qsort(places, count, sizeof *places, tl_compare_doubles);
    return count;
}

static size_t add_place(double* x, size_t count, double place) {
    if (count > 0 && !(place > x[count - 1])) {
        return count;
    }
    x[count] = place;
    return count + 1;
}

// Lays grid and neighbourhoods into one ascending line; returns its length.
static size_t lay_places(double* x, double low, double high, size_t steps, const double* places,
                         size_t place_count) {
    const double ratio = pow(high / low, 1.0 / (double)steps);
    double at = low;
    size_t count = 0;
    size_t place = 0;
    for (size_t i = 0; i < steps; i++, at *= ratio) {
        while (place < place_count && places[place] < at) {
            count = add_place(x, count, places[place++]);
        }
        count = add_place(x, count, at);
    }
    while (place < place_count) {
        count = add_place(x, count, places[place++]);
    }
    return add_place(x, count, high);
}

// Puts every maximum and minimum between the points into the track, with slope 0.
static void add_points(track* t, size_t count, const double* x, const double* power,
                       const double* slope) {
    for (size_t i = 0; i < count; i++) {
        if (i > 0 && slope[i - 1] * slope[i] < 0.0) {
            const double bend = find_root(t->response, slope_of, 0.0, x[i - 1], x[i]);
            if (bend > x[i - 1] && bend < x[i]) {
                t->points[t->count++] =
                    (point){.x = bend, .power = tl_response_power(t->response, bend), .slope = 0.0};
            }
        }
        t->points[t->count++] = (point){x[i], power[i], slope[i]};
    }
}

static track new_track(const tl_response* response, double reference_hz) {
    const double low = tl_response_scaled(response, reference_hz);
    const double high = tl_response_scaled(response, response->high_hz);
    const size_t steps = (size_t)ceil(points_per_decade * log10(high / low)) + 1;
    const size_t most_places = OFFSETS * response->pole_count;
    const size_t most = steps + most_places + 2;
    double* places = tl_new(most_places + 3 * most, sizeof(double));
    double* x = places + most_places;
    double* power = x + most;
    double* slope = power + most;
    const size_t place_count = find_neighbourhoods(response, low, high, places);
    const size_t count = lay_places(x, low, high, steps, places, place_count);
    tl_response_powers(response, count, x, power, slope);
    track t = {.response = response, .points = tl_new(2 * count, sizeof(point))};
    add_points(&t, count, x, power, slope);
    free(places);
    return t;
}

// The highest maximum inside the track; the track's count when there is none.
static size_t find_peak(const track* t) {
    size_t best = t->count;
    for (size_t i = 1; i + 1 < t->count; i++) {
        const point* here = &t->points[i];
        if (here->slope == 0.0 && here->power >= here[-1].power && here->power > here[1].power &&
            (best == t->count || here->power > t->points[best].power)) {
            best = i;
        }
    }
    return best;
}

// The frequency nearest to the start, in the direction `step`, where the power falls to a level;
// NAN when it does not within the track.
static double find_fall(const track* t, size_t start, int step, double level) {
    for (size_t i = start; step > 0 ? i + 1 < t->count : i > 0; i += (size_t)step) {
        const point* here = &t->points[i];
        const point* there = here + step;
        if (there->power <= level) {
            return find_root(t->response, power_above, level, fmin(here->x, there->x),
                             fmax(here->x, there->x));
        }
    }
    return NAN;
}

static double pole_hz(const tl_pole* pole) {
    return hypot(pole->re, pole->im) / (2.0 * M_PI);
}

// The pole pair that makes a peak: the nearest in log frequency, within an octave.
static const tl_pole* find_peak_pole(const tl_response* response, double peak_hz) {
    const tl_pole* best = NULL;
    double nearest = log(2.0);
    for (size_t i = 0; i < response->pole_count; i++) {
        const tl_pole* pole = &response->poles[i];
        const double distance = fabs(log(pole_hz(pole) / peak_hz));
        if (pole->counts && pole->im > 0.0 && distance <= nearest) {
            nearest = distance;
            best = pole;
        }
    }
    return best;
}

// The pole pair that matters most without a peak. A complex pair always has Q > 0.5.
static const tl_pole* find_resonance(const tl_response* response) {
    const tl_pole* best = NULL;
    for (size_t i = 0; i < response->pole_count; i++) {
        const tl_pole* pole = &response->poles[i];
        const double hz = pole_hz(pole);
        if (pole->counts && pole->im > 0.0 && hz >= resonance_low_hz && hz <= resonance_high_hz &&
            (!best || pole->weight > best->weight)) {
            best = pole;
        }
    }
    return best;
}

// Reads peak, bandwidth and -3 dB off the track.
static void measure_track(tl_metrics* metrics, const track* t, double reference_power) {
    const tl_response* response = t->response;
    const size_t peak = find_peak(t);
    size_t start = 0;
    if (peak < t->count) {
        const point* top = &t->points[peak];
        const double peak_db = 10.0 * log10(top->power / reference_power);
        if (peak_db >= least_peak_db) {
            start = peak;
            metrics->peak_hz = tl_response_hz(response, top->x);
            metrics->peak_db = peak_db;
            const double width = find_fall(t, peak, 1, half * top->power) -
                                 find_fall(t, peak, -1, half * top->power);
            metrics->bandwidth_q = top->x / width;
        }
    }
    metrics->cutoff_hz = tl_response_hz(response, find_fall(t, start, 1, half * reference_power));
}

// Reads the resonance's pole and any unstable one; the heaviest unstable one is named.
static void measure_poles(tl_metrics* metrics, const tl_response* response) {
    const tl_pole* resonance = isnan(metrics->peak_hz) ? find_resonance(response)
                                                       : find_peak_pole(response, metrics->peak_hz);
    if (resonance) {
        metrics->pole_hz = pole_hz(resonance);
        metrics->q = hypot(resonance->re, resonance->im) / (2.0 * fabs(resonance->re));
    }
    const tl_pole* unstable = NULL;
    for (size_t i = 0; i < response->pole_count; i++) {
        const tl_pole* pole = &response->poles[i];
        if (pole->counts && pole->re > 0.0 && (!unstable || pole->weight > unstable->weight)) {
            unstable = pole;
        }
    }
    if (unstable) {
        metrics->unstable = true;
        metrics->unstable_hz = pole_hz(unstable);
    }
}

tl_metrics tl_response_metrics(const tl_response* response, double reference_hz) {
    tl_metrics metrics = {.reference_hz = reference_hz,
                          .reference_db = NAN,
                          .peak_hz = NAN,
                          .peak_db = NAN,
                          .pole_hz = NAN,
                          .q = NAN,
                          .bandwidth_q = NAN,
                          .cutoff_hz = NAN,
                          .unstable_hz = NAN};
    const bool is_inside = reference_hz >= response->low_hz && reference_hz < response->high_hz;
    const double power =
        is_inside ? tl_response_power(response, tl_response_scaled(response, reference_hz)) : 0.0;
    if (power > 0.0) {
        metrics.reference_db = 10.0 * log10(power);
        track t = new_track(response, reference_hz);
        measure_track(&metrics, &t, power);
        free(t.points);
    }
    measure_poles(&metrics, response);
    return metrics;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/dress_source.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "study/pulse.h"

#include <math.h>

enum { MAINS_LINES = 40 };

static const double pi = 3.14159265358979323846;

/// What a public low-voltage supply has on an ordinary day, from memory: 3.3 % in all. EN 50160
/// allows 8 % in all and of each harmonic two to ten times as much (its table, to the 25th, seen in
/// meter makers' notes on the standard).
double tl_mains_harmonic(unsigned n) {
    static const double percent[] = {
        [1] = 100,   [3] = 1,     [5] = 2.5,   [7] = 1.5,  [9] = 0.4,  [11] = 0.8, [13] = 0.6,
        [15] = 0.15, [17] = 0.35, [19] = 0.25, [21] = 0.1, [23] = 0.2, [25] = 0.2, [27] = 0.08,
        [29] = 0.15, [31] = 0.12, [33] = 0.06, [35] = 0.1, [37] = 0.1, [39] = 0.05};
    return n < sizeof percent / sizeof *percent ? percent[n] / 100 : 0;
}

/// Pulses of half a cosine, 60 degrees wide (from memory: some 3 ms at 50 Hz), in turn up and down:
/// a_n goes with cos(n b/2) / (9 - n^2) for b = 60 degrees (Fourier series, worked out here); its
/// limit at n = 3 is pi/36.
static double pulse_coefficient(unsigned n) {
    return n == 3 ? pi / 36 : cos(n * pi / 6) / (9.0 - (double)n * n);
}

double tl_rectifier_harmonic(unsigned n) {
    return n % 2 ? fabs(pulse_coefficient(n) / pulse_coefficient(1)) : 0;
}

static void add_line(tl_source* source, double hz, double volt, double ampere, double most_hz) {
    if (hz > most_hz) {
        source->highest_hz = fmax(source->highest_hz, hz);
        return;
    }
    if (volt == 0 && ampere == 0)
        return;
    source->lines = tl_grow_one(source->lines, source->count, sizeof *source->lines);
    source->lines[source->count++] = (tl_source_line){hz, volt, ampere};
}

/// `current` is the load's rms value, all its harmonics together.
static void add_mains(tl_source* source, const tl_part* run, double most_hz) {
    bool plain = tl_part_chosen(run, "load", "plain");
    double volt = tl_part_number(run, "voltage", 0);
    double hz = tl_part_number(run, "frequency", 0);
    double (*shape)(unsigned) = plain ? tl_mains_harmonic : tl_rectifier_harmonic;
    double power = 0;
    for (unsigned n = 1; n <= MAINS_LINES; n += 2)
        power += shape(n) * shape(n);
    double ampere = tl_part_number(run, "current", 0) / sqrt(power);
    for (unsigned n = 1; n <= MAINS_LINES; n += 2)
        add_line(source, n * hz, volt * tl_mains_harmonic(n), ampere * shape(n), most_hz);
}

/// Rms of harmonic n of a wave that goes 1 from peak to peak (Fourier series, any text).
static double wave_harmonic(const tl_part* run, unsigned n) {
    if (tl_part_chosen(run, "ripple.wave", "sine"))
        return n == 1 ? 0.5 / sqrt(2) : 0;
    if (tl_part_chosen(run, "ripple.wave", "triangle"))
        return n % 2 ? 4 / (pi * pi * n * n) / sqrt(2) : 0;
    return n % 2 ? 2 / (pi * n) / sqrt(2) : 0;
}

static void add_ripple(tl_source* source, const tl_part* run, double most_hz) {
    double hz = tl_part_number(run, "ripple.frequency", 0);
    double volt = tl_part_number(run, "ripple.voltage", 0);
    for (unsigned n = 1; n == 1 || n * hz <= most_hz; ++n)
        add_line(source, n * hz, volt * wave_harmonic(run, n), 0, most_hz);
}

static void add_pulses(tl_source* source, const tl_part* run, double most_hz) {
    double hz = tl_part_number(run, "pulse.frequency", 0);
    for (unsigned n = 1; n == 1 || n * hz <= most_hz; ++n)
        add_line(source, n * hz, 0, tl_pulse_harmonic_a(run, n), most_hz);
}

tl_source tl_source_of(const tl_part* run, double most_hz) {
    tl_source source = {0};
    if (tl_part_chosen(run, "beside", "mains"))
        add_mains(&source, run, most_hz);
    if (tl_part_has(run, "ripple.voltage"))
        add_ripple(&source, run, most_hz);
    if (tl_part_has(run, "pulse.current"))
        add_pulses(&source, run, most_hz);
    return source;
}

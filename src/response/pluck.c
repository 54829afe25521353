// SPDX-License-Identifier: GPL-3.0-or-later
// Plucked strings: a burst of noise goes round a delay line through a filter that takes the high
// partials away first (Karplus and Strong, "Digital synthesis of plucked-string and drum timbres",
// Computer Music Journal 7(2), 1983), tuned by an all-pass, with a pick's place on the string as a
// comb (Jaffe and Smith, "Extensions of the Karplus-Strong plucked-string algorithm", same number;
// both from memory).
//
// A magnetic pickup's voltage follows the velocity of the string above it. What goes round is taken
// as that velocity at one place, and that is all there is of a pickup's own place and width.
#include "toneload/sound.h"

#include "base/text.h"

#include <complex.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

// Frequencies: 440 Hz x 2^((n - 69) / 12), n the note's number (ISO 16 sets A4; computed).
#define STRING_E2 82.40688922821748
#define STRING_A2 110.0
#define STRING_B2 123.47082531403103
#define STRING_D3 146.8323839587038
#define STRING_E3 164.81377845643496
#define STRING_G3 195.99771799087463
#define STRING_GS3 207.65234878997256
#define STRING_B3 246.94165062806206
#define STRING_E4 329.6275569128699

static const tl_pluck piece[] = {
    {"E2", STRING_E2, 0.0, 1.5},     {"A2", STRING_A2, 1.5, 1.5},   {"D3", STRING_D3, 3.0, 1.5},
    {"G3", STRING_G3, 4.5, 1.5},     {"B3", STRING_B3, 6.0, 1.5},   {"E4", STRING_E4, 7.5, 1.5},
    {"E2", STRING_E2, 9.0, 3.0},     {"B2", STRING_B2, 9.03, 2.97}, {"E3", STRING_E3, 9.06, 2.94},
    {"G#3", STRING_GS3, 9.09, 2.91}, {"B3", STRING_B3, 9.12, 2.88}, {"E4", STRING_E4, 9.15, 2.85},
};
enum { NOTES = sizeof piece / sizeof *piece };

static const uint64_t first_seed = 20240229;
static const double decay_s = 8.0;     // in which a string's fundamental falls by 60 dB
static const double damp_s = 0.03;     // at the end of a note
static const double pick_place = 0.13; // of the string's length, from the bridge
static const double pick_hz = 2500.0;  // above this a pick's width rounds the burst off

/// A string: its line, and what its two filters hold.
typedef struct {
    double* line;
    size_t size;
    size_t at;
    double loss;
    double turn; ///< the all-pass's coefficient
    double last; ///< that went into the averaging filter
    double last_in;
    double last_out; ///< of the all-pass
} string;

const tl_pluck* tl_pluck_at(size_t index) {
    return index < NOTES ? &piece[index] : NULL;
}

/// Noise that is the same everywhere: xorshift64* (Vigna, 2016; from memory), -1 to 1.
static double draw(uint64_t* state) {
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (double)((*state * 2685821657736338717u) >> 11) / 4503599627370496.0 - 1.0;
}

/// The burst: noise, rounded off, minus itself as the nut's reflection brings it back. Around the
/// line its mean is 0, so that no constant stays.
static void fill_line(string* s, double rate_hz, uint64_t seed) {
    double* noise = tl_new(s->size, sizeof *noise);
    double* round = tl_new(s->size, sizeof *round);
    const double keep = exp(-2.0 * M_PI * pick_hz / rate_hz);
    const size_t shift = (size_t)(pick_place * (double)s->size) + 1;
    for (size_t i = 0; i < s->size; i++) {
        noise[i] = draw(&seed);
    }
    double held = 0.0;
    for (size_t i = 0; i < 2 * s->size; i++) { // the second time it begins where it ended
        held = keep * held + (1.0 - keep) * noise[i % s->size];
        round[i % s->size] = held;
    }
    for (size_t i = 0; i < s->size; i++) {
        s->line[i] = round[i] - round[(i + s->size - shift) % s->size];
    }
    free(round);
    free(noise);
}

/// A string of a given pitch. Its period is the line, half a sample of the averaging filter, and
/// what the all-pass adds at the fundamental: C = sin((1 - d) w / 2) / sin((1 + d) w / 2) for a
/// delay of d samples (Jaffe and Smith 1983, from memory; follows from the all-pass's phase).
static string new_string(double rate_hz, double hz, uint64_t seed) {
    const double period = rate_hz / hz;
    const double w = 2.0 * M_PI / period;
    const double least = 0.3; // the all-pass works best from a third of a sample to 1.3
    string s = {.size = (size_t)floor(period - 0.5 - least)};
    const double rest = period - 0.5 - (double)s.size;
    s.turn = sin((1.0 - rest) * w / 2.0) / sin((1.0 + rest) * w / 2.0);
    s.loss = pow(10.0, -3.0 / (hz * decay_s));
    s.line = tl_new(s.size, sizeof *s.line);
    fill_line(&s, rate_hz, seed);
    return s;
}

static double step_string(string* s) {
    const double out = s->line[s->at];
    const double mean = s->loss * 0.5 * (out + s->last);
    s->last = out;
    const double turned = s->turn * (mean - s->last_out) + s->last_in;
    s->last_in = mean;
    s->last_out = turned;
    s->line[s->at] = turned;
    s->at = (s->at + 1) % s->size;
    return out;
}

static void play_note(const tl_pluck* note, double rate_hz, uint64_t seed, double* samples,
                      size_t count) {
    string s = new_string(rate_hz, note->hz, seed);
    const size_t start = (size_t)llround(note->start_s * rate_hz);
    const double damp = damp_s * rate_hz;
    size_t end = (size_t)llround((note->start_s + note->seconds) * rate_hz);
    end = end < count ? end : count;
    for (size_t i = start; i < end; i++) {
        samples[i] += fmin(1.0, (double)(end - i) / damp) * step_string(&s);
    }
    free(s.line);
}

double* tl_pluck_play(double rate_hz, size_t* count) {
    double end_s = 0.0;
    for (size_t i = 0; i < NOTES; i++) {
        end_s = fmax(end_s, piece[i].start_s + piece[i].seconds);
    }
    *count = (size_t)llround(end_s * rate_hz);
    double* samples = tl_new(*count, sizeof *samples);
    for (size_t i = 0; i < NOTES; i++) {
        play_note(&piece[i], rate_hz, first_seed + i, samples, *count);
    }
    double largest = 0.0;
    for (size_t i = 0; i < *count; i++) {
        largest = fmax(largest, fabs(samples[i]));
    }
    for (size_t i = 0; i < *count; i++) {
        samples[i] /= largest;
    }
    return samples;
}

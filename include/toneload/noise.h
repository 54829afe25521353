// SPDX-License-Identifier: GPL-3.0-or-later
/// @file noise.h What hisses in a rig: noise at the amp's input, and who makes it.
#ifndef TONELOAD_NOISE_H
#define TONELOAD_NOISE_H

#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>

/// The band that totals are of, Hz.
#define TL_NOISE_LOW_HZ 20.0
#define TL_NOISE_HIGH_HZ 20e3

/// What one part adds. Shares are of power, and add up to 1 over all parts.
typedef struct {
    char* name;     ///< "volume pot at 50 %"
    char* path;     ///< "guitar.volume"
    char* where;    ///< of leads and joints: "lead 4, wah to compressor"; else ""
    double share;   ///< of the noise from 20 Hz to 20 kHz
    double a_share; ///< of the A-weighted noise
    double* v_rthz; ///< at the amp, by frequency of its tl_noise_at
} tl_noise_part;

/// The noise at one amp's input, of the rig as it is written or of its direct.
typedef struct {
    char* amp;
    double total_v;      ///< root mean square, 20 Hz to 20 kHz
    double a_weighted_v; ///< the same, A-weighted (IEC 61672-1)
    double signal_v;     ///< the playing level as it arrives here, at the reference frequency
    size_t count;
    double* hz;     ///< 10 Hz to 100 kHz, 100 a decade
    double* v_rthz; ///< density
    tl_noise_part* parts;
    size_t part_count; ///< the largest A-weighted share first
} tl_noise_at;

/// One amp in one state of the pedals.
typedef struct {
    double total_v;
    double a_weighted_v;
    double signal_v;
    char* loudest; ///< the part with the largest A-weighted share
    double loudest_a_share;
} tl_noise_state_amp;

typedef struct {
    char* name;    ///< the scene's; NULL when every combination is gone through
    bool* engaged; ///< by pedal
    tl_noise_state_amp* amps;
} tl_noise_state;

typedef struct {
    double playing_v; ///< root mean square voltage of a pickup's coil (or a source) when played
    double reference_hz;
    bool active;   ///< the guitar is an active source, not a coil
    char** silent; ///< pedals, buffers and amps that state no noise of their own: name, or path
    size_t silent_count;
    size_t amp_count;
    tl_noise_at* rig;    ///< by amp, as the rig is written
    tl_noise_at* direct; ///< by amp
    char** pedals;       ///< pedals and loops that change between the states
    size_t pedal_count;
    tl_noise_state* states; ///< none when they were not asked for
    size_t state_count;
    size_t* ranking;     ///< states, the one with the least distance from signal to noise first
    double* low_v_rthz;  ///< lowest density of all states, [amp * count + frequency]
    double* high_v_rthz; ///< highest
} tl_noise;

typedef struct {
    double reference_hz;
    const char* playing;      ///< playing level with its unit, "150 mV"; NULL: TL_NOISE_PLAYING_V
    bool states;              ///< go through the states of the pedals as well
    const char* const* fixes; ///< "NAME=yes" or "PATH=no": held in every state
    size_t fix_count;
    bool all; ///< every combination, even when the rig names scenes
} tl_noise_options;

/// A single-coil pickup played with some force, from memory.
#define TL_NOISE_PLAYING_V 0.1

#endif

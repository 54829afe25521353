// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress_source.h What moves in a mains or DC lead, line by line of its spectrum.
#ifndef TL_STUDY_DRESS_SOURCE_H
#define TL_STUDY_DRESS_SOURCE_H

#include "parts/part.h"

#include <stddef.h>

/// One frequency of a spectrum, rms; what of the two is not there is 0.
typedef struct {
    double hz;
    double volt;   ///< to ground
    double ampere; ///< go and return
} tl_source_line;

typedef struct {
    tl_source_line* lines; ///< ascending within ripple and within pulses
    size_t count;
    double highest_hz; ///< the fundamental of what lies above `most_hz` altogether; 0: none does
} tl_source;

/// The spectrum of a run's other lead up to `most_hz`; none of an audio lead. Free with free() of
/// `lines`.
tl_source tl_source_of(const tl_part* run, double most_hz);

/// Of the current of a rectifier with its capacitor, relative to its fundamental; see the source.
double tl_rectifier_harmonic(unsigned n);
/// Of the mains voltage, relative to its fundamental.
double tl_mains_harmonic(unsigned n);

#endif

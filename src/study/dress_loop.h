// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress_loop.h Leads of one rig beside each other: how near the loop that the capacitance
/// between them closes is to howling, and what it adds to the signal at another spacing.
#ifndef TL_STUDY_DRESS_LOOP_H
#define TL_STUDY_DRESS_LOOP_H

#include "study/dress_couple.h"
#include "toneload/dress.h"

#include <complex.h>
#include <stddef.h>

enum { TL_LOOP_POINTS = 241 };

/// The loop gain of a capacitance between two leads: what comes back of a volt between them, j w C
/// Z, Z being what a current between the two sees with the capacitance gone (return ratio: H. W.
/// Bode, Network Analysis and Feedback Amplifier Design, 1945, from memory). At -1 it howls.
typedef struct {
    const tl_response* between; ///< Z, with TL_DRESS_KNOWN_OHM added
    double farad;
} tl_dress_loop;

/// A frequency of those at which the signal is looked at, 20 Hz to 20 kHz.
double tl_loop_hz(size_t point);

double _Complex tl_loop_gain(const tl_dress_loop* loop, double hz);

/// How much loop gain is left, dB: what |loop gain| is under 1 where it stands at -180 degrees, 5
/// Hz to 100 kHz, the least of it. INFINITY: nowhere. `*hz` is where, or NAN.
double tl_loop_margin_db(const tl_dress_loop* loop, double* hz);

/// The spacing from which on TL_DRESS_LOOP_DB are left and no amp's signal is changed by more than
/// TL_DRESS_LEAK_DB. `shares[amp * TL_LOOP_POINTS + point]` is what the run as it is adds to the
/// signal. NAN when it is so already, or not up to TL_DRESS_FAR_M.
double tl_loop_apart_m(const tl_dress_loop* loop, const tl_run_geometry* lie,
                       const double _Complex* shares, size_t amp_count);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build_hold.h Whether what stands on a board stays on it.
#ifndef TL_STUDY_BUILD_HOLD_H
#define TL_STUDY_BUILD_HOLD_H

#include "study/build.h"
#include "toneload/build.h"

// What is taken where a rig does not say; all of it is printed with the answer.
#define TL_HOLD_ACCELERATION_G 5.0 ///< from memory: rough handling in a van or on stairs
#define TL_HOLD_FACTOR 3.0         ///< from memory: tape ages, and peels from an edge
#define TL_HOLD_PULL_N 200.0       ///< from memory: a thin housing, lifted off by hand

/// Works out the rest from area, strength, least factor and pull.
void tl_hold_work_out(tl_build_hold* hold, double weight_kg, double acceleration_g);
/// Adds what is to be known of it to the findings: too little, or too much for a thin housing.
void tl_hold_judge(tl_build* build, const tl_build_hold* hold);

/// Fills in how all boxes are held.
void tl_build_hold_all(tl_build_work* w);
/// Adds what was taken where the rig does not say.
void tl_hold_assume(tl_build_work* w);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress.h What is said with every answer on leads and joints.
#ifndef TL_SHOW_DRESS_H
#define TL_SHOW_DRESS_H

#include "toneload/show.h"

#include <stddef.h>

/// What the figures rest on; `beside` NULL: always said, else with runs beside that.
typedef struct {
    const char* beside;
    const char* words;
} tl_dress_assumption;

enum { TL_DRESS_ASSUMPTIONS = 8 };
extern const tl_dress_assumption tl_dress_assumptions[TL_DRESS_ASSUMPTIONS];

/// A level as it is told: NAN when it is none.
double tl_dress_told_v(double volt);
/// A level against the noise, NAN when it is none.
double tl_dress_told_db(const tl_dress_level* level);

/// Moving and mending leads: everything but batteries.
#define TL_DRESS_CAUTIONS                                                                          \
    (TL_CAUTION_UNPLUG | TL_CAUTION_MAINS | TL_CAUTION_EARTH | TL_CAUTION_SOLDER)

#endif

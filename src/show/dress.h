// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress.h What is said with every answer on leads and joints.
#ifndef TL_SHOW_DRESS_H
#define TL_SHOW_DRESS_H

#include "base/text.h"
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

/// Runs whose level at the amp is known, and runs of leads of the rig beside each other.
size_t tl_dress_measured(const tl_dress* dress);
size_t tl_dress_leaking(const tl_dress* dress);
/// The tables of an answer. Free each with tl_table_free().
tl_table* tl_dress_lies_table(const tl_dress* dress);
tl_table* tl_dress_levels_table(const tl_dress* dress);
tl_table* tl_dress_leaks_table(const tl_dress* dress);
tl_table* tl_dress_joints_table(const tl_dress_joints* joints);
/// What is said about them: paragraphs, or points that begin with "- ".
void tl_dress_add_floor(tl_text* text, const tl_dress* dress);
void tl_dress_add_points(tl_text* text, const tl_dress* dress);
void tl_dress_add_leak_points(tl_text* text, const tl_dress* dress);
void tl_dress_add_assumptions(tl_text* text, const tl_dress* dress);
void tl_dress_add_joint_points(tl_text* text, const tl_dress* dress);

/// Moving and mending leads: everything but batteries.
#define TL_DRESS_CAUTIONS                                                                          \
    (TL_CAUTION_UNPLUG | TL_CAUTION_MAINS | TL_CAUTION_EARTH | TL_CAUTION_SOLDER)

#endif

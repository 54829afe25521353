// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit_judge.h What a fit is worth: intervals, warnings, notes.
#ifndef TL_STUDY_FIT_JUDGE_H
#define TL_STUDY_FIT_JUDGE_H

#include "study/fit_solve.h"

/// Fills in values with their intervals, what follows from them, and what is to be said of both.
void tl_fit_judge(tl_fit* fit, const tl_fit_problem* problem, const double held[TL_FIT_TOTAL]);

/// Fills in by how much points are missed, and whether that is chance.
void tl_fit_judge_misses(tl_fit* fit, const tl_fit_problem* problem);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit_solve.h A pickup's values found for a sweep, and how far they may be off.
#ifndef TL_STUDY_FIT_SOLVE_H
#define TL_STUDY_FIT_SOLVE_H

#include "study/fit_model.h"

#include <stddef.h>

/// A sweep as it is fitted.
typedef struct {
    tl_measured_kind kind;
    size_t count;
    double* omega;
    tl_two_port* ports;
    double* ln_size;
    double* phase_rad;   ///< NULL: none
    double* root_weight; ///< square root of how many frequencies of the file it stands for
} tl_fit_data;

/// Gathers a sweep: one that has more than `most` frequencies into as many narrow bands or fewer,
/// equally wide in log frequency, by their means or `by_median`. Ports are left to be filled.
void tl_fit_gather(const tl_measured* sweep, size_t most, bool by_median, tl_fit_data* data);
/// A sweep of some `about` of another's frequencies, up to twice as many: every so many of them,
/// ports and all.
tl_fit_data tl_fit_thin_out(const tl_fit_data* data, size_t about);
void tl_fit_data_clear(tl_fit_data* data);

/// What is to be found.
typedef struct {
    const tl_fit_data* data;
    bool eddy;
    tl_fit_value free[TL_FIT_TOTAL];
    size_t free_count;
    double at[TL_FIT_TOTAL]; ///< coordinates of all values: held ones, and where free ones are
    double scale;            ///< of a robust loss; NAN: least squares
    double cost;             ///< the sum of squares, or what a robust loss has in its place
    size_t most_steps;       ///< of a search; 0: as many as it takes
} tl_fit_problem;

/// How many misses a problem has.
size_t tl_fit_miss_count(const tl_fit_problem* problem);
/// The misses at the problem's coordinates, sizes first, then phases, each times the root of its
/// weight.
void tl_fit_misses(const tl_fit_problem* problem, double* misses);

/// Moves the free coordinates to where the cost is least near them. A robust problem finds its
/// scale first.
void tl_fit_find(tl_fit_problem* problem, bool robust);
/// The cost at the problem's coordinates with a scale, or NAN for squares.
double tl_fit_cost(const tl_fit_problem* problem, double scale);

/// How far free values may be off.
typedef struct {
    double covariance[TL_FIT_TOTAL][TL_FIT_TOTAL]; ///< of coordinates; by value, 0 for held ones
    bool blind[TL_FIT_TOTAL];                      ///< nothing in the data depends on it
    double condition;
} tl_fit_spread;
void tl_fit_spread_of(const tl_fit_problem* problem, tl_fit_spread* spread);

#endif

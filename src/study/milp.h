// SPDX-License-Identifier: GPL-3.0-or-later
/// @file milp.h Linear programs with yes-or-no columns, solved exactly by GLPK's branch and cut.
#ifndef TL_STUDY_MILP_H
#define TL_STUDY_MILP_H

#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>

/// A program: columns between bounds, rows that hold sums of them between bounds, a cost.
typedef struct tl_milp tl_milp;

tl_milp* tl_milp_new(void);
void tl_milp_free(tl_milp* milp);

/// Adds a column; all return its number.
size_t tl_milp_binary(tl_milp* milp);
size_t tl_milp_column(tl_milp* milp, double low, double high);
/// A column of whole numbers.
size_t tl_milp_whole(tl_milp* milp, double low, double high);
/// Holds a column to one value from now on.
void tl_milp_hold(tl_milp* milp, size_t which, double value);

/// Starts a row that keeps its sum between `low` and `high` (each may be infinite); terms follow.
void tl_milp_row(tl_milp* milp, double low, double high);
/// Adds factor * the column `which` to the row begun last; each column once.
void tl_milp_term(tl_milp* milp, size_t which, double factor);

/// Forgets the cost; and adds factor * column to it, which is made as small as can be.
void tl_milp_no_cost(tl_milp* milp);
void tl_milp_cost(tl_milp* milp, size_t which, double factor);
/// Makes a row of the cost: from now on it stays at most `most`.
void tl_milp_keep_cost(tl_milp* milp, double most);

/// Solves it. `*feasible` false: it is proven that nothing satisfies all rows. TL_FAILURE when GLPK
/// cannot be loaded or has not come to an end within 30 s.
tl_status tl_milp_solve(tl_milp* milp, bool* feasible, tl_error* error);
/// The same, but for a goal of lesser weight: gives up after so many nodes of the search, a number
/// and no time, so that the answer does not depend on the machine. `*proven` false: it gave up, and
/// the values are the best it saw, or those of the solve before when it saw none.
tl_status tl_milp_improve(tl_milp* milp, size_t nodes, bool* proven, tl_error* error);
/// The same for a program that may have no answer, and nothing to fall back on: `*found` says
/// whether there are values, `*proven` whether they are the best, or that there are none.
tl_status tl_milp_search(tl_milp* milp, size_t nodes, bool* found, bool* proven, tl_error* error);
/// After a feasible end: a column's value, a binary's as 0 or 1, and the cost.
double tl_milp_value(const tl_milp* milp, size_t which);
double tl_milp_total(const tl_milp* milp);

#endif

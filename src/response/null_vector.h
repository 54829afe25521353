// SPDX-License-Identifier: GPL-3.0-or-later
/// @file null_vector.h The vector that a tall matrix makes shortest: its last right singular one.
#ifndef TL_RESPONSE_NULL_VECTOR_H
#define TL_RESPONSE_NULL_VECTOR_H

#include <stdbool.h>
#include <stddef.h>

/// A matrix (column-major, lost when solved) and the memory that solving takes.
typedef struct {
    size_t rows;
    size_t columns;
    double* matrix;
    double* tau;
    double* vector; ///< the answer, its largest member 1
    double* work;
    size_t work_size;
} tl_null_problem;

/// Doubles that a problem of at most this size needs.
size_t tl_null_room(size_t most_rows, size_t most_columns);
/// Shares such memory out.
void tl_null_share(tl_null_problem* problem, double* memory, size_t most_rows, size_t most_columns);

/// Solves it by inverse iteration on the matrix's QR factor: the same vector as a full
/// decomposition's at a fraction of its time, in real arithmetic. False when LAPACK could not.
bool tl_null_vector(tl_null_problem* problem);

#endif

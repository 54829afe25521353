// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/null_vector.h"

#include "response/lapack.h"

#include <math.h>

enum { WORK_A_COLUMN = 32 };

size_t tl_null_room(size_t most_rows, size_t most_columns) {
    return most_columns * (most_rows + 2 + WORK_A_COLUMN);
}

void tl_null_share(tl_null_problem* problem, double* memory, size_t most_rows, // NOLINT: it is kept
                   size_t most_columns) {
    *problem = (tl_null_problem){.matrix = memory, .work_size = WORK_A_COLUMN * most_columns};
    problem->tau = problem->matrix + most_rows * most_columns;
    problem->vector = problem->tau + most_columns;
    problem->work = problem->vector + most_columns;
}

// Scales the columns of the triangular factor to unit length and keeps its diagonal off zero, so
// that inverse iteration can divide by it. The scales go to `tau`, which is no longer needed.
static void condition_factor(const tl_null_problem* p) {
    for (size_t j = 0; j < p->columns; j++) {
        double* column = p->matrix + j * p->rows;
        double sum = 0.0;
        for (size_t i = 0; i <= j; i++) {
            sum += column[i] * column[i];
        }
        const double scale = sum > 0.0 ? 1.0 / sqrt(sum) : 1.0;
        for (size_t i = 0; i <= j; i++) {
            column[i] *= scale;
        }
        const double least = 1e-18;
        if (fabs(column[j]) < least) {
            column[j] = least;
        }
        p->tau[j] = scale;
    }
}

// Brings a vector to unit length in the maximum norm.
static void normalize(size_t size, double* vector) {
    double largest = 0.0;
    for (size_t i = 0; i < size; i++) {
        largest = fmax(largest, fabs(vector[i]));
    }
    for (size_t i = 0; i < size; i++) {
        vector[i] /= largest;
    }
}

bool tl_null_vector(tl_null_problem* p) {
    const tl_lapack* lapack = tl_lapack_get();
    const lapack_int m = (lapack_int)p->rows;
    const lapack_int n = (lapack_int)p->columns;
    if (lapack->dgeqrf(LAPACK_COL_MAJOR, m, n, p->matrix, m, p->tau, p->work,
                       (lapack_int)p->work_size)) {
        return false;
    }
    condition_factor(p);
    for (size_t i = 0; i < p->columns; i++) {
        p->vector[i] = 1.0;
    }
    const int rounds = 3;
    for (int round = 0; round < rounds; round++) {
        if (lapack->dtrtrs(LAPACK_COL_MAJOR, 'U', 'T', 'N', n, 1, p->matrix, m, p->vector, n)) {
            return false;
        }
        normalize(p->columns, p->vector);
        if (lapack->dtrtrs(LAPACK_COL_MAJOR, 'U', 'N', 'N', n, 1, p->matrix, m, p->vector, n)) {
            return false;
        }
        normalize(p->columns, p->vector);
    }
    for (size_t i = 0; i < p->columns; i++) {
        p->vector[i] *= p->tau[i];
    }
    normalize(p->columns, p->vector);
    return true;
}

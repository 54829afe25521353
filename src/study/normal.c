// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/normal.h"

#include <math.h>
#include <stdlib.h>

/// Cholesky factor, row by row (Golub and Van Loan, Matrix Computations, section 4.2; from memory).
tl_normal tl_normal_of(double* covariance, size_t count) {
    tl_normal normal = {count, covariance, 0};
    double* l = covariance;
    for (size_t i = 0; i < count; ++i)
        for (size_t j = 0; j <= i; ++j) {
            double sum = l[i * count + j];
            for (size_t k = 0; k < j; ++k)
                sum -= l[i * count + k] * l[j * count + k];
            l[i * count + j] = i == j ? sqrt(sum) : sum / l[j * count + j];
        }
    for (size_t i = 0; i < count; ++i)
        normal.log_det += 2 * log(l[i * count + i]);
    return normal;
}

void tl_normal_free(tl_normal* normal) {
    free(normal->factor);
    *normal = (tl_normal){0};
}

void tl_normal_whiten(const tl_normal* normal, double* x) {
    const double* l = normal->factor;
    for (size_t i = 0; i < normal->count; ++i) {
        double sum = x[i];
        for (size_t k = 0; k < i; ++k)
            sum -= l[i * normal->count + k] * x[k];
        x[i] = sum / l[i * normal->count + i];
    }
}

double tl_normal_distance(const tl_normal* normal, double* x) {
    double sum = 0;
    tl_normal_whiten(normal, x);
    for (size_t i = 0; i < normal->count; ++i)
        sum += x[i] * x[i];
    return sum;
}

double tl_normal_log_density(const tl_normal* normal, double distance) {
    const double log_2_pi = 1.8378770664093453;
    return -0.5 * (distance + normal->log_det + (double)normal->count * log_2_pi);
}

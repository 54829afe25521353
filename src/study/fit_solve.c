// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/fit_solve.h"

#include "base/least_squares.h"
#include "base/statistics.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROBUST_STEPS = 60, SCALE_STEPS = 30, ROTATIONS = 60 };

// Cauchy's loss keeps 95 % of the efficiency of least squares on normal misses with this (Holland
// and Welsch, Comm. Statist. A6, 1977; from memory); a normal deviation is the median of absolute
// ones over 0.6745.
static const double cauchy_tuning = 2.385;
static const double median_share = 0.6745;
static const double least_scale = 1e-9;

/// What GSL calls back with.
typedef struct {
    const tl_fit_problem* problem;
    const double* root; ///< of the robust weights, by miss; NULL: all alike
} calling;

size_t tl_fit_miss_count(const tl_fit_problem* problem) {
    return problem->data->count * (problem->data->phase_rad ? 2 : 1);
}

/// An angle brought to -pi to pi.
static double wrapped(double rad) {
    return remainder(rad, 2 * M_PI);
}

static void put_slopes(const tl_fit_problem* problem, const double complex* slopes, bool phase,
                       double factor, double* row) {
    for (size_t j = 0; j < problem->free_count; ++j) {
        double complex slope = slopes[problem->free[j]];
        row[j] = factor * (phase ? cimag(slope) : creal(slope));
    }
}

static void work_out(const tl_fit_problem* problem, const double at[TL_FIT_TOTAL],
                     const double* root, double* misses, double* rows) {
    const tl_fit_data* data = problem->data;
    size_t width = problem->free_count;
    const tl_fit_coil coil = tl_fit_coil_at(at, problem->eddy);
    for (size_t i = 0; i < data->count; ++i) {
        double complex slopes[TL_FIT_TOTAL];
        double complex model =
            tl_fit_model(data->kind, data->omega[i], &data->ports[i], &coil, rows ? slopes : NULL);
        size_t other = data->count + i;
        double size_factor = data->root_weight[i] * (root ? root[i] : 1);
        double phase_factor = data->phase_rad ? data->root_weight[i] * (root ? root[other] : 1) : 0;
        if (misses)
            misses[i] = size_factor * (creal(model) - data->ln_size[i]);
        if (misses && data->phase_rad)
            misses[other] = phase_factor * wrapped(cimag(model) - data->phase_rad[i]);
        if (rows)
            put_slopes(problem, slopes, false, size_factor, rows + i * width);
        if (rows && data->phase_rad)
            put_slopes(problem, slopes, true, phase_factor, rows + other * width);
    }
}

static void place(const tl_fit_problem* problem, const double* free, double at[TL_FIT_TOTAL]) {
    memcpy(at, problem->at, sizeof problem->at);
    for (size_t j = 0; j < problem->free_count; ++j)
        at[problem->free[j]] = free[j];
}

static void call(const void* context, const double* free, double* misses, double* slopes) {
    const calling* of = context;
    double at[TL_FIT_TOTAL];
    place(of->problem, free, at);
    work_out(of->problem, at, of->root, misses, slopes);
}

void tl_fit_misses(const tl_fit_problem* problem, double* misses) {
    work_out(problem, problem->at, NULL, misses, NULL);
}

static double find_with(tl_fit_problem* problem, const double* root) {
    const calling of = {problem, root};
    const tl_least_squares least = {.values = problem->free_count,
                                    .misses = tl_fit_miss_count(problem),
                                    .miss = call,
                                    .context = &of,
                                    .most_steps = problem->most_steps};
    double free[TL_FIT_TOTAL];
    for (size_t j = 0; j < problem->free_count; ++j)
        free[j] = problem->at[problem->free[j]];
    double sum = tl_least_squares_find(&least, free);
    double at[TL_FIT_TOTAL];
    place(problem, free, at);
    memcpy(problem->at, at, sizeof at);
    return sum;
}

static double find_scale(const double* misses, size_t count) {
    double* sizes = tl_new(count, sizeof *sizes);
    for (size_t i = 0; i < count; ++i)
        sizes[i] = fabs(misses[i]);
    qsort(sizes, count, sizeof *sizes, tl_compare_doubles);
    double middle = tl_quantile_sorted(sizes, count, 0.5);
    free(sizes);
    return fmax(cauchy_tuning * middle / median_share, least_scale);
}

double tl_fit_cost(const tl_fit_problem* problem, double scale) {
    size_t count = tl_fit_miss_count(problem);
    double* misses = tl_new(count, sizeof *misses);
    tl_fit_misses(problem, misses);
    double cost = 0;
    for (size_t i = 0; i < count; ++i)
        cost += isnan(scale) ? misses[i] * misses[i]
                             : scale * scale * log1p(misses[i] * misses[i] / (scale * scale));
    free(misses);
    return cost;
}

/// Least squares again and again, each miss with the weight 1 / (1 + (miss / scale)^2) of its last
/// size: what that comes to is Cauchy's loss at its least (Holland and Welsch 1977).
static void find_robust(tl_fit_problem* problem) {
    size_t count = tl_fit_miss_count(problem);
    double* misses = tl_new(count, sizeof *misses);
    double* root = tl_new(count, sizeof *root);
    double moved = INFINITY;
    for (int step = 0; step < ROBUST_STEPS && (moved > 1e-9 || step < 2); ++step) {
        double before[TL_FIT_TOTAL];
        memcpy(before, problem->at, sizeof before);
        tl_fit_misses(problem, misses);
        if (step < SCALE_STEPS)
            problem->scale = find_scale(misses, count);
        for (size_t i = 0; i < count; ++i)
            root[i] = 1 / hypot(1, misses[i] / problem->scale);
        find_with(problem, root);
        moved = 0;
        for (size_t i = 0; i < TL_FIT_TOTAL; ++i)
            moved = fmax(moved, fabs(problem->at[i] - before[i]));
    }
    problem->cost = tl_fit_cost(problem, problem->scale);
    free(misses);
    free(root);
}

void tl_fit_find(tl_fit_problem* problem, bool robust) {
    problem->scale = NAN;
    problem->cost = find_with(problem, NULL);
    if (robust)
        find_robust(problem);
}

// ---- how far values may be off

/// A symmetric matrix of free values.
typedef double square[TL_FIT_TOTAL][TL_FIT_TOTAL];

/// Turns a symmetric matrix until it is diagonal; `vectors` are its columns. Method: Jacobi 1846,
/// as in Golub and Van Loan, Matrix Computations, section 8.5 (from memory).
static void find_axes(size_t n, square matrix, square vectors) {
    for (size_t i = 0; i < n; ++i)
        for (size_t j = 0; j < n; ++j)
            vectors[i][j] = i == j;
    for (int turn = 0; turn < ROTATIONS; ++turn)
        for (size_t p = 0; p + 1 < n; ++p)
            for (size_t q = p + 1; q < n; ++q) {
                if (matrix[p][q] == 0)
                    continue;
                double theta = (matrix[q][q] - matrix[p][p]) / (2 * matrix[p][q]);
                double t = (theta < 0 ? -1 : 1) / (fabs(theta) + hypot(theta, 1));
                double c = 1 / hypot(t, 1);
                double s = t * c;
                for (size_t k = 0; k < n; ++k) {
                    double a = matrix[k][p];
                    double b = matrix[k][q];
                    matrix[k][p] = c * a - s * b;
                    matrix[k][q] = s * a + c * b;
                }
                for (size_t k = 0; k < n; ++k) {
                    double a = matrix[p][k];
                    double b = matrix[q][k];
                    matrix[p][k] = c * a - s * b;
                    matrix[q][k] = s * a + c * b;
                    a = vectors[k][p];
                    b = vectors[k][q];
                    vectors[k][p] = c * a - s * b;
                    vectors[k][q] = s * a + c * b;
                }
                matrix[p][q] = matrix[q][p] = 0;
            }
}

/// The variance of a miss; of a robust loss what stands in its place (Huber, Robust Statistics,
/// 1981, section 7.6; from memory): the mean square of psi over the square of the mean of psi'.
static double variance(const tl_fit_problem* problem, const double* misses) {
    size_t count = tl_fit_miss_count(problem);
    double freedom = fmax((double)count - (double)problem->free_count, 1);
    double square_sum = 0;
    double slope = 0;
    for (size_t i = 0; i < count; ++i) {
        double u = isnan(problem->scale) ? 0 : misses[i] / problem->scale;
        double weight = 1 / (1 + u * u);
        square_sum += misses[i] * misses[i] * weight * weight;
        slope += (1 - u * u) * weight * weight;
    }
    slope = fmax(slope / (double)count, 0.05);
    return square_sum / freedom / (slope * slope);
}

/// The normal equations, each value in units of its own root, and those units.
static void normal_equations(const tl_fit_problem* problem, square normal, double* unit) {
    size_t count = tl_fit_miss_count(problem);
    size_t n = problem->free_count;
    double* rows = tl_new(count * n, sizeof *rows);
    work_out(problem, problem->at, NULL, NULL, rows);
    memset(normal, 0, sizeof(square));
    for (size_t i = 0; i < count; ++i)
        for (size_t a = 0; a < n; ++a)
            for (size_t b = 0; b < n; ++b)
                normal[a][b] += rows[i * n + a] * rows[i * n + b];
    free(rows);
    for (size_t a = 0; a < n; ++a)
        unit[a] = sqrt(normal[a][a]);
    for (size_t a = 0; a < n; ++a)
        for (size_t b = 0; b < n; ++b)
            normal[a][b] = unit[a] > 0 && unit[b] > 0 ? normal[a][b] / (unit[a] * unit[b]) : a == b;
}

void tl_fit_spread_of(const tl_fit_problem* problem, tl_fit_spread* spread) {
    static const double least = 1e-14; ///< of an axis: less is rounding
    *spread = (tl_fit_spread){.condition = 1};
    size_t n = problem->free_count;
    double* misses = tl_new(tl_fit_miss_count(problem), sizeof *misses);
    tl_fit_misses(problem, misses);
    double s2 = variance(problem, misses);
    free(misses);
    square normal = {{0}};
    square vectors = {{0}};
    double unit[TL_FIT_TOTAL] = {0};
    normal_equations(problem, normal, unit);
    find_axes(n, normal, vectors);
    double most = 0;
    double fewest = INFINITY;
    for (size_t k = 0; k < n; ++k) {
        most = fmax(most, normal[k][k]);
        fewest = fmin(fewest, fmax(normal[k][k], least));
    }
    spread->condition = sqrt(most / fewest);
    for (size_t a = 0; a < n; ++a) {
        spread->blind[problem->free[a]] = !(unit[a] > 0);
        for (size_t b = 0; b < n && unit[a] > 0; ++b)
            for (size_t k = 0; k < n && unit[b] > 0; ++k)
                spread->covariance[problem->free[a]][problem->free[b]] +=
                    s2 * vectors[a][k] * vectors[b][k] /
                    (fmax(normal[k][k], least) * unit[a] * unit[b]);
    }
}

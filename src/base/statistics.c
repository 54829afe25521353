// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/statistics.h"

#include "base/gsl.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <pthread.h>
#include <stdbool.h>

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static __typeof__(gsl_cdf_ugaussian_P)* share_below;
static __typeof__(gsl_cdf_ugaussian_Pinv)* value_above;
static __typeof__(gsl_stats_quantile_from_sorted_data)* quantile;
static __typeof__(gsl_cdf_tdist_Pinv)* student_above;
static bool loaded;

static void load(void) {
    loaded = tl_gsl_find("gsl_cdf_ugaussian_P", &share_below) &&
             tl_gsl_find("gsl_cdf_ugaussian_Pinv", &value_above) &&
             tl_gsl_find("gsl_stats_quantile_from_sorted_data", &quantile) &&
             tl_gsl_find("gsl_cdf_tdist_Pinv", &student_above);
}

tl_status tl_statistics_prepare(tl_error* error) {
    pthread_once(&once, load);
    return loaded ? TL_OK : tl_gsl_missing(error, "statistics");
}

double tl_normal_quantile(double p) {
    return value_above(p);
}

double tl_normal_share(double x) {
    return share_below(x);
}

double tl_student_quantile(double p, double freedom) {
    return student_above(p, freedom);
}

double tl_quantile_sorted(const double* numbers, size_t count, double p) {
    return count ? quantile(numbers, 1, count, p) : NAN;
}

int tl_compare_doubles(const void* a, const void* b) {
    const double x = *(const double*)a;
    const double y = *(const double*)b;
    return (x > y) - (x < y);
}

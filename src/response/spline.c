// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/spline.h"

#include "base/gsl.h"

#include <gsl/gsl_interp.h>
#include <math.h>
#include <pthread.h>
#include <stdbool.h>

/// The routines of GSL that are used.
typedef struct {
    const gsl_interp_type* const* cubic;
    __typeof__(gsl_interp_alloc)* make;
    __typeof__(gsl_interp_init)* init;
    __typeof__(gsl_interp_eval)* eval;
    __typeof__(gsl_interp_free)* release;
    __typeof__(gsl_interp_accel_alloc)* make_finder;
    __typeof__(gsl_interp_accel_free)* free_finder;
} gsl;

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static gsl routines;
static bool loaded;

static void load(void) {
    loaded = tl_gsl_find("gsl_interp_cspline", &routines.cubic) &&
             tl_gsl_find("gsl_interp_alloc", &routines.make) &&
             tl_gsl_find("gsl_interp_init", &routines.init) &&
             tl_gsl_find("gsl_interp_eval", &routines.eval) &&
             tl_gsl_find("gsl_interp_free", &routines.release) &&
             tl_gsl_find("gsl_interp_accel_alloc", &routines.make_finder) &&
             tl_gsl_find("gsl_interp_accel_free", &routines.free_finder);
}

/// GSL ends the program over points it cannot take, so they never come to it.
static bool are_good(size_t count, const double* x, const double* y, size_t wanted,
                     const double* places) {
    bool good = count >= 3;
    for (size_t i = 0; good && i < count; ++i)
        good = isfinite(x[i]) && isfinite(y[i]) && (i == 0 || x[i] > x[i - 1]);
    for (size_t i = 0; good && i < wanted; ++i)
        good = places[i] >= x[0] && places[i] <= x[count - 1];
    return good;
}

tl_status tl_spline(size_t count, const double* x, const double* y, size_t wanted,
                    const double* places, double* values, tl_error* error) {
    pthread_once(&once, load);
    if (!loaded)
        return tl_gsl_missing(error, "splines");
    if (!are_good(count, x, y, wanted, places))
        return tl_error_set(error, TL_FAILURE, "no spline goes through these points");
    gsl_interp* spline = routines.make(*routines.cubic, count);
    gsl_interp_accel* finder = routines.make_finder();
    bool made = spline && finder && routines.init(spline, x, y, count) == 0;
    for (size_t i = 0; made && i < wanted; ++i)
        values[i] = routines.eval(spline, x, y, places[i], finder);
    if (finder)
        routines.free_finder(finder);
    if (spline)
        routines.release(spline);
    return made ? TL_OK : tl_error_set(error, TL_FAILURE, "out of memory");
}

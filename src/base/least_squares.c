// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/least_squares.h"

#include "base/gsl.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_multifit_nlinear.h>
#include <math.h>
#include <pthread.h>
#include <string.h>

enum { MOST_STEPS = 200 };
static const double close_enough = 1e-11; ///< a step, relative; the slope of the sum likewise

/// The routines of GSL that are used.
typedef struct {
    const gsl_multifit_nlinear_type* const* trust;
    __typeof__(gsl_multifit_nlinear_default_parameters)* parameters;
    __typeof__(gsl_multifit_nlinear_alloc)* make;
    __typeof__(gsl_multifit_nlinear_init)* init;
    __typeof__(gsl_multifit_nlinear_driver)* drive;
    __typeof__(gsl_multifit_nlinear_position)* position;
    __typeof__(gsl_multifit_nlinear_free)* release;
} gsl;

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static gsl routines;
static bool loaded;

static void load(void) {
    loaded = tl_gsl_find("gsl_multifit_nlinear_trust", &routines.trust) &&
             tl_gsl_find("gsl_multifit_nlinear_default_parameters", &routines.parameters) &&
             tl_gsl_find("gsl_multifit_nlinear_alloc", &routines.make) &&
             tl_gsl_find("gsl_multifit_nlinear_init", &routines.init) &&
             tl_gsl_find("gsl_multifit_nlinear_driver", &routines.drive) &&
             tl_gsl_find("gsl_multifit_nlinear_position", &routines.position) &&
             tl_gsl_find("gsl_multifit_nlinear_free", &routines.release);
}

tl_status tl_least_squares_prepare(tl_error* error) {
    pthread_once(&once, load);
    return loaded ? TL_OK : tl_gsl_missing(error, "fits");
}

// GSL's own vectors and matrices have their numbers one after the other.

static int misses_at(const gsl_vector* at, void* context, gsl_vector* misses) {
    const tl_least_squares* of = context;
    of->miss(of->context, at->data, misses->data, NULL);
    return GSL_SUCCESS;
}

/// Where no value changes anything there is no way on; GSL would end the program.
static int slopes_at(const gsl_vector* at, void* context, gsl_matrix* slopes) {
    const tl_least_squares* of = context;
    of->miss(of->context, at->data, NULL, slopes->data);
    double most = 0;
    for (size_t i = 0; i < of->misses * of->values; ++i) {
        if (!isfinite(slopes->data[i]))
            return GSL_EBADFUNC;
        most = fmax(most, fabs(slopes->data[i]));
    }
    return most > 0 ? GSL_SUCCESS : GSL_EFAILED;
}

double tl_least_squares_find(const tl_least_squares* of, double* at) {
    gsl_multifit_nlinear_parameters parameters = routines.parameters();
    gsl_multifit_nlinear_workspace* work =
        routines.make(*routines.trust, &parameters, of->misses, of->values);
    if (!work)
        return NAN;
    gsl_multifit_nlinear_fdf system = {
        .f = misses_at, .df = slopes_at, .n = of->misses, .p = of->values, .params = (void*)of};
    const gsl_vector start = {.size = of->values, .stride = 1, .data = at};
    int info = 0;
    if (routines.init(&start, &system, work) == GSL_SUCCESS)
        // Whatever it says in the end, it never goes uphill.
        routines.drive(of->most_steps ? of->most_steps : MOST_STEPS, close_enough, close_enough, 0,
                       NULL, NULL, &info, work);
    memcpy(at, routines.position(work)->data, of->values * sizeof *at);
    double sum = 0;
    for (size_t i = 0; i < of->misses; ++i)
        sum += work->f->data[i] * work->f->data[i];
    routines.release(work);
    return sum;
}

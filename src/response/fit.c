// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit.c From solved samples to the rational function behind them.
///
/// Method: AAA (Nakatsukasa, Sete, Trefethen, SIAM J. Sci. Comput. 40(3), 2018) with supports in
/// conjugate pairs +-jx and weights w, conj(w). The unknowns are Re w and Im w, so the Loewner
/// matrix is real. Its rows are weighted so that errors count relative to max(|H|, max|H|/1000).
/// The weights are the last right singular vector. It is taken by inverse iteration on the matrix's
/// QR factor: the same vector as a full decomposition's at a fraction of its time.

#include "base/text.h"
#include "response/lapack.h"
#include "response/null_vector.h"
#include "response/response_internal.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A fit error this small is rounding: no further pair is tried.
static const double rounding_error = 1e-12;
/// A fit error this small may be the solver's noise (1e-11 to 3e-9 a sample): a further pair must
/// then shrink it clearly, or it only follows the noise.
static const double noise_error = 3e-8;
static const double clear_gain = 4.0;
static const size_t look_ahead = 2;
/// More pairs than any rig needs; bounds the time spent on samples of no rational function.
static const size_t most_pairs = 48;
/// The place of the first held-out sample, and the step to the next (of few samples: a third).
static const size_t first_held_out = 3;
static const size_t held_out_step = 7;

/// The samples a fit sees, and its working memory.
typedef struct {
    size_t count;
    double* x;
    double* re;
    double* im;
    double* unit;  ///< 1 / max(|H|, max|H|/1000)
    double* row;   ///< weight of the sample's two rows in the Loewner matrix
    double* error; ///< |fit - sample| in units of the sample; 0 at a support
    bool* is_support;
    size_t limit; ///< pairs there is room for
    size_t pairs;
    size_t* chosen;        ///< samples that are supports
    tl_support* kept;      ///< a response's supports, to go back to
    tl_support* uncleaned; ///< the same before its doublets went
    tl_null_problem problem;
} fitter;

bool tl_fit_holds_out(size_t count, size_t index) {
    const size_t third = count / 3;
    const size_t step = third < 3 ? 3 : third > held_out_step ? held_out_step : third;
    return index >= first_held_out && (index - first_held_out) % step == 0;
}

// Shares one allocation (`f.x`) out among the arrays of doubles.
static fitter new_fitter(size_t count) {
    fitter f = {.count = count, .limit = (count - 1) / 2};
    if (f.limit > most_pairs) {
        f.limit = most_pairs;
    }
    const size_t columns = 2 * f.limit;
    const size_t work_size = tl_null_room(2 * count, columns);
    f.x = tl_new(6 * count + work_size, sizeof(double));
    f.re = f.x + count;
    f.im = f.re + count;
    f.unit = f.im + count;
    f.row = f.unit + count;
    f.error = f.row + count;
    tl_null_share(&f.problem, f.error + count, 2 * count, columns);
    f.is_support = tl_new(count, sizeof(bool));
    f.chosen = tl_new(f.limit + 1, sizeof(size_t));
    f.kept = tl_new(2 * f.limit + 1, sizeof(tl_support));
    f.uncleaned = f.kept + f.limit;
    return f;
}

static void free_fitter(fitter* f) {
    free(f->x);
    free(f->is_support);
    free(f->chosen);
    free(f->kept);
}

static double sample_unit(const tl_response* response, double _Complex h) {
    return 1.0 / fmax(cabs(h), TL_FIT_FLOOR * response->max_abs);
}

// Takes the samples that are not held out.
static void load_samples(fitter* f, const tl_response* response, size_t count, const double* hz,
                         const double _Complex* h) {
    size_t place = 0;
    for (size_t i = 0; i < count; i++) {
        if (!tl_fit_holds_out(count, i)) {
            f->x[place] = tl_response_scaled(response, hz[i]);
            f->re[place] = creal(h[i]);
            f->im[place] = cimag(h[i]);
            f->unit[place] = sample_unit(response, h[i]);
            f->row[place] = f->unit[place];
            place++;
        }
    }
}

// Fills the Loewner matrix (column-major) and returns its number of rows. Multiplied by j, a sample
// F and a support f give (F - f)/(x - x_k) w + (F - conj f)/(x + x_k) conj w.
static size_t fill_loewner(fitter* f) {
    const size_t rows = 2 * (f->count - f->pairs);
    for (size_t k = 0; k < f->pairs; k++) {
        const size_t at = f->chosen[k];
        double* of_re = f->problem.matrix + 2 * k * rows;
        double* of_im = of_re + rows;
        size_t row = 0;
        for (size_t i = 0; i < f->count; i++) {
            if (f->is_support[i]) {
                continue;
            }
            const double near = f->row[i] / (f->x[i] - f->x[at]);
            const double far = f->row[i] / (f->x[i] + f->x[at]);
            const double re = f->re[i] - f->re[at];
            const double im_near = (f->im[i] - f->im[at]) * near;
            const double im_far = (f->im[i] + f->im[at]) * far;
            of_re[row] = re * (near + far);
            of_re[row + 1] = im_near + im_far;
            of_im[row] = im_far - im_near;
            of_im[row + 1] = re * (near - far);
            row += 2;
        }
    }
    return rows;
}

// Finds the weights for the chosen supports, the last right singular vector, into `vector`.
static bool solve_weights(fitter* f) {
    f->problem.rows = fill_loewner(f);
    f->problem.columns = 2 * f->pairs;
    return tl_null_vector(&f->problem);
}

// Puts supports and weights into the response.
static void store_supports(const fitter* f, tl_response* response) {
    response->pairs = f->pairs;
    for (size_t k = 0; k < f->pairs; k++) {
        const size_t at = f->chosen[k];
        const double re = f->problem.vector[2 * k];
        const double im = f->problem.vector[2 * k + 1];
        response->supports[k] = tl_support_make(f->x[at], f->re[at], f->im[at], re, im);
    }
}

// Measures the fit at every sample it may see; returns the largest error.
static double measure_errors(fitter* f, const tl_response* response) {
    double largest = 0.0;
    for (size_t i = 0; i < f->count; i++) {
        f->error[i] = 0.0;
        if (f->is_support[i]) {
            continue;
        }
        const double _Complex value = tl_response_value(response, f->x[i]);
        const double error = hypot(creal(value) - f->re[i], cimag(value) - f->im[i]) * f->unit[i];
        // A support too close to a pole can give no number at all: count that as a full miss.
        f->error[i] = isfinite(error) ? error : HUGE_VAL;
        largest = fmax(largest, f->error[i]);
    }
    return largest;
}

// Makes the worst fitted sample the next support.
static void choose_support(fitter* f) {
    size_t worst = f->count;
    for (size_t i = 0; i < f->count; i++) {
        if (!f->is_support[i] && (worst == f->count || f->error[i] > f->error[worst])) {
            worst = i;
        }
    }
    f->is_support[worst] = true;
    f->chosen[f->pairs++] = worst;
}

// Starts, as the paper does, from the mean as the first approximation.
static void choose_first_support(fitter* f) {
    double mean = 0.0;
    for (size_t i = 0; i < f->count; i++) {
        mean += f->re[i] / (double)f->count;
    }
    for (size_t i = 0; i < f->count; i++) {
        f->error[i] = hypot(f->re[i] - mean, f->im[i]) * f->unit[i];
    }
    choose_support(f);
}

// Solves and stores the weights for the supports chosen so far; returns the largest error, infinite
// when LAPACK could not.
static double fit_supports(fitter* f, tl_response* response) {
    if (!solve_weights(f)) {
        return HUGE_VAL;
    }
    store_supports(f, response);
    return measure_errors(f, response);
}

// Takes the latest supports back.
static void drop_supports(fitter* f, size_t pairs) {
    while (f->pairs > pairs) {
        f->is_support[f->chosen[--f->pairs]] = false;
    }
}

// Weighs each sample anew so that the linear problem's errors become the fit's own: they are the
// fit's times the denominator (Sanathanan and Koerner, IEEE Trans. Autom. Control 8, 1963).
static void weigh_by_denominator(fitter* f, const tl_response* response) {
    for (size_t i = 0; i < f->count; i++) {
        tl_fraction sum;
        if (!f->is_support[i] && !tl_response_sum(response, f->x[i], &sum)) {
            const double size = hypot(sum.den_re, sum.den_im);
            f->row[i] = f->unit[i] / size;
        }
    }
}

static void keep_supports(tl_support* kept, const tl_response* response) {
    memcpy(kept, response->supports, response->pairs * sizeof(tl_support));
}

static void restore_supports(const tl_support* kept, tl_response* response, size_t pairs) {
    memcpy(response->supports, kept, pairs * sizeof(tl_support));
    response->pairs = pairs;
}

// Fits once more with the weights that the first fit's denominator gives, if that is better.
static double refine_fit(fitter* f, tl_response* response, double error) {
    if (error <= rounding_error) {
        return error;
    }
    keep_supports(f->kept, response);
    weigh_by_denominator(f, response);
    const double refined = fit_supports(f, response);
    if (refined < error) {
        return refined;
    }
    restore_supports(f->kept, response, f->pairs);
    return error;
}

// Adds pairs until the fit is as good as the samples are, then goes back to the fewest that do.
static double grow_fit(fitter* f, tl_response* response) {
    choose_first_support(f);
    double error = fit_supports(f, response);
    double best = error;
    size_t best_pairs = 1;
    while (error > rounding_error && f->pairs < f->limit) {
        choose_support(f);
        error = fit_supports(f, response);
        const size_t extra = f->pairs - best_pairs;
        if (best > noise_error || error * pow(clear_gain, (double)extra) < best) {
            best = error;
            best_pairs = f->pairs;
        } else if (extra >= look_ahead) {
            break;
        }
    }
    if (f->pairs > best_pairs) {
        drop_supports(f, best_pairs);
        best = fit_supports(f, response);
    }
    return refine_fit(f, response, best);
}

// Whether a pole's part in the response is no more than the fit's own error at every sample.
static bool is_negligible(const fitter* f, const tl_response* response, const tl_pole* pole,
                          double error) {
    const double allowance = 10.0;
    const double residue = pole->weight * hypot(pole->re, pole->im) / response->scale_rad_s;
    const double re = pole->re / response->scale_rad_s;
    const double im = pole->im / response->scale_rad_s;
    for (size_t i = 0; i < f->count; i++) {
        const double effect = residue / hypot(re, f->x[i] - im) * f->unit[i];
        if (!(effect <= allowance * fmax(error, rounding_error))) {
            return false;
        }
    }
    return true;
}

// Turns the support nearest to a pole back into an ordinary sample.
static void drop_nearest(fitter* f, const tl_response* response, const tl_pole* pole) {
    const double im = pole->im / response->scale_rad_s;
    size_t nearest = 0;
    for (size_t k = 1; k < f->pairs; k++) {
        if (fabs(f->x[f->chosen[k]] - im) < fabs(f->x[f->chosen[nearest]] - im)) {
            nearest = k;
        }
    }
    f->is_support[f->chosen[nearest]] = false;
    f->pairs--;
    for (size_t k = nearest; k < f->pairs; k++) {
        f->chosen[k] = f->chosen[k + 1];
    }
}

// Takes out doublets, poles that all but cancel with a zero, and fits again (the paper's section
// 5). A pair of supports makes two poles, so each two negligible ones cost the pair nearest to
// them. A single one stays: it is the spare degree of freedom of a response with an even number of
// poles. A fit that this would spoil is left as it was.
static bool clean_fit(fitter* f, tl_response* response, double error) {
    size_t negligible = 0;
    const size_t pairs = f->pairs;
    for (size_t i = 0; i < response->pole_count; i++) {
        const tl_pole* pole = &response->poles[i];
        if (is_negligible(f, response, pole, error)) {
            negligible += pole->im > 0.0 ? 2 : 1;
            if (negligible >= 2 && f->pairs > 1) {
                drop_nearest(f, response, pole);
                negligible -= 2;
            }
        }
    }
    if (f->pairs == pairs) {
        return true;
    }
    keep_supports(f->uncleaned, response);
    memcpy(f->row, f->unit, f->count * sizeof(double));
    const double cleaned = refine_fit(f, response, fit_supports(f, response));
    if (cleaned > 3.0 * fmax(error, rounding_error)) {
        restore_supports(f->uncleaned, response, pairs);
    }
    return tl_response_find_poles(response);
}

static double held_out_error(const tl_response* response, size_t count, const double* hz,
                             const double _Complex* h) {
    double largest = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (tl_fit_holds_out(count, i)) {
            const double error =
                cabs(tl_response_at(response, hz[i]) - h[i]) * sample_unit(response, h[i]);
            largest = isfinite(error) ? fmax(largest, error) : HUGE_VAL;
        }
    }
    return largest;
}

// Whether there are numbers enough to fit and to check: ascending, positive, finite.
static bool are_usable(size_t count, const double* hz, const double _Complex* h) {
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(hz[i]) || !isfinite(creal(h[i])) || !isfinite(cimag(h[i])) ||
            !(hz[i] > (i > 0 ? hz[i - 1] : 0.0))) {
            return false;
        }
    }
    return count > first_held_out;
}

static tl_response* new_response(size_t count, const double* hz, const double _Complex* h) {
    tl_response* response = tl_new(1, sizeof *response);
    response->low_hz = hz[0];
    response->high_hz = hz[count - 1];
    response->scale_rad_s = 2.0 * M_PI * sqrt(hz[0] * hz[count - 1]);
    for (size_t i = 0; i < count; i++) {
        response->max_abs = fmax(response->max_abs, cabs(h[i]));
    }
    return response;
}

tl_response* tl_response_fit(size_t count, const double* hz, const double _Complex* h,
                             double* residual) {
    *residual = HUGE_VAL;
    if (!are_usable(count, hz, h) || !tl_lapack_get()) {
        return NULL;
    }
    tl_response* response = new_response(count, hz, h);
    if (response->max_abs == 0.0) {
        *residual = 0.0;
        return response;
    }
    size_t held_out = 0;
    for (size_t i = 0; i < count; i++) {
        held_out += tl_fit_holds_out(count, i);
    }
    fitter f = new_fitter(count - held_out);
    response->supports = tl_new(f.limit, sizeof(tl_support));
    load_samples(&f, response, count, hz, h);
    const double error = grow_fit(&f, response);
    const bool solved =
        isfinite(error) && tl_response_find_poles(response) && clean_fit(&f, response, error);
    *residual = solved ? held_out_error(response, count, hz, h) : HUGE_VAL;
    free_fitter(&f);
    if (!(*residual <= TL_FIT_ACCEPTED)) {
        tl_response_free(response);
        return NULL;
    }
    return response;
}

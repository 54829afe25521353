// SPDX-License-Identifier: GPL-3.0-or-later
/// @file poles.c The poles of a fitted response and how much each matters.
///
/// Method: Nakatsukasa, Sete, Trefethen, SIAM J. Sci. Comput. 40(3), 2018, section 3.2: the poles
/// are the finite eigenvalues of the pencil [0 c'; b A] - s diag(0, I). In real form a conjugate
/// pair of supports is a block A = [0 x; -x 0] with c = (1 0), b = (2 Re w, -2 Im w), since then
/// c' (s - A)^-1 b = 2 (Re w s - Im w x) / (s^2 + x^2). Two reflections that turn b and c into the
/// first axis take the pencil's two infinite eigenvalues out beforehand.

#include "base/text.h"
#include "response/lapack.h"
#include "response/response_internal.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

/// Least |residue|/|pole|, relative to max |H|, of a pole that counts: artefacts have 1e-13 to
/// 1e-6, resonances 1e-2 and up. A pole that counts also lies within the solved band. Beyond it
/// several real poles can show as fewer, with one or the other of them on the wrong side: poles
/// there are what the band needs, not where the rig has them.
static const double counting_weight = 1e-4;
/// Memory for one eigenvalue problem of `size` rows.
typedef struct {
    lapack_int size;
    double* a;
    double* b;
    double* left;
    double* right;
    double* alpha_re;
    double* alpha_im;
    double* beta;
    double* work;
    lapack_int work_size;
} pencil;

// Shares one allocation (`memory->a`) out among the arrays.
static pencil new_pencil(size_t pairs) {
    const size_t size = 2 * pairs;
    pencil p = {.size = (lapack_int)size, .work_size = (lapack_int)(16 * size + 16)};
    p.a = tl_new(2 * size * size + 5 * size + (size_t)p.work_size, sizeof(double));
    p.b = p.a + size * size;
    p.left = p.b + size * size;
    p.right = p.left + size;
    p.alpha_re = p.right + size;
    p.alpha_im = p.alpha_re + size;
    p.beta = p.alpha_im + size;
    p.work = p.beta + size;
    return p;
}

// Fills the pencil A - s I and the vectors b (left) and c (right).
static void fill_pencil(pencil* p, const tl_response* response) {
    const size_t size = (size_t)p->size;
    for (size_t i = 0; i < response->pairs; i++) {
        const tl_support* support = &response->supports[i];
        const size_t row = 2 * i;
        p->a[row + (row + 1) * size] = support->x;
        p->a[row + 1 + row * size] = -support->x;
        p->left[row] = support->den_re;
        p->left[row + 1] = -support->den_im / support->x;
        p->right[row] = 1.0;
    }
    for (size_t i = 0; i < size; i++) {
        p->b[i + i * size] = 1.0;
    }
}

// Turns `vector` into the reflector that maps it onto the first axis; returns the reflector's tau.
static double make_reflector(lapack_int size, double* vector) {
    double alpha = vector[0];
    double tau = 0.0;
    tl_lapack_get()->dlarfg(size, &alpha, vector + 1, 1, &tau);
    vector[0] = 1.0;
    return tau;
}

// Solves the pencil; the finite eigenvalues are those of its lower right block, a row smaller.
static bool solve_pencil(pencil* p) {
    const lapack_int size = p->size;
    const double left = make_reflector(size, p->left);
    const double right = make_reflector(size, p->right);
    double* both[] = {p->a, p->b};
    for (int i = 0; i < 2; i++) {
        tl_lapack_get()->dlarfx(LAPACK_COL_MAJOR, 'L', size, size, p->left, left, both[i], size,
                                p->work);
        tl_lapack_get()->dlarfx(LAPACK_COL_MAJOR, 'R', size, size, p->right, right, both[i], size,
                                p->work);
    }
    double* a = p->a + size + 1;
    double* b = p->b + size + 1;
    return tl_lapack_get()->dggev(LAPACK_COL_MAJOR, 'N', 'N', size - 1, a, size, b, size,
                                  p->alpha_re, p->alpha_im, p->beta, NULL, 1, NULL, 1, p->work,
                                  p->work_size) == 0;
}

/// Numerator, denominator and the denominator's derivatives at any s, and the first two derivatives
/// of the logarithm of what the denominator is divided by, the product of all s^2 + x^2.
typedef struct {
    double _Complex num, den, den_slope, den_bend, log_slope, log_bend;
} value;

// 1 / z without the care for overflow that C's division takes, which is most of its time.
static double _Complex invert(double _Complex z) {
    const double norm = creal(z) * creal(z) + cimag(z) * cimag(z);
    return creal(z) / norm - I * (cimag(z) / norm);
}

static value evaluate(const tl_response* response, double _Complex s) {
    value sum = {0};
    for (size_t i = 0; i < response->pairs; i++) {
        const tl_support* support = &response->supports[i];
        const double _Complex r = invert(s * s + support->x * support->x);
        const double _Complex den = (support->den_re * s - support->den_im) * r;
        const double _Complex slope = (support->den_re - 2.0 * s * den) * r;
        sum.num += (support->num_re * s - support->num_im) * r;
        sum.den += den;
        sum.den_slope += slope;
        sum.den_bend -= 2.0 * (den + 2.0 * s * slope) * r;
        sum.log_slope += 2.0 * s * r;
        sum.log_bend += 2.0 * r - 4.0 * s * s * r * r;
    }
    return sum;
}

// Polishes an eigenvalue by Newton steps on the denominator itself, which a small pole beside large
// ones needs; gives up where a step would lead away.
static double _Complex polish_pole(const tl_response* response, double _Complex s, value* at) {
    const int steps = 3;
    *at = evaluate(response, s);
    for (int i = 0; i < steps; i++) {
        const double _Complex step = at->den / at->den_slope;
        const double size = cabs(step);
        if (!(size < 1e-3 * cabs(s)) || size < 1e-15 * cabs(s)) {
            break;
        }
        s -= step;
        *at = evaluate(response, s);
    }
    return s;
}

// Writes a pole down with its weight, in its place.
static void insert_pole(tl_response* response, double _Complex s, double _Complex scaled_residue) {
    const double residue = cabs(scaled_residue) * response->scale_rad_s;
    tl_pole pole = {.re = creal(s) * response->scale_rad_s, .im = cimag(s) * response->scale_rad_s};
    pole.weight = residue / hypot(pole.re, pole.im);
    if (!isfinite(pole.re) || !isfinite(pole.im) || !isfinite(pole.weight)) {
        return;
    }
    const double size = hypot(pole.re, pole.im);
    const double hz = size / (2.0 * M_PI);
    pole.counts = pole.weight >= counting_weight * response->max_abs && hz >= response->low_hz &&
                  hz <= response->high_hz;
    size_t place = response->pole_count++;
    while (place > 0 &&
           hypot(response->poles[place - 1].re, response->poles[place - 1].im) > size) {
        response->poles[place] = response->poles[place - 1];
        place--;
    }
    response->poles[place] = pole;
}

// The residue of N/D at a zero of D is N/D'.
static void add_pole(tl_response* response, double _Complex s) {
    value at;
    s = polish_pole(response, s, &at);
    insert_pole(response, s, at.num / at.den_slope);
}

static void drop_poles(tl_response* response) {
    free(response->poles);
    response->poles = NULL;
    response->pole_count = 0;
}

enum { MOST_FOLLOWED = 64 };

/// Poles found, with their residues, scaled; of a pair the one above the real axis.
typedef struct {
    size_t count;
    size_t zeros; ///< of the denominator: pairs count twice
    double _Complex s[MOST_FOLLOWED];
    double _Complex residue[MOST_FOLLOWED];
} fractions;

/// A step towards a zero.
typedef struct {
    double _Complex slope; ///< of the polynomial's logarithm, but for the zeros found
    double _Complex bend;  ///< less its second derivative
} pull;

// Takes a zero that was found out of the polynomial, so that none is found twice.
static void take_out(pull* p, double _Complex from_zero) {
    const double _Complex r = invert(from_zero);
    p->slope -= r;
    p->bend -= r * r;
}

// Laguerre's step for the denominator as a polynomial of which `left` zeros are not found yet. It
// leaves the real axis by itself where two real zeros have become a pair, as Newton's cannot.
static double _Complex find_step(const fractions* found, double _Complex s, const value* at,
                                 double left) {
    const double _Complex ratio = at->den_slope * invert(at->den);
    pull p = {ratio + at->log_slope, ratio * ratio - at->den_bend * invert(at->den) - at->log_bend};
    for (size_t i = 0; i < found->count; i++) {
        take_out(&p, s - found->s[i]);
        if (cimag(found->s[i]) != 0.0) {
            take_out(&p, s - conj(found->s[i]));
        }
    }
    const double _Complex root = csqrt((left - 1.0) * (left * p.bend - p.slope * p.slope));
    const double _Complex one = p.slope + root;
    const double _Complex two = p.slope - root;
    return left * invert(cabs(one) > cabs(two) ? one : two);
}

// Goes from a near place to a zero of the denominator; false when the steps do not die down.
static bool seek_zero(const tl_response* response, double _Complex s, fractions* found) {
    const int most_steps = 12;
    const double left = 2.0 * (double)response->pairs - 1.0 - (double)found->zeros;
    for (int i = 0; i < most_steps && found->count < MOST_FOLLOWED && left >= 1.0; i++) {
        value at = evaluate(response, s);
        const double _Complex step = find_step(found, s, &at, left);
        const double size = cabs(step);
        if (at.den != 0.0 && !(size < 2.0 * cabs(s))) {
            return false;
        }
        s = at.den == 0.0 ? s : s - step;
        if (at.den == 0.0 || size < 1e-6 * cabs(s)) { // the next step would be some 1e-18 of it
            if (fabs(cimag(s)) < 1e-7 * cabs(s)) {
                s = creal(s); // two real zeros so near to each other would look alike
            }
            s = cimag(s) < 0.0 ? conj(s) : s;
            at = evaluate(response, s);
            found->zeros += cimag(s) > 0.0 ? 2 : 1;
            found->s[found->count] = s;
            found->residue[found->count++] = at.num * invert(at.den_slope);
            return true;
        }
    }
    return false;
}

// Looks for as many zeros as the pattern has, from where it has them. Where two real ones have
// become a pair, the second is there already; where a pair has become two real ones, what is
// missing is sought from beside what was found.
static bool seek_zeros(const tl_response* response, size_t count, const tl_pole* start,
                       fractions* found) {
    size_t zeros = 0;
    for (size_t i = 0; i < count; i++) {
        zeros += start[i].im > 0.0 ? 2 : 1;
    }
    size_t wanted = 0;
    for (size_t i = 0; i < count && found->zeros < zeros; i++) {
        wanted += start[i].im > 0.0 ? 2 : 1;
        if (found->zeros >= wanted) {
            continue;
        }
        const double _Complex s = (start[i].re + I * start[i].im) / response->scale_rad_s;
        if (!seek_zero(response, s, found)) {
            return false;
        }
    }
    for (size_t i = found->count; i-- > 0 && found->zeros < zeros;) {
        if (cimag(found->s[i]) == 0.0 && !seek_zero(response, 1.1 * found->s[i], found)) {
            return false;
        }
    }
    return found->zeros == zeros;
}

// Whether the poles' partial fractions are the response at a sample, but for what no pole that
// counts could hide in: such a one shows by a third of its weight or more at the nearest sample.
static bool gives_back(const fractions* f, double _Complex constant, double x,
                       double _Complex sample, double largest) {
    double _Complex sum = constant;
    for (size_t i = 0; i < f->count; i++) {
        sum += f->residue[i] * invert(I * x - f->s[i]);
        if (cimag(f->s[i]) != 0.0) {
            sum += conj(f->residue[i]) * invert(I * x - conj(f->s[i]));
        }
    }
    return cabs(sum - sample) <= 0.1 * counting_weight * largest;
}

bool tl_response_follow_poles(tl_response* response, size_t count, const tl_pole* start,
                              size_t samples, const double* x, const double* re, const double* im) {
    fractions f;
    f.count = 0;
    f.zeros = 0;
    drop_poles(response);
    bool found = seek_zeros(response, count, start, &f);
    double num = 0.0;
    double den = 0.0;
    for (size_t i = 0; i < response->pairs; i++) {
        num += response->supports[i].num_re;
        den += response->supports[i].den_re;
    }
    for (size_t i = 0; found && i < samples; i++) {
        found = gives_back(&f, num / den, x[i], re[i] + I * im[i], response->max_abs);
    }
    if (!found) {
        return false;
    }
    response->poles = tl_new(f.count + 1, sizeof(tl_pole));
    for (size_t i = 0; i < f.count; i++) {
        insert_pole(response, f.s[i], f.residue[i]);
    }
    return true;
}

bool tl_response_find_poles(tl_response* response) {
    drop_poles(response);
    if (response->pairs == 0) {
        return true;
    }
    pencil p = new_pencil(response->pairs);
    fill_pencil(&p, response);
    const bool solved = solve_pencil(&p);
    response->poles = tl_new(2 * response->pairs, sizeof(tl_pole));
    for (size_t i = 0; solved && i + 1 < 2 * response->pairs; i++) {
        // LAPACK gives a pair as two neighbours, the one with im > 0 first.
        if (p.beta[i] != 0.0 && p.alpha_im[i] >= 0.0) {
            add_pole(response, (p.alpha_re[i] + I * p.alpha_im[i]) / p.beta[i]);
        }
    }
    free(p.a);
    return solved;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A pickup from a measured sweep.
#include "base/least_squares.h"
#include "base/locale.h"
#include "base/statistics.h"
#include "base/text.h"
#include "study/fit_judge.h"
#include "study/fit_network.h"
#include "study/fit_start.h"
#include "toneload/study.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_POINTS = 4000, CURVE_POINTS = 500, ENOUGH_STARTS = 2, MOST_TRIES = 64 };

/// Eddy losses are kept when they lower Akaike's criterion by this: a model that is so much behind
/// has next to no support (Burnham and Anderson, Model Selection, 2002; from memory).
static const double decisive_aicc = 10;

static const char* const names[TL_FIT_TOTAL] = {"inductance",    "resistance",      "capacitance",
                                                "eddy.fraction", "eddy.resistance", "scale"};

const char* tl_fit_name(tl_fit_value value) {
    return names[value];
}

/// What of the work is needed throughout.
typedef struct {
    const tl_fit_options* options;
    double held[TL_FIT_TOTAL];
    bool scaled; ///< a response whose zero is nobody's
    tl_fit_network* network;
    tl_fit_data data;
    tl_fit* fit;
} working;

static bool holds(const working* w, tl_fit_value value) {
    return !isnan(w->held[value]);
}

/// The problem with or without eddy losses, nothing found yet.
static tl_fit_problem problem_of(const working* w, bool eddy) {
    tl_fit_problem problem = {.data = &w->data, .eddy = eddy, .scale = NAN, .cost = INFINITY};
    for (int i = 0; i < TL_FIT_TOTAL; ++i) {
        tl_fit_value value = (tl_fit_value)i;
        bool is_eddy = value == TL_FIT_EDDY_FRACTION || value == TL_FIT_EDDY_RESISTANCE;
        if (holds(w, value))
            problem.at[i] = tl_fit_coordinate(value, w->held[i]);
        else if ((!is_eddy || eddy) && (value != TL_FIT_SCALE || w->scaled))
            problem.free[problem.free_count++] = value;
    }
    return problem;
}

/// A search from several starts.
typedef struct {
    tl_fit_problem found[MOST_TRIES];
    size_t count;
    size_t best;
    int agreed; ///< starts that led there
} search;

/// A coordinate where a search may begin. Near the ends of what is looked at next to nothing
/// changes with a value, and it would stay there.
static double brought_inside(tl_fit_value value, double coordinate) {
    static const struct {
        double low;
        double high;
    } far[TL_FIT_TOTAL] = {{1e-3, 100},   {30, 100e3}, {1e-12, 1e-7},
                           {0.002, 0.99}, {300, 1e8},  {1e-15, 1e15}},
      near[TL_FIT_TOTAL] = {{0.1, 20},   {300, 30e3}, {10e-12, 1e-9},
                            {0.05, 0.9}, {5e3, 1e6},  {1e-15, 1e15}};
    if (coordinate < tl_fit_coordinate(value, far[value].low))
        return tl_fit_coordinate(value, near[value].low);
    if (coordinate > tl_fit_coordinate(value, far[value].high))
        return tl_fit_coordinate(value, near[value].high);
    return coordinate;
}

static void bring_inside(double start[TL_FIT_TOTAL]) {
    for (int i = 0; i < TL_FIT_TOTAL; ++i)
        start[i] = brought_inside((tl_fit_value)i, start[i]);
}

/// Searches from a start; false once there is no need of more. An impedance has one best place, and
/// two starts that lead there are enough; a response may have several that are as good.
static bool try_start(search* s, const tl_fit_problem* empty, const double start[TL_FIT_TOTAL]) {
    static const double alike = 1e-6;
    if (s->count == MOST_TRIES)
        return false;
    tl_fit_problem* found = &s->found[s->count];
    *found = *empty;
    for (size_t j = 0; j < found->free_count; ++j)
        found->at[found->free[j]] = brought_inside(found->free[j], start[found->free[j]]);
    tl_fit_find(found, false);
    double best = s->count ? s->found[s->best].cost : INFINITY;
    bool better = found->cost < best * (1 - alike);
    if (better || found->cost <= best * (1 + alike))
        s->agreed = better ? 1 : s->agreed + 1;
    if (found->cost < best)
        s->best = s->count;
    ++s->count;
    return empty->data->kind == TL_MEASURED_RESPONSE || s->agreed < ENOUGH_STARTS;
}

/// Whether all values came out that were looked for, none at the end of what is looked at.
static bool is_sane(const tl_fit_problem* found) {
    for (size_t j = 0; j < found->free_count; ++j)
        if (tl_fit_is_end(found->free[j], found->at[found->free[j]]))
            return false;
    return isfinite(found->cost);
}

/// The same but for a resistance that the sweep does not tell.
static bool is_coil(const tl_fit_problem* found) {
    for (size_t j = 0; j < found->free_count; ++j)
        if (found->free[j] != TL_FIT_RESISTANCE &&
            tl_fit_is_end(found->free[j], found->at[found->free[j]]))
            return false;
    return isfinite(found->cost);
}

/// Whether two places are different pickups: by a twentieth in one of their values.
static bool differ(const tl_fit_problem* a, const tl_fit_problem* b) {
    double most = 0;
    for (int i = 0; i <= TL_FIT_CAPACITANCE; ++i)
        most = fmax(most, fabs(a->at[i] - b->at[i]));
    return most > 0.05;
}

/// How far a capacitance is from that of usual windings, 80 to 200 pF (H. E. W. Lemme, The Secrets
/// of Electric Guitar Pickups, as quoted; seen), in logarithms.
static double oddness(const tl_fit_problem* found) {
    return fabs(found->at[TL_FIT_CAPACITANCE] - log(126e-12));
}

/// Looks for another place that fits as well: its cost is more by less than chance alone would make
/// the truth's (3.84 variances in 95 of 100 sweeps; the likelihood ratio of one value). Of two the
/// one that is nearer to usual pickups is the better.
static void settle(tl_fit* fit, search* s) {
    static const double chance = 3.84;
    static const double rounding = 1e-16; // of a miss, squared
    const tl_fit_problem* best = &s->found[s->best];
    double n = (double)tl_fit_miss_count(best);
    double freedom = n - (double)best->free_count;
    double limit = best->cost * (1 + chance / freedom) + n * rounding;
    const tl_fit_problem* other = NULL;
    fit->rival = false;
    for (size_t i = 0; i < s->count; ++i) {
        const tl_fit_problem* found = &s->found[i];
        if (is_sane(found) && found->cost <= limit && differ(best, found) &&
            (!other || found->cost < other->cost))
            other = found;
    }
    if (!other)
        return;
    const tl_fit_problem* rival = other;
    if (oddness(other) < oddness(best)) {
        rival = best;
        s->best = (size_t)(other - s->found);
    }
    fit->rival = true;
    for (int j = 0; j < TL_FIT_TOTAL; ++j)
        fit->rival_values[j] = tl_fit_number((tl_fit_value)j, rival->at[j]);
}

/// The best that was found, once more from there while it pays (in a flat valley steps get small
/// before its floor); and from it with a robust loss, if that is asked for.
static tl_fit_problem finish(const working* w, search* s) {
    enum { MOST_TIMES = 6 };
    tl_fit_problem* best = &s->found[s->best];
    double before = INFINITY;
    for (int i = 0; i < MOST_TIMES && isfinite(best->cost) && best->cost < 0.999 * before; ++i) {
        before = best->cost;
        tl_fit_find(best, false);
    }
    if (w->options->robust && isfinite(best->cost))
        tl_fit_find(best, true);
    return *best;
}

/// Plain coils from the data's own starts.
static void search_plain(const working* w, search* s) {
    double starts[TL_FIT_STARTS][TL_FIT_TOTAL];
    size_t count = tl_fit_starts(&w->data, starts);
    tl_fit_problem empty = problem_of(w, false);
    for (size_t i = 0; i < count && try_start(s, &empty, starts[i]); ++i)
        ;
}

enum { BRIDGES = 5 };

/// A little or much of a coil bridged by a resistance around its reactance at resonance.
static void bridge(double start[TL_FIT_TOTAL], size_t which) {
    static const struct {
        double share;
        double times;
    } bridges[BRIDGES] = {{0.3, 1}, {0.3, 4}, {0.6, 0.3}, {0.1, 0.3}, {0.5, 0.08}};
    double henry = tl_fit_number(TL_FIT_INDUCTANCE, start[TL_FIT_INDUCTANCE]);
    double farad = tl_fit_number(TL_FIT_CAPACITANCE, start[TL_FIT_CAPACITANCE]);
    double ohm = bridges[which].times * sqrt(henry / farad);
    start[TL_FIT_EDDY_FRACTION] = tl_fit_coordinate(TL_FIT_EDDY_FRACTION, bridges[which].share);
    start[TL_FIT_EDDY_RESISTANCE] = tl_fit_coordinate(TL_FIT_EDDY_RESISTANCE, ohm);
}

/// Coils with losses: on from the plain one, and from the data's own starts.
static void search_lossy(const working* w, const search* plains, search* s) {
    double starts[TL_FIT_STARTS + 1][TL_FIT_TOTAL];
    size_t count = tl_fit_starts(&w->data, starts);
    memcpy(starts[count], plains->found[plains->best].at, sizeof starts[0]);
    bring_inside(starts[count++]);
    tl_fit_problem empty = problem_of(w, true);
    bool more = true;
    for (size_t i = 0; more && i < BRIDGES; ++i)
        for (size_t j = 0; more && j < 2; ++j) {
            double* start = starts[j == 0 ? count - 1 : i];
            bridge(start, i);
            more = try_start(s, &empty, start);
        }
}

/// Plain coils from the best with losses: what was lost on the way there is found.
static void search_back(const working* w, const search* lossy, search* plains) {
    tl_fit_problem empty = problem_of(w, false);
    try_start(plains, &empty, lossy->found[lossy->best].at);
}

/// Whether misses hang together or some stand out, so that a better place may exist: by two
/// standard deviations, which one sweep in ten or so has by chance. Changes from point to point
/// over squares: von Neumann, Ann. Math. Statist. 12, 1941 (from memory).
static bool hang_together(const double* misses, size_t n) {
    enum { FEWEST = 12 };
    static const double deviations = 2;
    static const double stands_out = 5;
    double squares = 0;
    double steps = 0;
    double most = 0;
    for (size_t i = 0; i < n; ++i) {
        squares += misses[i] * misses[i];
        steps += i > 0 ? (misses[i] - misses[i - 1]) * (misses[i] - misses[i - 1]) : 0;
        most = fmax(most, fabs(misses[i]));
    }
    double count = (double)n;
    return n < FEWEST || steps / 2 < squares * (1 - deviations / sqrt(count)) ||
           most > stands_out * sqrt(squares / count);
}

static bool may_be_better(const tl_fit_problem* found) {
    static const double exact = 1e-7; ///< misses that are rounding
    size_t n = found->data->count;
    size_t count = tl_fit_miss_count(found);
    if (found->cost < exact * exact * (double)count)
        return false;
    double* misses = tl_new(count, sizeof *misses);
    tl_fit_misses(found, misses);
    bool hang = hang_together(misses, n) || (count > n && hang_together(misses + n, n));
    free(misses);
    return !isfinite(found->cost) || !is_sane(found) || hang;
}

/// Whether the pickup stands behind a resistance such as that of a pot turned down: what is
/// measured is then the pot's for the most part, and several places may look as if by chance.
static bool stands_behind(const tl_fit_data* data) {
    static const double ohm = 1e3;
    double most = 0;
    for (size_t i = 0; i < data->count; ++i)
        most = fmax(most, cabs(data->ports[i].b));
    return most > ohm;
}

/// The next best of a search that is like none of those taken; NULL when there is none.
static const tl_fit_problem* next_best(const search* s, const tl_fit_problem* const taken[],
                                       size_t count, bool coils) {
    const tl_fit_problem* next = NULL;
    for (size_t i = 0; i < s->count; ++i) {
        const tl_fit_problem* found = &s->found[i];
        bool is_new = isfinite(found->cost) && (!coils || is_coil(found)) &&
                      (!next || found->cost < next->cost);
        for (size_t j = 0; is_new && j < count; ++j)
            is_new = differ(found, taken[j]);
        if (is_new)
            next = found;
    }
    return next;
}

/// The best of a search that are not alike, those that a coil can be first; how many.
static size_t take_best(const search* s, const tl_fit_problem* taken[], size_t most) {
    for (size_t count = 0; count < most; ++count) {
        taken[count] = next_best(s, taken, count, true);
        if (!taken[count])
            taken[count] = next_best(s, taken, count, false);
        if (!taken[count])
            return count;
    }
    return most;
}

/// Plain coils from all over.
static void look_plain(const tl_fit_problem* empty, search* s) {
    double starts[TL_FIT_WIDE][TL_FIT_TOTAL];
    size_t count = tl_fit_wide_starts(empty, starts);
    for (size_t i = 0; i < count; ++i)
        try_start(s, empty, starts[i]);
}

/// Coils with losses from the best plain ones, as they are and with what these may have lost: some
/// of the capacitance, or the bridged inductance.
static void look_lossy(const tl_fit_problem* empty, const search* plains, search* s) {
    enum { PLACES = 4, WAYS = 3 };
    static const struct {
        double henries;
        double farads;
    } ways[WAYS] = {{1, 1}, {1, 4}, {2, 2}};
    const tl_fit_problem* taken[PLACES];
    size_t count = take_best(plains, taken, PLACES);
    for (size_t i = 0; i < count; ++i)
        for (size_t j = 0; j < WAYS; ++j)
            for (size_t k = 0; k < BRIDGES; ++k) {
                double start[TL_FIT_TOTAL];
                memcpy(start, taken[i]->at, sizeof start);
                bring_inside(start);
                start[TL_FIT_INDUCTANCE] += log(ways[j].henries);
                start[TL_FIT_CAPACITANCE] += log(ways[j].farads);
                bridge(start, k);
                try_start(s, empty, start);
            }
}

/// On from the best of a look around.
static void go_on(const tl_fit_problem* empty, const search* look, search* s) {
    enum { PLACES = 3 };
    const tl_fit_problem* taken[PLACES];
    size_t count = take_best(look, taken, PLACES);
    for (size_t i = 0; i < count; ++i)
        try_start(s, empty, taken[i]->at);
}

/// Looks all over, in some of the sweep's frequencies and in few steps, and goes on from the best.
static void search_wide(const working* w, search* plains, search* lossy) {
    enum { LOOK_POINTS = 60, LOOK_STEPS = 30 };
    tl_fit_data thin = tl_fit_thin_out(&w->data, LOOK_POINTS);
    tl_fit_problem looking = problem_of(w, false);
    looking.data = &thin;
    looking.most_steps = LOOK_STEPS;
    search look = {.count = 0};
    look_plain(&looking, &look);
    tl_fit_problem empty = problem_of(w, false);
    go_on(&empty, &look, plains);
    if (lossy) {
        looking = problem_of(w, true);
        looking.data = &thin;
        looking.most_steps = LOOK_STEPS;
        search look_with = {.count = 0};
        look_lossy(&looking, &look, &look_with);
        empty = problem_of(w, true);
        go_on(&empty, &look_with, lossy);
        search_back(w, lossy, plains);
    }
    tl_fit_data_clear(&thin);
}

/// Akaike's criterion, corrected for few points: n ln(cost / n) + 2 k + 2 k (k + 1) / (n - k - 1),
/// k being the values and the variance (Hurvich and Tsai, Biometrika 76, 1989; from memory).
static double aicc(const tl_fit_problem* problem, double cost) {
    double n = (double)tl_fit_miss_count(problem);
    double k = (double)problem->free_count + 1;
    double floor = n * 1e-14; // exact data has rounding only
    return n * log(fmax(cost, floor) / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1);
}

/// Of coils with losses the best that one can have is the best, if losses are called for with it.
static void prefer_losses(search* lossy, const search* plains) {
    double plain = aicc(&plains->found[plains->best], plains->found[plains->best].cost);
    if (is_coil(&lossy->found[lossy->best]))
        return;
    size_t best = lossy->count;
    for (size_t i = 0; i < lossy->count; ++i)
        if (is_coil(&lossy->found[i]) &&
            (best == lossy->count || lossy->found[i].cost < lossy->found[best].cost))
            best = i;
    if (best < lossy->count &&
        plain - aicc(&lossy->found[best], lossy->found[best].cost) >= decisive_aicc)
        lossy->best = best;
}

/// Both models, plain only when `lossy` is NULL; from all over when the better one may be better
/// still.
static void search_all(const working* w, search* plains, search* lossy) {
    search_plain(w, plains);
    if (lossy) {
        search_lossy(w, plains, lossy);
        search_back(w, lossy, plains);
    }
    const tl_fit_problem* best = &plains->found[plains->best];
    if (lossy) {
        const tl_fit_problem* with = &lossy->found[lossy->best];
        if (aicc(best, best->cost) - aicc(with, with->cost) >= decisive_aicc)
            best = with;
    }
    if (stands_behind(&w->data) || may_be_better(best))
        search_wide(w, plains, lossy);
}

/// The model that the data calls for.
static tl_fit_problem choose(const working* w) {
    tl_fit* fit = w->fit;
    fit->eddy_aicc = NAN;
    bool forced = holds(w, TL_FIT_EDDY_FRACTION) || holds(w, TL_FIT_EDDY_RESISTANCE);
    search plains = {.count = 0};
    search lossy = {.count = 0};
    const tl_fit_problem eddy = problem_of(w, true);
    bool few = !forced && tl_fit_miss_count(&eddy) < eddy.free_count + 3;
    search_all(w, &plains, few ? NULL : &lossy);
    settle(fit, &plains);
    tl_fit_problem plain = finish(w, &plains);
    if (few)
        return plain;
    prefer_losses(&lossy, &plains);
    settle(fit, &lossy);
    tl_fit_problem with = finish(w, &lossy);
    fit->eddy = forced;
    if (forced)
        return with;
    fit->eddy_tried = true;
    // With a robust loss both are told by the same scale: that of the model that holds more.
    double cost = w->options->robust ? tl_fit_cost(&plain, with.scale) : plain.cost;
    fit->eddy_aicc = aicc(&plain, cost) - aicc(&with, with.cost);
    fit->eddy = fit->eddy_aicc >= decisive_aicc && is_coil(&with);
    if (!fit->eddy)
        settle(fit, &plains);
    return fit->eddy ? with : plain;
}

static tl_status check_count(const working* w, tl_error* error) {
    bool forced = holds(w, TL_FIT_EDDY_FRACTION) || holds(w, TL_FIT_EDDY_RESISTANCE);
    tl_fit_problem problem = problem_of(w, forced);
    size_t misses = tl_fit_miss_count(&problem);
    if (problem.free_count == 0)
        return tl_error_set(error, TL_BAD_INPUT, "--hold holds all values: nothing is left to fit");
    if (misses > problem.free_count)
        return TL_OK;
    return tl_error_set(error, TL_BAD_INPUT,
                        "%zu numbers for %zu values: expected more frequencies, a phase, or values "
                        "given with --hold",
                        misses, problem.free_count);
}

static void fill_points(tl_fit* fit, const tl_fit_problem* problem) {
    const tl_fit_data* data = problem->data;
    const tl_fit_coil coil = tl_fit_coil_at(problem->at, problem->eddy);
    fit->points = tl_new(data->count, sizeof *fit->points);
    fit->point_count = data->count;
    for (size_t i = 0; i < data->count; ++i) {
        double complex model =
            tl_fit_model(data->kind, data->omega[i], &data->ports[i], &coil, NULL);
        fit->points[i] = (tl_fit_point){.hz = data->omega[i] / (2 * M_PI),
                                        .weight = data->root_weight[i] * data->root_weight[i],
                                        .measured = exp(data->ln_size[i]),
                                        .fitted = exp(creal(model)),
                                        .measured_rad = data->phase_rad ? data->phase_rad[i] : NAN,
                                        .fitted_rad = cimag(model)};
    }
}

static void fill_curve(const working* w, const tl_fit_problem* problem) {
    const tl_fit_data* data = problem->data;
    tl_fit* fit = w->fit;
    const tl_fit_coil coil = tl_fit_coil_at(problem->at, problem->eddy);
    fit->curve = tl_new(CURVE_POINTS, sizeof *fit->curve);
    fit->curve_count = CURVE_POINTS;
    double low = data->omega[0];
    double high = data->omega[data->count - 1];
    for (size_t i = 0; i < CURVE_POINTS; ++i) {
        double omega = low * pow(high / low, (double)i / (CURVE_POINTS - 1));
        tl_two_port port;
        tl_fit_network_at(w->network, omega, &port);
        double complex model = tl_fit_model(data->kind, omega, &port, &coil, NULL);
        fit->curve[i] = (tl_fit_point){.hz = omega / (2 * M_PI),
                                       .measured = NAN,
                                       .measured_rad = NAN,
                                       .fitted = exp(creal(model)),
                                       .fitted_rad = cimag(model)};
    }
}

static tl_status solve(working* w, tl_error* error) {
    tl_status status = check_count(w, error);
    if (status != TL_OK)
        return status;
    tl_fit_problem found = choose(w);
    if (!isfinite(found.cost))
        return tl_error_set(error, TL_FAILURE, "no values could be found for this sweep");
    tl_fit* fit = w->fit;
    fit->robust_scale = found.scale;
    fill_points(fit, &found);
    fill_curve(w, &found);
    tl_fit_judge_misses(fit, &found);
    tl_fit_judge(fit, &found, w->held);
    return TL_OK;
}

static tl_status fit_sweep(tl_library* library, const tl_measured* sweep,
                           const tl_fit_options* options, tl_fit* fit, tl_error* error) {
    working w = {.options = options, .fit = fit, .scaled = sweep->relative};
    tl_status status = tl_least_squares_prepare(error);
    if (status == TL_OK)
        status = tl_statistics_prepare(error);
    if (status == TL_OK)
        status = tl_fit_held_read(library, options->held, w.held, error);
    if (status == TL_OK)
        status = tl_fit_network_new(library, options, sweep->kind, &w.network, error);
    if (status == TL_OK) {
        tl_fit_gather(sweep, MOST_POINTS, options->robust, &w.data);
        for (size_t i = 0; i < w.data.count; ++i)
            tl_fit_network_at(w.network, w.data.omega[i], &w.data.ports[i]);
        status = solve(&w, error);
    }
    tl_fit_data_clear(&w.data);
    tl_fit_network_free(w.network);
    return status;
}

tl_status tl_study_fit(tl_library* library, const tl_measured* sweep, const char* file,
                       const tl_fit_options* options, tl_fit** fit, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    *fit = tl_new(1, sizeof **fit);
    **fit = (tl_fit){.file = tl_copy(file),
                     .kind = sweep->kind,
                     .measured = sweep->count,
                     .phased = sweep->phase_rad != NULL,
                     .robust = options->robust,
                     .controls = tl_copy(options->controls),
                     .cable = tl_copy(options->cable),
                     .load = tl_copy(options->load),
                     .held = tl_copy(options->held)};
    tl_status status = fit_sweep(library, sweep, options, *fit, error);
    if (status != TL_OK) {
        tl_fit_free(*fit);
        *fit = NULL;
    }
    tl_locale_restore(locale);
    return status;
}

void tl_fit_free(tl_fit* fit) {
    if (!fit)
        return;
    free(fit->file);
    free(fit->controls);
    free(fit->cable);
    free(fit->load);
    free(fit->held);
    free(fit->points);
    free(fit->curve);
    free(fit->pairs);
    tl_words_free(fit->warnings, fit->warning_count);
    tl_words_free(fit->notes, fit->note_count);
    free(fit);
}

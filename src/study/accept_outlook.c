// SPDX-License-Identifier: GPL-3.0-or-later
// What is predicted at the frequencies a board was measured at: how far good boards may be off, and
// what each thing that may be wrong would make of the curve.
#include "study/accept_work.h"

#include "base/random.h"
#include "base/statistics.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>

enum { CELLS_AN_OCTAVE = 3, NOISE_SEED = 2, MOST_CELLS = 64 };
/// An offset that is removed may be anything: so many dB.
static const double any_offset_db = 100;
/// What straight slopes of tolerance miss beside a fault, dB: from trials of it.
static const double slope_error_db = 0.05;

/// Misses of no known cause are smooth: sizes, dB, each as wide as an octave and as a third of one.
static const double shape_db[TL_ACCEPT_SHAPES / 2] = {0.5, 1.5, 4, 12};
static const double shape_octaves[2] = {1, 1.0 / 3};

static void find_levels(const tl_prospect* p, size_t curve, size_t count, const double* hz,
                        double* db) {
    for (size_t i = 0; i < count; ++i)
        db[i] = tl_response_db(p->curves[curve], hz[i]);
}

/// Puts readings into thirds of an octave, since neighbours share what a meter is off by.
static void find_cells(tl_outlook* o) {
    double last = NAN;
    o->cell = tl_new(o->count, sizeof *o->cell);
    for (size_t i = 0; i < o->count; ++i) {
        double third = floor(CELLS_AN_OCTAVE * log2(o->hz[i] / 1000) + 0.5);
        if (!(third == last))
            ++o->cells;
        o->cell[i] = o->cells - 1;
        last = third;
    }
}

void tl_outlook_cells(const tl_outlook* outlook, const double* db, double* cell_db) {
    size_t counts[MOST_CELLS] = {0};
    for (size_t i = 0; i < outlook->cells; ++i)
        cell_db[i] = 0;
    for (size_t i = 0; i < outlook->count; ++i) {
        cell_db[outlook->cell[i]] += db[i];
        ++counts[outlook->cell[i]];
    }
    for (size_t i = 0; i < outlook->cells; ++i)
        cell_db[i] /= (double)counts[i];
}

/// Levels of a curve by cell; `db` has room for all readings and keeps them.
static void find_cell_levels(const tl_prospect* p, const tl_outlook* o, size_t curve, double* db,
                             double* cell_db) {
    find_levels(p, curve, o->count, o->hz, db);
    tl_outlook_cells(o, db, cell_db);
}

// ---- what is left open

/// What the meter leaves open, in every cell by itself and (unless `bare`) in all of them together.
static double* meter_covariance(const tl_prospect* p, const tl_outlook* o, bool bare) {
    double* covariance = tl_new(o->cells * o->cells, sizeof *covariance);
    double common_db = bare ? 0 : o->offset_removed ? any_offset_db : p->meter_db;
    for (size_t i = 0; i < o->cells; ++i)
        for (size_t j = 0; j < o->cells; ++j)
            covariance[i * o->cells + j] =
                common_db * common_db + (i == j ? p->meter_db * p->meter_db : 0);
    return covariance;
}

/// Adds what tolerances do around a curve: its slopes along each direction.
static void add_tolerances(const tl_prospect* p, const tl_outlook* o, const double* base_db,
                           size_t slopes, size_t directions, double* covariance) {
    double* db = tl_new(o->count, sizeof *db);
    double slope[MOST_CELLS];
    for (size_t d = 0; d < directions; ++d) {
        find_cell_levels(p, o, slopes + d, db, slope);
        for (size_t i = 0; i < o->cells; ++i)
            slope[i] = (slope[i] - base_db[i]) / TL_ACCEPT_SLOPE_STEP;
        for (size_t i = 0; i < o->cells; ++i)
            for (size_t j = 0; j < o->cells; ++j)
                covariance[i * o->cells + j] += slope[i] * slope[j];
    }
    free(db);
}

static double* good_covariance(const tl_prospect* p, const tl_outlook* o, bool bare) {
    double* covariance = meter_covariance(p, o, bare);
    add_tolerances(p, o, o->cell_db, p->slopes, p->direction_count, covariance);
    return covariance;
}

/// A miss whose levels at two frequencies go together the more, the nearer they are.
static double* shaped_covariance(const tl_prospect* p, const tl_outlook* o, const double* octave,
                                 size_t shape) {
    double* covariance = good_covariance(p, o, false);
    double size_db = shape_db[shape / 2];
    for (size_t i = 0; i < o->cells; ++i)
        for (size_t j = 0; j < o->cells; ++j) {
            double apart = (octave[i] - octave[j]) / shape_octaves[shape % 2];
            covariance[i * o->cells + j] += size_db * size_db * exp(-apart * apart / 2);
        }
    return covariance;
}

static void make_shapes(const tl_prospect* p, tl_outlook* o) {
    double* octaves = tl_new(o->count, sizeof *octaves);
    double octave[MOST_CELLS];
    for (size_t i = 0; i < o->count; ++i)
        octaves[i] = log2(o->hz[i]);
    tl_outlook_cells(o, octaves, octave);
    o->none = tl_new(TL_ACCEPT_SHAPES, sizeof *o->none);
    for (size_t i = 0; i < TL_ACCEPT_SHAPES; ++i)
        o->none[i] = tl_normal_of(shaped_covariance(p, o, octave, i), o->cells);
    free(octaves);
}

/// Least squares weighed by the inverse of the covariance (generalised; Aitken 1935, from memory).
double tl_outlook_offset(const tl_outlook* outlook, const double* cell_db) {
    double x[MOST_CELLS];
    double sum = 0;
    double weight = 0;
    for (size_t i = 0; i < outlook->cells; ++i)
        x[i] = cell_db[i];
    tl_normal_whiten(&outlook->bare, x);
    for (size_t i = 0; i < outlook->cells; ++i) {
        sum += outlook->ones[i] * x[i];
        weight += outlook->ones[i] * outlook->ones[i];
    }
    return sum / weight;
}

// ---- good boards

static double noise_of(size_t trial, size_t index) {
    return tl_normal_quantile(tl_random_uniform(NOISE_SEED, trial, (uint32_t)index));
}

/// The joint test's figure of a good board, its readings' misses in `db`.
static double try_board(const tl_prospect* p, const tl_outlook* o, size_t trial, double* db) {
    double cell_db[MOST_CELLS];
    double tested_db[MOST_CELLS];
    double common_db = p->meter_db * noise_of(trial, 0);
    find_cell_levels(p, o, p->trials + trial, db, tested_db);
    for (size_t i = 0; i < o->cells; ++i)
        tested_db[i] += p->meter_db * noise_of(trial, 1 + i) + common_db - o->cell_db[i];
    for (size_t i = 0; i < o->count; ++i)
        db[i] += p->meter_db * noise_of(trial, 1 + MOST_CELLS + i) + common_db - o->db[i];
    tl_outlook_cells(o, db, cell_db);
    double offset_db = o->offset_removed ? tl_outlook_offset(o, cell_db) : 0;
    for (size_t i = 0; i < o->count; ++i)
        db[i] -= offset_db;
    return tl_normal_distance(&o->good, tested_db);
}

/// The figure that this share of good boards stay below, so that one more does with this
/// probability: of n ordered ones number level (n + 1).
static double limit_of(double* figures) {
    qsort(figures, TL_ACCEPT_TRIALS, sizeof *figures, tl_compare_doubles);
    return figures[(size_t)ceil(TL_ACCEPT_LEVEL * (TL_ACCEPT_TRIALS + 1)) - 1];
}

/// Middle and standard deviation of the good boards' misses at a reading.
static void find_spread(const double* db, size_t count, size_t reading, double* middle,
                        double* deviation) {
    double sum = 0;
    double squares = 0;
    for (size_t t = 0; t < TL_ACCEPT_TRIALS; ++t)
        sum += db[t * count + reading];
    *middle = sum / TL_ACCEPT_TRIALS;
    for (size_t t = 0; t < TL_ACCEPT_TRIALS; ++t)
        squares += pow(db[t * count + reading] - *middle, 2);
    *deviation = sqrt(squares / (TL_ACCEPT_TRIALS - 1));
}

/// The limits of both tests: of the joint one, and of the band that holds whole boards.
static void find_limits(const tl_prospect* p, tl_outlook* o) {
    double* db = tl_new(TL_ACCEPT_TRIALS * o->count, sizeof *db);
    double figures[TL_ACCEPT_TRIALS];
    double farthest[TL_ACCEPT_TRIALS] = {0};
    for (size_t t = 0; t < TL_ACCEPT_TRIALS; ++t)
        figures[t] = try_board(p, o, t, db + t * o->count);
    o->limit = limit_of(figures);
    o->middle_db = tl_new(o->count, sizeof *o->middle_db);
    o->half_db = tl_new(o->count, sizeof *o->half_db);
    for (size_t i = 0; i < o->count; ++i) {
        find_spread(db, o->count, i, &o->middle_db[i], &o->half_db[i]);
        for (size_t t = 0; t < TL_ACCEPT_TRIALS; ++t)
            farthest[t] =
                fmax(farthest[t], fabs(db[t * o->count + i] - o->middle_db[i]) / o->half_db[i]);
    }
    double times = limit_of(farthest);
    for (size_t i = 0; i < o->count; ++i)
        o->half_db[i] *= times;
    free(db);
}

// ---- suspects

static void make_class(const tl_prospect* p, const tl_outlook* o, const tl_suspect_class* class,
                       tl_outlook_class* made) {
    made->db = tl_new(class->steps * o->count, sizeof *made->db);
    made->cell_db = tl_new(class->steps * o->cells, sizeof *made->cell_db);
    made->nodes = tl_new(class->nodes, sizeof *made->nodes);
    for (size_t i = 0; i < class->steps; ++i)
        find_cell_levels(p, o, class->first + i, made->db + i * o->count,
                         made->cell_db + i * o->cells);
    for (size_t i = 0; i < class->nodes; ++i) {
        size_t step = class->nodes > 1 ? i * (TL_ACCEPT_STEPS - 1) / (TL_ACCEPT_NODES - 1) : 0;
        double* covariance = meter_covariance(p, o, false);
        add_tolerances(p, o, made->cell_db + step * o->cells, class->slopes + i * class->directions,
                       class->directions, covariance);
        for (size_t j = 0; j < o->cells; ++j)
            covariance[j * o->cells + j] += slope_error_db * slope_error_db;
        made->nodes[i] = tl_normal_of(covariance, o->cells);
    }
}

void tl_outlook_make(const tl_prospect* prospect, const double* hz, size_t count,
                     bool offset_removed, tl_outlook* outlook) {
    *outlook = (tl_outlook){.offset_removed = offset_removed, .count = count};
    outlook->hz = tl_new(count, sizeof *outlook->hz);
    for (size_t i = 0; i < count; ++i)
        outlook->hz[i] = hz[i];
    find_cells(outlook);
    outlook->db = tl_new(count, sizeof *outlook->db);
    outlook->cell_db = tl_new(outlook->cells, sizeof *outlook->cell_db);
    find_cell_levels(prospect, outlook, 0, outlook->db, outlook->cell_db);
    outlook->good = tl_normal_of(good_covariance(prospect, outlook, false), outlook->cells);
    outlook->bare = tl_normal_of(good_covariance(prospect, outlook, true), outlook->cells);
    outlook->ones = tl_new(outlook->cells, sizeof *outlook->ones);
    for (size_t i = 0; i < outlook->cells; ++i)
        outlook->ones[i] = 1;
    tl_normal_whiten(&outlook->bare, outlook->ones);
    find_limits(prospect, outlook);
    make_shapes(prospect, outlook);
    outlook->classes = tl_new(prospect->class_count + 1, sizeof *outlook->classes);
    for (size_t i = 0; i < prospect->class_count; ++i)
        make_class(prospect, outlook, &prospect->classes[i], &outlook->classes[i]);
}

void tl_outlook_free(const tl_prospect* prospect, tl_outlook* outlook) {
    for (size_t i = 0; outlook->classes && i < prospect->class_count; ++i) {
        for (size_t j = 0; j < prospect->classes[i].nodes; ++j)
            tl_normal_free(&outlook->classes[i].nodes[j]);
        free(outlook->classes[i].db);
        free(outlook->classes[i].cell_db);
        free(outlook->classes[i].nodes);
    }
    for (size_t i = 0; outlook->none && i < TL_ACCEPT_SHAPES; ++i)
        tl_normal_free(&outlook->none[i]);
    tl_normal_free(&outlook->good);
    tl_normal_free(&outlook->bare);
    free(outlook->ones);
    free(outlook->classes);
    free(outlook->none);
    free(outlook->hz);
    free(outlook->cell);
    free(outlook->db);
    free(outlook->cell_db);
    free(outlook->middle_db);
    free(outlook->half_db);
    *outlook = (tl_outlook){0};
}

// SPDX-License-Identifier: GPL-3.0-or-later
// One board against what is predicted: both tests, and what is the likeliest single thing wrong.
//
// Causes are weighed by Bayes's rule: the evidence of a cause is the density of the readings under
// it, averaged over the values it may have (evenly in log, or in position); tolerances and meter
// are in the covariance. All classes, and none of them, are as likely before the board is looked
// at. After MacKay, Information Theory, Inference, and Learning Algorithms, 2003, ch. 28 (from
// memory).
#include "study/accept_work.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_CELLS = 64, FINE = 16, FINE_STEPS = FINE * (TL_ACCEPT_STEPS - 1) + 1 };
enum { MOST_SHOWN = 12 };
static const double least_shown = 1e-4; ///< probability
static const double least_drawn = 0.1;
/// Curves that differ by less, weighed by the meter alone, are told apart by no measurement.
static const double told_apart = 1;
/// How much worse a fit may be, in log density, and still be the same to a measurement.
static const double as_good = 2;
/// A cause holds when it leaves no more than this times what good boards stay below: slopes are
/// straight beside it.
static const double holds_times = 1.5;

/// What the readings say of one class.
typedef struct {
    size_t class;
    double* log_density; ///< by fine step
    double evidence;     ///< logarithm
    double best;         ///< step of its best value
    double best_density; ///< logarithm
    double low;          ///< steps
    double high;
    double statistic;
    bool taken;
} weighing;

/// Weights of four neighbours for a cubic between the middle two (Catmull and Rom 1974, from
/// memory); `at` is where the first of them is.
static void cubic(double step, size_t steps, size_t index[4], double weight[4]) {
    double whole = fmin(floor(step), (double)steps - 2);
    double t = step - whole;
    for (int i = 0; i < 4; ++i)
        index[i] = (size_t)fmin(fmax(whole + i - 1, 0), (double)steps - 1);
    weight[0] = ((2 - t) * t - 1) * t / 2;
    weight[1] = ((3 * t - 5) * t * t + 2) / 2;
    weight[2] = ((4 - 3 * t) * t + 1) * t / 2;
    weight[3] = (t - 1) * t * t / 2;
}

void tl_accept_between(const double* rows, size_t steps, size_t count, double step, double* out) {
    size_t index[4] = {0};
    double weight[4] = {1, 0, 0, 0};
    if (steps > 1)
        cubic(step, steps, index, weight);
    for (size_t i = 0; i < count; ++i) {
        out[i] = 0;
        for (int k = 0; k < 4; ++k)
            out[i] += weight[k] * rows[index[k] * count + i];
    }
}

/// What the squared length of any row between rows follows from: products of each row with itself
/// and the three after it.
typedef double products[4];

static products* multiply(const double* rows, size_t steps, size_t count) {
    products* made = tl_new(steps, sizeof *made);
    for (size_t i = 0; i < steps; ++i)
        for (size_t j = i; j < steps && j < i + 4; ++j)
            for (size_t k = 0; k < count; ++k)
                made[i][j - i] += rows[i * count + k] * rows[j * count + k];
    return made;
}

static double distance_at(const products* rows, size_t steps, double step) {
    size_t index[4] = {0};
    double weight[4] = {1, 0, 0, 0};
    double sum = 0;
    if (steps > 1)
        cubic(step, steps, index, weight);
    for (int i = 0; i < 4; ++i)
        for (int j = i; j < 4; ++j)
            sum += (i == j ? 1 : 2) * weight[i] * weight[j] * rows[index[i]][index[j] - index[i]];
    return sum;
}

/// The two nodes a step lies between, and how far it is from the first to the second.
static size_t node_of(double step, double* share) {
    double at = step * (TL_ACCEPT_NODES - 1) / (TL_ACCEPT_STEPS - 1);
    double whole = fmin(floor(at), TL_ACCEPT_NODES - 2);
    *share = at - whole;
    return (size_t)whole;
}

/// The misses of all steps of a class, whitened by a node.
static products* whiten_all(const tl_outlook* o, const tl_suspect_class* class,
                            const tl_outlook_class* seen, size_t node, const double* measured) {
    double* all = tl_new(class->steps * o->cells, sizeof *all);
    for (size_t step = 0; step < class->steps; ++step) {
        double* x = all + step * o->cells;
        for (size_t i = 0; i < o->cells; ++i)
            x[i] = measured[i] - seen->cell_db[step * o->cells + i];
        tl_normal_whiten(&seen->nodes[node], x);
    }
    products* made = multiply(all, class->steps, o->cells);
    free(all);
    return made;
}

/// Where the probability up to there is `share` of all.
static double step_at_share(const double* log_density, double most, double share) {
    double sum = 0;
    double so_far = 0;
    for (size_t i = 0; i < FINE_STEPS; ++i)
        sum += exp(log_density[i] - most);
    for (size_t i = 0; i < FINE_STEPS; ++i) {
        double next = so_far + exp(log_density[i] - most);
        if (next >= share * sum)
            return ((double)i - 0.5 + (share * sum - so_far) / (next - so_far)) / FINE;
        so_far = next;
    }
    return TL_ACCEPT_STEPS - 1;
}

static void weigh_number(const tl_outlook_class* seen, products* const* nodes, weighing* w) {
    const double last = TL_ACCEPT_STEPS - 1;
    double sum = 0;
    w->log_density = tl_new(FINE_STEPS, sizeof *w->log_density);
    w->best_density = -INFINITY;
    for (size_t i = 0; i < FINE_STEPS; ++i) {
        double step = (double)i / FINE;
        double share = 0;
        size_t node = node_of(step, &share);
        double one = distance_at(nodes[node], TL_ACCEPT_STEPS, step);
        double other = distance_at(nodes[node + 1], TL_ACCEPT_STEPS, step);
        w->log_density[i] = (1 - share) * tl_normal_log_density(&seen->nodes[node], one) +
                            share * tl_normal_log_density(&seen->nodes[node + 1], other);
        if (w->log_density[i] > w->best_density) {
            w->best_density = w->log_density[i];
            w->best = step;
            w->statistic = (1 - share) * one + share * other;
        }
    }
    for (size_t i = 0; i < FINE_STEPS; ++i)
        sum += exp(w->log_density[i] - w->best_density);
    w->evidence = w->best_density + log(sum / FINE_STEPS);
    w->low = fmax(0, step_at_share(w->log_density, w->best_density, 0.025));
    w->high = fmin(last, step_at_share(w->log_density, w->best_density, 0.975));
}

static void weigh(const tl_prospect* p, const tl_outlook* o, const double* measured, weighing* w) {
    const tl_suspect_class* class = &p->classes[w->class];
    const tl_outlook_class* seen = &o->classes[w->class];
    products* nodes[TL_ACCEPT_NODES] = {NULL};
    for (size_t i = 0; i < class->nodes; ++i)
        nodes[i] = whiten_all(o, class, seen, i, measured);
    if (class->steps > 1) {
        weigh_number(seen, nodes, w);
    } else {
        w->statistic = distance_at(nodes[0], 1, 0);
        w->best_density = tl_normal_log_density(&seen->nodes[0], w->statistic);
        w->evidence = w->best_density;
    }
    for (size_t i = 0; i < class->nodes; ++i)
        free(nodes[i]);
}

/// The evidence of a miss of no known cause: all shapes alike.
static double weigh_none(const tl_outlook* o, const double* miss) {
    double logs[TL_ACCEPT_SHAPES];
    double x[MOST_CELLS];
    double most = -INFINITY;
    double sum = 0;
    for (size_t i = 0; i < TL_ACCEPT_SHAPES; ++i) {
        for (size_t j = 0; j < o->cells; ++j)
            x[j] = miss[j];
        logs[i] = tl_normal_log_density(&o->none[i], tl_normal_distance(&o->none[i], x));
        most = fmax(most, logs[i]);
    }
    for (size_t i = 0; i < TL_ACCEPT_SHAPES; ++i)
        sum += exp(logs[i] - most);
    return most + log(sum / TL_ACCEPT_SHAPES);
}

// ---- what cannot be told apart

/// How far two curves are apart, weighed by the meter alone; an offset that is removed counts
/// nothing.
static double apart(const tl_prospect* p, const tl_outlook* o, const double* one,
                    const double* other) {
    double mean = 0;
    double sum = 0;
    for (size_t i = 0; i < o->cells; ++i)
        mean += (one[i] - other[i]) / (double)o->cells;
    for (size_t i = 0; i < o->cells; ++i) {
        double db = one[i] - other[i] - (o->offset_removed ? mean : 0);
        sum += db * db / (p->meter_db * p->meter_db);
    }
    return sum;
}

/// The step at which a class comes nearest to a curve, and how near.
static double nearest(const tl_prospect* p, const tl_outlook* o, size_t class, const double* curve,
                      double* least) {
    size_t steps = p->classes[class].steps;
    double best = 0;
    double db[MOST_CELLS];
    *least = INFINITY;
    for (size_t i = 0; i < (steps > 1 ? FINE_STEPS : 1); ++i) {
        tl_accept_between(o->classes[class].cell_db, steps, o->cells, (double)i / FINE, db);
        double off = apart(p, o, db, curve);
        if (off < *least) {
            *least = off;
            best = (double)i / FINE;
        }
    }
    return best;
}

/// Whether a measurement could not tell two classes apart: the one can do what the other is fitted
/// to. `step` is that of `other` that goes with the first one's.
static bool is_alike(const tl_prospect* p, const tl_outlook* o, const weighing* one,
                     const weighing* other, double* step) {
    double db[MOST_CELLS];
    double least = 0;
    *step = other->best;
    if (one->best_density - other->best_density > as_good)
        return false;
    tl_accept_between(o->classes[other->class].cell_db, p->classes[other->class].steps, o->cells,
                      other->best, db);
    nearest(p, o, one->class, db, &least);
    if (least <= told_apart)
        return true;
    tl_accept_between(o->classes[one->class].cell_db, p->classes[one->class].steps, o->cells,
                      one->best, db);
    *step = nearest(p, o, other->class, db, &least);
    return least <= told_apart;
}

// ---- what is told

/// Adds the causes of a class at a value: those members that can have it.
static void add_causes(const tl_prospect* p, const weighing* w, double step, tl_cause_class* made) {
    const tl_suspect_class* class = &p->classes[w->class];
    const tl_suspect* first = &p->suspects[class->suspects[0]];
    double shift = step - w->best;
    const double steps[] = {step, w->low + shift, w->high + shift};
    for (size_t i = 0; i < class->count; ++i) {
        const tl_suspect* suspect = &p->suspects[class->suspects[i]];
        double values[3] = {NAN, NAN, NAN};
        for (int k = 0; k < 3 && class->steps > 1; ++k)
            values[k] = tl_suspect_adding(
                suspect, tl_suspect_added(first, tl_suspect_value(first, steps[k])));
        if (class->steps > 1 && i > 0 && !(values[0] >= suspect->low && values[0] <= suspect->high))
            continue;
        made->causes = tl_grow(made->causes, made->count + 1, sizeof *made->causes);
        tl_cause* cause = &made->causes[made->count++];
        *cause = (tl_cause){.kind = suspect->kind, .value = values[0]};
        cause->low = fmin(values[1], values[2]);
        cause->high = fmax(values[1], values[2]);
        if (!(cause->low > 0)) // more of it than this member has
            cause->low = class->steps > 1 ? fmin(suspect->low, values[0]) : NAN;
        if (suspect->adds == TL_ADDS_SIEMENS && (values[1] <= 0 || values[2] <= 0))
            cause->high = INFINITY;
        tl_cause_describe(p, suspect, cause);
    }
}

/// Where a kind of cause stands among those that cannot be told apart: what a builder would look at
/// first (common practice).
static int rank_of(tl_cause_kind kind) {
    static const tl_cause_kind order[TL_CAUSE_KINDS] = {
        TL_CAUSE_LEAD,   TL_CAUSE_NOBUFFER, TL_CAUSE_ON,    TL_CAUSE_OFF,  TL_CAUSE_BYPASS,
        TL_CAUSE_VOLUME, TL_CAUSE_TONE,     TL_CAUSE_JOINT, TL_CAUSE_LEAK, TL_CAUSE_VALUE};
    int rank = 0;
    while (order[rank] != kind)
        ++rank;
    return rank;
}

/// How many times it is wrong; a kind without such a number: 0.
static double times_off(const tl_cause* cause) {
    double times = fabs(log(cause->value / cause->stated));
    return isfinite(times) ? times : 0;
}

/// By kind, then what is the least wrong, then by path.
static int by_rank(const void* a, const void* b) {
    const tl_cause* one = a;
    const tl_cause* other = b;
    if (one->kind != other->kind)
        return rank_of(one->kind) - rank_of(other->kind);
    if (times_off(one) != times_off(other))
        return times_off(one) < times_off(other) ? -1 : 1;
    return strcmp(one->path, other->path);
}

static bool is_one_stretch(const tl_prospect* p, size_t class) {
    const tl_suspect_class* c = &p->classes[class];
    return p->suspects[c->suspects[0]].adds == TL_ADDS_FARAD;
}

/// What a curve between those that were solved comes to at a frequency.
static double smooth_at(const tl_prospect* p, const tl_suspect_class* class, double step,
                        double hz) {
    size_t index[4] = {0};
    double weight[4] = {1, 0, 0, 0};
    double db = 0;
    if (class->steps > 1)
        cubic(step, class->steps, index, weight);
    for (int k = 0; k < 4; ++k)
        if (weight[k] != 0)
            db += weight[k] * tl_response_db(p->curves[class->first + index[k]], hz);
    return db;
}

/// The curve of a class as it is drawn, with what it leaves.
static void add_curve(const tl_prospect* p, const tl_outlook* o, const weighing* w,
                      const tl_board_check* board, const double* measured, tl_cause_class* made) {
    double miss[MOST_CELLS];
    double offset_db = 0;
    double squares = 0;
    made->db = tl_new(o->count, sizeof *made->db);
    tl_accept_between(o->classes[w->class].db, p->classes[w->class].steps, o->count, w->best,
                      made->db);
    if (o->offset_removed) {
        tl_accept_between(o->classes[w->class].cell_db, p->classes[w->class].steps, o->cells,
                          w->best, miss);
        for (size_t i = 0; i < o->cells; ++i)
            miss[i] = measured[i] - miss[i];
        offset_db = tl_outlook_offset(o, miss) - board->offset_db;
    }
    for (size_t i = 0; i < o->count; ++i) {
        made->db[i] += offset_db;
        squares += pow(board->readings[i].measured_db - made->db[i], 2);
    }
    made->smooth_db =
        made->probability > least_drawn ? tl_new(TL_SMOOTH_POINTS, sizeof *made->smooth_db) : NULL;
    for (size_t i = 0; made->smooth_db && i < TL_SMOOTH_POINTS; ++i)
        made->smooth_db[i] =
            offset_db + smooth_at(p, &p->classes[w->class], w->best, board->smooth_hz[i]);
    made->left_db = sqrt(squares / (double)o->count);
    made->statistic = w->statistic;
    made->holds = w->statistic <= holds_times * o->limit;
}

static int by_evidence(const void* a, const void* b) {
    const weighing* one = a;
    const weighing* other = b;
    if (one->evidence != other->evidence)
        return one->evidence < other->evidence ? 1 : -1;
    return one->class < other->class ? -1 : 1;
}

static int by_probability(const void* a, const void* b) {
    const tl_cause_class* one = a;
    const tl_cause_class* other = b;
    return (one->probability < other->probability) - (one->probability > other->probability);
}

/// Makes classes of what is left of the weighings, the likeliest first, each with all that cannot
/// be told from it.
static void gather(const tl_prospect* p, const tl_outlook* o, weighing* all, double total,
                   const double* measured, tl_board_check* board) {
    for (size_t i = 0; i < p->class_count && board->class_count < MOST_SHOWN; ++i) {
        if (all[i].taken || exp(all[i].evidence - total) < least_shown)
            continue;
        tl_cause_class made = {.probability = exp(all[i].evidence - total)};
        add_causes(p, &all[i], all[i].best, &made);
        made.one_stretch = is_one_stretch(p, all[i].class);
        for (size_t j = i + 1; j < p->class_count; ++j) {
            double step = 0;
            if (all[j].taken || !is_alike(p, o, &all[i], &all[j], &step))
                continue;
            all[j].taken = true;
            made.one_stretch = false;
            made.probability += exp(all[j].evidence - total);
            add_causes(p, &all[j], step, &made);
        }
        made.one_stretch = made.one_stretch && made.count > 1;
        if (made.causes)
            qsort(made.causes, made.count, sizeof *made.causes, by_rank);
        add_curve(p, o, &all[i], board, measured, &made);
        board->classes = tl_grow(board->classes, board->class_count + 1, sizeof *board->classes);
        board->classes[board->class_count++] = made;
    }
    if (board->class_count)
        qsort(board->classes, board->class_count, sizeof *board->classes, by_probability);
}

static void find_causes(const tl_prospect* p, const tl_outlook* o, const double* measured,
                        const double* miss, tl_board_check* board) {
    weighing* all = tl_new(p->class_count + 1, sizeof *all);
    double none = weigh_none(o, miss);
    double most = none;
    for (size_t i = 0; i < p->class_count; ++i) {
        all[i].class = i;
        weigh(p, o, measured, &all[i]);
        most = fmax(most, all[i].evidence);
    }
    double sum = exp(none - most);
    for (size_t i = 0; i < p->class_count; ++i)
        sum += exp(all[i].evidence - most);
    double total = most + log(sum);
    board->none = exp(none - total);
    if (p->class_count)
        qsort(all, p->class_count, sizeof *all, by_evidence);
    gather(p, o, all, total, measured, board);
    board->explained = board->class_count && board->classes[0].holds &&
                       board->classes[0].probability > board->none;
    for (size_t i = 0; i < p->class_count; ++i)
        free(all[i].log_density);
    free(all);
}

/// The predicted curve between the readings too.
static void draw_smooth(const tl_prospect* p, const tl_outlook* o, tl_board_check* board) {
    double ratio = o->hz[o->count - 1] / o->hz[0];
    board->smooth_hz = tl_new(TL_SMOOTH_POINTS, sizeof *board->smooth_hz);
    board->smooth_db = tl_new(TL_SMOOTH_POINTS, sizeof *board->smooth_db);
    for (size_t i = 0; i < TL_SMOOTH_POINTS; ++i) {
        board->smooth_hz[i] = o->hz[0] * pow(ratio, (double)i / (TL_SMOOTH_POINTS - 1));
        board->smooth_db[i] = tl_response_db(p->curves[0], board->smooth_hz[i]);
    }
}

/// Holds every reading against its band.
static void judge_readings(const tl_outlook* o, tl_board_check* board) {
    double squares = 0;
    double worst = -1;
    for (size_t i = 0; i < o->count; ++i) {
        tl_reading* reading = &board->readings[i];
        reading->measured_db -= o->offset_removed ? board->offset_db : 0;
        reading->predicted_db = o->db[i];
        reading->low_db = o->db[i] + o->middle_db[i] - o->half_db[i];
        reading->high_db = o->db[i] + o->middle_db[i] + o->half_db[i];
        double off = fabs(reading->measured_db - o->db[i] - o->middle_db[i]) / o->half_db[i];
        reading->inside = off <= 1;
        board->outside += !reading->inside;
        squares += pow(reading->measured_db - reading->predicted_db, 2);
        if (off > worst) {
            worst = off;
            board->worst = i;
        }
    }
    board->rms_db = sqrt(squares / (double)o->count);
}

void tl_accept_judge(const tl_prospect* prospect, const tl_outlook* outlook,
                     tl_board_check* board) {
    double measured[MOST_CELLS];
    double miss[MOST_CELLS];
    double tested[MOST_CELLS];
    double* db = tl_new(outlook->count, sizeof *db);
    for (size_t i = 0; i < outlook->count; ++i)
        db[i] = board->readings[i].measured_db;
    tl_outlook_cells(outlook, db, measured);
    free(db);
    for (size_t i = 0; i < outlook->cells; ++i)
        tested[i] = miss[i] = measured[i] - outlook->cell_db[i];
    board->offset_removed = outlook->offset_removed;
    board->offset_db = tl_outlook_offset(outlook, miss);
    board->cells = outlook->cells;
    board->limit = outlook->limit;
    board->statistic = tl_normal_distance(&outlook->good, tested);
    judge_readings(outlook, board);
    draw_smooth(prospect, outlook, board);
    board->accepted = board->outside == 0 && board->statistic <= board->limit;
    if (board->accepted)
        tl_accept_find_blind(prospect, outlook, board);
    else
        find_causes(prospect, outlook, measured, miss, board);
}

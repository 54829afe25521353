// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bench_card.h What the measurements of a bench share: lines, specimens, jobs.
///
/// A kind of measurement is a bench_kind, a row in bench_run.c: it says how many jobs it is for a
/// specimen, what each asks the solver first, and what it makes of a reply: figures, or the next
/// request. To add a figure: its line in bench_lines.c, and where it is measured.
#ifndef TL_STUDY_BENCH_CARD_H
#define TL_STUDY_BENCH_CARD_H

#include "circuit/setup.h"
#include "solve/pool.h"
#include "study/session.h"
#include "toneload/bench.h"

#include <stdbool.h>
#include <stddef.h>

/// Loads: index = resistance * TL_BENCH_FARADS + capacitance.
enum { TL_BENCH_OHMS = 3, TL_BENCH_FARADS = 6, TL_BENCH_LOADS = TL_BENCH_OHMS * TL_BENCH_FARADS };
/// The load that is next to none: the last resistance, no capacitance.
enum { TL_BENCH_LIGHT = (TL_BENCH_OHMS - 1) * TL_BENCH_FARADS };
/// The heaviest: the first resistance, the last capacitance.
enum { TL_BENCH_HEAVY = TL_BENCH_FARADS - 1 };
enum { TL_BENCH_LEADS = 3 };
/// What noise is measured with: shorted, 10 kohm, a pickup.
enum { TL_BENCH_SOURCES = 3 };

typedef struct {
    double value;
    const char* id;    ///< as in a line's id: "10k", "3nf", "300mm"
    const char* words; ///< for people: "10 kohm"
} bench_step;

extern const bench_step bench_ohms[TL_BENCH_OHMS];
extern const bench_step bench_farads[TL_BENCH_FARADS];
extern const bench_step bench_leads[TL_BENCH_LEADS];

/// A pickup with a lead into a resistance: pole and Q.
typedef struct {
    double pole_hz;
    double q;
} bench_resonance;

/// What is the same for all specimens of a run.
typedef struct {
    tl_bench_line* lines;
    size_t line_count;
    char** pickup_names;
    tl_part** pickups;
    size_t pickup_count;
    tl_part* leads[TL_BENCH_LEADS];
    bench_resonance* into_1mohm; ///< by pickup * TL_BENCH_LEADS + lead
    bench_resonance* into_open;
    bool has_references; ///< these two are filled in
} bench_card;

/// One specimen: a design, or one of its corners.
typedef struct {
    const tl_design* design;
    double supply_share; ///< of the nominal supply
    tl_bench_figure* figures;
    tl_bench_figure spare;  ///< what a figure without a line is written to
    tl_bench_curve* curves; ///< by kind; NULL: none wanted
    tl_bench_noise* noises; ///< by source; NULL: none wanted
    double gain_1khz_db[TL_BENCH_LOADS];
    double gain_20khz_db[TL_BENCH_LOADS];
    double cutoff_hz[TL_BENCH_LOADS]; ///< INFINITY: beyond what was solved
    double peaking_db[TL_BENCH_LOADS];
    double overshoot_share[TL_BENCH_LOADS];
    double ringing_hz[TL_BENCH_LOADS]; ///< the least damped pole's, NAN when there is none
    double ringing_q[TL_BENCH_LOADS];
    bool oscillates[TL_BENCH_LOADS];
    bool loaded[TL_BENCH_LOADS]; ///< the load was measured
    unsigned late;               ///< analyses that ran out of time
} bench_specimen;

typedef struct bench_job bench_job;

/// A kind of measurement.
typedef struct {
    /// Beginnings of the ids it fills, NULL at the end: what is still empty when a request is
    /// refused says so.
    const char* const* ids;
    bool without_design; ///< its jobs are done once, not for each specimen
    /// How many jobs it is for a specimen; NULL: one.
    size_t (*count)(const bench_card* card, const tl_design* design);
    /// Fills in the first setup and request of a job.
    void (*ask)(bench_job* job);
    /// Takes a reply; true: job->request has to be solved next.
    bool (*take)(bench_job* job, const tl_reply* reply);
    /// Asks once more for what was refused, now with loose tolerances; NULL: that is of no use.
    void (*retry)(bench_job* job);
} bench_kind;

extern const bench_kind bench_rest;
extern const bench_kind bench_power_up;
extern const bench_kind bench_load;
extern const bench_kind bench_input;
extern const bench_kind bench_output;
extern const bench_kind bench_ripple;
extern const bench_kind bench_distortion;
extern const bench_kind bench_headroom;
extern const bench_kind bench_slew;
extern const bench_kind bench_noise;
extern const bench_kind bench_pickup;
extern const bench_kind bench_pickup_reference;

struct bench_job {
    const bench_kind* kind;
    size_t index; ///< among the jobs of its kind
    bench_card* card;
    bench_specimen* specimen; ///< NULL: without a design
    tl_bench_deck** decks;    ///< all that were asked about: the last is the current one
    size_t deck_count;
    tl_request request;
    bool loose;      ///< from now on
    bool given_up;   ///< not asked any more: too many analyses of this design ran out of time
    unsigned round;  ///< of a search
    double state[4]; ///< of a search
};

/// A setup of the job's specimen with the light load and nothing else.
tl_setup bench_setup(const bench_job* job, tl_drive drive);
/// The current deck.
const tl_bench_deck* bench_deck(const bench_job* job);
/// Makes a setup's deck the current one and its request a sweep, a point or a transient.
void bench_ask_sweep(bench_job* job, const tl_setup* setup, unsigned per_decade, double low_hz,
                     double high_hz);
void bench_ask_point(bench_job* job, const tl_setup* setup);
void bench_ask_transient(bench_job* job, const tl_setup* setup, double stop_s, double step_s);
void bench_ask_noise(bench_job* job, const tl_setup* setup);

/// A reply's values of one probe.
const double _Complex* bench_swept(const tl_reply* reply, size_t probe);
const double* bench_real(const tl_reply* reply, size_t probe);

/// Fits a reply; NULL: not determined yet. Then `*again` says whether job->request asks for more
/// frequencies, or these were the most there are.
tl_response* bench_fit(bench_job* job, const tl_reply* reply, size_t probe, bool* again);

/// The figure of an id; the specimen's spare one when the card has no such line.
tl_bench_figure* bench_figure_of(const bench_card* card, bench_specimen* specimen,
                                 const char* format, ...) TL_PRINTF(3, 4);
/// The same of a job's specimen.
tl_bench_figure* bench_figure(bench_job* job, const char* format, ...) TL_PRINTF(2, 3);
void bench_put(bench_job* job, double value, const char* format, ...) TL_PRINTF(3, 4);
/// Says of all figures of the job's kind that are still empty why they are.
void bench_refuse(bench_job* job, const char* words);

/// How bad a value is: larger is worse. NAN when there is no value, or no telling.
double bench_badness(const tl_bench_line* line, const tl_bench_figure* figure);

/// A copy of numbers as a curve of the specimen, when curves are wanted.
void bench_keep_curve(bench_job* job, tl_bench_curve_kind kind, size_t count, const double* x,
                      const double* y);

/// What follows from all loads together: worst gain, cut-off, peaking, overshoot; stability.
void bench_finish_loads(const bench_card* card, bench_specimen* specimen);
/// The same for pickups, and what was put against 1 Mohm and open.
void bench_finish_pickups(const bench_card* card, bench_specimen* specimen);

/// A specimen with nothing measured; `shown`: with room for curves and noise.
bench_specimen* bench_specimen_new(const bench_card* card, const tl_design* design,
                                   double supply_share, bool shown);
void bench_specimen_free(const bench_card* card, bench_specimen* specimen);
/// Free what figures, curves and noises of a specimen, or of a result, hold.
void bench_figures_free(tl_bench_figure* figures, size_t count);
void bench_curves_clear(tl_bench_curve curves[TL_BENCH_CURVES]);
void bench_noises_free(tl_bench_noise* noises, size_t count);

/// Measures all there is of many specimens, on all workers.
tl_status bench_measure(tl_session* session, bench_card* card, bench_specimen* const* specimens,
                        size_t count, tl_error* error);

/// A design at the extremes of its tolerances and of its supply: fills in the worst of each figure.
/// The nominal specimen counts too.
tl_status bench_corners(tl_session* session, bench_card* card, const bench_specimen* nominal,
                        tl_bench_design* result, tl_error* error);

/// What a design does in a rig: every buffer of the rig is one of these.
tl_status bench_in_rig(tl_session* session, const bench_card* card, tl_rig* rig,
                       bench_specimen* specimen, tl_error* error);

/// Index of a line by its id; SIZE_MAX when there is none.
size_t bench_find_line(const bench_card* card, const char* id);
/// Fills in the lines: those of the pickups by their names, those of the rig when there is one.
void bench_make_lines(bench_card* card, bool with_rig);

#endif

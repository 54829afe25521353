// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress_level.h What of another lead's voltage and current arrives at an amp.
#ifndef TL_STUDY_DRESS_LEVEL_H
#define TL_STUDY_DRESS_LEVEL_H

#include "study/dress_couple.h"
#include "study/dress_source.h"
#include "toneload/dress.h"

#include <complex.h>

// What is added to every response of a run, so that a way which lets nothing through (back through
// a buffer) is not solved as rounding errors: ohm, and volts per volt.
#define TL_DRESS_KNOWN_OHM 1e-3
#define TL_DRESS_KNOWN_SHARE 1e-6

/// What was solved of a rig at an audio lead, for one amp; each with what is known added.
typedef struct {
    const tl_response* injected;  ///< volts at the amp per ampere into the lead's core
    const tl_response* at_lead;   ///< volts there per ampere: the impedance the core sees
    const tl_response* in_series; ///< volts at the amp per volt in series with the core
} tl_dress_solved;

/// A line of a source with all that does not depend on how the leads lie.
typedef struct {
    tl_source_line line;
    double weight; ///< A-weighting
    double _Complex injected;
    double _Complex at_lead;
    double _Complex in_series;
} tl_dress_probe;

/// The probes of a source; free with free().
tl_dress_probe* tl_dress_probes(const tl_source* source, const tl_dress_solved* solved);

/// Volts at the amp per volt on the other lead, through a capacitance: j w C Zt / (1 + j w C Zl),
/// Zl being what the core sees. With Zl of R beside C2 at the amp itself it is Ott's j w R C / (1 +
/// j w R (C + C2)).
double _Complex tl_through_capacitance(double farad, double hz, double _Complex injected,
                                       double _Complex at_lead);

/// The level that comes of leads that lie like this; `floor_v` is the rig's noise, A-weighted.
tl_dress_level tl_dress_level_of(const tl_dress_probe* probes, size_t count,
                                 const tl_run_geometry* lie, double floor_v);

/// A run among others, at one amp.
typedef struct {
    const tl_dress_probe* probes;
    size_t count;
    tl_run_geometry lie;
    double mains_hz; ///< beside mains: the frequency; else 0
} tl_dress_summand;

/// The level of runs together. Mains of one frequency are taken to be one phase, so that of these
/// runs the volts of each line add, electric and magnetic ones apart; all else adds as powers.
tl_dress_level tl_dress_sum_of(const tl_dress_summand* runs, size_t count, double floor_v);
/// The spacing of run `moved` that brings their sum TL_DRESS_MARGIN_DB under the floor; NAN as
/// below.
double tl_dress_sum_enough_m(const tl_dress_summand* runs, size_t count, size_t moved,
                             double floor_v);

/// Verdict and distance from the floor of a level whose A-weighted volts are known.
void tl_dress_judge(tl_dress_level* level, double floor_v);

/// The spacing and the angle that bring it TL_DRESS_MARGIN_DB under the floor; NAN: none does, or
/// none is needed.
double tl_dress_enough_m(const tl_dress_probe* probes, size_t count, const tl_run_geometry* lie,
                         double floor_v);
double tl_dress_enough_deg(const tl_dress_probe* probes, size_t count, const tl_run_geometry* lie,
                           double floor_v);

/// The lines at the amp up to 20 kHz, those of one frequency together, ascending.
tl_dress_line* tl_dress_lines(const tl_dress_probe* probes, size_t count,
                              const tl_run_geometry* lie, size_t* line_count);

#endif

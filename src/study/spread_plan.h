// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread_plan.h Which values of a rig are drawn, and the circuit of a trial.
#ifndef TL_STUDY_SPREAD_PLAN_H
#define TL_STUDY_SPREAD_PLAN_H

#include "circuit/circuit.h"
#include "rig/rig.h"
#include "toneload/spread.h"

#include <stdbool.h>
#include <stddef.h>

/// A value with a tolerance.
typedef struct {
    tl_part* part; ///< of the plan's own rig
    size_t field;
    double nominal; ///< SI unit
    double share;   ///< tolerance, of the nominal value
    bool uniform;
    size_t value; ///< of the drawn values: the one that it is, or moves with
} tl_spread_entry;

/// What trials of one rig have in common.
typedef struct {
    tl_rig* rig; ///< a clone, whose values are set for each trial
    bool alone;  ///< its circuits are without the direct line-up
    tl_spread_entry* entries;
    size_t entry_count;
    tl_spread_value* values; ///< those drawn; taken over by the result
    size_t value_count;
    tl_circuit* nominal;
    size_t* same; ///< by element: the first that always has its value (tl_circuit_alike())
    tl_deck* deck;
} tl_spread_plan;

/// Finds what is drawn: every value with a tolerance of its own or (unless `only_stated`) by its
/// kind that changes the circuit. TL_BAD_INPUT when there is none, or when within their tolerances
/// the values make circuits of different shapes.
tl_status tl_spread_plan_make(tl_rig* rig, bool only_stated, tl_spread_plan* plan, tl_error* error);
/// The same of the rig alone, without its direct line-up, and with all tolerances that are known.
/// A rig in which none matters makes a plan without values.
tl_status tl_spread_plan_make_alone(tl_rig* rig, tl_spread_plan* plan, tl_error* error);
void tl_spread_plan_free(tl_spread_plan* plan);

/// How far from its nominal value, as a share of the tolerance (-1 to 1), a uniform number puts a
/// value. Normal: truncated at 3 sigma, which the tolerance is, by the inverse of its distribution.
double tl_spread_offset(double uniform_number, bool uniform);

/// The circuit with each entry so far off, -1 to 1 of its tolerance; free with tl_circuit_free().
tl_circuit* tl_spread_plan_build(tl_spread_plan* plan, const double* offsets);
/// The same with all of them `offset` off.
tl_circuit* tl_spread_plan_build_all(tl_spread_plan* plan, double offset);
/// The same for a trial of a seed.
tl_circuit* tl_spread_plan_draw(tl_spread_plan* plan, uint64_t seed, uint64_t trial);
/// The same with drawn value `value` (and what moves with it) `offset` off and the rest nominal.
tl_circuit* tl_spread_plan_shift(tl_spread_plan* plan, size_t value, double offset);

/// Whether a circuit can be solved by setting values in the plan's deck.
bool tl_spread_plan_fits(const tl_spread_plan* plan, const tl_circuit* circuit);
void tl_spread_values_free(tl_spread_value* values, size_t count);

#endif

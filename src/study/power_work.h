// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power_work.h What the steps of a power plan carry along, and the steps.
#ifndef TL_STUDY_POWER_WORK_H
#define TL_STUDY_POWER_WORK_H

#include "study/power_board.h"
#include "study/power_route.h"
#include "study/session.h"
#include "toneload/power.h"

typedef struct {
    tl_session* session;
    tl_rig* rig;
    const tl_power* power;
    tl_board* board;
    size_t* at; ///< by pedal: its output, or TL_NOWHERE
    tl_route route;
    tl_power_plan* plan;
} tl_power_work;

/// When no assignment keeps all rules: a smallest group of pedals and limits in the way, in words.
tl_status tl_power_conflict(tl_power_work* work, tl_error* error);
/// Why no output feeds a pedal, whatever the limits; or NULL.
const char* tl_power_misfit(const tl_power_work* work, size_t pedal);
/// The same board: what stands in the way, the smallest change of each kind, and who can be fed all
/// the same.
tl_status tl_power_changes(tl_power_work* work, tl_error* error);
/// Of a board that cannot be: who can be fed all the same, as `work->at`.
tl_status tl_power_feed_most(tl_power_work* work, tl_error* error);
/// Who is plugged in where, and what is wrong with that: the plan of tl_study_power() without
/// mains, changes, faults and loops. The rig has a `power`. Free with tl_power_plan_free().
tl_status tl_power_assignment(tl_rig* rig, tl_power_plan** plan, tl_error* error);
/// What a DC lead is and comes to.
typedef struct {
    double ohm_per_m; ///< of one conductor
    double length_m;
    double joint_ohm; ///< of one contact; there are four
    bool jointed;     ///< the rig names them
    bool assumed;
} tl_power_lead;
tl_power_lead tl_power_lead_of(const tl_power* power, const tl_consumer* consumer);
/// Everything there is to know about the assignment; errors first.
void tl_power_findings(tl_power_work* work);
/// What is gone when an output, a return or a supply fails.
void tl_power_faults(tl_power_work* work);
/// What pulsed loads put on the sound, as assigned, isolated and shared.
tl_status tl_power_loops(tl_power_work* work, tl_error* error);

/// "'a', 'b' and 'c'": the names of some pedals. Free with free().
char* tl_power_names(const tl_power_plan* plan, const size_t* pedals, size_t count);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power.h Whether there is power for all of a board: who is plugged in where, what stands in
/// the way, what fails with what, and what a shared return puts on the sound.
#ifndef TONELOAD_POWER_H
#define TONELOAD_POWER_H

#include "toneload/api.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// No output, no supply, no pedal: where an index could stand.
#define TL_POWER_NONE SIZE_MAX

/// Who draws, and what arrives there.
typedef struct {
    char* name;
    bool in_chain; ///< a pedal or buffer; else a device beside the chain
    bool digital;
    bool pulses;   ///< the rig states a pulse
    bool in_path;  ///< the signal passes it in the state the rig is in
    size_t output; ///< or TL_POWER_NONE
    bool given;    ///< the rig says so
    double volts_v;
    const char* polarity;
    double current_a;
    double inrush_a; ///< its current when nothing is said
    double lead_ohm; ///< there and back, joints included
    double lead_m;
    double arrives_v; ///< at its steady current; NAN without an output
    double starts_v;  ///< at its inrush
} tl_power_pedal;

typedef struct {
    char* name; ///< "brick/1"
    size_t supply;
    size_t group;   ///< its return
    double volts_v; ///< NAN: it can be set and feeds nobody
    char* choices;  ///< "9, 12 or 18 V", or "" when it has one voltage
    const char* polarity;
    bool isolated;
    double limit_a;
    double peak_a; ///< for the tens of ms of a start
    double load_a;
    double surge_a; ///< the largest start on top of the others' draw
    size_t pedals;
} tl_power_output;

typedef struct {
    char* name;
    const char* make; ///< "switching" or "linear"
    double load_w;
    double limit_w; ///< NAN: none stated
    double efficiency;
    bool efficiency_assumed;
    double power_factor;
    bool power_factor_assumed;
    double mains_w;
    double heat_w; ///< in the supply itself
} tl_power_supply;

/// Whether a supply takes a mains.
typedef enum { TL_MAINS_UNSTATED, TL_MAINS_TAKEN, TL_MAINS_SELECTOR, TL_MAINS_REFUSED } tl_mains;

typedef struct {
    double volts_v;
    double hz;
    bool tour; ///< one of the others it is to be plugged into
    double mains_w;
    double current_a;
    tl_mains* takes; ///< by supply
} tl_power_mains;

typedef enum { TL_POWER_ERROR, TL_POWER_WARNING, TL_POWER_NOTE } tl_power_gravity;
/// "error", "warning", "note".
TL_API const char* tl_power_gravity_word(tl_power_gravity gravity);

/// Something to know about the assignment.
typedef struct {
    tl_power_gravity gravity;
    const char* kind; ///< "polarity", "over-current", ..
    size_t pedal;     ///< or TL_POWER_NONE
    size_t output;    ///< or TL_POWER_NONE
    char* words;
} tl_power_finding;

/// The smallest change of its kind that makes the board possible, tried and found to do.
typedef struct {
    const char* kind; ///< "headroom", "adapter", "move", "current", "supply", "output", "share",
                      ///< "leave", "outputs"
    char* words;
    size_t output;  ///< that gives more
    size_t supply;  ///< that gives more
    size_t* pedals; ///< who is moved, adapted, left out; or on the one more output
    size_t pedal_count;
    double headroom;  ///< that is left, or NAN
    double volts_v;   ///< of the one more output, or NAN
    double current_a; ///< more of it, or of the one more output all of it; or NAN
    double power_w;   ///< more of it, or NAN
    double buy_a;     ///< what that output is to give in all, in figures one can buy; or NAN
    double peak_a;    ///< and for a moment, when a start asks for more; or NAN
} tl_power_change;

/// What is gone when one thing fails.
typedef struct {
    const char* kind; ///< "output", "return" or "supply"
    char* name;
    size_t* dead; ///< pedals
    size_t dead_count;
    size_t* blocking; ///< those of them that stop the signal in the state the rig is in
    size_t blocking_count;
    bool steps_off; ///< stepping off those lets the signal pass
    size_t* stuck;  ///< those of `blocking` that stop it on or off
    size_t stuck_count;
    size_t* unknown; ///< dead devices: what they do to the signal is not known
    size_t unknown_count;
    size_t* amps; ///< that go silent
    size_t amp_count;
    char* words;
} tl_power_fault;

/// Thirds of an octave from 20 Hz to 20 kHz.
enum { TL_POWER_BANDS = 31 };
/// Centre of a band, Hz: 10^(n/10), as IEC 61260 has it. Its edges lie 10^(1/20) either way.
TL_API double tl_power_band_hz(size_t band);

/// What the pulses of the loads put on one amp.
typedef struct {
    double a_weighted_v;
    double total_v;  ///< 20 Hz to 20 kHz, unweighted
    double floor_db; ///< A-weighted, against the rig's own noise floor; NAN when there is none
    double clear_db; ///< at most, in a band, against the noise in that band; NAN the same
    double clear_hz; ///< the middle of that band
    double* hz;      ///< of the harmonics, ascending
    double* level_v; ///< root mean square of each
    size_t count;
    double band_v[TL_POWER_BANDS]; ///< by third of an octave
} tl_power_hum;

/// The ground loops of one way to wire the returns.
typedef struct {
    const char* kind; ///< "assigned", "isolated" or "shared"
    const char* words;
    size_t sharing; ///< pedals in the signal path on a return with another, of all returns
    tl_power_hum* amps;
} tl_power_loop;

/// What the loops are reckoned with.
typedef struct {
    double shield_share;
    bool shield_assumed;
    double stray_farad;
    bool stray_assumed;
    double lead_henry_per_m;
    bool lead_assumed;       ///< a DC lead's gauge and length are not said
    bool joints_stated;      ///< some DC lead names its joints
    bool joints_missing;     ///< some does not
    double shield_ohm_per_m; ///< of leads that state no resistance; NAN: all do
} tl_power_loop_terms;

typedef struct {
    char* rig; ///< title
    bool feasible;
    bool settled; ///< the assignment is the best by all goals, not by the first two only
    double headroom;
    bool headroom_assumed;
    tl_power_pedal* pedals;
    size_t pedal_count;
    tl_power_output* outputs;
    size_t output_count;
    tl_power_supply* supplies;
    size_t supply_count;
    size_t group_count;
    tl_power_mains* mains; ///< the stated one first
    size_t mains_count;
    tl_power_finding* findings; ///< errors first
    size_t finding_count;
    char* conflict; ///< what stands in the way; NULL when feasible
    size_t* conflict_pedals;
    size_t conflict_pedal_count;
    tl_power_change* changes; ///< the least trouble first
    size_t change_count;
    tl_power_fault* faults;
    size_t fault_count;
    char* unstated; ///< pedals and buffers of the chain nothing is said of, in words; or NULL
    size_t unstated_count;
    size_t pulsed;      ///< loads that pulse
    char* loop_trouble; ///< why the ground loops could not be solved; or NULL
    char** amps;        ///< by name
    double* noise_v;    ///< by amp: A-weighted noise floor of the rig; NULL when nothing pulses
    double (*noise_band_v)[TL_POWER_BANDS]; ///< by amp
    size_t amp_count;
    tl_power_loop* loops; ///< none when nothing pulses
    size_t loop_count;
    tl_power_loop_terms terms;
    bool leads_known; ///< DC leads are said in the rig
} tl_power_plan;

#endif

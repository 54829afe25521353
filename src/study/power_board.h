// SPDX-License-Identifier: GPL-3.0-or-later
/// @file power_board.h Pedals and outputs as numbers, and their assignment by exact optimisation.
///
/// Rules no assignment may break: an output's limit and a supply's, less the headroom; volts and
/// polarity equal; no digital pedal on one return with a high-gain one; nothing on one return with
/// a pedal of positive ground. Among those that keep them, in this order: fewest pedals that share
/// a return; fewest outputs that a start may overload; each pedal on no stronger output than
/// need be (least sum, over the pedals, of the limits of their outputs), so that the strong ones
/// stay spare; and the first pedal at the first output that does.
#ifndef TL_STUDY_POWER_BOARD_H
#define TL_STUDY_POWER_BOARD_H

#include "rig/power.h"
#include "study/milp.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TL_NOWHERE SIZE_MAX
/// Kept free of every limit when the rig says nothing (common practice: a supply should not run at
/// its limit all evening).
#define TL_POWER_HEADROOM 0.2

/// An output. Currents are whole microamperes, in mA, so that sums are exact.
typedef struct {
    double limit_ma;
    double peak_ma;
    double volts_v[TL_OUTPUT_VOLTS];
    size_t volt_count;
    int polarity; ///< index into tl_kind_output's words
    bool isolated;
    size_t group; ///< its return: outputs of one supply that are not isolated have one together
    size_t supply;
} tl_board_output;

typedef struct {
    double volts_v;
    double current_ma;
    double inrush_ma; ///< its current when nothing is said
    int polarity;
    bool digital;
    bool high_gain;
    bool positive_ground;
    bool out;     ///< left out: it needs no output
    bool adapted; ///< through an adapter that turns its polarity
    bool excused; ///< stands where it was given, whatever the rules say of those like it
    size_t given; ///< the output it was given, or TL_NOWHERE
} tl_board_pedal;

typedef struct {
    tl_board_output* outputs;
    size_t output_count;
    tl_board_pedal* pedals;
    size_t pedal_count;
    double* supply_mw; ///< by supply; infinite: no limit of its own
    size_t supply_count;
    size_t group_count;
    double headroom;  ///< share of every limit kept free
    bool hum_allowed; ///< digital pedals may share with high-gain ones
} tl_board;

tl_board* tl_board_new(const tl_power* power);
tl_board* tl_board_copy(const tl_board* board);
void tl_board_free(tl_board* board);

/// Whether an output could feed a pedal but for its limit: volts and polarity.
bool tl_board_fits(const tl_board* board, size_t pedal, size_t output);
/// Why two pedals must not have one return.
typedef enum { TL_APART_NOT, TL_APART_HUM, TL_APART_GROUND } tl_apart;
tl_apart tl_board_apart(const tl_board* board, size_t one, size_t other);
/// Pedals that share a return, less one for each return they share; and outputs at which the start
/// of one pedal on top of the others' draw is more than the output gives for a moment.
size_t tl_board_sharing(const tl_board* board, const size_t* at);
size_t tl_board_surges(const tl_board* board, const size_t* at);
/// The surge at an output: the largest start on top of the others' draw, mA; `*who` starts.
double tl_board_surge_ma(const tl_board* board, const size_t* at, size_t output, size_t* who);
double tl_board_load_ma(const tl_board* board, const size_t* at, size_t output);
double tl_board_supply_mw(const tl_board* board, const size_t* at, size_t supply);
/// Whether an assignment breaks no rule; `at[pedal]` is an output or, for one left out, TL_NOWHERE.
bool tl_board_holds(const tl_board* board, const size_t* at);

/// What may be bent, each at a cost of its own, when no assignment keeps all rules.
typedef enum {
    TL_BEND_NOTHING,
    TL_BEND_MOVE,     ///< pedals that were given an output go to another
    TL_BEND_HEADROOM, ///< less of it
    TL_BEND_ADAPTER,  ///< pedals on an isolated output of the other polarity, alone there
    TL_BEND_CURRENT,  ///< one output gives more
    TL_BEND_SUPPLY,   ///< one supply gives more
    TL_BEND_OUTPUT,   ///< one more isolated output
    TL_BEND_HUM,      ///< digital beside high-gain
    TL_BEND_LEAVE,    ///< pedals stay without
    TL_BENDS
} tl_bend;

/// The model of a board with one kind of bending, its columns by what they mean.
typedef struct {
    const tl_board* board;
    tl_bend bend;
    tl_milp* milp;
    size_t* on;      ///< [pedal * outputs + output]; TL_NOWHERE: it does not fit
    size_t* adapted; ///< the same, through an adapter
    size_t* volts;   ///< [output * TL_OUTPUT_VOLTS + choice] of outputs with a choice
    size_t* more;    ///< by output or supply: what it gives more, mA or mW
    size_t* more_of; ///< by output or supply: whether it gives more
    size_t* left;    ///< by pedal: left out; or moved
    size_t* fresh;   ///< by pedal: on the one more output
    size_t* pairs;   ///< [pedal * pedals + pedal]: allowed to hum
    size_t spare;    ///< headroom that is kept; or what the one more output gives, mA
} tl_board_model;

tl_board_model* tl_board_model_new(const tl_board* board, tl_bend bend);
void tl_board_model_free(tl_board_model* model);
/// Adds columns of how many pedals beyond the first each return has, each at a cost.
void tl_board_model_add_sharing(tl_board_model* model, double cost);

/// The best assignment that keeps all rules; `*feasible` false: it is proven that there is none.
/// `at` by pedal. `*proven` (may be NULL) false: the last two goals were given up on a large board;
/// the first two never are.
tl_status tl_board_assign(const tl_board* board, size_t* at, bool* feasible, bool* proven,
                          tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file accept_work.h The steps of a check of finished boards, each in a file of its own.
///
/// What can be wrong (suspects) and what it does to the curve is solved once, whatever the number
/// of boards; what a board's readings say of it is linear algebra after that.
#ifndef TL_STUDY_ACCEPT_WORK_H
#define TL_STUDY_ACCEPT_WORK_H

#include "base/place.h"
#include "study/leads.h"
#include "study/normal.h"
#include "study/session.h"
#include "study/slots.h"
#include "study/spread_plan.h"
#include "toneload/accept.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    TL_ACCEPT_TRIALS = 499,  ///< good boards that limits are taken from
    TL_ACCEPT_STEPS = 33,    ///< values of a suspect that are solved
    TL_ACCEPT_NODES = 5,     ///< of those: where tolerances are solved too
    TL_ACCEPT_READINGS = 400 ///< of a board; more are put together
};
/// Good boards that each of the two tests lets pass.
#define TL_ACCEPT_LEVEL 0.99
/// Curves nearer to each other than this, dB, are taken for one.
#define TL_ACCEPT_SAME_DB 0.02

/// How a suspect is put into the rig.
typedef enum {
    TL_CHANGE_NUMBER, ///< a part's number
    TL_CHANGE_CHOICE, ///< a part's choice
    TL_CHANGE_REMOVE, ///< an item becomes a wire
    TL_CHANGE_JOINT,  ///< a contact with resistance in a gap
    TL_CHANGE_LEAK    ///< a contact that leaks in a gap
} tl_change;

/// What a suspect adds to the circuit: suspects that add the same thing at the same place are one.
typedef enum { TL_ADDS_OTHER, TL_ADDS_FARAD, TL_ADDS_SIEMENS, TL_ADDS_OHM } tl_adds;

/// One thing that may be wrong.
typedef struct {
    tl_cause_kind kind;
    tl_change change;
    tl_adds adds;
    tl_part* part; ///< of the plan's rig; of a change in a gap the contact
    size_t field;
    size_t slot;
    char* path;
    char* about;
    tl_unit unit;
    double stated; ///< as it is told: farad of a lead, else the field's number
    double low;    ///< values tried
    double high;
    bool linear;   ///< evenly, not by ratio
    double factor; ///< the field's number by what is told
    size_t choice; ///< of a choice
} tl_suspect;

/// Suspects that do the same to the curve. The first one's values stand for all.
typedef struct {
    size_t* suspects;
    size_t count;
    size_t steps; ///< TL_ACCEPT_STEPS, or 1 without a number
    size_t nodes;
    size_t first;      ///< curve of its first step
    size_t directions; ///< in which tolerances move a node's curve
    size_t slopes;     ///< curve of the first node's first direction
} tl_suspect_class;

/// A direction in which tolerances move the curve: by drawn value, in standard deviations.
typedef struct {
    double* along;
} tl_direction;

/// What is known before any board is looked at.
typedef struct {
    tl_session* session;
    tl_spread_plan plan;
    tl_lead_list leads; ///< as they were before slots were opened between them
    tl_slots slots;
    tl_part* gap; ///< the contact that is put into one
    size_t amp;
    double meter_db;
    double* deviation; ///< by drawn value: standard deviation, of its tolerance
    tl_suspect* suspects;
    size_t suspect_count;
    tl_suspect_class* classes;
    size_t class_count;
    size_t unseen;
    tl_direction* directions; ///< those that move the curve of the good board
    size_t direction_count;
    tl_response** curves; ///< [0] is the good board
    size_t curve_count;
    size_t slopes; ///< curve of the first direction of the good board
    size_t trials; ///< curve of the first good board within tolerance
    tl_answer** answers;
    size_t answer_count;
    size_t unsolved; ///< circuits that could not be solved: another curve stands for each
} tl_prospect;

/// The step of a direction at which its slope is taken, in standard deviations.
#define TL_ACCEPT_SLOPE_STEP 1.5

/// A board's file read once more, to point at what is wrong in it; empty when it is gone.
tl_input* tl_accept_input(const char* file);
/// Puts the rig into the state that the boards were measured in, and says which that is and whose
/// word it is. TL_BAD_INPUT at what is no state, when a file's rows are of several, and when a file
/// says another than the caller or another file.
tl_status tl_accept_enter(tl_rig* rig, const tl_accept_options* options,
                          const tl_measured* const* measured, const char* const* files,
                          size_t count, tl_accept* accept, tl_error* error);

/// Lists what may be wrong with the rig of the plan and opens its slots. `bench`: it is measured
/// through a dummy.
void tl_suspects_list(tl_prospect* prospect, bool bench);
void tl_suspects_free(tl_prospect* prospect);
/// Value `step` of a suspect, as it is told.
double tl_suspect_value(const tl_suspect* suspect, double step);
/// What a told value adds to the circuit, and the value that adds it.
double tl_suspect_added(const tl_suspect* suspect, double value);
double tl_suspect_adding(const tl_suspect* suspect, double added);
/// The circuit with one thing wrong (NULL: none) and each drawn value so many deviations off.
tl_circuit* tl_suspect_build(tl_prospect* prospect, const tl_suspect* suspect, double value,
                             const double* deviations);

/// Solves everything that boards are held against.
tl_status tl_prospect_solve(tl_prospect* prospect, tl_error* error);
void tl_prospect_free(tl_prospect* prospect);

/// A suspect class at the frequencies of some boards.
typedef struct {
    double* db;       ///< [step * readings + reading], before neighbours are put together
    double* cell_db;  ///< [step * cells + cell]
    tl_normal* nodes; ///< what tolerances and meter leave open around it
} tl_outlook_class;

/// What is predicted for boards that were measured at the same frequencies.
typedef struct {
    bool offset_removed;
    size_t count; ///< readings
    double* hz;
    size_t* cell; ///< by reading
    size_t cells;
    double* db; ///< of the good board, by reading
    double* cell_db;
    double* middle_db; ///< of the good boards, offset as removed
    double* half_db;   ///< of the band around it
    tl_normal good;    ///< what tolerances and meter leave open
    tl_normal bare;    ///< the same without what all readings have in common
    double* ones;      ///< a level that all cells share, as `bare` weighs it
    double limit;
    tl_outlook_class* classes;
    tl_normal* none; ///< misses of any smooth shape, by size and width
} tl_outlook;
enum { TL_ACCEPT_SHAPES = 8 };

void tl_outlook_make(const tl_prospect* prospect, const double* hz, size_t count,
                     bool offset_removed, tl_outlook* outlook);
void tl_outlook_free(const tl_prospect* prospect, tl_outlook* outlook);
/// The level that all of a difference (by cell) has in common, weighed by what is known best.
double tl_outlook_offset(const tl_outlook* outlook, const double* cell_db);
/// Means over the readings of each cell.
void tl_outlook_cells(const tl_outlook* outlook, const double* db, double* cell_db);

/// Judges one board, whose readings have their frequencies and levels.
void tl_accept_judge(const tl_prospect* prospect, const tl_outlook* outlook, tl_board_check* board);
/// A curve between those that were solved: `rows` of `count` levels.
void tl_accept_between(const double* rows, size_t steps, size_t count, double step, double* out);
/// Lists what an accepted board may have wrong without being seen.
void tl_accept_find_blind(const tl_prospect* prospect, const tl_outlook* outlook,
                          tl_board_check* board);
/// A value of a suspect as it is told; of a lead its length too.
char* tl_suspect_words(const tl_suspect* suspect, double value);
/// The words of a cause that is fitted.
void tl_cause_describe(const tl_prospect* prospect, const tl_suspect* suspect, tl_cause* cause);

#endif

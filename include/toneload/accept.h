// SPDX-License-Identifier: GPL-3.0-or-later
/// @file accept.h Whether a finished board is the one that was drawn: measured against predicted.
#ifndef TONELOAD_ACCEPT_H
#define TONELOAD_ACCEPT_H

#include "toneload/error.h"
#include "toneload/measured.h"

#include <stdbool.h>
#include <stddef.h>

/// What a miss may come from.
typedef enum {
    TL_CAUSE_LEAD,     ///< a lead of another capacitance: of another type or length
    TL_CAUSE_VALUE,    ///< a value of a part that is not the one stated
    TL_CAUSE_VOLUME,   ///< a volume, of the guitar or in the chain, not where it is said to be
    TL_CAUSE_TONE,     ///< the same of a tone control
    TL_CAUSE_JOINT,    ///< a bad joint: resistance in series
    TL_CAUSE_LEAK,     ///< a leak to ground
    TL_CAUSE_NOBUFFER, ///< a buffer that is not there, or bridged
    TL_CAUSE_BYPASS,   ///< a pedal that is off lets the signal by another way than stated
    TL_CAUSE_ON,       ///< a pedal or loop is on that should be off
    TL_CAUSE_OFF,      ///< the other way round
    TL_CAUSE_KINDS
} tl_cause_kind;
/// "lead", "value", "volume", "tone", "joint", "leak", "missing-buffer", "bypass", "on", "off".
TL_API const char* tl_cause_name(tl_cause_kind kind);

/// One thing that may be wrong, and how far wrong it would have to be.
typedef struct {
    tl_cause_kind kind;
    char* path;  ///< "chain[0].length", "guitar.volume.position"
    char* about; ///< of the item or part: a name, or ""
    char* where; ///< of leads and joints: "lead 4, wah to compressor"; else ""
    char* unit;  ///< SI unit of the numbers; "" for shares and what has no number
    double stated;
    double value; ///< fitted; NAN where there is no number
    double low;   ///< 95 % of the probability lies between these
    double high;
    char* stated_words; ///< "600 pF", "true-bypass"
    char* value_words;  ///< "1.18 nF", "loaded-bypass"
    char* range_words;  ///< "1.02 nF to 1.31 nF"; "" where there is no number
    char* like;         ///< of a lead: what would have that capacitance; "" for none
} tl_cause;

/// Causes that this measurement could not tell apart, and how probable it is that it is one of
/// them.
typedef struct {
    tl_cause* causes;
    size_t count;
    bool one_stretch;   ///< all of them hang on one unbuffered stretch of the line
    double probability; ///< of all that were tried and none of them
    double left_db;     ///< root mean square of what it leaves of the difference
    double statistic;   ///< what it leaves, as the verdict weighs it
    bool holds;         ///< it leaves no more than good boards show
    double* db;         ///< by reading: the level it predicts
    double* smooth_db;  ///< the same along the smooth curve; NULL of what is not likely
} tl_cause_class;

/// One reading. All levels in dB; the offset is taken off when it is removed.
typedef struct {
    double hz;
    size_t line; ///< of the file
    double measured_db;
    double predicted_db;
    double low_db; ///< the band in which all readings of 99 % of the good boards lie
    double high_db;
    bool inside;
} tl_reading;

/// What an accepted board may have wrong all the same: not seen at any value that was tried; or a
/// lead, which is seen only from some way off.
typedef struct {
    tl_cause_kind kind;
    char* path;
    char* about;        ///< as of a cause
    double stated;      ///< as of a cause
    double low;         ///< of a lead: F at and below which it is seen; NAN: it is not
    double high;        ///< at and above which it is seen; NAN: it is not
    char* stated_words; ///< of a lead: "800 pF (8 m)"; else ""
    char* low_words;    ///< "" where there is no number
    char* high_words;
} tl_blind;

enum { TL_SMOOTH_POINTS = 241 };

/// What became of one measured board.
typedef struct {
    const char* file; ///< as it was named
    size_t rows;      ///< of the file; more than readings when neighbours were put together
    tl_reading* readings;
    size_t count;
    double* smooth_hz; ///< TL_SMOOTH_POINTS, from the first reading to the last, to draw by
    double* smooth_db; ///< predicted there
    size_t outside;    ///< readings outside their band
    size_t worst;      ///< the reading farthest from its band's middle, in widths of it
    double rms_db;     ///< of measured minus predicted
    bool offset_removed;
    double offset_db; ///< that was removed, or would have fitted best
    size_t cells;     ///< groups of readings that the joint test weighs
    double statistic; ///< the joint test: misfit weighed by tolerances and meter
    double limit;     ///< 99 % of the good boards stay below it
    bool accepted;
    tl_cause_class* classes; ///< the likeliest first; of a rejected board only
    size_t class_count;
    tl_blind* blind; ///< of an accepted board only
    size_t blind_count;
    double none;    ///< probability that none of them explains it
    bool explained; ///< the likeliest class is likelier than none of them, and holds
} tl_board_check;

typedef enum { TL_OFFSET_BY_FILE, TL_OFFSET_KEEP, TL_OFFSET_REMOVE } tl_offset;

/// Who says in which state boards were measured.
typedef enum { TL_STATE_OF_RIG, TL_STATE_OF_FILE, TL_STATE_OF_CALL } tl_state_from;

typedef struct {
    const char* state; ///< pedals that are on, "drive, delay", or a scene; NULL: as the files'
                       ///< column `state` says, else as written
    const char* amp;   ///< where it was measured; NULL: the rig's only or first amp
    tl_offset offset;  ///< when not said: kept in ratios of volts, removed from levels in dB
    double meter_db;   ///< standard deviation of a reading; 0: 0.1 dB
    bool as_written;   ///< measured with the guitar and the amp of the rig
} tl_accept_options;

typedef struct {
    char* rig;
    char* state; ///< what is on
    tl_state_from state_from;
    char* amp;     ///< where it was measured; "" when there is only one
    char* through; ///< how it was measured, in words
    double meter_db;
    size_t values;   ///< that have a tolerance
    size_t trials;   ///< good boards that the limits are taken from
    size_t suspects; ///< causes that were tried
    size_t unseen;   ///< of those: that change nothing here
    size_t unsolved; ///< circuits that could not be solved: their neighbour's curve stands for them
    tl_board_check* boards;
    size_t count;
} tl_accept;

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file meter.h The bench card of a finished board: what a meter must read of every lead, at every
/// DC plug, and of the whole in each state.
#ifndef TONELOAD_METER_H
#define TONELOAD_METER_H

#include "toneload/api.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// What a reading should be, and between what it lies when all is well, the meter's own uncertainty
/// counted in. NAN: no such figure; `low` NAN: it has no lower limit.
typedef struct {
    double expected;
    double low;
    double high;
} tl_meter_limits;

/// A lead, as the meter finds it: both plugs out.
typedef struct {
    size_t number;    ///< from 1, as in the cut list: audio in the order of the signal, then DC
    const char* kind; ///< "audio" or "dc"
    char* path;       ///< of its cable in the rig ("chain[6]"); "" for a DC lead
    char* type;       ///< its cable's library name or, of a DC lead, its gauge; else ""
    char* from;       ///< where its plugs go: "guitar", "drive", "brick/3"
    char* to;         ///< the same
    char* plugs[2];   ///< their shapes, near and far; "" when the rig does not say
    const char* contacts[2]; ///< what a plug's two contacts are called: "tip", "sleeve"
    const char* far_contacts[2];
    bool crossed; ///< one plug's first contact belongs to the other's second: it turns polarity
    double length_m;
    double length_off_m;         ///< how far it may be off, to either side
    tl_meter_limits farad;       ///< between the contacts, far end open
    double plug_farad;           ///< of both plugs, as stated; in `farad`
    bool plugs_stated;           ///< else only the upper limit allows for them
    tl_meter_limits ohm;         ///< through both conductors, far end shorted
    double joint_ohm;            ///< of the joints the rig states of it; in `ohm`
    double worn_ohm;             ///< of those, such as a meter can tell from sound ones; 0: none
    char* worn;                  ///< what the rig calls them: "clamped-worn"; ""
    double mended_ohm;           ///< the upper limit of `ohm` with those made good
    double least_insulation_ohm; ///< between the contacts, far end open
    bool leaky;                  ///< that is what the rig states of leakage, not common practice
} tl_meter_lead;

/// What arrives at a DC plug.
typedef struct {
    size_t lead; ///< index
    char* pedal;
    char* output;             ///< "brick/3"
    const char* polarity;     ///< "centre-negative", "centre-positive", "ac"
    const char* probes[2];    ///< the contacts for the red and the black probe
    double current_a;         ///< that the pedal draws
    tl_meter_limits open_v;   ///< with nothing on it
    tl_meter_limits loaded_v; ///< with the pedal on it
    double ripple_v;          ///< at most, with the pedal on it; NAN: it is AC
} tl_meter_supply;

/// The level at one end of the rig in one state.
typedef struct {
    size_t end;
    char*
        name; ///< "all off", "drive", "drive + delay", or the scene's; as 'accept --state' reads it
    bool* engaged; ///< by pedal
    char** on;     ///< what is on in the path, those too that never move
    size_t on_count;
    bool written; ///< the state the rig is written in
    char** same;  ///< states that read the same within TL_METER_SAME_DB
    size_t same_count;
    size_t same_written; ///< which of them the rig is written in; same_count: none
    tl_meter_limits* db; ///< by frequency, against the generator's open output
} tl_meter_state;
#define TL_METER_SAME_DB 0.02

typedef struct {
    char* rig; ///< title
    tl_meter_lead* leads;
    size_t lead_count;
    tl_meter_supply* supplies;
    size_t supply_count;
    char* no_dc; ///< why there is nothing to read at DC plugs, or at some of them; NULL: all are
                 ///< there
    // How the levels are measured; what was assumed stands in `assumed` too.
    char* dummy;          ///< "6.05 kohm, 2.4 H, 110 pF", in words, without the generator
    bool bare;            ///< there is none: the generator drives the first lead
    double generator_ohm; ///< in series with it
    double level_v;       ///< of the generator, open, root mean square
    double meter_ohm;
    double meter_farad;
    double uncertainty_db;
    bool amp;      ///< the amp is there, beside the meter
    bool controls; ///< the guitar's volume and tone are there
    char** ends;   ///< by the names of their amps
    size_t end_count;
    char** pedals; ///< that change between states
    size_t pedal_count;
    double* hz; ///< ascending
    size_t hz_count;
    tl_meter_state* states; ///< end after end; those that read the same are one
    size_t state_count;
    bool one_state;     ///< one was asked for; else all are there
    size_t level_count; ///< readings that the limits hold for together
    double coverage;    ///< share of good boards all of whose levels lie between their limits
    size_t trials;      ///< boards drawn
    uint64_t seed;
    size_t solved;   ///< boards solved whole in each state to see how good the short way is
    double short_db; ///< how far that was off, at most; in the limits
    char** assumed;  ///< what was taken where the rig does not say, a sentence each with its source
    size_t assumed_count;
} tl_meter_card;

/// Frees what tl_study_card() made.
TL_API void tl_meter_card_free(tl_meter_card* card);

#endif

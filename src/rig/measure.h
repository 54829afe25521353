// SPDX-License-Identifier: GPL-3.0-or-later
/// @file measure.h How a finished board is measured: `measure` in a rig file, and the rig as it
/// then stands on the bench.
///
/// A generator drives a dummy pickup (real parts with a pickup's values), the dummy stands in the
/// guitar's place, and a voltmeter reads at the far end of the last lead. The measured rig is a rig
/// like any other: every study can be asked of it.
#ifndef TL_RIG_MEASURE_H
#define TL_RIG_MEASURE_H

#include "base/yaml.h"
#include "parts/part.h"
#include "toneload/rig.h"

#include <stdbool.h>
#include <stddef.h>

// What is taken where the rig does not say; all of it is printed with the answer.
#define TL_MEASURE_GENERATOR_OHM 50.0 ///< common practice: what signal generators have
#define TL_MEASURE_LEVEL_V 0.1        ///< common practice: what a pickup gives, played firmly
#define TL_MEASURE_METER_OHM 10e6     ///< common practice: a hand-held meter, a 10:1 probe
#define TL_MEASURE_METER_FARAD 20e-12 ///< from memory: a 10:1 probe and its clip
#define TL_MEASURE_METER_SHARE 0.25   ///< from memory: how far that may be off
#define TL_MEASURE_UNCERTAINTY_DB 0.3 ///< common practice: a scope's 3 % (0.26 dB) and reading it
#define TL_MEASURE_DUMMY_SHARE 0.01   ///< a dummy's parts are measured before they are used
enum { TL_MEASURE_MOST_FREQUENCIES = 200 };

/// What a rig file says under `measure`; parts that are NULL it does not mention.
typedef struct {
    tl_part* settings;  ///< of the kind `measure`
    tl_part* dummy;     ///< of the kind `pickup`
    bool bare;          ///< `dummy: none`: the generator drives the first lead itself
    tl_part* generator; ///< of the kind `generator`
    tl_part* meter;     ///< of the kind `meter`
    double* hz;         ///< ascending; NULL: not said
    size_t hz_count;
    tl_place place;
} tl_measure;

/// Reads `measure` of a rig whose chain is read. TL_BAD_INPUT with its place.
tl_status tl_measure_read(tl_rig* rig, const tl_yaml* node, tl_error* error);
void tl_measure_free(tl_measure* measure);

/// Calls `visit` on every part of it with its path ("measure.dummy").
void tl_measure_each_part(tl_measure* measure,
                          void (*visit)(void* context, tl_part* part, const char* name,
                                        const char* path),
                          void* context);

/// How a rig is measured, with what is taken where it does not say.
typedef struct {
    bool stated;          ///< the file has a `measure`
    bool bare;            ///< no dummy: the generator itself
    bool dummy_stated;    ///< else the dummy has the values of the rig's own (first) pickup
    const tl_part* dummy; ///< of the kind `pickup`, or of the kind `source` (an active guitar's)
    double generator_ohm;
    bool generator_assumed;
    double level_v; ///< root mean square, open
    bool level_assumed;
    double meter_ohm;
    double meter_farad;
    bool meter_assumed; ///< either of the two
    double uncertainty_db;
    bool uncertainty_assumed;
    bool amp;         ///< the amp is there, beside the meter
    bool controls;    ///< the guitar's volume and tone are there, behind the dummy
    const double* hz; ///< ascending; NULL: not said
    size_t hz_count;
} tl_measure_terms;
tl_measure_terms tl_measure_of(const tl_rig* rig);

/// The ends a rig can be measured at, by the names of their amps as answers have them ("amp", or a
/// branch's). Free each and the list with free().
size_t tl_measure_ends(const tl_rig* rig, char*** names);

/// The rig as it stands on the bench, with the meter at the end of that name (NULL: the first one):
/// a clone whose guitar is the generator behind the dummy and whose amp there is the meter, so that
/// its answer at that end is the level at the meter in dB against the generator's open output.
/// Other ends are left open, or keep their amps when amps are connected; an amp with a stopper is
/// read at its jack. Values that state no tolerance have that of TL_MEASURE_DUMMY_SHARE (dummy) or
/// none (generator, meter). Paths into the chain stay as they are. TL_BAD_INPUT when the rig has no
/// such end. Free with tl_rig_free(); it borrows from `rig`.
tl_status tl_measure_rig(const tl_rig* rig, const char* end, tl_rig** measured, tl_error* error);

#endif

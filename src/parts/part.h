// SPDX-License-Identifier: GPL-3.0-or-later
/// @file part.h Kinds of part, their fields, and parts with values.
///
/// To add a kind: one file here that defines a tl_part_kind, and its row in kinds.c.
#ifndef TL_PARTS_PART_H
#define TL_PARTS_PART_H

#include "base/place.h"
#include "base/quantity.h"
#include "parts/sink.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum {
    TL_FIELD_NEEDED = 1, ///< physics needs it: an error when missing
    TL_FIELD_BESIDE = 2, ///< says how the part is used: stands beside it in a rig, not in a library
    TL_FIELD_LAYOUT = 4, ///< may be the word `layout`: the board's layout says it
} tl_field_flag;

/// One value a part can have.
typedef struct {
    const char* name; ///< as in a rig file; "input.resistance" stands in a mapping `input`
    tl_unit unit;     ///< of a number
    double low;       ///< plausible range of a number, SI unit
    double high;      ///< the same
    const char* const* choices; ///< words to choose from, NULL at the end; NULL: a number
    unsigned flags;             ///< tl_field_flag
} tl_field;

/// Whether a number lies in a field's plausible range. Its ends count, as binary has them: 100 mH
/// is not quite 0.1 H.
bool tl_field_allows(const tl_field* field, double number);

/// How values lie within their tolerance. Normal: the tolerance is three standard deviations, and
/// what lies beyond is cut off.
typedef enum { TL_NORMAL, TL_UNIFORM } tl_distribution;

/// How far a value may be off, to either side.
typedef struct {
    bool given;
    double share; ///< of the value: 0.1 for 10 %; 0: exactly this value
    tl_distribution distribution;
    tl_place place;     ///< where it was written; `in` is NULL for a default
    const char* source; ///< what the library says of it, or NULL
} tl_value_tolerance;

/// The value of a field and where it came from.
typedef struct {
    bool given;
    bool layout;                  ///< `layout` was written: the board says the number
    double number;                ///< in the SI unit; of a choice, its index; NAN: not yet laid out
    tl_place place;               ///< where it was written
    const char* library;          ///< the library part it came from, or NULL
    const char* source;           ///< what the library says of it, or NULL
    tl_value_tolerance tolerance; ///< stated with the value itself; defaults: tl_part_tolerance()
} tl_value;

typedef struct tl_part tl_part;

typedef struct {
    const char* name;    ///< the key in a rig file
    const char* about;   ///< what it is, in a few words ("a cable")
    const char* library; ///< whose library names may stand for it, or NULL
    bool in_chain;       ///< may stand in a chain
    const tl_field* fields;
    size_t field_count;
    /// What no single field can see; TL_BAD_INPUT with a place. May be NULL.
    tl_status (*check)(const tl_part* part, tl_error* error);
    /// Writes the part into a circuit between the signal at `in` and `low` (ground, but for stacked
    /// pickups) and returns the node the signal leaves at. A pickup makes its own signal. NULL for
    /// kinds that are no circuit.
    tl_node (*emit)(const tl_part* part, const tl_sink* sink, tl_node in, tl_node low);
} tl_part_kind;

/// A part with its values, one a field of its kind.
struct tl_part {
    const tl_part_kind* kind;
    char* library;  ///< name of the library part it is, or is like; NULL: its own values
    tl_place place; ///< where it stands in the rig
    const struct tl_design* design; ///< a circuit in place of values, or NULL; not owned
    tl_place design_place;          ///< where its file is named
    unsigned sections; ///< of a cable: how many it is cut into; 0: as many as it needs by itself
    char* follows;     ///< the part whose values its own move with, as written; NULL: none
    tl_place follows_place;
    tl_value* values;
};

/// All kinds there are.
extern const tl_part_kind* const tl_part_kinds[];
extern const size_t tl_part_kind_count;
const tl_part_kind* tl_part_kind_find(const char* name);

tl_part* tl_part_new(const tl_part_kind* kind);
tl_part* tl_part_clone(const tl_part* part);
void tl_part_free(tl_part* part);

/// Index of a field by its name, or -1.
int tl_part_field(const tl_part_kind* kind, const char* name);
/// A value by its field's name; the name must be one of the kind's.
const tl_value* tl_part_value(const tl_part* part, const char* field);
/// The number of a field, or `otherwise` when it was not given.
double tl_part_number(const tl_part* part, const char* field, double otherwise);
bool tl_part_has(const tl_part* part, const char* field);
/// Gives a field a number, in its SI unit; the name must be one of the kind's.
void tl_part_set_number(tl_part* part, const char* field, double number);
/// The chosen word of a choice field, or NULL when not given.
const char* tl_part_choice(const tl_part* part, const char* field);
bool tl_part_chosen(const tl_part* part, const char* field, const char* word);

/// Whether all needed values are there and agree. `with_use`: also those that stand beside it.
tl_status tl_part_check(const tl_part* part, bool with_use, tl_error* error);

/// Sections a cable needs at its own length: see cable.c.
unsigned tl_cable_sections(const tl_part* cable);
/// A cable's values per metre, given or by formula from its build.
typedef struct {
    double ohm; ///< core plus shield
    double henry;
    double farad;
    double siemens; ///< leakage
} tl_cable_line;
tl_cable_line tl_cable_per_metre(const tl_part* cable);
/// Capacitance of the whole length, farad.
double tl_cable_capacitance_farad(const tl_part* cable);
/// Whether the part drives what follows it from a source of its own in the state it is in.
bool tl_part_drives(const tl_part* part);

/// A pot's share below the wiper at a position from 0 to 1. Linear: x; audio: (81^x - 1) / 80, a
/// tenth at half travel (common practice).
double tl_taper_share(double position, bool audio);

#endif

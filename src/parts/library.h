// SPDX-License-Identifier: GPL-3.0-or-later
/// @file library.h Reading parts: from the library by name, and from a rig with values of its own.
#ifndef TL_PARTS_LIBRARY_H
#define TL_PARTS_LIBRARY_H

#include "base/yaml.h"
#include "parts/part.h"
#include "toneload/parts.h"

tl_units* tl_library_units(tl_library* library);

/// The names of all library parts of a kind's library, the user's own first; owned by the library.
tl_status tl_library_names(tl_library* library, const tl_part_kind* kind, const char* const** names,
                           size_t* count, tl_error* error);

/// What the library says a part is, in one line; "" when it says nothing.
const char* tl_library_about(tl_library* library, const tl_part_kind* kind, const char* name);

/// A library part by name. TL_BAD_INPUT at `place` with the nearest name when there is none.
tl_status tl_library_part(tl_library* library, const tl_part_kind* kind, const char* name,
                          const tl_place* place, tl_part** part, tl_error* error);

/// Opens the design file that a part names as its `circuit`; `place` is where. What it opens lives
/// as long as the context.
typedef tl_status tl_design_opener(void* context, const char* path, const tl_place* place,
                                   const struct tl_design** design, tl_error* error);
/// Says who opens designs; without, a `circuit` in a rig is an error.
void tl_library_set_opener(tl_library* library, tl_design_opener* opener, void* context);

/// Reads a part as it stands in a rig: a library name, a mapping of values, or `{like: NAME, ...}`,
/// either mapping maybe with what it `follows`; for a buffer also `{circuit: DESIGN.yaml}`.
/// Keys named in `others` (NULL at the end) belong to someone else and are passed over. The part is
/// not checked yet: values that stand beside it may follow.
tl_status tl_part_read(tl_library* library, const tl_part_kind* kind, const tl_yaml* node,
                       const char* const* others, tl_part** part, tl_error* error);

/// Reads what a part follows: the key `follows` in a part's mapping or beside it. TL_BAD_INPUT when
/// it was said before.
tl_status tl_part_read_follows(tl_part* part, const tl_yaml* node, tl_error* error);

/// Reads one value into a field of a part.
tl_status tl_part_read_field(tl_library* library, tl_part* part, size_t field, const tl_yaml* node,
                             tl_error* error);

/// The tolerance that the kind's library file gives a value which states none itself; one of the
/// user's own stands in front of ours, field by field. False: there is none, or no such value.
bool tl_part_default_tolerance(tl_library* library, const tl_part* part, size_t field,
                               tl_value_tolerance* tolerance);
/// The tolerance that holds for a value: its own, else its kind's default; not `given` when there
/// is neither. TL_BAD_INPUT when the kind's library file cannot be read.
tl_status tl_part_tolerance(tl_library* library, const tl_part* part, size_t field,
                            tl_value_tolerance* tolerance, tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file design.h A buffer design: the user's SPICE subcircuit, its pins and its supply.
#ifndef TONELOAD_DESIGN_H
#define TONELOAD_DESIGN_H

#include "toneload/error.h"

#include <stddef.h>

/// A design. Never changes once read.
typedef struct tl_design tl_design;

/// Reads a design file and the circuit it names (beside it, when the path is relative).
/// TL_BAD_INPUT with file, line, column, the line and a caret when anything in either cannot be
/// used.
TL_API tl_status tl_design_read(const char* path, tl_design** design, tl_error* error);
TL_API void tl_design_free(tl_design* design);

/// What looks wrong in its circuit though it can be measured, a line each with its place; owned by
/// the design.
TL_API const char* const* tl_design_remarks(const tl_design* design, size_t* count);

/// Free text of the user's; the file's name when it has none.
TL_API const char* tl_design_name(const tl_design* design);

#endif

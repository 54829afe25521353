// SPDX-License-Identifier: GPL-3.0-or-later
/// @file rig.h A rig as its file describes it: guitar, chain, amps, and what it is held against.
#ifndef TONELOAD_RIG_H
#define TONELOAD_RIG_H

#include "toneload/error.h"
#include "toneload/parts.h"

/// A rig. It borrows from the library it was read with, which must outlive it.
typedef struct tl_rig tl_rig;

/// Reads a rig file. TL_BAD_INPUT with file, line, column, the line and a caret when anything in
/// it cannot be used.
TL_API tl_status tl_rig_read(tl_library* library, const char* path, tl_rig** rig, tl_error* error);
TL_API void tl_rig_free(tl_rig* rig);

/// The rig's title; its file's name when it has none. Free text of the user's.
TL_API const char* tl_rig_title(const tl_rig* rig);
/// The path it was read from.
TL_API const char* tl_rig_path(const tl_rig* rig);
/// Whether its file says what it is held against; if not, that is 6 m of standard-coax.
TL_API int tl_rig_has_direct(const tl_rig* rig);

#endif

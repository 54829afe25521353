// SPDX-License-Identifier: GPL-3.0-or-later
/// @file parts.h The part library: what the names in a rig file stand for.
#ifndef TONELOAD_PARTS_H
#define TONELOAD_PARTS_H

#include "toneload/error.h"

#include <stddef.h>

/// A part library: the one that comes with toneload and, before it, a folder of the user's own.
typedef struct tl_library tl_library;

/// Opens the library. `own_folder` holds the user's KIND.yaml files, or is NULL. TL_BAD_INPUT when
/// that folder is not there, TL_FAILURE when the library that comes with toneload is missing.
TL_API tl_status tl_library_open(const char* own_folder, tl_library** library, tl_error* error);
TL_API void tl_library_free(tl_library* library);

/// The folder that holds `parts`, `rigs` and `circuits` as they come with toneload.
TL_API const char* tl_library_folder(const tl_library* library);

#endif

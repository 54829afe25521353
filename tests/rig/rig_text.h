// SPDX-License-Identifier: GPL-3.0-or-later
/// @file rig_text.h Rigs from a text, for tests.
#ifndef TESTS_RIG_RIG_TEXT_H
#define TESTS_RIG_RIG_TEXT_H

#include "toneload/rig.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/// Reads a rig from bytes by way of a file, as a user would. NULL with an error when refused.
static inline tl_rig* rig_of_bytes(tl_library* library, const char* text, size_t size,
                                   tl_error* error) {
    char path[] = "/tmp/toneload-rig-XXXXXX.yaml";
    const int file = mkstemps(path, 5);
    if (file < 0 || write(file, text, size) != (ssize_t)size || close(file) != 0)
        abort();
    tl_rig* rig = NULL;
    const tl_status status = tl_rig_read(library, path, &rig, error);
    unlink(path);
    if ((status == TL_OK) != (rig != NULL))
        abort();
    return rig;
}

static inline tl_rig* rig_of(tl_library* library, const char* text, tl_error* error) {
    return rig_of_bytes(library, text, strlen(text), error);
}

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file file.h Files read with a limit, and written whole or not at all.
#ifndef TL_BASE_FILE_H
#define TL_BASE_FILE_H

#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>

/// Reads a whole file of at most `limit` bytes. `*text` is NUL-terminated (free with free()).
/// TL_BAD_INPUT when it cannot be opened, is a folder, or is larger.
tl_status tl_file_read(const char* path, size_t limit, char** text, size_t* size, tl_error* error);

/// Writes `size` bytes to `path` whole or not at all: a temporary file beside it, then rename.
/// A path is taken literally: "|cmd" is a file of that name. An existing device or pipe is
/// written in place. TL_FAILURE when that fails; an earlier file is then untouched.
tl_status tl_file_write(const char* path, const void* data, size_t size, tl_error* error);

/// Writes all bytes to an open descriptor, going on after interruptions. False sets errno.
bool tl_file_put(int descriptor, const void* data, size_t size);

/// The last part of a path: what people call the file.
const char* tl_file_name(const char* path);
/// A path as the file that names it sees it: relative to that file's folder. Free with free().
char* tl_file_beside(const char* file, const char* path);

bool tl_file_exists(const char* path);

/// The folder the running library (or program, when linked statically) lies in; free with free().
char* tl_file_home(void);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file place.h Where in a user's text something stands, and errors that point at it.
#ifndef TL_BASE_PLACE_H
#define TL_BASE_PLACE_H

#include "toneload/error.h"

#include <stddef.h>

/// A text a user wrote: a file, or a word of the command line.
typedef struct {
    char* name; ///< file name, or the option it was given to
    char* text; ///< NUL-terminated
    size_t size;
} tl_input;

/// A place in a text. `in` is NULL for a value that was not written anywhere.
typedef struct {
    const tl_input* in;
    size_t line;   ///< from 1
    size_t column; ///< from 1, in bytes
} tl_place;

tl_input* tl_input_new(const char* name, const char* text, size_t size);
/// The text of a whole file of at most `limit` bytes, named by its path. TL_BAD_INPUT as of
/// tl_file_read(); free with tl_input_free().
tl_status tl_input_read(const char* path, size_t limit, tl_input** input, tl_error* error);
void tl_input_free(tl_input* input);

/// The place of byte `offset` of a value's words, of which `place` is the start. A value that was
/// not written in one piece, as folded or escaped text is not, keeps its start.
tl_place tl_place_inside(const tl_place* place, const char* words, size_t offset);

/// TL_BAD_INPUT with `file:line:column: error: words`, the line itself and a caret below it.
tl_status tl_error_at(tl_error* error, const tl_place* place, const char* format, ...)
    TL_PRINTF(3, 4);

#endif

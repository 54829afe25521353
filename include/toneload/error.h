// SPDX-License-Identifier: GPL-3.0-or-later
/// @file error.h What went wrong, in words a builder can act on, and whose doing it was.
#ifndef TONELOAD_ERROR_H
#define TONELOAD_ERROR_H

#include "toneload/api.h"

/// How a call ended. The values are the exit statuses of the command line.
typedef enum {
    TL_OK = 0,        ///< done
    TL_FAILURE = 1,   ///< a run-time failure: solver, disk, a dead worker
    TL_BAD_INPUT = 2, ///< what the user gave cannot be used; the text says what was expected
} tl_status;

/// The words of the last failure. Owned by the caller, handed to every call that can fail.
typedef struct tl_error tl_error;

/// A new error without text. Free with tl_error_free(). Memory that cannot be had ends the program.
TL_API tl_error* tl_error_new(void);
TL_API void tl_error_free(tl_error* error);

/// The status of the last failure, or TL_OK.
TL_API tl_status tl_error_status(const tl_error* error);

/// The text of the last failure (UTF-8, no control characters but newline), "" when there is none.
TL_API const char* tl_error_text(const tl_error* error);

/// Sets status and text, and returns `status`, so that a caller can `return tl_error_set(...)`.
/// `error` may be NULL: then only the status is passed on. The text must not end in a newline.
TL_API tl_status tl_error_set(tl_error* error, tl_status status, const char* format, ...)
    TL_PRINTF(3, 4);

/// Puts "words: " in front of the text: the context in which the failure happened.
TL_API void tl_error_prefix(tl_error* error, const char* format, ...) TL_PRINTF(2, 3);

#endif

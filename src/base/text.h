// SPDX-License-Identifier: GPL-3.0-or-later
/// @file text.h A text that grows, and memory that is there or ends the program.
#ifndef TL_BASE_TEXT_H
#define TL_BASE_TEXT_H

#include "toneload/api.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

/// A growing text, always NUL-terminated once anything was added. `{0}` is an empty one.
typedef struct {
    char* data;
    size_t size; ///< bytes without the NUL
    size_t capacity;
} tl_text;

/// The text as a C string ("" when empty); owned by the text.
const char* tl_text_get(const tl_text* text);
/// Hands the text over to the caller (free with free()) and leaves an empty one.
char* tl_text_take(tl_text* text);
void tl_text_free(tl_text* text);
void tl_text_clear(tl_text* text);

void tl_text_add(tl_text* text, const char* words);
void tl_text_add_bytes(tl_text* text, const char* bytes, size_t size);
void tl_text_addf(tl_text* text, const char* format, ...) TL_PRINTF(2, 3);
void tl_text_addv(tl_text* text, const char* format, va_list args);

/// Adds words that came from outside: control characters and bytes that are no UTF-8 become
/// `\xNN`, so that a terminal shows them and obeys none.
void tl_text_add_safe(tl_text* text, const char* words);
/// The same with everything outside printable ASCII replaced.
void tl_text_add_ascii(tl_text* text, const char* words);

/// Bytes of the UTF-8 character at `at`, or 0 when it is a control character or no UTF-8.
size_t tl_text_character(const char* at);

/// Whether all of it is visible UTF-8: no control characters, nothing that turns a line around.
bool tl_text_is_plain(const char* words);

/// Columns a UTF-8 text takes on a terminal (code points, counting each as one column).
size_t tl_text_columns(const char* words);

/// Zeroed memory for `count` things of `size` bytes; ends the program when there is none.
void* tl_new(size_t count, size_t size);
/// realloc() that ends the program when there is no memory.
void* tl_grow(void* memory, size_t count, size_t size);
/// Room for one more after `count` things, taken in steps that double: for lists that get long.
void* tl_grow_one(void* memory, size_t count, size_t size);
/// A copy of a string; NULL stays NULL.
char* tl_copy(const char* words);
/// Frees a list of strings of its own and the strings.
void tl_words_free(char** words, size_t count);
/// A formatted string of its own; free with free().
char* tl_printf(const char* format, ...) TL_PRINTF(1, 2);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file csv.h Records of comma-separated values as RFC 4180 has them.
#ifndef TL_BASE_CSV_H
#define TL_BASE_CSV_H

#include "base/place.h"

#include <stdbool.h>
#include <stddef.h>

/// One field, where it stands in the text: without its quotes, but quotes inside still doubled.
typedef struct {
    const char* bytes; ///< not NUL-terminated
    size_t size;
    tl_place place;
} tl_csv_field;

/// Records being read, one after the other. Lines may end in LF as well as CRLF, and a byte order
/// mark of UTF-8 may stand in front.
typedef struct {
    const tl_input* in;
    size_t at;
    size_t line;       ///< from 1
    size_t line_start; ///< its first byte
    tl_csv_field* fields;
    size_t count; ///< of the record read last
    size_t room;
} tl_csv;

/// TL_BAD_INPUT for what is no text: UTF-16, a NUL.
tl_status tl_csv_open(tl_csv* csv, const tl_input* in, tl_error* error);
/// Reads the next record; `*more` is false when there is none. Empty lines at the end of the file
/// are no records. TL_BAD_INPUT with a place for quotes that do not match.
tl_status tl_csv_next(tl_csv* csv, bool* more, tl_error* error);
void tl_csv_close(tl_csv* csv);

/// A field's words, quotes inside it single again. Free with free().
char* tl_csv_words(const tl_csv_field* field);

#endif

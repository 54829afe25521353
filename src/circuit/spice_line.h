// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spice_line.h SPICE text as whole lines: comments gone, continuations joined, places kept.
#ifndef TL_CIRCUIT_SPICE_LINE_H
#define TL_CIRCUIT_SPICE_LINE_H

#include "base/place.h"

#include <stdbool.h>
#include <stddef.h>

/// Where a piece of a joined line came from.
typedef struct {
    size_t at; ///< offset in the joined line
    size_t line;
    size_t column;
} tl_seam;

/// A line with its continuations.
typedef struct {
    const tl_input* in;
    char* text; ///< in lower case: SPICE knows no other
    char* raw;  ///< the same, as it was written
    size_t size;
    tl_seam* seams;
    size_t seam_count;
} tl_spice_line;

typedef struct {
    tl_spice_line* lines;
    size_t count;
    size_t capacity;
} tl_spice_lines;

/// A part of a line; its text is in lower case and not NUL-terminated.
typedef struct {
    const tl_spice_line* line;
    size_t at;
    size_t size;
} tl_piece;

/// Where reading a line has come to.
typedef struct {
    const tl_spice_line* line;
    size_t at;
} tl_cursor;

/// Cuts a text into lines. Comments are thrown away first: lines that begin with `*`, and what
/// follows `;`, `//`, or a `$` that stands at a line's start or after a blank or comma (as ngspice
/// takes them). TL_BAD_INPUT for a back-quote anywhere, also in a comment, for control characters,
/// for anything outside ASCII that is no comment, and for what is past the limits: 1 MB,
/// 20,000 lines, 8,000 characters a joined line.
tl_status tl_spice_lines_read(const tl_input* input, tl_spice_lines* lines, tl_error* error);
void tl_spice_lines_free(tl_spice_lines* lines);

/// The place of an offset in a joined line.
tl_place tl_spice_place(const tl_spice_line* line, size_t at);
tl_place tl_piece_place(tl_piece piece);
bool tl_piece_is(tl_piece piece, const char* words);
bool tl_piece_same(tl_piece a, tl_piece b);
/// A copy as a string, as it was written or in lower case; free with free().
char* tl_piece_raw(tl_piece piece);
char* tl_piece_copy(tl_piece piece);

/// The next character that is no blank (commas are blanks when `commas`), or '\0' at the end.
char tl_cursor_peek(tl_cursor* cursor, bool commas);
/// Takes a character when it is the next one after blanks.
bool tl_cursor_take(tl_cursor* cursor, char wanted);
/// The next name or number: letters, digits and signs that may stand in one. Size 0 when something
/// else comes next.
tl_piece tl_cursor_word(tl_cursor* cursor);
/// The same without moving on.
tl_piece tl_cursor_look(tl_cursor cursor);
/// Whether the next word is followed by `=`.
bool tl_cursor_at_setting(tl_cursor cursor);
tl_place tl_cursor_place(const tl_cursor* cursor);

/// A name of at most 64 signs; TL_BAD_INPUT at it, with `what` it should be ("a node"), otherwise.
tl_status tl_cursor_name(tl_cursor* cursor, const char* what, tl_piece* name, tl_error* error);

#endif

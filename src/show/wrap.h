// SPDX-License-Identifier: GPL-3.0-or-later
/// @file wrap.h Columns and paragraphs of text for a terminal.
#ifndef TL_SHOW_WRAP_H
#define TL_SHOW_WRAP_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

enum { TL_WRAP_WIDTH = 98 }; ///< columns that text keeps to where words can be parted

/// Makes a column wide enough for words.
void tl_wrap_widen(size_t* width, const char* words);
/// Adds words in a column `width` wide; longer ones push what follows.
void tl_wrap_cell(tl_text* text, const char* words, size_t width, bool right);
/// Adds words from outside, made safe, and ends the line: parted at blanks, `column` columns of the
/// first line being taken and later lines indented.
void tl_wrap_words(tl_text* text, const char* words, size_t column, size_t indent);
/// Adds words from outside as one point of a list: "- " before them, later lines indented.
void tl_wrap_point(tl_text* text, const char* words);
/// Ends a line, without blanks at its end.
void tl_wrap_end_line(tl_text* text);
/// Ends a line and indents the next.
void tl_wrap_break(tl_text* text, size_t indent);

#endif

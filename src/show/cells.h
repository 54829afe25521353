// SPDX-License-Identifier: GPL-3.0-or-later
/// @file cells.h Cells and paragraphs made of words that were made for them, and are freed.
#ifndef TL_SHOW_CELLS_H
#define TL_SHOW_CELLS_H

#include "base/text.h"
#include "toneload/show.h"

/// The next cell of the row: words, which it frees.
void tl_table_take_words(tl_table* table, char* words);
/// The next cell: a number as it is shown, which it frees.
void tl_table_take_number(tl_table* table, double number, char* shown);

/// Ends a table: adds it as text and frees it.
void tl_text_take_table(tl_text* text, tl_table* table);
/// Adds words as a paragraph as wide as a page, and frees them.
void tl_text_take_paragraph(tl_text* text, char* words);

#endif

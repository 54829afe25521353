// SPDX-License-Identifier: GPL-3.0-or-later
/// @file html.h Words and tables as HTML that is well-formed XML too.
#ifndef TL_SHOW_HTML_H
#define TL_SHOW_HTML_H

#include "base/quantity.h"
#include "base/text.h"
#include "toneload/show.h"

/// The style that pages have in common, for screens wide and narrow and for paper.
extern const char tl_html_style[];

/// Adds words from outside: what cannot be seen becomes visible, and no character of theirs is
/// taken for markup, in a text or in a quoted attribute.
void tl_html_add(tl_text* page, const char* words);

/// Adds a value in three digits with the signs of print: "250 kΩ", "110 pF".
void tl_html_add_quantity(tl_text* page, tl_unit unit, double value);

/// Adds a sentence or more of HTML of our own. In it `@` and a letter stand for an argument:
/// @h Hz, @d dB with its sign, @D dB without, @q a ratio, @R ohm, @F farad, @H henry, @m metres,
/// @p a share in percent (all double); @n a count (size_t); @s words from outside (const char*);
/// @@ is the sign itself, and ' an apostrophe. What is NAN comes out as "none".
void tl_html_say(tl_text* page, const char* sentence, ...);

/// Adds a table; the first cell of each row heads it. `about` says what it shows.
void tl_html_add_table(tl_text* page, const tl_table* table, const char* about);

/// Adds text as commands print it: paragraphs, and points that begin with "- ", whose lines go on
/// indented. Lines that were parted for a terminal are joined.
void tl_html_add_prose(tl_text* page, const char* text);

/// Adds bytes in base64 (RFC 4648).
void tl_html_add_base64(tl_text* page, const unsigned char* bytes, size_t size);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file script.h A plot as commands for gnuplot.
#ifndef TL_SHOW_SCRIPT_H
#define TL_SHOW_SCRIPT_H

#include "show/legend.h"
#include "show/page.h"
#include "show/trace.h"

#include <stddef.h>

/// All that is to be drawn.
typedef struct {
    const char* title; ///< free text, or NULL
    const tl_trace* traces;
    size_t count;
    const tl_legend* legend;
    const tl_page* page;
} tl_drawing;

/// Adds words from outside as a gnuplot string. In single quotes gnuplot runs no back-quotes and
/// knows no escapes but the doubled quote, and even that it misreads at the start of a string and
/// where two follow each other (seen in 5.4): so a quote ends the string, and goes on from
/// `."'".`. Control characters are made visible before.
void tl_script_quote(tl_text* script, const char* words);

/// Adds a label with its middle at the height of `spot`. `how` is the rest of gnuplot's command:
/// side and colour.
void tl_script_label(tl_text* script, const tl_page* page, tl_spot spot, const char* words,
                     const char* how);
/// Adds a straight line over the page; `how` gives its looks.
void tl_script_line(tl_text* script, const tl_page* page, tl_spot from, tl_spot to,
                    const char* how);

/// Puts the next plot where a panel of the page is.
void tl_script_margins(tl_text* script, const tl_page* page, const tl_box* area);

/// Starts a script: the terminal `kind` (svg, png or pdf), a page so many px high, and the file
/// `output`.
void tl_script_open(tl_text* script, double height, const char* kind, const char* output);
/// What a px of letter height is called on a terminal, so that all three look alike (measured).
double tl_script_letter_unit(const char* kind);

/// The script that draws to the file `output` (a plain name of ours) on the terminal `kind`
/// (svg, png or pdf).
char* tl_script_make(const tl_drawing* drawing, const char* kind, const char* output);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file notes.h The figures beside the marks of a plot with a curve or two.
#ifndef TL_SHOW_NOTES_H
#define TL_SHOW_NOTES_H

#include "show/script.h"

/// Adds the notes and their leaders, off the curves and off each other; nothing when there are
/// too many curves for notes.
void tl_notes_add(tl_text* script, const tl_drawing* drawing);

#endif

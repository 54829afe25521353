// SPDX-License-Identifier: GPL-3.0-or-later
/// @file picture.h From a gnuplot script to a picture file, whole or not at all.
#ifndef TL_SHOW_PICTURE_H
#define TL_SHOW_PICTURE_H

#include "toneload/error.h"

/// Writes the script that draws `context` on the terminal `kind` (svg, png or pdf) to the file
/// `output`; free with free().
typedef char* tl_script_maker(const void* context, const char* kind, const char* output);

/// Draws to `path`, whose ending says the kind. TL_BAD_INPUT for a name tl_plot_check_path()
/// refuses; TL_FAILURE when gnuplot is missing or fails, or the file cannot be written.
tl_status tl_picture_draw(const char* path, tl_script_maker* make, const void* context,
                          tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file gnuplot.h One run of gnuplot, shut in: no shell, no start-up files, a folder of its own.
#ifndef TL_SHOW_GNUPLOT_H
#define TL_SHOW_GNUPLOT_H

#include "toneload/error.h"

#include <stddef.h>

/// Runs a script that writes the file `output` (a plain name) in its working folder, and hands
/// over that file's bytes (free with free()). The folder is private and gone afterwards. The
/// script must not hold words from outside but as tl_script_quote() writes them.
/// TL_FAILURE when gnuplot is missing, complains, writes no file or takes over `limit_ms`.
tl_status tl_gnuplot_run(const char* script, const char* output, int limit_ms, char** bytes,
                         size_t* size, tl_error* error);

#endif

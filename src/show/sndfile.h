// SPDX-License-Identifier: GPL-3.0-or-later
/// @file sndfile.h The routines of libsndfile that are used, loaded when first asked for: with the
/// coders it brings along it would lengthen the start of every command.
#ifndef TL_SHOW_SNDFILE_H
#define TL_SHOW_SNDFILE_H

#include "toneload/error.h"

#include <sndfile.h>

typedef struct {
    __typeof__(sf_open_fd)* open_fd;
    __typeof__(sf_close)* close;
    __typeof__(sf_seek)* seek;
    __typeof__(sf_readf_double)* read;
    __typeof__(sf_writef_double)* write;
    __typeof__(sf_strerror)* words;
} tl_sndfile;

/// The routines, the same for every thread; NULL when the library cannot be loaded.
const tl_sndfile* tl_sndfile_get(tl_error* error);

#endif

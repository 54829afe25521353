// SPDX-License-Identifier: GPL-3.0-or-later
/// @file sweep.h A measured sweep while it is read: what its readers share.
#ifndef TL_BASE_SWEEP_H
#define TL_BASE_SWEEP_H

#include "base/place.h"
#include "toneload/measured.h"

typedef struct {
    tl_measured* sweep;
    bool phased;   ///< whether the file has phases
    tl_place last; ///< where the last frequency stands
} tl_sweep;

/// Adds a point; frequencies rise, each once. TL_BAD_INPUT at `place`, the frequency's, otherwise.
tl_status tl_sweep_add(tl_sweep* to, double hz, double size, double phase_rad,
                       const tl_place* place, tl_error* error);

/// Reads a number that stands at the start of `bytes` and takes all of `size` but blanks around it.
/// TL_BAD_INPUT at `place`: `what` says what was expected ("a frequency").
tl_status tl_sweep_number(const char* bytes, size_t size, const tl_place* place, const char* what,
                          double* number, tl_error* error);

/// Comma-separated values with a header line of named columns.
tl_status tl_sweep_read_csv(const tl_input* in, tl_sweep* to, tl_error* error);
/// Touchstone 1.1, one port.
tl_status tl_sweep_read_touchstone(const tl_input* in, tl_sweep* to, tl_error* error);

#endif

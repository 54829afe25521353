// SPDX-License-Identifier: GPL-3.0-or-later
/// @file request.h A study's request: whether it can be asked, as a worker's task, and whether an
/// answer fits it.
#ifndef TL_SOLVE_REQUEST_H
#define TL_SOLVE_REQUEST_H

#include "solve/pool.h"
#include "solve/wire.h"
#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>

/// Sets of values in a request: 0 means one.
size_t tl_request_sets(const tl_request* request);

/// Whether values and limits are such as ngspice takes as they are: it turns 0 ohm into a
/// milliohm, and reads "nan" as a name.
tl_status tl_request_check(const tl_request* request, tl_error* error);

/// Writes a request's body, with the deck when the worker does not hold it; free with free().
void* tl_request_pack(const tl_request* request, bool with_deck, size_t* size);

/// Whether an answer is of the shape that was asked for.
bool tl_request_fits(const tl_request* request, const tl_wire_curve* curve);

#endif

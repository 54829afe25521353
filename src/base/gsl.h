// SPDX-License-Identifier: GPL-3.0-or-later
/// @file gsl.h GSL, loaded when one of its routines is first asked for.
#ifndef TL_BASE_GSL_H
#define TL_BASE_GSL_H

#include "toneload/error.h"

#include <stdbool.h>

/// Puts the address of one of GSL's routines or objects into a pointer. False when there is none.
bool tl_gsl_find(const char* name, void* pointer);

/// TL_FAILURE: GSL, needed for `what`, cannot be loaded.
tl_status tl_gsl_missing(tl_error* error, const char* what);

#endif

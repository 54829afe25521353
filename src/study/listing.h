// SPDX-License-Identifier: GPL-3.0-or-later
/// @file listing.h Values of parts written down with where they came from.
#ifndef TL_STUDY_LISTING_H
#define TL_STUDY_LISTING_H

#include "parts/library.h"
#include "toneload/study.h"

/// Adds the tolerances that a part's values state themselves to its rows, the first being `first`.
void tl_listing_stated(tl_inspection* inspection, size_t first, const tl_part* part);
/// Adds a row; takes over its strings.
void tl_listing_add(tl_inspection* inspection, tl_listing row);
/// Adds a row for each value of a part, and those that follow from them.
void tl_listing_part(tl_inspection* inspection, const tl_part* part, const char* name,
                     const char* about);
/// Adds the tolerances of a part to its rows, which begin at row `first`: those stated, and those
/// the library gives its kind. TL_BAD_INPUT when the library cannot be read.
tl_status tl_listing_tolerances(tl_inspection* inspection, size_t first, tl_library* library,
                                tl_rig* rig, tl_part* part, tl_error* error);
/// Adds a remark, made as by printf().
void tl_listing_remark(tl_inspection* inspection, const char* format, ...) TL_PRINTF(2, 3);

#endif

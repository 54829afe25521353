// SPDX-License-Identifier: GPL-3.0-or-later
/// @file listing.h Listed values as text, CSV and JSON.
#ifndef TL_CLI_LISTING_H
#define TL_CLI_LISTING_H

#include "toneload/toneload.h"

#include <stdio.h>

/// Part by part: a line for the part, then a table of its values.
void print_listing(FILE* to, const tl_inspection* found);
/// One row a value; free with free().
char* listing_csv(const tl_inspection* found);
/// [{part, about, field, value, origin}]
json_t* listing_json(const tl_inspection* found);

#endif

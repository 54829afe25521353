// SPDX-License-Identifier: GPL-3.0-or-later
/// @file number.h Numbers as CSV and scripts take them.
#ifndef TL_SHOW_NUMBER_H
#define TL_SHOW_NUMBER_H

#include "base/text.h"

/// Adds a number with 10 significant digits, and nothing at all when it is not finite.
void tl_number_add(tl_text* text, double number);

#endif

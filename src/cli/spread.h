// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread.h A spread shown, whether it comes from one run or from shards.
#ifndef TL_CLI_SPREAD_H
#define TL_CLI_SPREAD_H

#include "cli/command.h"

/// Draws and writes what the options ask for.
tl_status spread_show(const request* asked, const tl_spread* spread, tl_error* error);

#endif

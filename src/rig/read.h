// SPDX-License-Identifier: GPL-3.0-or-later
/// @file read.h Reading the pieces of a rig from YAML.
#ifndef TL_RIG_READ_H
#define TL_RIG_READ_H

#include "rig/rig.h"

/// Reads a list of items. `split_ok`: a split may stand last.
tl_status tl_chain_read(tl_library* library, const tl_yaml* node, bool split_ok, tl_chain* chain,
                        tl_error* error);
/// Reads a part that stands outside of all chains, with all its values, and keeps its place; keys
/// in `others` are somebody else's. It can follow nothing.
tl_status tl_part_read_apart(tl_library* library, const tl_part_kind* kind, const tl_yaml* node,
                             const char* const* others, tl_part** part, tl_error* error);
/// Reads `volume` and `tone` out of a mapping that may hold more; what is not there stays NULL.
tl_status tl_controls_read(tl_library* library, const tl_yaml* node, tl_part** volume,
                           tl_part** tone, tl_error* error);
void tl_chain_free(tl_chain* chain);
void tl_branch_free(tl_branch* branch);

#endif

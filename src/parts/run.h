// SPDX-License-Identifier: GPL-3.0-or-later
/// @file run.h A run of leads and the cable it lies along: what the two say together, and what is
/// taken where they do not say. All of the latter is printed with the answer.
#ifndef TL_PARTS_RUN_H
#define TL_PARTS_RUN_H

#include "parts/part.h"

#define TL_RUN_RETURN_M 0.2e-3  ///< from memory: how far a core lies off the middle of its shield
#define TL_RUN_CARRIERS 16.0    ///< common practice: braids of leads this thin
#define TL_RUN_CORE_M 0.6e-3    ///< 24 AWG in strands, common practice
#define TL_RUN_COVERAGE 0.95    ///< from memory: a usual braid
#define TL_RUN_SHIELD_M 5e-3    ///< from memory: over the shield of an instrument lead
#define TL_RUN_BRAID_M 0.5e-3   ///< from memory: what a braid adds to the insulation's diameter
#define TL_RUN_JACKET_M 1e-3    ///< from memory: what a jacket adds to the shield's diameter
#define TL_RUN_COPPER_SHARE 0.6 ///< from memory: of a mains or DC lead's diameter, its conductors
#define TL_RUN_SHIELD_SHARE 0.8 ///< from memory: of an audio lead's diameter, its shield

/// Over the metal of the other lead: its conductors; beside audio its shield.
double tl_run_copper_m(const tl_part* run);
/// Over the audio lead's shield: as the run says, from the cable's build, or as usual.
double tl_run_shield_m(const tl_part* run, const tl_part* cable);
/// Over the audio lead's jacket.
double tl_run_jacket_m(const tl_part* run, const tl_part* cable);

/// The two leads and the ground lie beside each other, not inside; TL_BAD_INPUT with a place.
tl_status tl_run_check_lie(const tl_part* run, const tl_part* cable, tl_error* error);

#endif

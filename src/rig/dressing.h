// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dressing.h How a rig's leads lie beside others: `dressing` in a rig file.
#ifndef TL_RIG_DRESSING_H
#define TL_RIG_DRESSING_H

#include "rig/rig.h"

/// Reads `dressing: [{name, lead, beside, length, spacing, ..}, ..]` of a rig whose chain is read.
/// TL_BAD_INPUT with a place when a lead is none, or the run is longer than its lead.
tl_status tl_dressing_read(tl_rig* rig, const tl_yaml* node, tl_error* error);
void tl_dressing_free(tl_rig* rig);

/// The leads of a run, in the rig that is asked, be it a clone; `*other` is NULL but beside audio.
tl_status tl_run_leads(tl_rig* rig, const tl_run* run, tl_part** lead, tl_part** other,
                       tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file noise_buffered.h A rig's noise with one more buffer in it.
#ifndef TL_STUDY_NOISE_BUFFERED_H
#define TL_STUDY_NOISE_BUFFERED_H

#include "rig/rig.h"
#include "study/session.h"

/// As tl_study_noise() of the rig with `buffer` in front of the lead of `run`; both NULL: as it is.
/// What the buffer makes is in totals and densities and stands among the parts as "everything
/// else".
tl_status tl_study_noise_buffered(tl_session* session, tl_rig* rig, const tl_noise_options* options,
                                  const tl_run* run, const tl_part* buffer, tl_noise** noise,
                                  tl_error* error);

#endif

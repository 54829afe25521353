// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress_joints.h The joints in a rig's path, by kind, and how often they open.
#ifndef TL_STUDY_DRESS_JOINTS_H
#define TL_STUDY_DRESS_JOINTS_H

#include "rig/rig.h"
#include "study/leads.h"
#include "toneload/dress.h"

/// Sorts joints into kinds and adds up resistance, leakage and openings; `leads` tells where they
/// are.
void tl_dress_count_joints(tl_dress_joints* joints, const tl_part* const* contacts, size_t count,
                           const tl_lead_list* leads);
void tl_dress_free_joints(tl_dress_joints* joints);

/// A copy of the rig whose joints are wires. Free with tl_rig_free().
tl_rig* tl_dress_without_joints(const tl_rig* rig);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file leads.h The audio leads of a rig and their joints, numbered and named as the cut list and
/// the bench card have them.
#ifndef TL_STUDY_LEADS_H
#define TL_STUDY_LEADS_H

#include "rig/rig.h"

#include <stddef.h>

/// A cable of the rig and what stands around it. Leads are numbered from 1 in their order here.
typedef struct {
    tl_part* part;
    const tl_part* joints[2]; ///< before and behind it; NULL: none stated
    char* path;               ///< "chain[6]"
    char* from;               ///< "drive"
    char* to;
} tl_found_lead;

/// A contact at either end of a lead.
typedef struct {
    const tl_part* part;
    char* path;
    char* lead; ///< path of its lead
    char* at;   ///< what is on the other side of it: "drive"
} tl_found_joint;

typedef struct {
    tl_found_lead* leads;
    size_t count;
    tl_found_joint* joints;
    size_t joint_count;
} tl_lead_list;

/// Finds all of them, loops and branches too, in the order of the signal. Free with
/// tl_leads_free().
void tl_leads_list(const tl_rig* rig, tl_lead_list* list);
void tl_leads_free(tl_lead_list* list);

/// Where the part at a path is: "lead 4, wah to compressor", of a joint "lead 4, wah to compressor,
/// at compressor"; "" for what is no lead and no joint of one. Free with free().
char* tl_leads_where(const tl_lead_list* list, const char* path);

#endif

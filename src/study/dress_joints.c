// SPDX-License-Identifier: GPL-3.0-or-later
// Joints open now and then, each by itself and at any time: the number of openings in a gig is
// Poisson's, and the chance of none is exp(-openings expected) (any text on reliability; from
// memory). Joints in series all have to hold, so what is expected of each adds up.
#include "study/dress_joints.h"

#include "base/text.h"
#include "parts/kinds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A DC lead's plug has less: with more its pedal would not run.
static const double plug_ohm = 10;

static bool are_alike(const tl_dress_joint* kind, const tl_dress_joint* joint) {
    bool openings =
        kind->openings == joint->openings || (isnan(kind->openings) && isnan(joint->openings));
    return strcmp(kind->name, joint->name) == 0 && kind->ohm == joint->ohm &&
           kind->leakage_ohm == joint->leakage_ohm && openings;
}

static char* where_words(const tl_lead_list* leads, const tl_part* contact) {
    for (size_t i = 0; i < leads->joint_count; ++i)
        if (leads->joints[i].part == contact)
            return tl_leads_where(leads, leads->joints[i].path);
    return tl_copy("");
}

static void add_joint(tl_dress_joints* joints, const tl_part* contact, const tl_lead_list* leads) {
    tl_dress_joint joint = {.name = contact->library ? contact->library : "of its own",
                            .count = 1,
                            .ohm = tl_part_number(contact, "resistance", 0),
                            .leakage_ohm = tl_part_number(contact, "leakage", INFINITY),
                            .openings = tl_part_number(contact, "openings", NAN)};
    joints->count += 1;
    joints->series_ohm += joint.ohm;
    joints->worst_ohm = fmax(joints->worst_ohm, joint.ohm);
    if (joint.ohm < plug_ohm)
        joints->plug_ohm = fmax(joints->plug_ohm, joint.ohm);
    joints->unsaid += isnan(joint.openings) ? 1 : 0;
    joints->leakage_ohm = 1 / (1 / joints->leakage_ohm + 1 / joint.leakage_ohm);
    for (size_t i = 0; i < joints->kind_count; ++i)
        if (are_alike(&joints->kinds[i], &joint)) {
            joints->kinds[i].count += 1;
            return;
        }
    joints->kinds = tl_grow(joints->kinds, joints->kind_count + 1, sizeof *joints->kinds);
    joint.name = tl_copy(joint.name);
    joint.where = where_words(leads, contact);
    joints->kinds[joints->kind_count++] = joint;
}

/// Those that open most in a gig first; what is not known last.
static int by_gig(const void* a, const void* b) {
    const tl_dress_joint* one = a;
    const tl_dress_joint* two = b;
    double left = isnan(one->a_gig) ? -1 : one->a_gig;
    double right = isnan(two->a_gig) ? -1 : two->a_gig;
    if (left != right)
        return left < right ? 1 : -1;
    return strcmp(one->name, two->name);
}

static void expect_openings(tl_dress_joints* joints) {
    for (size_t i = 0; i < joints->kind_count; ++i) {
        tl_dress_joint* kind = &joints->kinds[i];
        kind->a_gig = (double)kind->count * kind->openings * TL_DRESS_GIG_H / 1000;
        joints->openings_a_gig += isnan(kind->a_gig) ? 0 : kind->a_gig;
    }
    if (joints->kind_count)
        qsort(joints->kinds, joints->kind_count, sizeof *joints->kinds, by_gig);
    joints->quiet_gig = exp(-joints->openings_a_gig);
    joints->mended_gig = joints->quiet_gig;
    bool known = joints->kind_count && !isnan(joints->kinds[0].a_gig);
    joints->worst = known ? 0 : joints->kind_count;
    joints->best = joints->worst;
    for (size_t i = 1; known && i < joints->kind_count; ++i)
        if (joints->kinds[i].openings < joints->kinds[joints->best].openings)
            joints->best = i;
    if (!known)
        return;
    const tl_dress_joint* worst = &joints->kinds[joints->worst];
    double saved = (double)worst->count * (worst->openings - joints->kinds[joints->best].openings) *
                   TL_DRESS_GIG_H / 1000;
    joints->mended_gig = exp(saved - joints->openings_a_gig);
}

void tl_dress_count_joints(tl_dress_joints* joints, const tl_part* const* contacts, size_t count,
                           const tl_lead_list* leads) {
    joints->leakage_ohm = INFINITY;
    for (size_t i = 0; i < count; ++i)
        add_joint(joints, contacts[i], leads);
    expect_openings(joints);
}

void tl_dress_free_joints(tl_dress_joints* joints) {
    for (size_t i = 0; i < joints->kind_count; ++i) {
        free(joints->kinds[i].name);
        free(joints->kinds[i].where);
    }
    free(joints->kinds);
}

static void make_wire(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)context;
    (void)item;
    (void)path;
    if (part->kind != &tl_kind_contact)
        return;
    tl_part_set_number(part, "resistance", 0);
    part->values[tl_part_field(part->kind, "leakage")].given = false;
}

tl_rig* tl_dress_without_joints(const tl_rig* rig) {
    tl_rig* clone = tl_rig_clone(rig);
    tl_rig_each_part(clone, make_wire, NULL);
    return clone;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "rig/follow.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "rig/path.h"

#include <stdlib.h>
#include <string.h>

/// All parts of a rig, with their paths.
typedef struct {
    tl_part** parts;
    char** paths;
    size_t count;
} part_list;

static void collect(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    part_list* list = context;
    list->parts = tl_grow_one(list->parts, list->count, sizeof *list->parts);
    list->paths = tl_grow_one(list->paths, list->count, sizeof *list->paths);
    list->parts[list->count] = part;
    list->paths[list->count++] = tl_copy(path);
}

static void part_list_free(part_list* list) {
    for (size_t i = 0; i < list->count; ++i)
        free(list->paths[i]);
    free(list->paths);
    free(list->parts);
}

static const char* path_of(const part_list* list, const tl_part* part) {
    for (size_t i = 0; i < list->count; ++i)
        if (list->parts[i] == part)
            return list->paths[i];
    return "?";
}

/// The part that one follows directly; NULL when it follows none. It is looked up anew each time,
/// so that it is the right rig's whatever was copied or put in its place.
static tl_part* next_leader(tl_rig* rig, const tl_part* part) {
    tl_part* leader = NULL;
    const tl_place nowhere = {0};
    if (!part->follows || tl_rig_find_part(rig, part->follows, &nowhere, &leader, NULL) != TL_OK)
        return NULL;
    return leader;
}

static bool has_numbers(const tl_part* part) {
    for (size_t i = 0; i < part->kind->field_count; ++i)
        if (!part->kind->fields[i].choices)
            return !part->design;
    return false;
}

/// What can be said of a follower and its leader alone.
static tl_status check_pair(const part_list* list, const tl_part* part, const tl_part* leader,
                            tl_error* error) {
    const tl_place* place = &part->follows_place;
    if (leader == part)
        return tl_error_at(error, place, "%s follows itself", path_of(list, part));
    if (leader->kind != part->kind)
        return tl_error_at(error, place,
                           "%s cannot follow %s (%s): only parts of one kind move together",
                           part->kind->about, leader->kind->about, path_of(list, leader));
    if (!has_numbers(part) || !has_numbers(leader))
        return tl_error_at(error, place, "%s has no values that could move together with others",
                           has_numbers(part) ? path_of(list, leader) : path_of(list, part));
    return TL_OK;
}

/// Follows the line from a part on; TL_BAD_INPUT when it comes back to it.
static tl_status check_circle(tl_rig* rig, const part_list* list, const tl_part* part,
                              tl_error* error) {
    tl_text words = {0};
    tl_text_add(&words, path_of(list, part));
    const tl_part* at = part;
    for (size_t steps = 0; at && steps < list->count; ++steps) {
        at = next_leader(rig, at);
        if (at)
            tl_text_addf(&words, " follows %s", path_of(list, at));
        if (at == part)
            break;
    }
    tl_status status = TL_OK;
    if (at == part)
        status = tl_error_at(error, &part->follows_place, "a circle: %s: one of them must lead",
                             tl_text_get(&words));
    tl_text_free(&words);
    return status;
}

tl_status tl_rig_check_followers(tl_rig* rig, tl_error* error) {
    part_list list = {0};
    tl_rig_each_part(rig, collect, &list);
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < list.count; ++i) {
        const tl_part* part = list.parts[i];
        tl_part* leader = NULL;
        if (!part->follows)
            continue;
        status = tl_rig_find_part(rig, part->follows, &part->follows_place, &leader, error);
        if (status == TL_OK)
            status = check_pair(&list, part, leader, error);
    }
    for (size_t i = 0; status == TL_OK && i < list.count; ++i)
        if (list.parts[i]->follows)
            status = check_circle(rig, &list, list.parts[i], error);
    part_list_free(&list);
    return status;
}

/// A line that leads back to itself was refused by tl_rig_check(); the count is for rigs unchecked.
tl_part* tl_rig_leader(tl_rig* rig, tl_part* part) {
    enum { LONGEST = 10000 };
    tl_part* last = NULL;
    tl_part* at = next_leader(rig, part);
    for (int steps = 0; at && steps < LONGEST; ++steps) {
        last = at;
        at = next_leader(rig, at);
    }
    return last;
}

tl_status tl_rig_tolerance(tl_rig* rig, tl_part* part, size_t field, bool only_stated,
                           tl_value_tolerance* tolerance, const tl_part** from, tl_error* error) {
    const tl_part* of = part;
    const tl_part* leader = part->values[field].tolerance.given ? NULL : tl_rig_leader(rig, part);
    if (leader && leader->values[field].given)
        of = leader;
    if (from)
        *from = of;
    *tolerance = of->values[field].tolerance;
    return only_stated ? TL_OK : tl_part_tolerance(rig->library, of, field, tolerance, error);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What only the whole of a rig can tell.
#include "rig/rig.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "rig/follow.h"
#include "rig/layout.h"

#include <stdlib.h>
#include <string.h>

/// Names seen so far, to find one given twice.
typedef struct {
    const tl_item** items;
    size_t count;
    const tl_item* again;
} name_list;

static void collect_chain(name_list* list, const tl_chain* chain) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        for (size_t j = 0; item->name && j < list->count; ++j)
            if (strcmp(list->items[j]->name, item->name) == 0 && !list->again)
                list->again = item;
        if (item->name) {
            list->items = tl_grow(list->items, list->count + 1, sizeof *list->items);
            list->items[list->count++] = item;
        }
        collect_chain(list, &item->loop);
        for (size_t j = 0; j < item->branch_count; ++j)
            collect_chain(list, &item->branches[j].chain);
    }
}

static tl_status check_names(const tl_rig* rig, tl_error* error) {
    name_list list = {0};
    collect_chain(&list, &rig->main.chain);
    collect_chain(&list, &rig->direct);
    free(list.items);
    if (!list.again)
        return TL_OK;
    return tl_error_at(error, &list.again->place, "a second item of the name '%s'",
                       list.again->name);
}

typedef struct {
    tl_status status;
    bool followers; ///< whether any part follows another
    tl_error* error;
} checking;

static void check_part(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    (void)path;
    checking* c = context;
    c->followers = c->followers || part->follows;
    if (c->status == TL_OK && part->kind != &tl_kind_wiring)
        c->status = tl_part_check(part, true, c->error);
}

static bool has_amp(const tl_branch* branch) {
    if (branch->amp)
        return true;
    for (size_t i = 0; i < branch->chain.count; ++i)
        for (size_t j = 0; j < branch->chain.items[i].branch_count; ++j)
            if (has_amp(&branch->chain.items[i].branches[j]))
                return true;
    return false;
}

tl_status tl_rig_check(tl_rig* rig, tl_error* error) {
    tl_status status = check_names(rig, error);
    if (status == TL_OK && !has_amp(&rig->main))
        status = tl_error_at(error, &rig->main.place, "no branch of this rig ends in an amp");
    if (status == TL_OK)
        status = tl_layout_apply(rig, error);
    checking c = {status, false, error};
    tl_rig_each_part(rig, check_part, &c);
    return c.status == TL_OK && c.followers ? tl_rig_check_followers(rig, error) : c.status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/leads.h"

#include "base/text.h"
#include "parts/kinds.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/// A joint of the lead itself. A socket's, a relay's or a switch's contact stays with its box.
static const tl_part* joint_of(const tl_item* item) {
    static const char* const fixed[] = {"socket", "relay", "foot-switch"};
    const tl_part* part = item->part;
    if (!part || part->kind != &tl_kind_contact)
        return NULL;
    for (size_t i = 0; part->library && i < sizeof fixed / sizeof *fixed; ++i)
        if (strncmp(part->library, fixed[i], strlen(fixed[i])) == 0)
            return NULL;
    return part;
}

/// Whether a lead's plug can go into it: not into another lead or a bare contact.
static bool is_box(const tl_item* item) {
    return !item->part ||
           (item->part->kind != &tl_kind_cable && item->part->kind != &tl_kind_contact);
}

static char* box_words(const tl_item* item, const char* path) {
    if (item->name)
        return tl_copy(item->name);
    if (tl_item_is_split(item))
        return tl_copy("split");
    return tl_printf("%s %s", item->part->kind->name, path);
}

static void walk_branch(tl_lead_list* list, const tl_branch* branch, const char* path,
                        const char* from, const char* to);
static void walk_chain(tl_lead_list* list, const tl_chain* chain, const char* path,
                       const char* from, const char* to);

/// The nearest box of a chain on one side of an item, else what its chain hangs on.
static char* neighbour(const tl_chain* chain, const char* path, size_t index, int side,
                       const char* otherwise) {
    for (size_t i = index + (size_t)side; i < chain->count; i += (size_t)side) {
        const tl_item* item = &chain->items[i];
        char* at = tl_printf("%s[%zu]", path, i);
        char* words = is_box(item) ? box_words(item, at) : tl_copy("another lead");
        bool passes = !is_box(item) && item->part->kind == &tl_kind_contact;
        free(at);
        if (!passes)
            return words;
        free(words);
    }
    return tl_copy(otherwise);
}

static void add_lead(tl_lead_list* list, const tl_chain* chain, const char* path, size_t index,
                     const char* from, const char* to) {
    list->leads = tl_grow_one(list->leads, list->count, sizeof *list->leads);
    list->leads[list->count++] = (tl_found_lead){
        .part = chain->items[index].part,
        .joints = {index ? joint_of(&chain->items[index - 1]) : NULL,
                   index + 1 < chain->count ? joint_of(&chain->items[index + 1]) : NULL},
        .path = tl_printf("%s[%zu]", path, index),
        .from = neighbour(chain, path, index, -1, from),
        .to = neighbour(chain, path, index, 1, to)};
}

/// The lead that a contact belongs to: the nearest one with nothing but contacts in between, on
/// `side` of it; SIZE_MAX: there is none.
static size_t lead_beside(const tl_chain* chain, size_t index, int side) {
    for (size_t i = index + (size_t)side; i < chain->count; i += (size_t)side) {
        const tl_part* part = chain->items[i].part;
        if (part && part->kind == &tl_kind_cable)
            return i;
        if (!part || part->kind != &tl_kind_contact)
            return SIZE_MAX;
    }
    return SIZE_MAX;
}

/// A contact, told by the box its lead is plugged into there.
static void add_joint(tl_lead_list* list, const tl_chain* chain, const char* path, size_t index,
                      const char* from, const char* to) {
    size_t before = lead_beside(chain, index, -1);
    size_t lead = before == SIZE_MAX ? lead_beside(chain, index, 1) : before;
    if (lead == SIZE_MAX)
        return;
    list->joints = tl_grow_one(list->joints, list->joint_count, sizeof *list->joints);
    list->joints[list->joint_count++] =
        (tl_found_joint){.path = tl_printf("%s[%zu]", path, index),
                         .lead = tl_printf("%s[%zu]", path, lead),
                         .part = chain->items[index].part,
                         .at = before == SIZE_MAX ? neighbour(chain, path, index, -1, from)
                                                  : neighbour(chain, path, index, 1, to)};
}

/// A loop's leads, or those of branches.
static void walk_inside(tl_lead_list* list, const tl_item* item, const char* path) {
    char* box = box_words(item, path);
    if (item->loop.count) {
        char* inner = tl_printf("%s.chain", path);
        char* send = tl_printf("%s send", box);
        char* back = tl_printf("%s return", box);
        walk_chain(list, &item->loop, inner, send, back);
        free(inner);
        free(send);
        free(back);
    }
    for (size_t i = 0; i < item->branch_count; ++i) {
        const tl_branch* branch = &item->branches[i];
        char* inner = item->part ? tl_printf("%s.tuner-out", path)
                                 : tl_printf("%s.split[%s]", path, branch->name);
        char* from = item->part ? tl_printf("%s side", box) : tl_printf("%s %s", box, branch->name);
        char* to = item->part ? tl_copy("tuner")
                              : tl_printf("%s %s", branch->amp ? "amp" : "end", branch->name);
        walk_branch(list, branch, inner, from, to);
        free(inner);
        free(from);
        free(to);
    }
    free(box);
}

static void walk_chain(tl_lead_list* list, const tl_chain* chain, const char* path,
                       const char* from, const char* to) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        char* at = tl_printf("%s[%zu]", path, i);
        if (item->part && item->part->kind == &tl_kind_cable)
            add_lead(list, chain, path, i, from, to);
        else if (item->part && item->part->kind == &tl_kind_contact)
            add_joint(list, chain, path, i, from, to);
        else
            walk_inside(list, item, at);
        free(at);
    }
}

static void walk_branch(tl_lead_list* list, const tl_branch* branch, const char* path,
                        const char* from, const char* to) {
    char* chain = *path ? tl_printf("%s.chain", path) : tl_copy("chain");
    walk_chain(list, &branch->chain, chain, from, to);
    free(chain);
}

void tl_leads_list(const tl_rig* rig, tl_lead_list* list) {
    *list = (tl_lead_list){0};
    walk_branch(list, &rig->main, "", "guitar", "amp");
}

void tl_leads_free(tl_lead_list* list) {
    for (size_t i = 0; i < list->count; ++i) {
        free(list->leads[i].path);
        free(list->leads[i].from);
        free(list->leads[i].to);
    }
    for (size_t i = 0; i < list->joint_count; ++i) {
        free(list->joints[i].path);
        free(list->joints[i].lead);
        free(list->joints[i].at);
    }
    free(list->leads);
    free(list->joints);
}

// ---- where a part is, in words

/// Whether a path is that of an item or of something in it: "chain[1]", "chain[1].cable".
static bool is_at(const char* path, const char* item) {
    size_t size = strlen(item);
    return strncmp(path, item, size) == 0 && (path[size] == '\0' || path[size] == '.');
}

static char* lead_words(const tl_lead_list* list, const char* path) {
    for (size_t i = 0; i < list->count; ++i)
        if (is_at(path, list->leads[i].path))
            return tl_printf("lead %zu, %s to %s", i + 1, list->leads[i].from, list->leads[i].to);
    return NULL;
}

char* tl_leads_where(const tl_lead_list* list, const char* path) {
    for (size_t i = 0; i < list->joint_count; ++i) {
        const tl_found_joint* joint = &list->joints[i];
        if (!is_at(path, joint->path))
            continue;
        char* lead = lead_words(list, joint->lead);
        char* words = tl_printf("%s, at %s", lead, joint->at);
        free(lead);
        return words;
    }
    char* words = lead_words(list, path);
    return words ? words : tl_copy("");
}

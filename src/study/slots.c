// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/slots.h"

#include "base/text.h"
#include "parts/kinds.h"

#include <stdlib.h>
#include <string.h>

typedef struct {
    tl_slots* slots;
    const tl_pedals* pedals;
} opening;

static void collect_needer(void* context, tl_part* part, const tl_item* item, const char* path) {
    tl_slots* slots = context;
    if (part->kind != &tl_kind_pedal || !tl_part_chosen(part, "needs_pickup", "yes") ||
        strncmp(path, "direct", 6) == 0)
        return;
    size_t size = strlen(path) - strlen(part->kind->name) - 1; // without ".pedal"
    char* name = item->name ? tl_copy(item->name) : tl_printf("%.*s", (int)size, path);
    slots->needers = tl_grow(slots->needers, slots->needer_count + 1, sizeof *slots->needers);
    slots->needers[slots->needer_count++] = (tl_needer){part, name};
}

/// Where a slot lies, for people: `before` says that nothing of its chain comes first.
static char* slot_words(const char* chain_path, size_t index, const tl_item* beside, bool before) {
    const char* where = before ? "before" : "after";
    if (beside->name)
        return tl_printf("%s %s[%zu] '%s'", where, chain_path, index, beside->name);
    return tl_printf("%s %s[%zu] (%s)", where, chain_path, index,
                     beside->part ? beside->part->kind->name : "split");
}

static void add_slot(opening* o, tl_slot slot) {
    tl_slots* slots = o->slots;
    slots->slots = tl_grow(slots->slots, slots->count + 1, sizeof *slots->slots);
    slots->slots[slots->count++] = slot;
}

/// Whether a loop is on in some state.
static bool may_be_on(const tl_pedals* pedals, const tl_part* loop) {
    bool on = false;
    for (size_t i = 0; i < pedals->state_count && !on; ++i) {
        tl_pedals_enter(pedals, i);
        on = tl_part_chosen(loop, "engaged", "yes");
    }
    return on;
}

static void open_chain(opening* o, tl_chain* chain, const char* path, const char* ending);

static void open_item(opening* o, tl_item* item, const char* path) {
    if (tl_item_is_loop(item) && may_be_on(o->pedals, item->part)) {
        char* inner = tl_printf("%s.chain", path);
        open_chain(o, &item->loop, inner, "");
        free(inner);
    }
    for (size_t i = 0; tl_item_is_split(item) && i < item->branch_count; ++i) {
        tl_branch* branch = &item->branches[i];
        char* inner = tl_printf("%s.split[%s].chain", path, branch->name);
        char* ending =
            tl_printf("%s.split[%s].%s", path, branch->name, branch->amp ? "amp" : "end");
        open_chain(o, &branch->chain, inner, ending);
        free(inner);
        free(ending);
    }
}

/// A slot before every item and one after the last, but none after a split, which ends its chain.
/// `ending` is what a chain without items ends in.
static void open_chain(opening* o, tl_chain* chain, const char* path, const char* ending) {
    size_t count = chain->count;
    bool split = count && tl_item_is_split(&chain->items[count - 1]);
    tl_item* old = chain->items;
    chain->items = tl_new(2 * count + 1, sizeof *chain->items);
    for (size_t i = 0; i < count; ++i)
        chain->items[2 * i + 1] = old[i];
    free(old);
    chain->count = split ? 2 * count : 2 * count + 1;
    for (size_t i = 0; i <= count; ++i) {
        const tl_item* beside = &chain->items[i ? 2 * i - 1 : 1];
        if (2 * i < chain->count)
            add_slot(o, (tl_slot){&chain->items[2 * i],
                                  count ? slot_words(path, i ? i - 1 : 0, beside, i == 0)
                                        : tl_printf("before %s", ending),
                                  tl_printf("%s[%zu]", path, i)});
        if (i == count)
            break;
        char* at = tl_printf("%s[%zu]", path, i);
        open_item(o, &chain->items[2 * i + 1], at);
        free(at);
    }
}

tl_slots tl_slots_open(tl_rig* rig, const tl_pedals* pedals) {
    tl_slots slots = {.rig = rig};
    tl_rig_each_part(rig, collect_needer, &slots);
    opening o = {&slots, pedals};
    open_chain(&o, &rig->main.chain, "chain", "");
    return slots;
}

void tl_slots_free(tl_slots* slots) {
    for (size_t i = 0; i < slots->count; ++i) {
        slots->slots[i].item->part = NULL;
        free(slots->slots[i].words);
        free(slots->slots[i].path);
    }
    for (size_t i = 0; i < slots->needer_count; ++i)
        free(slots->needers[i].name);
    free(slots->slots);
    free(slots->needers);
    *slots = (tl_slots){0};
}

void tl_slots_put(const tl_slots* slots, size_t slot, tl_part* part) {
    slots->slots[slot].item->part = part;
}

/// Goes along a chain; returns whether what follows it is driven by something else than the pickup.
static bool look_along(const tl_slots* slots, const tl_chain* chain, bool driven,
                       tl_sight* sights) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        for (size_t j = 0; j < item->branch_count; ++j)
            look_along(slots, &item->branches[j].chain, driven, sights);
        if (!item->part)
            continue;
        if (tl_item_is_loop(item)) {
            if (tl_part_chosen(item->part, "engaged", "yes"))
                driven = look_along(slots, &item->loop, driven, sights);
            continue;
        }
        for (size_t j = 0; j < slots->needer_count; ++j)
            if (slots->needers[j].part == item->part &&
                tl_part_chosen(item->part, "engaged", "yes"))
                sights[j] = driven ? TL_NEEDER_CUT_OFF : TL_NEEDER_SEES;
        driven = driven || tl_part_drives(item->part);
    }
    return driven;
}

void tl_slots_look(const tl_slots* slots, tl_sight* sights) {
    for (size_t i = 0; i < slots->needer_count; ++i)
        sights[i] = TL_NEEDER_OFF;
    look_along(slots, &slots->rig->main.chain, slots->rig->guitar.source != NULL, sights);
}

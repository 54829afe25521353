// SPDX-License-Identifier: GPL-3.0-or-later
#include "rig/rig.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "rig/dressing.h"
#include "rig/read.h"

#include <stdlib.h>
#include <string.h>

bool tl_item_is_loop(const tl_item* item) {
    return item->part && item->part->kind == &tl_kind_loop;
}

bool tl_scene_has(const tl_scene* scene, const char* name) {
    for (size_t i = 0; i < scene->engaged_count; ++i)
        if (strcmp(scene->engaged[i], name) == 0)
            return true;
    return false;
}

bool tl_item_is_split(const tl_item* item) {
    return !item->part && item->branches;
}

static void item_free(tl_item* item) {
    free(item->name);
    tl_part_free(item->part);
    tl_chain_free(&item->loop);
    for (size_t i = 0; i < item->branch_count; ++i)
        tl_branch_free(&item->branches[i]);
    free(item->branches);
}

void tl_chain_free(tl_chain* chain) {
    for (size_t i = 0; i < chain->count; ++i)
        item_free(&chain->items[i]);
    free(chain->items);
    *chain = (tl_chain){0};
}

void tl_branch_free(tl_branch* branch) {
    free(branch->name);
    tl_chain_free(&branch->chain);
    tl_part_free(branch->amp);
    tl_part_free(branch->end);
}

static void guitar_free(tl_guitar* guitar) {
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        free(guitar->voices[i].name);
        tl_part_free(guitar->voices[i].pickup);
        tl_part_free(guitar->voices[i].volume);
        tl_part_free(guitar->voices[i].tone);
    }
    free(guitar->voices);
    tl_part_free(guitar->wiring);
    tl_part_free(guitar->source);
    tl_part_free(guitar->volume);
    tl_part_free(guitar->tone);
}

static void scenes_free(tl_rig* rig) {
    for (size_t i = 0; i < rig->scene_count; ++i) {
        for (size_t j = 0; j < rig->scenes[i].engaged_count; ++j)
            free(rig->scenes[i].engaged[j]);
        free(rig->scenes[i].engaged);
        free(rig->scenes[i].name);
    }
    free(rig->scenes);
}

void tl_rig_free(tl_rig* rig) {
    if (!rig)
        return;
    guitar_free(&rig->guitar);
    tl_branch_free(&rig->main);
    tl_chain_free(&rig->direct);
    if (!rig->is_clone) {
        scenes_free(rig);
        tl_dressing_free(rig);
        tl_power_free(rig->power);
        tl_pedalboard_free(rig->board);
        tl_measure_free(rig->measure);
        tl_input_free(rig->input);
    }
    free(rig->path);
    free(rig->title);
    free(rig);
}

static tl_chain chain_clone(const tl_chain* chain);

static tl_branch branch_clone(const tl_branch* branch) {
    tl_branch clone = *branch;
    clone.name = tl_copy(branch->name);
    clone.chain = chain_clone(&branch->chain);
    clone.amp = tl_part_clone(branch->amp);
    clone.end = tl_part_clone(branch->end);
    return clone;
}

static tl_item item_clone(const tl_item* item) {
    tl_item clone = *item;
    clone.name = tl_copy(item->name);
    clone.part = tl_part_clone(item->part);
    clone.loop = chain_clone(&item->loop);
    if (item->branch_count) {
        clone.branches = tl_new(item->branch_count, sizeof *clone.branches);
        for (size_t i = 0; i < item->branch_count; ++i)
            clone.branches[i] = branch_clone(&item->branches[i]);
    }
    return clone;
}

static tl_chain chain_clone(const tl_chain* chain) {
    tl_chain clone = *chain;
    if (chain->count) {
        clone.items = tl_new(chain->count, sizeof *clone.items);
        for (size_t i = 0; i < chain->count; ++i)
            clone.items[i] = item_clone(&chain->items[i]);
    }
    return clone;
}

static tl_guitar guitar_clone(const tl_guitar* guitar) {
    tl_guitar clone = *guitar;
    clone.voices = tl_new(guitar->voice_count, sizeof *clone.voices);
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        clone.voices[i] = guitar->voices[i];
        clone.voices[i].name = tl_copy(guitar->voices[i].name);
        clone.voices[i].pickup = tl_part_clone(guitar->voices[i].pickup);
        clone.voices[i].volume = tl_part_clone(guitar->voices[i].volume);
        clone.voices[i].tone = tl_part_clone(guitar->voices[i].tone);
    }
    clone.wiring = tl_part_clone(guitar->wiring);
    clone.source = tl_part_clone(guitar->source);
    clone.volume = tl_part_clone(guitar->volume);
    clone.tone = tl_part_clone(guitar->tone);
    return clone;
}

tl_rig* tl_rig_clone(const tl_rig* rig) {
    tl_rig* clone = tl_new(1, sizeof *clone);
    *clone = *rig;
    clone->is_clone = true;
    clone->path = tl_copy(rig->path);
    clone->title = tl_copy(rig->title);
    clone->guitar = guitar_clone(&rig->guitar);
    clone->main = branch_clone(&rig->main);
    clone->direct = chain_clone(&rig->direct);
    return clone;
}

const char* tl_rig_title(const tl_rig* rig) {
    return rig->title;
}

const char* tl_rig_path(const tl_rig* rig) {
    return rig->path;
}

int tl_rig_has_direct(const tl_rig* rig) {
    return rig->has_direct;
}

/// A walk over every part, and what it carries along.
typedef struct {
    tl_part_visit visit;
    void* context;
} walk;

static void visit_chain(const walk* w, tl_chain* chain, const char* path);

static void visit_part(const walk* w, tl_part* part, const tl_item* item, const char* path) {
    if (part)
        w->visit(w->context, part, item, path);
}

static void visit_at(const walk* w, tl_part* part, const char* path, const char* key) {
    if (!part)
        return;
    char* at = *path ? tl_printf("%s.%s", path, key) : tl_copy(key);
    w->visit(w->context, part, NULL, at);
    free(at);
}

static void visit_branch(const walk* w, tl_branch* branch, const char* path) {
    char* chain = *path ? tl_printf("%s.chain", path) : tl_copy("chain");
    visit_chain(w, &branch->chain, chain);
    free(chain);
    visit_at(w, branch->amp, path, "amp");
    visit_at(w, branch->end, path, "end");
}

static void visit_item(const walk* w, tl_item* item, const char* path) {
    if (item->part) {
        char* at = tl_printf("%s.%s", path, item->part->kind->name);
        visit_part(w, item->part, item, at);
        free(at);
    }
    if (item->loop.count) {
        char* at = tl_printf("%s.chain", path);
        visit_chain(w, &item->loop, at);
        free(at);
    }
    for (size_t i = 0; i < item->branch_count; ++i) {
        char* at = item->part ? tl_printf("%s.tuner-out", path)
                              : tl_printf("%s.split[%s]", path, item->branches[i].name);
        visit_branch(w, &item->branches[i], at);
        free(at);
    }
}

static void visit_chain(const walk* w, tl_chain* chain, const char* path) {
    for (size_t i = 0; i < chain->count; ++i) {
        char* at = tl_printf("%s[%zu]", path, i);
        visit_item(w, &chain->items[i], at);
        free(at);
    }
}

void tl_rig_each_part(tl_rig* rig, tl_part_visit visit, void* context) {
    walk w = {visit, context};
    tl_guitar* guitar = &rig->guitar;
    for (size_t i = 0; i < guitar->voice_count; ++i) {
        char* at = guitar->listed ? tl_printf("guitar.pickups[%zu]", i) : tl_copy("guitar");
        visit_at(&w, guitar->voices[i].pickup, at, "pickup");
        visit_at(&w, guitar->voices[i].volume, at, "volume");
        visit_at(&w, guitar->voices[i].tone, at, "tone");
        free(at);
    }
    visit_at(&w, guitar->source, "guitar", "source");
    visit_at(&w, guitar->wiring, "guitar", "wiring");
    visit_at(&w, guitar->volume, "guitar", "volume");
    visit_at(&w, guitar->tone, "guitar", "tone");
    visit_branch(&w, &rig->main, "");
    visit_chain(&w, &rig->direct, "direct");
}

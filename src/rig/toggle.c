// SPDX-License-Identifier: GPL-3.0-or-later
#include "rig/toggle.h"

#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"

#include <stdlib.h>
#include <string.h>

static void collect(void* context, tl_part* part, const tl_item* item, const char* path) {
    tl_toggle_list* list = context;
    bool toggles = part->kind == &tl_kind_pedal || part->kind == &tl_kind_loop;
    if (!toggles || strncmp(path, "direct", 6) == 0)
        return;
    list->toggles = tl_grow(list->toggles, list->count + 1, sizeof *list->toggles);
    size_t size = strlen(path) - strlen(part->kind->name) - 1; // without ".pedal"
    list->toggles[list->count++] =
        (tl_toggle){part, tl_part_field(part->kind, "engaged"), item ? item->name : NULL,
                    tl_printf("%.*s", (int)size, path)};
}

tl_toggle_list tl_toggles_list(tl_rig* rig) {
    tl_toggle_list list = {0};
    tl_rig_each_part(rig, collect, &list);
    return list;
}

void tl_toggles_free(tl_toggle_list* list) {
    for (size_t i = 0; i < list->count; ++i)
        free(list->toggles[i].path);
    free(list->toggles);
    *list = (tl_toggle_list){0};
}

bool tl_toggle_is_on(const tl_toggle* toggle) {
    return toggle->part->values[toggle->field].number != 0;
}

void tl_toggle_set(const tl_toggle* toggle, bool on) {
    toggle->part->values[toggle->field].number = on;
}

/// Says that a scene names something that cannot be stepped on.
static tl_status no_such_toggle(const tl_toggle_list* list, const tl_yaml* node, tl_error* error) {
    const char* names[128];
    size_t count = 0;
    for (size_t i = 0; i < list->count && count < 128; ++i)
        if (list->toggles[i].name)
            names[count++] = list->toggles[i].name;
    tl_text hint = {0};
    tl_name_hint(&hint, node->text, names, count);
    tl_status status = tl_error_at(error, &node->place, "no pedal or loop is named '%s'%s",
                                   node->text, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

static tl_status read_engaged(const tl_toggle_list* list, const tl_yaml* node, tl_scene* scene,
                              tl_error* error) {
    tl_status status = tl_yaml_expect(node, TL_YAML_LIST, "a scene's 'engaged'", error);
    if (status != TL_OK)
        return status;
    scene->engaged = tl_new(node->count, sizeof *scene->engaged);
    for (size_t i = 0; i < node->count; ++i) {
        const tl_yaml* name = node->items[i];
        status = tl_yaml_expect(name, TL_YAML_SCALAR, "a pedal's name", error);
        if (status != TL_OK)
            return status;
        bool found = false;
        for (size_t j = 0; j < list->count; ++j)
            found =
                found || (list->toggles[j].name && strcmp(list->toggles[j].name, name->text) == 0);
        if (!found)
            return no_such_toggle(list, name, error);
        scene->engaged[scene->engaged_count++] = tl_copy(name->text);
    }
    return TL_OK;
}

static tl_status read_scene(const tl_toggle_list* list, const tl_yaml* node, tl_scene* scene,
                            tl_error* error) {
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "a scene", error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < node->count; ++i)
        if (strcmp(node->keys[i]->text, "name") != 0 && strcmp(node->keys[i]->text, "engaged") != 0)
            return tl_error_at(error, &node->keys[i]->place,
                               "unknown '%s' in a scene; known are name, engaged",
                               node->keys[i]->text);
    const tl_yaml* name = tl_yaml_get(node, "name");
    const tl_yaml* engaged = tl_yaml_get(node, "engaged");
    if (!name || !engaged)
        return tl_error_at(error, &node->place,
                           "a scene needs 'name' and 'engaged' (a list of pedals' names, or [])");
    status = tl_yaml_name(name, &scene->name, error);
    if (status != TL_OK)
        return status;
    return read_engaged(list, engaged, scene, error);
}

tl_status tl_scenes_read(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    tl_status status = tl_yaml_expect(node, TL_YAML_LIST, "scenes", error);
    if (status != TL_OK)
        return status;
    tl_toggle_list list = tl_toggles_list(rig);
    rig->scenes = tl_new(node->count, sizeof *rig->scenes);
    for (size_t i = 0; status == TL_OK && i < node->count; ++i) {
        rig->scene_count = i + 1;
        status = read_scene(&list, node->items[i], &rig->scenes[i], error);
        for (size_t j = 0; status == TL_OK && j < i; ++j)
            if (strcmp(rig->scenes[i].name, rig->scenes[j].name) == 0)
                status = tl_error_at(error, &node->items[i]->place, "a second scene named '%s'",
                                     rig->scenes[i].name);
    }
    tl_toggles_free(&list);
    return status;
}

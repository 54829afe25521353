// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/engaged.h"

#include "base/names.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

static const tl_scene* find_scene(const tl_rig* rig, const char* name) {
    for (size_t i = 0; i < rig->scene_count; ++i)
        if (strcmp(rig->scenes[i].name, name) == 0)
            return &rig->scenes[i];
    return NULL;
}

static const char* name_of(const tl_toggle* toggle) {
    return toggle->name ? toggle->name : toggle->path;
}

static tl_status no_such_pedal(const tl_rig* rig, const tl_toggle_list* list, const tl_place* place,
                               const char* word, tl_error* error) {
    const char* names[128] = {"all off", "none"};
    size_t count = 2;
    for (size_t i = 0; i < rig->scene_count && count < 128; ++i)
        names[count++] = rig->scenes[i].name;
    for (size_t i = 0; i < list->count && count < 128; ++i)
        names[count++] = name_of(&list->toggles[i]);
    tl_text hint = {0};
    tl_name_hint(&hint, word, names, count);
    tl_status status = tl_error_at(error, place, "no pedal, loop or scene is named '%s'%s", word,
                                   tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

static bool switch_on(const tl_toggle_list* list, const char* word) {
    bool found = false;
    for (size_t i = 0; i < list->count; ++i) {
        const tl_toggle* toggle = &list->toggles[i];
        if ((toggle->name && strcmp(toggle->name, word) == 0) || strcmp(toggle->path, word) == 0) {
            tl_toggle_set(toggle, true);
            found = true;
        }
    }
    return found;
}

/// "as it is" is what a card calls the only state of a rig in which nothing can be switched.
static bool is_none(const tl_toggle_list* list, const char* words) {
    return strcmp(words, "none") == 0 || strcmp(words, "all off") == 0 ||
           (!list->count && strcmp(words, "as it is") == 0);
}

static tl_status read_names(const tl_rig* rig, const tl_toggle_list* list, const char* words,
                            const tl_place* place, tl_error* error) {
    tl_status status = TL_OK;
    bool last = false;
    for (size_t from = 0; status == TL_OK && !last;) {
        size_t to = from + strcspn(words + from, ",+");
        size_t first = from + strspn(words + from, " ");
        size_t end = to;
        while (end > first && words[end - 1] == ' ')
            --end;
        char* word = tl_printf("%.*s", (int)(end > first ? end - first : 0), words + first);
        tl_place at = {place->in, place->line, place->column + first};
        if (!*word)
            status = tl_error_at(error, &at, "expected pedals that are on: 'drive, delay'");
        else if (!switch_on(list, word))
            status = no_such_pedal(rig, list, &at, word, error);
        free(word);
        last = !words[to];
        from = to + 1;
    }
    return status;
}

tl_status tl_engaged_read(const tl_rig* rig, const tl_toggle_list* list, const char* words,
                          const tl_place* place, tl_error* error) {
    const tl_scene* scene = find_scene(rig, words);
    for (size_t i = 0; i < list->count; ++i)
        if (!scene || list->toggles[i].name)
            tl_toggle_set(&list->toggles[i], false);
    for (size_t i = 0; scene && i < scene->engaged_count; ++i)
        switch_on(list, scene->engaged[i]);
    return scene || is_none(list, words) ? TL_OK : read_names(rig, list, words, place, error);
}

bool tl_engaged_left_out(const tl_toggle_list* list, size_t index) {
    for (size_t i = 0; i < list->count; ++i) {
        size_t size = strlen(list->toggles[i].path);
        if (!tl_toggle_is_on(&list->toggles[i]) &&
            strncmp(list->toggles[index].path, list->toggles[i].path, size) == 0 &&
            list->toggles[index].path[size] == '.')
            return true;
    }
    return false;
}

char* tl_engaged_words(const tl_toggle_list* list) {
    tl_text text = {0};
    for (size_t i = 0; i < list->count; ++i)
        if (tl_toggle_is_on(&list->toggles[i]) && !tl_engaged_left_out(list, i))
            tl_text_addf(&text, "%s%s", text.size ? " + " : "", name_of(&list->toggles[i]));
    if (!text.size)
        tl_text_add(&text, "all off");
    return tl_text_take(&text);
}

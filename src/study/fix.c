// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/fix.h"

#include "base/names.h"
#include "base/text.h"
#include "base/yaml.h"

#include <stdlib.h>
#include <string.h>

/// The toggle that a fix names: by the item's name, or by its path with or without `.engaged`.
static long find_toggle(const tl_toggle_list* list, const char* word) {
    for (size_t i = 0; i < list->count; ++i) {
        const tl_toggle* toggle = &list->toggles[i];
        char* long_path = tl_printf("%s.engaged", toggle->path);
        char* named = tl_printf("chain[%s].engaged", toggle->name ? toggle->name : "");
        bool found =
            strcmp(word, toggle->path) == 0 || strcmp(word, long_path) == 0 ||
            (toggle->name && (strcmp(word, toggle->name) == 0 || strcmp(word, named) == 0));
        free(long_path);
        free(named);
        if (found)
            return (long)i;
    }
    return -1;
}

static tl_status no_such_pedal(const tl_toggle_list* list, const tl_input* input, const char* word,
                               tl_error* error) {
    const char* names[128];
    size_t count = 0;
    for (size_t i = 0; i < list->count && count < 128; ++i)
        names[count++] = list->toggles[i].name ? list->toggles[i].name : list->toggles[i].path;
    tl_text hint = {0};
    tl_name_hint(&hint, word, names, count);
    tl_place place = {input, 1, 1};
    tl_status status =
        tl_error_at(error, &place, "there is no pedal or loop '%s'%s", word, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

tl_status tl_fix_read(const tl_toggle_list* list, const char* text, bool* held, tl_error* error) {
    tl_input* input = tl_input_new("--fix", text, strlen(text));
    tl_place place = {input, 1, 1};
    const char* equals = strrchr(text, '=');
    tl_status status = TL_OK;
    if (!equals || equals == text) {
        status = tl_error_at(error, &place, "expected NAME=yes or NAME=no");
    } else {
        char* word = tl_printf("%.*s", (int)(equals - text), text);
        long toggle = find_toggle(list, word);
        tl_yaml* value = NULL;
        bool on = false;
        if (toggle < 0)
            status = no_such_pedal(list, input, word, error);
        if (status == TL_OK)
            status =
                tl_yaml_read_piece(input, (size_t)(equals + 1 - text), strlen(text), &value, error);
        if (status == TL_OK)
            status = tl_yaml_switch(value, &on, error);
        if (status == TL_OK) {
            tl_toggle_set(&list->toggles[toggle], on);
            held[toggle] = true;
        }
        tl_yaml_free(value);
        free(word);
    }
    tl_input_free(input);
    return status;
}

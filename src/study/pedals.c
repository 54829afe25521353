// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/pedals.h"

#include "base/text.h"
#include "study/fix.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_PEDALS = 16 };

static const char* toggle_words(const tl_toggle* toggle) {
    return toggle->name ? toggle->name : toggle->path;
}

/// All that no fix holds move; with scenes, those of them that have a name.
static void list_moving(tl_pedals* pedals, const bool* held) {
    size_t count = pedals->toggles.count;
    pedals->moving = tl_new(count, sizeof *pedals->moving);
    pedals->names = tl_new(count, sizeof *pedals->names);
    for (size_t i = 0; i < count; ++i) {
        const tl_toggle* toggle = &pedals->toggles.toggles[i];
        if (held[i] || (pedals->scenes && !toggle->name))
            continue;
        pedals->moving[pedals->count] = i;
        pedals->names[pedals->count++] = toggle_words(toggle);
    }
}

tl_status tl_pedals_read(tl_rig* rig, const char* const* fixes, size_t fix_count, bool all,
                         tl_pedals* pedals, tl_error* error) {
    *pedals = (tl_pedals){.rig = rig, .toggles = tl_toggles_list(rig)};
    pedals->scenes = rig->scene_count > 0 && !all;
    bool* held = tl_new(pedals->toggles.count, sizeof *held);
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < fix_count; ++i)
        status = tl_fix_read(&pedals->toggles, fixes[i], held, error);
    if (status == TL_OK)
        list_moving(pedals, held);
    free(held);
    if (status != TL_OK)
        return status;
    if (!pedals->scenes && pedals->count > MOST_PEDALS)
        return tl_error_set(
            error, TL_BAD_INPUT,
            "%s: %zu pedals and loops have more than 65536 states: hold %zu of them with --fix, "
            "such as --fix '%s=no'",
            tl_rig_path(rig), pedals->count, pedals->count - MOST_PEDALS, pedals->names[0]);
    pedals->state_count = pedals->scenes ? rig->scene_count : (size_t)1 << pedals->count;
    return TL_OK;
}

void tl_pedals_free(tl_pedals* pedals) {
    tl_toggles_free(&pedals->toggles);
    free(pedals->moving);
    free(pedals->names);
    *pedals = (tl_pedals){0};
}

bool tl_pedals_on(const tl_pedals* pedals, size_t state, size_t pedal) {
    if (!pedals->scenes)
        return (state >> pedal & 1) != 0;
    const tl_scene* scene = &pedals->rig->scenes[state];
    for (size_t i = 0; i < scene->engaged_count; ++i)
        if (strcmp(scene->engaged[i], pedals->names[pedal]) == 0)
            return true;
    return false;
}

void tl_pedals_enter(const tl_pedals* pedals, size_t state) {
    for (size_t i = 0; i < pedals->count; ++i)
        tl_toggle_set(&pedals->toggles.toggles[pedals->moving[i]], tl_pedals_on(pedals, state, i));
}

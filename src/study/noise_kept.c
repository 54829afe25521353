// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/noise_kept.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_KEPT = 16 }; ///< rig and direct of a rig with eight amps

struct tl_noise_kept {
    char* mark;
    tl_noise_at at;
    tl_noise_kept* next;
};

/// Numbers are written in full; a design is known by its address, since a session reads each file
/// once.
char* tl_noise_mark(const tl_noise_names* names, const tl_circuit* circuit, const tl_output* output,
                    unsigned per_decade) {
    tl_text mark = {0};
    tl_text_addf(&mark, "%u %u %s\n", per_decade, output->node, output->amp);
    for (size_t i = 0; i < circuit->embedded_count; ++i)
        tl_text_addf(&mark, "%p %zu\n", (const void*)circuit->embedded[i].design,
                     circuit->embedded[i].first);
    for (size_t i = 0; i < circuit->element_count; ++i) {
        const tl_element* element = &circuit->elements[i];
        if (element->direct != output->direct)
            continue;
        const tl_noise_name* who = tl_noise_name_of(names, element->part);
        char* words = who ? tl_noise_words(who, tl_noise_slot_of(element)) : NULL;
        tl_text_addf(&mark, "%c %u %u %u %a %d %s %s %s\n", element->kind, element->a, element->b,
                     element->control, element->value, (int)element->makes, who ? who->path : "",
                     words ? words : "", who ? who->where : "");
        free(words);
    }
    return tl_text_take(&mark);
}

static double* copy_of(const double* numbers, size_t count) {
    double* copy = tl_new(count, sizeof *copy);
    memcpy(copy, numbers, count * sizeof *copy);
    return copy;
}

static tl_noise_at copy_at(const tl_noise_at* at) {
    tl_noise_at copy = *at;
    copy.amp = tl_copy(at->amp);
    copy.hz = copy_of(at->hz, at->count);
    copy.v_rthz = copy_of(at->v_rthz, at->count);
    copy.parts = tl_new(at->part_count, sizeof *copy.parts);
    for (size_t i = 0; i < at->part_count; ++i) {
        copy.parts[i] = at->parts[i];
        copy.parts[i].name = tl_copy(at->parts[i].name);
        copy.parts[i].path = tl_copy(at->parts[i].path);
        copy.parts[i].where = tl_copy(at->parts[i].where);
        copy.parts[i].v_rthz = copy_of(at->parts[i].v_rthz, at->count);
    }
    return copy;
}

void tl_noise_clear_part(tl_noise_part* part) {
    free(part->name);
    free(part->path);
    free(part->where);
    free(part->v_rthz);
}

void tl_noise_clear_at(tl_noise_at* at) {
    for (size_t i = 0; i < at->part_count; ++i)
        tl_noise_clear_part(&at->parts[i]);
    free(at->parts);
    free(at->hz);
    free(at->v_rthz);
    free(at->amp);
    *at = (tl_noise_at){0};
}

void tl_noise_keep(tl_noise_kept** kept, const char* mark, const tl_noise_at* at) {
    tl_noise_kept* made = tl_new(1, sizeof *made);
    *made = (tl_noise_kept){tl_copy(mark), copy_at(at), *kept};
    *kept = made;
    tl_noise_kept* last = made;
    for (size_t i = 1; i < MOST_KEPT && last; ++i)
        last = last->next;
    if (last)
        tl_noise_forget(&last->next);
}

bool tl_noise_recall(tl_noise_kept* const* kept, const char* mark, tl_noise_at* at) {
    for (const tl_noise_kept* one = *kept; one; one = one->next)
        if (strcmp(one->mark, mark) == 0) {
            tl_noise_clear_at(at);
            *at = copy_at(&one->at);
            return true;
        }
    return false;
}

void tl_noise_forget(tl_noise_kept** kept) {
    while (*kept) {
        tl_noise_kept* next = (*kept)->next;
        free((*kept)->mark);
        tl_noise_clear_at(&(*kept)->at);
        free(*kept);
        *kept = next;
    }
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file part_text.h Parts from a line of YAML, and a sink that writes down what they emit.
#ifndef TESTS_PARTS_PART_TEXT_H
#define TESTS_PARTS_PART_TEXT_H

#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// Reads and checks a part with what stands beside it ("length: 6 m" and the like within braces).
/// The place of its values is gone afterwards. NULL with an error when it is refused.
static inline tl_part* part_of(tl_library* library, const tl_part_kind* kind, const char* text,
                               tl_error* error) {
    tl_input* input = tl_input_new("part", text, strlen(text));
    tl_yaml* tree = NULL;
    tl_part* part = NULL;
    tl_status status = tl_yaml_read(input, &tree, error);
    if (status == TL_OK)
        status = tl_part_read(library, kind, tree, NULL, &part, error);
    if (status == TL_OK)
        status = tl_part_check(part, true, error);
    tl_yaml_free(tree);
    tl_input_free(input);
    if (status != TL_OK) {
        tl_part_free(part);
        part = NULL;
    }
    return part;
}

typedef struct {
    char kind;
    tl_node a;
    tl_node b;
    double value;
} recorded;

/// What was emitted: elements in order, as structs and as words ("r 1 2 6000\n").
typedef struct {
    recorded elements[4096];
    size_t count;
    tl_node nodes;
    tl_text words;
} recorder;

static inline tl_node record_node(void* context, const char* what) {
    recorder* r = context;
    if (!what || !*what)
        abort();
    return r->nodes++;
}

static inline void record_element(void* context, char kind, tl_node a, tl_node b, double value) {
    recorder* r = context;
    if (r->count == sizeof r->elements / sizeof *r->elements)
        abort();
    r->elements[r->count++] = (recorded){kind, a, b, value};
    tl_text_addf(&r->words, "%c %u %u %.9g\n", kind, a, b, value);
}

static inline void record_controlled(void* context, char kind, tl_node a, tl_node b,
                                     tl_node control, double gain) {
    recorder* r = context;
    if (r->count == sizeof r->elements / sizeof *r->elements)
        abort();
    r->elements[r->count++] = (recorded){kind, a, b, gain};
    tl_text_addf(&r->words, "%c %u %u %u %.9g\n", kind, a, b, control, gain);
}

/// Emits a part between node 1 and ground; nodes it makes are 2, 3, ... Returns where it leaves.
static inline tl_node record(recorder* r, const tl_part* part) {
    tl_text_free(&r->words);
    r->count = 0;
    r->nodes = 2;
    const tl_sink sink = {r, record_node, record_element, record_controlled, NULL, NULL};
    return part->kind->emit(part, &sink, 1, TL_GROUND);
}

#endif

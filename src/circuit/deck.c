// SPDX-License-Identifier: GPL-3.0-or-later
// Decks: what a worker loads, and what a person can run.
#include "circuit/circuit.h"

#include "base/text.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

unsigned long tl_deck_next_id(void) {
    static atomic_ulong last_id; // decks of all threads differ
    return atomic_fetch_add(&last_id, 1) + 1;
}

void tl_deck_free(tl_deck* deck) {
    if (!deck)
        return;
    free(deck->text);
    free(deck->varied);
    free(deck->outputs);
    free(deck);
}

/// A design stands where its first card does.
static void add_embedded(tl_text* text, const tl_embedded* embedded) {
    tl_netlist_write(embedded->design->netlist, text, embedded->nodes,
                     (unsigned)embedded->first + 1);
}

/// What a model of a passive part calls its value.
static const char* value_of_model(char kind) {
    return kind == 'r' ? "r" : kind == 'l' ? "ind" : "cap";
}

/// What a deck calls all elements of a kind that share a value.
static char shared_kind(char kind) {
    if (kind == 'r')
        return 'R';
    if (kind == 'l')
        return 'L';
    return 'C';
}

static bool can_share(char kind) {
    return kind == 'r' || kind == 'l' || kind == 'c';
}

/// ngspice takes a model's resistance of under a milliohm for one of a milliohm: far above it only.
static bool are_alike(tl_circuit* const* circuits, size_t count, size_t i, size_t j) {
    const double least_ohm = 1;
    for (size_t k = 0; k < count; ++k) {
        const tl_element* one = &circuits[k]->elements[i];
        if (one->value != circuits[k]->elements[j].value ||
            (one->kind == 'r' && one->value < least_ohm))
            return false;
    }
    return true;
}

size_t* tl_circuit_alike(tl_circuit* const* circuits, size_t count, const bool* varied) {
    const tl_circuit* first = circuits[0];
    size_t* same = tl_new(first->element_count, sizeof *same);
    for (size_t i = 0; i < first->element_count; ++i) {
        same[i] = i;
        for (size_t j = 0; varied[i] && can_share(first->elements[i].kind) && j < i; ++j)
            if (varied[j] && same[j] == j && first->elements[j].kind == first->elements[i].kind &&
                are_alike(circuits, count, i, j)) {
                same[i] = j;
                break;
            }
    }
    return same;
}

/// An element whose value is that of a model, which others have too.
static void add_shared_line(tl_text* text, const tl_element* element, size_t number, size_t first) {
    tl_text_addf(text, "%c%zu %u %u same%zu\n", element->kind, number, element->a, element->b,
                 first + 1);
    if (number == first + 1)
        tl_text_addf(text, ".model same%zu %c(%s=%.17g)\n", number, element->kind,
                     value_of_model(element->kind), element->value);
}

static void add_element_line(tl_text* text, const tl_element* element, size_t number) {
    if (element->kind == 's') {
        tl_text_addf(text, "v%zu %u %u dc %.17g\n", number, element->a, element->b, element->value);
        return;
    }
    tl_text_addf(text, "%c%zu %u %u ", element->kind, number, element->a, element->b);
    if (element->kind == 'v')
        tl_text_addf(text, "dc 0 ac %.17g\n", element->value);
    else if (element->kind == 'e' || element->kind == 'g')
        tl_text_addf(text, "%u 0 %.17g\n", element->control, element->value);
    else
        tl_text_addf(text, "%.17g%s\n", element->value,
                     element->makes == TL_MAKES_NONE ? " noisy=0" : "");
}

/// Whether an element's value stands in a model: by element; all false when nothing is shared.
static bool* find_shared(const tl_circuit* circuit, const bool* varied, const size_t* same) {
    bool* shared = tl_new(circuit->element_count, sizeof *shared);
    for (size_t i = 0; varied && same && i < circuit->element_count; ++i)
        if (varied[i] && same[i] != i)
            shared[i] = shared[same[i]] = true;
    return shared;
}

static void add_elements(tl_text* text, const tl_circuit* circuit, const bool* shared,
                         const size_t* same) {
    if (circuit->embedded_count)
        tl_text_add(text, TL_DECK_OPTIONS "\n");
    for (size_t i = 0; i < circuit->element_count; ++i) {
        const tl_element* element = &circuit->elements[i];
        if (shared && shared[i])
            add_shared_line(text, element, i + 1, same[i]);
        else if (element->kind != 'x')
            add_element_line(text, element, i + 1);
        else if (element->b == 0)
            add_embedded(text, &circuit->embedded[element->a]);
    }
}

tl_deck* tl_circuit_deck(const tl_circuit* circuit, const bool* varied) {
    return tl_circuit_deck_shared(circuit, varied, NULL);
}

tl_deck* tl_circuit_deck_shared(const tl_circuit* circuit, const bool* varied, const size_t* same) {
    bool* shared = find_shared(circuit, varied, same);
    tl_deck* deck = tl_new(1, sizeof *deck);
    tl_text text = {0};
    deck->id = tl_deck_next_id();
    tl_text_add(&text, "rig\n");
    if (!circuit->embedded_count)
        tl_text_add(&text, ".options noopac\n"); // linear: no operating point to be found first
    add_elements(&text, circuit, shared, same);
    tl_text_add(&text, ".end\n");
    deck->text = tl_text_take(&text);
    deck->varied = tl_new(circuit->element_count, sizeof *deck->varied);
    for (size_t i = 0; i < circuit->element_count; ++i)
        if (varied && varied[i] && (!shared[i] || same[i] == i)) {
            char kind = circuit->elements[i].kind;
            if (shared[i])
                kind = shared_kind(kind);
            deck->varied[deck->varied_count++] = (tl_element_id){kind, (unsigned)i + 1};
        }
    free(shared);
    deck->outputs = tl_new(circuit->output_count, sizeof *deck->outputs);
    for (size_t i = 0; i < circuit->output_count; ++i)
        deck->outputs[deck->output_count++] = (tl_probe){'n', circuit->outputs[i].node};
    return deck;
}

/// Paths of parts, to find a node's by its part.
typedef struct {
    const tl_part* part;
    char* path;
} part_path;

typedef struct {
    part_path* paths;
    size_t count;
} path_list;

static void collect_path(void* context, tl_part* part, const tl_item* item, const char* path) {
    path_list* list = context;
    list->paths = tl_grow(list->paths, list->count + 1, sizeof *list->paths);
    char* words = item && item->name ? tl_printf("%s (%s)", path, item->name) : tl_copy(path);
    list->paths[list->count++] = (part_path){part, words};
}

static const char* path_of(const path_list* list, const tl_part* part) {
    for (size_t i = 0; i < list->count; ++i)
        if (list->paths[i].part == part)
            return list->paths[i].path;
    return "";
}

/// A comment no program takes for a command: "* | ", then printable ASCII only.
static void add_comment(tl_text* text, const char* words) {
    tl_text_add(text, "* | ");
    tl_text_add_ascii(text, words);
    tl_text_add(text, "\n");
}

static void add_node_table(tl_text* text, const tl_circuit* circuit, const path_list* paths) {
    add_comment(text, "nodes: 0 is ground, the shield of everything");
    for (size_t i = 1; i < circuit->node_count; ++i) {
        const tl_node_words* node = &circuit->nodes[i];
        const char* side = node->direct ? "direct" : "rig";
        char* words =
            tl_printf("node %zu = %s: %s, %s", i, side, path_of(paths, node->part), node->what);
        add_comment(text, words);
        free(words);
    }
    for (size_t i = 0; i < circuit->output_count; ++i) {
        const tl_output* output = &circuit->outputs[i];
        char* words = tl_printf("output: %u = %s, %s", output->node,
                                output->direct ? "direct" : "rig", output->amp);
        add_comment(text, words);
        free(words);
    }
}

char* tl_circuit_export(const tl_circuit* circuit, tl_rig* rig) {
    tl_text text = {0};
    path_list paths = {0};
    tl_rig_each_part(rig, collect_path, &paths);
    tl_text_add(&text, "* rig and direct, written by toneload " TL_VERSION "\n");
    char* title = tl_printf("rig: %s", tl_rig_title(rig));
    add_comment(&text, title);
    free(title);
    add_comment(&text, "each source is 1 V; values are in ohm, henry and farad");
    add_comment(&text, "a resistor of 1e13 ohm gives a node that only capacitors reach an "
                       "operating point");
    add_node_table(&text, circuit, &paths);
    add_elements(&text, circuit, NULL, NULL);
    tl_text_add(&text, ".print ac");
    for (size_t i = 0; i < circuit->output_count; ++i)
        tl_text_addf(&text, " vr(%u) vi(%u)", circuit->outputs[i].node, circuit->outputs[i].node);
    tl_text_add(&text, "\n.ac dec 75 10 100k\n.end\n");
    for (size_t i = 0; i < paths.count; ++i)
        free(paths.paths[i].path);
    free(paths.paths);
    return tl_text_take(&text);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// From a rig to nodes and elements.
#include "circuit/circuit.h"

#include "base/text.h"
#include "parts/kinds.h"

#include <stdlib.h>
#include <string.h>

/// A circuit being built, and whose part is writing itself.
typedef struct {
    tl_circuit* circuit;
    size_t element_room;
    size_t node_room;
    const tl_part* part;
    bool direct;
} building;

static tl_node add_node(void* context, const char* what) {
    building* b = context;
    tl_circuit* circuit = b->circuit;
    if (circuit->node_count == b->node_room) {
        b->node_room = b->node_room ? 2 * b->node_room : 64;
        circuit->nodes = tl_grow(circuit->nodes, b->node_room, sizeof *circuit->nodes);
    }
    circuit->nodes[circuit->node_count] = (tl_node_words){b->part, what, b->direct};
    return (tl_node)circuit->node_count++;
}

static void push_element(building* b, tl_element element) {
    tl_circuit* circuit = b->circuit;
    if (circuit->element_count == b->element_room) {
        b->element_room = b->element_room ? 2 * b->element_room : 64;
        circuit->elements = tl_grow(circuit->elements, b->element_room, sizeof *circuit->elements);
    }
    circuit->elements[circuit->element_count++] = element;
}

static void add_element(void* context, char kind, tl_node a, tl_node b, double value) {
    push_element(context, (tl_element){kind, a, b, 0, value});
}

static void add_amplifier(void* context, tl_node in, tl_node out, double gain) {
    push_element(context, (tl_element){'e', out, TL_GROUND, in, gain});
}

static tl_node emit(building* b, const tl_part* part, tl_node in, tl_node low) {
    tl_sink sink = {b, add_node, add_element, add_amplifier};
    if (!part || !part->kind->emit)
        return in;
    b->part = part;
    return part->kind->emit(part, &sink, in, low);
}

/// Makes one node of two: `b` becomes `a` wherever it stands.
static void join(building* b, tl_node a, tl_node other) {
    if (a == other)
        return;
    for (size_t i = 0; i < b->circuit->element_count; ++i) {
        tl_element* element = &b->circuit->elements[i];
        element->a = element->a == other ? a : element->a;
        element->b = element->b == other ? a : element->b;
        element->control = element->control == other ? a : element->control;
    }
}

static tl_node emit_controls(building* b, const tl_part* volume, const tl_part* tone, tl_node hot,
                             tl_node low) {
    tl_node wiper = emit(b, volume, hot, low);
    bool at_wiper = tone && tl_part_chosen(tone, "joins", "wiper");
    emit(b, tone, at_wiper ? wiper : hot, low);
    return wiper;
}

static tl_node emit_voice(building* b, const tl_voice* voice, tl_node low) {
    tl_node hot = emit(b, voice->pickup, 0, low);
    return emit_controls(b, voice->volume, voice->tone, hot, low);
}

/// The pickups, stacked from ground up or side by side; or the active source.
static tl_node emit_signal(building* b, const tl_guitar* guitar) {
    if (guitar->source)
        return emit(b, guitar->source, 0, TL_GROUND);
    bool series = guitar->wiring && tl_part_chosen(guitar->wiring, "wiring", "series");
    tl_node out = emit_voice(b, &guitar->voices[0], TL_GROUND);
    for (size_t i = 1; i < guitar->voice_count; ++i) {
        tl_node next = emit_voice(b, &guitar->voices[i], series ? out : TL_GROUND);
        if (series)
            out = next;
        else
            join(b, out, next);
    }
    return out;
}

static tl_node emit_guitar(building* b, const tl_guitar* guitar) {
    tl_node hot = emit_signal(b, guitar);
    return emit_controls(b, guitar->volume, guitar->tone, hot, TL_GROUND);
}

/// Outputs found on the way through a rig, with the amp that makes each.
typedef struct {
    tl_output* outputs;
    const tl_part** amps;
    size_t count;
} output_list;

static void add_output(output_list* list, tl_node node, const char* name, const tl_part* amp) {
    list->outputs = tl_grow(list->outputs, list->count + 1, sizeof *list->outputs);
    list->amps = tl_grow(list->amps, list->count + 1, sizeof *list->amps);
    list->outputs[list->count] = (tl_output){node, tl_copy(name), false};
    list->amps[list->count++] = amp;
}

static void emit_branch(building* b, const tl_branch* branch, const char* name, tl_node in,
                        output_list* list);

/// The name of a branch's amp: the names of the branches that lead to it.
static char* branch_name(const char* outer, const tl_branch* branch) {
    return outer ? tl_printf("%s/%s", outer, branch->name) : tl_copy(branch->name);
}

static void emit_branches(building* b, const tl_item* item, const char* name, tl_node in,
                          output_list* list) {
    for (size_t i = 0; i < item->branch_count; ++i) {
        char* inner = branch_name(name, &item->branches[i]);
        emit_branch(b, &item->branches[i], inner, in, list);
        free(inner);
    }
}

static tl_node emit_chain(building* b, const tl_chain* chain, const char* name, tl_node in,
                          output_list* list) {
    tl_node at = in;
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        emit_branches(b, item, name, at, list); // of a split, or a tuner-out at the pot's input
        if (!tl_item_is_loop(item))
            at = emit(b, item->part, at, TL_GROUND);
        else if (tl_part_chosen(item->part, "engaged", "yes"))
            at = emit_chain(b, &item->loop, name, at, list);
    }
    return at;
}

static void emit_branch(building* b, const tl_branch* branch, const char* name, tl_node in,
                        output_list* list) {
    tl_node at = emit_chain(b, &branch->chain, name, in, list);
    emit(b, branch->end, at, TL_GROUND);
    if (branch->amp)
        add_output(list, emit(b, branch->amp, at, TL_GROUND), name ? name : "amp", branch->amp);
}

/// The line-up an amp's response is held against: same guitar, same amp, nothing but `direct`.
static tl_output emit_direct(building* b, const tl_rig* rig, const char* name, const tl_part* amp) {
    output_list ignored = {0};
    tl_node at = emit_guitar(b, &rig->guitar);
    at = emit_chain(b, &rig->direct, NULL, at, &ignored);
    tl_output output = {emit(b, amp, at, TL_GROUND), tl_copy(name), true};
    for (size_t i = 0; i < ignored.count; ++i)
        free(ignored.outputs[i].amp);
    free(ignored.outputs);
    free(ignored.amps);
    return output;
}

static tl_node find_root(tl_node* parent, tl_node node) {
    while (parent[node] != node)
        node = parent[node] = parent[parent[node]];
    return node;
}

/// Ties every island that no direct current reaches to ground.
static void tie_floating(building* b) {
    tl_circuit* circuit = b->circuit;
    size_t count = circuit->node_count;
    tl_node* parent = tl_new(count, sizeof *parent);
    bool* used = tl_new(count, sizeof *used);
    for (size_t i = 0; i < count; ++i)
        parent[i] = (tl_node)i;
    for (size_t i = 0; i < circuit->element_count; ++i) {
        const tl_element* element = &circuit->elements[i];
        used[element->a] = used[element->b] = used[element->control] = true;
        if (element->kind != 'c') {
            tl_node one = find_root(parent, element->a);
            tl_node two = find_root(parent, element->b);
            parent[one > two ? one : two] = one < two ? one : two; // ground stays root
        }
    }
    for (size_t i = 1; i < count; ++i) // roots are the lowest of their island
        if (used[i] && parent[i] == i)
            add_element(b, 'r', (tl_node)i, TL_GROUND, TL_FLOATING_OHM);
    free(parent);
    free(used);
}

/// Numbers the nodes that are left without gaps.
static void renumber(tl_circuit* circuit) {
    tl_node* number = tl_new(circuit->node_count, sizeof *number);
    for (size_t i = 0; i < circuit->element_count; ++i) {
        number[circuit->elements[i].a] = 1;
        number[circuit->elements[i].b] = 1;
    }
    tl_node next = 1;
    number[0] = 0;
    for (size_t i = 1; i < circuit->node_count; ++i)
        if (number[i]) {
            circuit->nodes[next] = circuit->nodes[i];
            number[i] = next++;
        }
    for (size_t i = 0; i < circuit->element_count; ++i) {
        tl_element* element = &circuit->elements[i];
        element->a = number[element->a];
        element->b = number[element->b];
        element->control = number[element->control];
    }
    for (size_t i = 0; i < circuit->output_count; ++i)
        circuit->outputs[i].node = number[circuit->outputs[i].node];
    circuit->node_count = next;
    free(number);
}

static tl_circuit* build(const tl_rig* rig, bool with_direct) {
    tl_circuit* circuit = tl_new(1, sizeof *circuit);
    building b = {.circuit = circuit};
    add_node(&b, "ground");
    output_list list = {0};
    tl_node guitar = emit_guitar(&b, &rig->guitar);
    emit_branch(&b, &rig->main, NULL, guitar, &list);
    circuit->outputs = tl_new(2 * list.count, sizeof *circuit->outputs);
    b.direct = true;
    for (size_t i = 0; i < list.count; ++i) {
        circuit->outputs[circuit->output_count++] = list.outputs[i];
        if (with_direct)
            circuit->outputs[circuit->output_count++] =
                emit_direct(&b, rig, list.outputs[i].amp, list.amps[i]);
    }
    free(list.outputs);
    free(list.amps);
    b.direct = false;
    tie_floating(&b);
    renumber(circuit);
    return circuit;
}

tl_circuit* tl_circuit_build(const tl_rig* rig) {
    return build(rig, true);
}

tl_circuit* tl_circuit_build_rig(const tl_rig* rig) {
    return build(rig, false);
}

void tl_circuit_free(tl_circuit* circuit) {
    if (!circuit)
        return;
    for (size_t i = 0; i < circuit->output_count; ++i)
        free(circuit->outputs[i].amp);
    free(circuit->outputs);
    free(circuit->elements);
    free(circuit->nodes);
    free(circuit);
}

bool tl_circuit_same_shape(const tl_circuit* a, const tl_circuit* b) {
    if (a->element_count != b->element_count || a->output_count != b->output_count)
        return false;
    for (size_t i = 0; i < a->element_count; ++i) {
        const tl_element* one = &a->elements[i];
        const tl_element* two = &b->elements[i];
        if (one->kind != two->kind || one->a != two->a || one->b != two->b ||
            one->control != two->control)
            return false;
    }
    for (size_t i = 0; i < a->output_count; ++i)
        if (a->outputs[i].node != b->outputs[i].node)
            return false;
    return true;
}

typedef struct {
    unsigned* most;
    size_t at;
    bool setting;
} section_walk;

static void visit_cable(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    (void)path;
    section_walk* w = context;
    if (part->kind != &tl_kind_cable)
        return;
    size_t i = w->at++;
    if (w->setting) {
        part->sections = w->most[i];
        return;
    }
    unsigned needed = tl_cable_sections(part);
    w->most[i] = needed > w->most[i] ? needed : w->most[i];
}

static void count_cable(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    (void)path;
    *(size_t*)context += part->kind == &tl_kind_cable;
}

void tl_circuit_fix_sections(tl_rig* const* rigs, size_t count) {
    size_t cables = 0;
    if (!count)
        return;
    tl_rig_each_part(rigs[0], count_cable, &cables);
    unsigned* most = tl_new(cables, sizeof *most);
    for (int setting = 0; setting < 2; ++setting)
        for (size_t i = 0; i < count; ++i) {
            section_walk w = {most, 0, setting};
            tl_rig_each_part(rigs[i], visit_cable, &w);
        }
    free(most);
}

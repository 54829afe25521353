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
    const tl_circuit_extras* extras;
} building;

/// What noise sources are made of: a resistor of this many ohm, whose own noise a controlled source
/// brings to size. ngspice takes parts for 27 degrees Celsius (300.15 K).
static const double noise_ohm = 1e3;
static const double noise_volt_rthz = 4.0713715295e-9; // sqrt(4 k T R), k as ngspice has it

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
    element.part = b->part;
    element.direct = b->direct;
    circuit->elements[circuit->element_count++] = element;
}

static void add_element(void* context, char kind, tl_node a, tl_node b, double value) {
    const building* made = context;
    tl_element element = {.kind = kind, .a = a, .b = b, .value = value};
    if (kind == 'q') {
        element.kind = 'r';
        element.makes = TL_MAKES_NONE;
    }
    if (kind == 'v' && made->part && made->extras->silent)
        element.value = 0;
    push_element(context, element);
}

static void add_controlled(void* context, char kind, tl_node a, tl_node b, tl_node control,
                           double gain) {
    push_element(context,
                 (tl_element){.kind = kind, .a = a, .b = b, .control = control, .value = gain});
}

/// A resistor that makes noise in place of a part, and its node.
static tl_node add_noise_maker(building* b, tl_makes makes, const char* what) {
    tl_node node = add_node(b, what);
    push_element(b, (tl_element){.kind = 'r', .a = node, .value = noise_ohm, .makes = makes});
    return node;
}

static tl_node add_noise(void* context, tl_node in, double volt_rthz, double ampere_rthz) {
    building* b = context;
    if (ampere_rthz > 0) {
        tl_node maker = add_noise_maker(b, TL_MAKES_CURRENT, "noise current");
        add_controlled(b, 'g', TL_GROUND, in, maker, ampere_rthz / noise_volt_rthz);
    }
    if (volt_rthz <= 0)
        return in;
    tl_node maker = add_noise_maker(b, TL_MAKES_VOLTAGE, "noise voltage");
    tl_node out = add_node(b, "behind the noise voltage");
    add_controlled(b, 'e', out, in, maker, volt_rthz / noise_volt_rthz);
    return out;
}

static tl_node set_port(tl_embedded* made, int pin, tl_node node) {
    if (pin != TL_NO_PIN)
        made->nodes[pin + 1] = node;
    return node;
}

static void add_supply(building* b, tl_embedded* made, int pin, double volts) {
    if (pin != TL_NO_PIN)
        push_element(b, (tl_element){.kind = 's',
                                     .a = set_port(made, pin, add_node(b, "supply")),
                                     .value = volts});
}

/// Puts a design into the circuit: supplies, nodes of its own, and its cards.
static tl_node add_design(void* context, const tl_design* design, tl_node in) {
    building* b = context;
    tl_circuit* circuit = b->circuit;
    size_t count = tl_netlist_node_count(design->netlist);
    size_t index = circuit->embedded_count++;
    circuit->embedded = tl_grow(circuit->embedded, index + 1, sizeof *circuit->embedded);
    tl_embedded made = {.design = design, .nodes = tl_new(count, sizeof *made.nodes)};
    set_port(&made, design->in, in);
    tl_node out = set_port(&made, design->out, add_node(b, "output of the circuit"));
    add_supply(b, &made, design->supply, design->supply_v);
    add_supply(b, &made, design->negative, design->negative_v);
    add_supply(b, &made, design->bias, design->bias_v);
    for (size_t i = tl_netlist_port_count(design->netlist) + 1; i < count; ++i)
        made.nodes[i] = add_node(b, "inside the circuit");
    made.first = circuit->element_count;
    for (size_t i = 0; i < tl_netlist_card_count(design->netlist); ++i)
        push_element(b, (tl_element){.kind = 'x', .a = (tl_node)index, .b = (tl_node)i});
    circuit->embedded[index] = made;
    return out;
}

static tl_sink sink_of(building* b) {
    return (tl_sink){
        b, add_node, add_element, add_controlled, add_design, b->extras->noise ? add_noise : NULL};
}

static tl_node emit(building* b, const tl_part* part, tl_node in, tl_node low) {
    tl_sink sink = sink_of(b);
    if (!part || !part->kind->emit)
        return in;
    b->part = part;
    return part->kind->emit(part, &sink, in, low);
}

/// Calls `change` with every place in the circuit at which a node stands.
static void each_node(tl_circuit* circuit, void (*change)(void* context, tl_node* node),
                      void* context) {
    for (size_t i = 0; i < circuit->element_count; ++i) {
        tl_element* element = &circuit->elements[i];
        if (element->kind == 'x')
            continue;
        change(context, &element->a);
        change(context, &element->b);
        change(context, &element->control);
    }
    for (size_t i = 0; i < circuit->embedded_count; ++i) {
        const tl_embedded* one = &circuit->embedded[i];
        for (size_t j = 0; j < tl_netlist_node_count(one->design->netlist); ++j)
            change(context, &one->nodes[j]);
    }
}

static void join_node(void* context, tl_node* node) {
    const tl_node* pair = context;
    *node = *node == pair[1] ? pair[0] : *node;
}

/// Makes one node of two: `other` becomes `a` wherever it stands.
static void join(building* b, tl_node a, tl_node other) {
    tl_node pair[] = {a, other};
    if (a != other)
        each_node(b->circuit, join_node, pair);
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

/// What the study adds in front of an item belongs to no part.
static tl_node emit_extras(building* b, const tl_item* item, tl_node in) {
    if (!b->extras->before || b->direct)
        return in;
    tl_sink sink = sink_of(b);
    b->part = NULL;
    return b->extras->before(b->extras->context, item, &sink, in);
}

static tl_node emit_chain(building* b, const tl_chain* chain, const char* name, tl_node in,
                          output_list* list) {
    tl_node at = in;
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        at = emit_extras(b, item, at);
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

/// Makes one island of two nodes; ground stays its root.
static void link_nodes(tl_node* parent, tl_node a, tl_node b) {
    tl_node one = find_root(parent, a);
    tl_node two = find_root(parent, b);
    parent[one > two ? one : two] = one < two ? one : two;
}

/// Links what direct current passes between in one element; what a source of current drives through
/// itself is no way for any other.
static void link_element(const tl_circuit* circuit, const tl_element* element, tl_node* parent) {
    if (element->kind != 'x') {
        if (element->kind != 'c' && element->kind != 'g')
            link_nodes(parent, element->a, element->b);
        return;
    }
    const tl_embedded* in = &circuit->embedded[element->a];
    unsigned pairs[TL_CARD_NODES][2];
    size_t count = tl_netlist_links(in->design->netlist, element->b, pairs);
    for (size_t i = 0; i < count; ++i)
        link_nodes(parent, in->nodes[pairs[i][0]], in->nodes[pairs[i][1]]);
}

static void mark_used(void* context, tl_node* node) { // NOLINT: as each_node() calls it
    ((bool*)context)[*node] = true;
}

/// Ties every island that no direct current reaches to ground.
static void tie_floating(building* b) {
    tl_circuit* circuit = b->circuit;
    size_t count = circuit->node_count;
    tl_node* parent = tl_new(count, sizeof *parent);
    bool* used = tl_new(count, sizeof *used);
    for (size_t i = 0; i < count; ++i)
        parent[i] = (tl_node)i;
    each_node(circuit, mark_used, used);
    for (size_t i = 0; i < circuit->element_count; ++i)
        link_element(circuit, &circuit->elements[i], parent);
    for (size_t i = 1; i < count; ++i) // roots are the lowest of their island
        if (used[i] && parent[i] == i)
            add_element(b, b->extras->noise ? 'q' : 'r', (tl_node)i, TL_GROUND, TL_FLOATING_OHM);
    free(parent);
    free(used);
}

static void mark_numbered(void* context, tl_node* node) { // NOLINT: as each_node() calls it
    ((tl_node*)context)[*node] = 1;
}

static void renumber_node(void* context, tl_node* node) {
    *node = ((const tl_node*)context)[*node];
}

/// Numbers the nodes that are left without gaps.
static void renumber(tl_circuit* circuit) {
    tl_node* number = tl_new(circuit->node_count, sizeof *number);
    each_node(circuit, mark_numbered, number);
    tl_node next = 1;
    number[0] = 0;
    for (size_t i = 1; i < circuit->node_count; ++i)
        if (number[i]) {
            circuit->nodes[next] = circuit->nodes[i];
            number[i] = next++;
        }
    each_node(circuit, renumber_node, number);
    for (size_t i = 0; i < circuit->output_count; ++i)
        circuit->outputs[i].node = number[circuit->outputs[i].node];
    circuit->node_count = next;
    free(number);
}

/// Makes one capacitor of those that hang from one node to ground, such as the ends of two cables
/// that meet: each element less is one less to set, load and solve.
static void merge_capacitors(tl_circuit* circuit) {
    size_t* first = tl_new(circuit->node_count, sizeof *first); // at the node, counted from 1
    size_t* place = tl_new(circuit->element_count + 1, sizeof *place);
    size_t kept = 0;
    for (size_t i = 0; i < circuit->element_count; ++i) {
        tl_element element = circuit->elements[i];
        bool to_ground = element.kind == 'c' && element.b == TL_GROUND;
        place[i] = kept;
        if (to_ground && first[element.a]) {
            circuit->elements[first[element.a] - 1].value += element.value;
            continue;
        }
        circuit->elements[kept++] = element;
        if (to_ground)
            first[element.a] = kept;
    }
    place[circuit->element_count] = kept;
    for (size_t i = 0; i < circuit->embedded_count; ++i)
        circuit->embedded[i].first = place[circuit->embedded[i].first];
    circuit->element_count = kept;
    free(first);
    free(place);
}

tl_circuit* tl_circuit_build_extended(const tl_rig* rig, const tl_circuit_extras* extras) {
    tl_circuit* circuit = tl_new(1, sizeof *circuit);
    building b = {.circuit = circuit, .extras = extras};
    add_node(&b, "ground");
    output_list list = {0};
    tl_node guitar = emit_guitar(&b, &rig->guitar);
    emit_branch(&b, &rig->main, NULL, guitar, &list);
    circuit->outputs = tl_new(2 * list.count, sizeof *circuit->outputs);
    b.direct = true;
    for (size_t i = 0; i < list.count; ++i) {
        circuit->outputs[circuit->output_count++] = list.outputs[i];
        if (extras->direct)
            circuit->outputs[circuit->output_count++] =
                emit_direct(&b, rig, list.outputs[i].amp, list.amps[i]);
    }
    free(list.outputs);
    free(list.amps);
    b.direct = false;
    b.part = NULL;
    tie_floating(&b);
    merge_capacitors(circuit);
    renumber(circuit);
    return circuit;
}

tl_circuit* tl_circuit_build(const tl_rig* rig) {
    const tl_circuit_extras extras = {.direct = true};
    return tl_circuit_build_extended(rig, &extras);
}

tl_circuit* tl_circuit_build_rig(const tl_rig* rig) {
    const tl_circuit_extras extras = {0};
    return tl_circuit_build_extended(rig, &extras);
}

void tl_circuit_free(tl_circuit* circuit) {
    if (!circuit)
        return;
    for (size_t i = 0; i < circuit->output_count; ++i)
        free(circuit->outputs[i].amp);
    for (size_t i = 0; i < circuit->embedded_count; ++i)
        free(circuit->embedded[i].nodes);
    free(circuit->embedded);
    free(circuit->outputs);
    free(circuit->elements);
    free(circuit->nodes);
    free(circuit);
}

static bool same_embedded(const tl_embedded* a, const tl_embedded* b) {
    return a->design == b->design && a->first == b->first &&
           memcmp(a->nodes, b->nodes,
                  tl_netlist_node_count(a->design->netlist) * sizeof *a->nodes) == 0;
}

bool tl_circuit_same_shape(const tl_circuit* a, const tl_circuit* b) {
    if (a->element_count != b->element_count || a->output_count != b->output_count ||
        a->embedded_count != b->embedded_count)
        return false;
    for (size_t i = 0; i < a->embedded_count; ++i)
        if (!same_embedded(&a->embedded[i], &b->embedded[i]))
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

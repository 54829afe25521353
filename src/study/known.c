// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/known.h"

#include "base/text.h"

tl_node tl_known_volt(const tl_circuit* circuit) {
    for (size_t i = 0; i < circuit->element_count; ++i)
        if (circuit->elements[i].kind == 'v' && circuit->elements[i].value == 1)
            return circuit->elements[i].a;
    return TL_GROUND;
}

tl_node tl_known_follower(tl_circuit* circuit, tl_node from, tl_node control, double gain) {
    tl_node node = (tl_node)circuit->node_count;
    circuit->nodes = tl_grow(circuit->nodes, circuit->node_count + 1, sizeof *circuit->nodes);
    circuit->nodes[circuit->node_count++] = (tl_node_words){NULL, "what is read", false};
    circuit->elements =
        tl_grow(circuit->elements, circuit->element_count + 1, sizeof *circuit->elements);
    circuit->elements[circuit->element_count++] =
        (tl_element){.kind = 'e', .a = node, .b = from, .control = control, .value = gain};
    return node;
}

void tl_known_add(tl_circuit* circuit, double known) {
    tl_node volt = tl_known_volt(circuit);
    for (size_t i = 0; i < circuit->output_count; ++i) {
        tl_node follows = tl_known_follower(circuit, TL_GROUND, circuit->outputs[i].node, 1);
        circuit->outputs[i].node = tl_known_follower(circuit, follows, volt, known);
    }
}

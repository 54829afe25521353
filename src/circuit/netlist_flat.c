// SPDX-License-Identifier: GPL-3.0-or-later
// From a file to a flat netlist: the subcircuit asked for, and every call within it, put in place.
#include "base/names.h"
#include "circuit/netlist_internal.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_CALLS = 5000, DEEPEST_CALL = 20, MOST_WORDS = 256 };

/// Makes a call ready: its values and models are not known yet.
static void open_call(tl_call* call) {
    const tl_subcircuit* what = call->what;
    call->number = call->work->calls++;
    call->values = tl_new(what->definition_count, sizeof *call->values);
    call->models = tl_new(what->model_count, sizeof *call->models);
    for (size_t i = 0; i < what->model_count; ++i)
        call->models[i] = TL_NO_MODEL;
}

// ---- X

/// The words of an X line up to its parameters: nodes, and the subcircuit's name last.
static tl_status read_words(const tl_call* call, tl_cursor* cursor, tl_piece* words,
                            size_t* count) {
    tl_error* error = call->work->error;
    tl_place place = tl_cursor_place(cursor);
    while (tl_cursor_peek(cursor, true) && !tl_cursor_at_setting(*cursor)) {
        place = tl_cursor_place(cursor);
        if (*count == MOST_WORDS)
            return tl_error_at(error, &place, "more than %d nodes", MOST_WORDS);
        tl_status status = tl_cursor_name(cursor, "a node or a subcircuit", &words[*count], error);
        if (status != TL_OK)
            return status;
        if (tl_piece_is(words[*count], "params:"))
            break;
        ++*count;
    }
    if (*count < 2)
        return tl_error_at(error, &place, "expected nodes and the name of a subcircuit");
    return TL_OK;
}

static tl_status find_subcircuit(const tl_call* call, tl_piece name, const tl_subcircuit** found) {
    const tl_place place = tl_piece_place(name);
    tl_error* error = call->work->error;
    *found = tl_subcircuit_find(call->what, name);
    if (!*found) {
        char* word = tl_piece_raw(name);
        tl_text hint = {0};
        tl_subcircuit_hint(call->what, name, &hint);
        tl_status status =
            tl_error_at(error, &place, "there is no subcircuit '%s'%s", word, tl_text_get(&hint));
        tl_text_free(&hint);
        free(word);
        return status;
    }
    for (const tl_call* at = call; at; at = at->caller)
        if (at->what == *found)
            return tl_error_at(error, &place, "a subcircuit that calls itself%s",
                               at == call ? "" : ", by way of others");
    if (call->depth == DEEPEST_CALL)
        return tl_error_at(error, &place, "subcircuits more than %d deep in one another",
                           DEEPEST_CALL);
    if (call->work->calls >= MOST_CALLS)
        return tl_error_at(error, &place, "more than 5,000 subcircuits once each is in place");
    return TL_OK;
}

static tl_status connect(tl_call* inner, tl_call* outer, const tl_piece* words, size_t count) {
    tl_error* error = outer->work->error;
    const tl_subcircuit* what = inner->what;
    if (count != what->port_count) {
        const tl_place place = tl_piece_place(words[count]);
        return tl_error_at(error, &place, "this subcircuit has %zu ports, but %zu nodes are given",
                           what->port_count, count);
    }
    for (size_t i = 0; i < count; ++i) {
        unsigned node = 0;
        tl_status status = tl_call_node(outer, words[i], &node, error);
        if (status != TL_OK)
            return status;
        tl_call_name_node(inner, what->ports[i], node);
    }
    return TL_OK;
}

static tl_status refuse_parameter(const tl_call* inner, tl_piece name) {
    const tl_subcircuit* what = inner->what;
    char* word = tl_piece_copy(name);
    char** names = tl_new(what->definition_count, sizeof *names);
    size_t count = 0;
    for (size_t i = 0; i < what->definition_count; ++i)
        if (what->definitions[i].formal)
            names[count++] = tl_piece_raw(what->definitions[i].name);
    const tl_place place = tl_piece_place(name);
    tl_text hint = {0};
    tl_name_hint(&hint, word, (const char* const*)names, count);
    tl_status status =
        tl_error_at(inner->work->error, &place, "this subcircuit has no parameter '%s'%s", word,
                    tl_text_get(&hint));
    tl_text_free(&hint);
    for (size_t i = 0; i < count; ++i)
        free(names[i]);
    free(names);
    free(word);
    return status;
}

/// A parameter the call gives, worked out where the call stands.
static tl_status read_parameter(tl_call* inner, tl_call* outer, tl_cursor* cursor) {
    tl_error* error = outer->work->error;
    const tl_formula_world world = tl_call_world(outer);
    tl_piece name = {0};
    tl_status status = tl_cursor_name(cursor, "a parameter", &name, error);
    if (status != TL_OK)
        return status;
    const tl_place place = tl_piece_place(name);
    tl_place next = tl_cursor_place(cursor);
    if (!tl_cursor_take(cursor, '='))
        return tl_error_at(error, &next, "expected '=' and a value");
    tl_call_value* value = NULL;
    for (size_t i = 0; i < inner->what->definition_count; ++i)
        if (inner->what->definitions[i].formal &&
            tl_piece_same(inner->what->definitions[i].name, name))
            value = &inner->values[i];
    if (!value)
        return refuse_parameter(inner, name);
    if (value->state == TL_VALUE_KNOWN)
        return tl_error_at(error, &place, "this parameter is given twice");
    tl_formula formula = {0};
    status = tl_formula_read(cursor, &formula, error);
    if (status == TL_OK)
        status = tl_formula_evaluate(&formula, &world, &value->value, error);
    tl_formula_free(&formula);
    value->state = TL_VALUE_KNOWN;
    return status;
}

tl_status tl_call_read_x(tl_call* call, tl_cursor* cursor, tl_piece name) {
    tl_piece words[MOST_WORDS + 1] = {{0}};
    size_t count = 0;
    tl_call inner = {.work = call->work, .caller = call, .depth = call->depth + 1};
    tl_status status = read_words(call, cursor, words, &count);
    if (status == TL_OK)
        status = find_subcircuit(call, words[count - 1], &inner.what);
    if (status != TL_OK)
        return status;
    char* raw = tl_piece_raw(name);
    inner.prefix = tl_printf("%s%s.", call->prefix, raw);
    free(raw);
    open_call(&inner);
    status = connect(&inner, call, words, count - 1);
    while (status == TL_OK && tl_cursor_peek(cursor, true))
        status = read_parameter(&inner, call, cursor);
    if (status == TL_OK)
        status = tl_call_place(&inner);
    tl_call_clear(&inner);
    return status;
}

// ---- the file

static tl_status find_top(const tl_subcircuit* file, const char* name, const tl_place* place,
                          const tl_subcircuit** found, tl_error* error) {
    for (size_t i = 0; i < file->inner_count; ++i) {
        char* own = tl_piece_copy(file->inner[i]->name);
        bool same = strcasecmp(own, name) == 0;
        free(own);
        if (same) {
            *found = file->inner[i];
            return TL_OK;
        }
    }
    char** names = tl_new(file->inner_count, sizeof *names);
    for (size_t i = 0; i < file->inner_count; ++i)
        names[i] = tl_piece_raw(file->inner[i]->name);
    tl_text hint = {0};
    tl_name_hint(&hint, name, (const char* const*)names, file->inner_count);
    tl_status status = tl_error_at(error, place, "the circuit file has no subcircuit '%s'%s", name,
                                   tl_text_get(&hint));
    tl_text_free(&hint);
    for (size_t i = 0; i < file->inner_count; ++i)
        free(names[i]);
    free(names);
    return status;
}

/// Puts the subcircuit in place with its ports as the first nodes.
static tl_status place_top(tl_call* outer, const tl_subcircuit* what) {
    tl_netlist* netlist = outer->work->netlist;
    tl_call top = {.work = outer->work, .caller = outer, .what = what, .prefix = tl_copy("")};
    open_call(&top);
    netlist->port_count = what->port_count;
    netlist->ports = tl_new(what->port_count, sizeof *netlist->ports);
    netlist->nodes = tl_grow_one(netlist->nodes, 0, sizeof *netlist->nodes);
    netlist->nodes[netlist->node_count++] = tl_copy("0");
    for (size_t i = 0; i < what->port_count; ++i) {
        netlist->ports[i] = tl_piece_copy(what->ports[i]);
        netlist->nodes = tl_grow_one(netlist->nodes, i + 1, sizeof *netlist->nodes);
        netlist->nodes[netlist->node_count++] = tl_piece_raw(what->ports[i]);
        tl_call_name_node(&top, what->ports[i], (unsigned)i + 1);
    }
    tl_status status = tl_call_place(&top);
    tl_call_clear(&top);
    return status;
}

/// Nodes that elements are connected to, ports included.
static bool* find_connected(const tl_netlist* netlist) {
    bool* connected = tl_new(netlist->node_count, sizeof *connected);
    for (size_t i = 0; i <= netlist->port_count; ++i)
        connected[i] = true;
    for (size_t i = 0; i < netlist->card_count; ++i)
        for (size_t j = 0; j < netlist->cards[i].card.node_count; ++j)
            connected[netlist->cards[i].card.nodes[j]] = true;
    return connected;
}

static tl_status refuse_node(const tl_netlist* netlist, const tl_place* place, unsigned node,
                             const bool* connected, tl_error* error) {
    const char** names = tl_new(netlist->node_count, sizeof *names);
    size_t count = 0;
    for (size_t i = 1; i < netlist->node_count; ++i)
        if (connected[i])
            names[count++] = netlist->nodes[i];
    tl_text hint = {0};
    tl_name_hint(&hint, netlist->nodes[node], names, count);
    tl_status status = tl_error_at(error, place, "no element is connected to node '%s'%s",
                                   netlist->nodes[node], tl_text_get(&hint));
    tl_text_free(&hint);
    free(names);
    return status;
}

/// A node that only expressions name is a slip: nothing would set its voltage.
static tl_status check_nodes(const tl_netlist* netlist, tl_error* error) {
    bool* connected = find_connected(netlist);
    tl_status status = TL_OK;
    for (size_t i = 0; i < netlist->card_count; ++i) {
        const tl_formula* formula = &netlist->cards[i].formula;
        for (size_t j = 0; j < formula->count && status == TL_OK; ++j) {
            const tl_term* term = &formula->terms[j];
            for (int k = 0; k < 2 && status == TL_OK && term->kind == TL_TERM_VOLTAGE; ++k)
                if (!connected[term->nodes[k]])
                    status = refuse_node(netlist, &term->place, term->nodes[k], connected, error);
        }
    }
    free(connected);
    return status;
}

static tl_status flatten(const tl_subcircuit* file, const tl_subcircuit* what, tl_netlist** netlist,
                         tl_error* error) {
    tl_flattening work = {.netlist = tl_new(1, sizeof *work.netlist), .error = error};
    tl_call outer = {.work = &work, .what = file, .prefix = tl_copy("")};
    open_call(&outer);
    tl_status status = place_top(&outer, what);
    if (status == TL_OK && !work.netlist->card_count) {
        const tl_place place = tl_piece_place(what->name);
        status = tl_error_at(error, &place, "a subcircuit without elements");
    }
    tl_call_clear(&outer);
    if (status == TL_OK)
        status = check_nodes(work.netlist, error);
    if (status != TL_OK) {
        tl_netlist_free(work.netlist);
        return status;
    }
    tl_netlist_list_paths(work.netlist);
    tl_netlist_find_remarks(work.netlist);
    *netlist = work.netlist;
    return TL_OK;
}

tl_status tl_netlist_read(const tl_input* input, const char* name, const tl_place* name_place,
                          tl_netlist** netlist, tl_error* error) {
    tl_spice_lines lines = {0};
    tl_subcircuit* file = NULL;
    const tl_subcircuit* what = NULL;
    *netlist = NULL;
    tl_status status = tl_spice_lines_read(input, &lines, error);
    if (status == TL_OK)
        status = tl_subcircuit_read(&lines, &file, error);
    if (status == TL_OK)
        status = find_top(file, name, name_place, &what, error);
    if (status == TL_OK)
        status = flatten(file, what, netlist, error);
    tl_subcircuit_free(file);
    tl_spice_lines_free(&lines);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A subcircuit put in place: its parameters, nodes and models, and then its elements.
#include "circuit/netlist_internal.h"

#include "base/names.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_SETTINGS = 1000, MOST_NODES = 5000 };

void tl_call_clear(tl_call* call) {
    free(call->prefix);
    free(call->values);
    free(call->models);
    tl_name_index_free(&call->nodes);
    tl_name_index_free(&call->cards);
}

// ---- parameters and functions

/// The nearest parameter's name, over all calls that this one lies in.
static tl_status refuse_parameter(const tl_call* call, const tl_term* term, tl_error* error) {
    char* word = tl_piece_copy(term->name);
    char** names = NULL;
    size_t count = 0;
    for (const tl_call* at = call; at; at = at->caller)
        for (size_t i = 0; i < at->what->definition_count; ++i) {
            names = tl_grow_one(names, count, sizeof *names);
            names[count++] = tl_piece_raw(at->what->definitions[i].name);
        }
    tl_text hint = {0};
    tl_name_hint(&hint, word, (const char* const*)names, count);
    bool clock = strcmp(word, "time") == 0 || strcmp(word, "hertz") == 0;
    tl_status status =
        clock ? tl_error_at(error, &term->place,
                            "a design makes no signal of its own: '%s' cannot be used", word)
              : tl_error_at(error, &term->place, "unknown parameter '%s'%s", word,
                            tl_text_get(&hint));
    tl_text_free(&hint);
    for (size_t i = 0; i < count; ++i)
        free(names[i]);
    free(names);
    free(word);
    return status;
}

/// Works a parameter out when it is first asked for, so that their order does not matter.
static tl_status get_value(tl_call* call, size_t index, const tl_term* term, double* value,
                           tl_error* error) {
    tl_call_value* known = &call->values[index];
    if (known->state == TL_VALUE_ASKED)
        return tl_error_at(error, &term->place, "this parameter depends on itself");
    if (known->state == TL_VALUE_UNKNOWN) {
        known->state = TL_VALUE_ASKED;
        const tl_formula_world world = tl_call_world(call);
        tl_status status = tl_formula_evaluate(&call->what->definitions[index].formula, &world,
                                               &known->value, error);
        if (status != TL_OK)
            return status;
        known->state = TL_VALUE_KNOWN;
    }
    *value = known->value;
    return TL_OK;
}

/// As in ngspice a call sees its own parameters, then those of what calls it, then the file's.
static tl_status find_parameter(void* context, const tl_term* term, double* value,
                                tl_error* error) {
    static const struct {
        const char* name;
        double value;
    } constants[] = {{"pi", 3.14159265358979323846}, {"e", 2.71828182845904523536}, {"temper", 27}};
    size_t index = 0;
    for (tl_call* at = context; at; at = at->caller)
        if (tl_name_index_get(&at->what->definition_index, term->name, &index))
            return get_value(at, index, term, value, error);
    for (size_t i = 0; i < sizeof constants / sizeof *constants; ++i)
        if (tl_piece_is(term->name, constants[i].name)) {
            *value = constants[i].value;
            return TL_OK;
        }
    return refuse_parameter(context, term, error);
}

static tl_status find_function(void* context, const tl_term* term, const tl_formula** body,
                               const tl_piece** arguments, size_t* count, tl_error* error) {
    for (const tl_call* at = context; at; at = at->caller)
        for (size_t i = 0; i < at->what->macro_count; ++i) {
            const tl_macro* macro = &at->what->macros[i];
            if (!tl_piece_same(macro->name, term->name))
                continue;
            if (macro->argument_count != term->arity)
                return tl_error_at(error, &term->place, "this function takes %zu arguments, not %u",
                                   macro->argument_count, term->arity);
            *body = &macro->body;
            *arguments = macro->arguments;
            *count = macro->argument_count;
            return TL_OK;
        }
    return TL_OK;
}

static tl_status find_node(void* context, tl_piece name, unsigned* node, tl_error* error) {
    return tl_call_node(context, name, node, error);
}

tl_formula_world tl_call_world(tl_call* call) {
    return (tl_formula_world){call, find_parameter, find_function, find_node, &call->work->effort};
}

// ---- nodes

static bool known_node(const tl_call* call, tl_piece name, unsigned* node) {
    size_t number = 0;
    bool found = tl_name_index_get(&call->nodes, name, &number);
    *node = (unsigned)number;
    if (found)
        return true;
    *node = 0;
    return tl_piece_is(name, "0") || tl_piece_is(name, "gnd");
}

void tl_call_name_node(tl_call* call, tl_piece name, unsigned node) {
    tl_name_index_add(&call->nodes, name, node);
}

tl_status tl_call_node(tl_call* call, tl_piece name, unsigned* node, tl_error* error) {
    if (known_node(call, name, node))
        return TL_OK;
    tl_netlist* netlist = call->work->netlist;
    if (netlist->node_count >= MOST_NODES) {
        const tl_place place = tl_piece_place(name);
        return tl_error_at(error, &place,
                           "more than 5,000 nodes once every subcircuit is in place");
    }
    *node = (unsigned)netlist->node_count;
    char* raw = tl_piece_raw(name);
    netlist->nodes = tl_grow_one(netlist->nodes, netlist->node_count, sizeof *netlist->nodes);
    netlist->nodes[netlist->node_count++] = tl_printf("%s%s", call->prefix, raw);
    free(raw);
    tl_call_name_node(call, name, *node);
    return TL_OK;
}

// ---- models

/// Where a model of that name is defined, as seen from a call: in the nearest subcircuit around it.
static tl_call* find_model(tl_call* call, tl_piece name, size_t* index) {
    for (const tl_subcircuit* what = call->what; what; what = what->parent)
        for (size_t i = 0; i < what->model_count; ++i) {
            if (!tl_piece_same(what->models[i].name, name))
                continue;
            tl_call* owner = call;
            while (owner->what != what)
                owner = owner->caller;
            *index = i;
            return owner;
        }
    return NULL;
}

bool tl_call_has_model(tl_call* call, tl_piece name) {
    size_t index = 0;
    return find_model(call, name, &index) != NULL;
}

static tl_status refuse_setting(const tl_call* call, const tl_flat_model* model, tl_piece word) {
    char* name = tl_piece_copy(word);
    const tl_place place = tl_piece_place(word);
    size_t count = 0;
    while (model->type->parameters[count])
        ++count;
    tl_text hint = {0};
    tl_name_hint(&hint, name, model->type->parameters, count);
    tl_status status =
        tl_error_at(call->work->error, &place, "a model of type %s has no parameter '%s'%s",
                    model->type->name, name, tl_text_get(&hint));
    tl_text_free(&hint);
    free(name);
    return status;
}

static tl_status add_setting(const tl_call* call, tl_flat_model* model, tl_piece word,
                             double value) {
    const tl_place place = tl_piece_place(word);
    char* name = tl_piece_copy(word);
    const char* known = tl_model_type_parameter(model->type, name);
    free(name);
    if (!known)
        return refuse_setting(call, model, word);
    for (size_t i = 0; i < model->count; ++i)
        if (model->settings[i].name == known)
            return tl_error_at(call->work->error, &place, "this parameter is given twice");
    if (strcmp(known, "level") == 0 &&
        !(value >= 1 && value <= model->type->highest_level && value == (double)(int)value))
        return tl_error_at(call->work->error, &place, "of type %s only level 1%s is allowed",
                           model->type->name, model->type->highest_level > 1 ? " to 3" : "");
    model->settings = tl_grow_one(model->settings, model->count, sizeof *model->settings);
    model->settings[model->count++] = (tl_flat_setting){known, value};
    return TL_OK;
}

/// Whether a word is a parameter that this model does not have and that may be left out.
static bool is_extra(const tl_flat_model* model, tl_piece word) {
    char* name = tl_piece_copy(word);
    bool extra = !tl_model_type_parameter(model->type, name) && tl_model_is_extra(name);
    free(name);
    return extra;
}

/// Passes over the value of such a parameter, and says so.
static tl_status skip_extra(const tl_call* owner, tl_cursor* cursor, const tl_flat_model* model,
                            tl_piece word) {
    const tl_place place = tl_piece_place(word);
    if (tl_cursor_word(cursor).size == 0)
        return tl_error_at(owner->work->error, &place, "expected a value after this parameter");
    char* name = tl_piece_copy(word);
    tl_netlist_remark(owner->work->netlist, &place,
                      "'%s' is left out: ngspice's model of type %s has none", name,
                      model->type->name);
    free(name);
    return TL_OK;
}

static tl_status read_settings(tl_call* owner, tl_cursor* cursor, tl_flat_model* model) {
    tl_error* error = owner->work->error;
    const tl_formula_world world = tl_call_world(owner);
    bool open = tl_cursor_take(cursor, '(');
    while (tl_cursor_peek(cursor, true) && *(cursor->line->text + cursor->at) != ')') {
        tl_piece word = {0};
        tl_status status = tl_cursor_name(cursor, "a model's parameter", &word, error);
        if (status != TL_OK)
            return status;
        tl_place place = tl_cursor_place(cursor);
        if (!tl_cursor_take(cursor, '='))
            return tl_error_at(error, &place, "expected '=' and a value");
        if (is_extra(model, word)) {
            status = skip_extra(owner, cursor, model, word);
            if (status != TL_OK)
                return status;
            continue;
        }
        tl_formula formula = {0};
        double value = 0;
        status = tl_formula_read_value(cursor, &formula, error);
        if (status == TL_OK)
            status = tl_formula_evaluate(&formula, &world, &value, error);
        if (status == TL_OK)
            status = add_setting(owner, model, word, value);
        tl_formula_free(&formula);
        if (status != TL_OK)
            return status;
    }
    tl_place place = tl_cursor_place(cursor);
    if (open && !tl_cursor_take(cursor, ')'))
        return tl_error_at(error, &place, "expected a closing parenthesis");
    place = tl_cursor_place(cursor);
    if (tl_cursor_peek(cursor, true))
        return tl_error_at(error, &place, "expected nothing more after the model");
    return TL_OK;
}

/// Reads a model into the netlist.
static tl_status read_model(tl_call* owner, size_t index) {
    tl_netlist* netlist = owner->work->netlist;
    const tl_model_text* text = &owner->what->models[index];
    tl_cursor cursor = text->settings;
    tl_flat_model model = {.type = text->type};
    tl_status status = read_settings(owner, &cursor, &model);
    if (status != TL_OK) {
        free(model.settings);
        return status;
    }
    netlist->models = tl_grow_one(netlist->models, netlist->model_count, sizeof *netlist->models);
    owner->models[index] = (int)netlist->model_count;
    netlist->models[netlist->model_count++] = model;
    return TL_OK;
}

static tl_status refuse_model(const tl_call* call, tl_piece name) {
    char* word = tl_piece_raw(name);
    const tl_place place = tl_piece_place(name);
    tl_text hint = {0};
    tl_model_hint(call->what, name, &hint);
    tl_status status = tl_error_at(call->work->error, &place,
                                   "there is no model '%s'%s (a parameter goes in braces)", word,
                                   tl_text_get(&hint));
    tl_text_free(&hint);
    free(word);
    return status;
}

tl_status tl_call_model(tl_call* call, tl_piece name, char element, int* model) {
    size_t index = 0;
    tl_call* owner = find_model(call, name, &index);
    if (!owner)
        return refuse_model(call, name);
    tl_status status = owner->models[index] == TL_NO_MODEL ? read_model(owner, index) : TL_OK;
    if (status != TL_OK)
        return status;
    *model = owner->models[index];
    tl_flat_model* found = &call->work->netlist->models[*model];
    if (found->type->element != element) {
        const tl_place place = tl_piece_place(name);
        return tl_error_at(call->work->error, &place,
                           "a model of type %s is none for an element %c", found->type->name,
                           element);
    }
    ++found->users;
    return TL_OK;
}

// ---- its lines

/// Nearest name of a kind of element in this call, for one that is not there.
static tl_status refuse_card(const tl_call* call, tl_piece name, char kind) {
    const tl_netlist* netlist = call->work->netlist;
    char* word = tl_piece_copy(name);
    const char** names = tl_new(netlist->card_count, sizeof *names);
    size_t count = 0;
    for (size_t i = 0; i < netlist->card_count; ++i)
        if (netlist->cards[i].call == call->number && netlist->cards[i].card.kind == kind)
            names[count++] = netlist->cards[i].card.name + strlen(call->prefix);
    const tl_place place = tl_piece_place(name);
    tl_text hint = {0};
    tl_name_hint(&hint, word, names, count);
    tl_status status =
        tl_error_at(call->work->error, &place, "there is no %s '%s' in this subcircuit%s",
                    kind == 'l' ? "inductor" : "voltage source", word, tl_text_get(&hint));
    tl_text_free(&hint);
    free(names);
    free(word);
    return status;
}

/// The element of this call that a name stands for.
static tl_status find_card(const tl_call* call, tl_piece name, char kind, size_t* index) {
    if (tl_name_index_get(&call->cards, name, index) && *index != TL_NO_CARD &&
        call->work->netlist->cards[*index].card.kind == kind)
        return TL_OK;
    return refuse_card(call, name, kind);
}

/// Finds what elements of this call name: inductors of a K, sources whose current controls.
static tl_status find_others(const tl_call* call, tl_flat_card* card) {
    tl_status status = TL_OK;
    char kind = card->card.kind == 'k' ? 'l' : 'v';
    for (int i = 0; i < 2 && status == TL_OK; ++i)
        if (card->others[i].size)
            status = find_card(call, card->others[i], kind, &card->refs[i]);
    for (size_t i = 0; i < card->formula.count && status == TL_OK; ++i) {
        tl_term* term = &card->formula.terms[i];
        if (term->kind == TL_TERM_CURRENT)
            status = find_card(call, term->name, 'v', &term->card);
    }
    if (status == TL_OK && card->card.kind == 'k' && card->refs[0] == card->refs[1])
        status = tl_error_at(call->work->error, &card->card.place, "an inductor coupled to itself");
    return status;
}

/// Reads an `.ic` or `.nodeset`: v(node)=value ...
static tl_status read_levels(tl_call* call, const tl_spice_line* line) {
    tl_error* error = call->work->error;
    tl_netlist* netlist = call->work->netlist;
    tl_cursor cursor = {line, 0};
    bool initial = tl_piece_is(tl_cursor_word(&cursor), ".ic");
    const tl_formula_world world = tl_call_world(call);
    while (tl_cursor_peek(&cursor, true)) {
        tl_flat_level level = {.initial = initial};
        tl_piece name = {0};
        tl_place place = tl_cursor_place(&cursor);
        if (!tl_piece_is(tl_cursor_word(&cursor), "v") || !tl_cursor_take(&cursor, '('))
            return tl_error_at(error, &place, "expected v(node)=value");
        tl_status status = tl_cursor_name(&cursor, "a node", &name, error);
        if (status != TL_OK)
            return status;
        place = tl_piece_place(name);
        if (!known_node(call, name, &level.node))
            return tl_error_at(error, &place, "no element of this subcircuit has this node");
        if (level.node == 0)
            return tl_error_at(error, &place, "ground cannot be set");
        place = tl_cursor_place(&cursor);
        if (!tl_cursor_take(&cursor, ')') || !tl_cursor_take(&cursor, '='))
            return tl_error_at(error, &place, "expected v(node)=value");
        tl_formula formula = {0};
        status = tl_formula_read_value(&cursor, &formula, error);
        if (status == TL_OK)
            status = tl_formula_evaluate(&formula, &world, &level.volt, error);
        tl_formula_free(&formula);
        if (status != TL_OK)
            return status;
        netlist->levels =
            tl_grow_one(netlist->levels, netlist->level_count, sizeof *netlist->levels);
        netlist->levels[netlist->level_count++] = level;
        if (netlist->level_count > MOST_SETTINGS)
            return tl_error_at(error, &place, "more than %d nodes set", MOST_SETTINGS);
    }
    return TL_OK;
}

tl_status tl_call_place(tl_call* call) {
    tl_netlist* netlist = call->work->netlist;
    size_t first = netlist->card_count;
    tl_status status = TL_OK;
    for (size_t i = 0; i < call->what->element_count && status == TL_OK; ++i)
        status = tl_card_read(call, call->what->elements[i]);
    for (size_t i = first; i < netlist->card_count && status == TL_OK; ++i)
        if (netlist->cards[i].call == call->number)
            status = find_others(call, &netlist->cards[i]);
    for (size_t i = 0; i < call->what->setting_count && status == TL_OK; ++i)
        status = read_levels(call, call->what->settings[i]);
    return status;
}

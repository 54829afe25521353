// SPDX-License-Identifier: GPL-3.0-or-later
#include "circuit/subcircuit.h"

#include "base/names.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_ENTRIES = 1000, MOST_ELEMENTS = 5000, MOST_PORTS = 200, DEEPEST = 20 };

typedef struct {
    tl_subcircuit* file;
    tl_subcircuit* open; ///< the subcircuit whose lines these are
    size_t depth;
    const tl_spice_line* line;
    tl_error* error;
} sorter;

static tl_status refuse(const sorter* s, size_t at, const char* words) {
    const tl_place place = tl_spice_place(s->line, at);
    return tl_error_at(s->error, &place, "%s", words);
}

void tl_subcircuit_free(tl_subcircuit* subcircuit) {
    if (!subcircuit)
        return;
    for (size_t i = 0; i < subcircuit->definition_count; ++i)
        tl_formula_free(&subcircuit->definitions[i].formula);
    for (size_t i = 0; i < subcircuit->macro_count; ++i)
        tl_formula_free(&subcircuit->macros[i].body);
    for (size_t i = 0; i < subcircuit->inner_count; ++i)
        tl_subcircuit_free(subcircuit->inner[i]);
    free(subcircuit->ports);
    free(subcircuit->definitions);
    tl_name_index_free(&subcircuit->definition_index);
    free(subcircuit->macros);
    free(subcircuit->models);
    free(subcircuit->elements);
    free(subcircuit->settings);
    free(subcircuit->inner);
    free(subcircuit);
}

static tl_status check_count(const sorter* s, size_t count, size_t most, const char* what) {
    if (count < most)
        return TL_OK;
    const tl_place place = tl_spice_place(s->line, 0);
    return tl_error_at(s->error, &place, "more than %zu %s in one place", most, what);
}

static tl_status read_definition(sorter* s, tl_cursor* cursor, bool formal) {
    tl_subcircuit* to = s->open;
    tl_definition made = {.formal = formal};
    tl_status status = tl_cursor_name(cursor, "a parameter's name", &made.name, s->error);
    if (status != TL_OK)
        return status;
    const tl_place place = tl_piece_place(made.name);
    size_t twin = 0;
    if (tl_name_index_get(&to->definition_index, made.name, &twin))
        return tl_error_at(s->error, &place, "this parameter is given twice");
    if (tl_cursor_peek(cursor, false) == '(')
        return refuse(s, cursor->at, "a .param holds no functions: use .func");
    if (!tl_cursor_take(cursor, '='))
        return refuse(s, cursor->at, "expected '=' and the parameter's value");
    status = check_count(s, to->definition_count, MOST_ENTRIES, "parameters");
    if (status == TL_OK)
        status = tl_formula_read(cursor, &made.formula, s->error);
    if (status != TL_OK)
        return status;
    to->definitions = tl_grow_one(to->definitions, to->definition_count, sizeof *to->definitions);
    tl_name_index_add(&to->definition_index, made.name, to->definition_count);
    to->definitions[to->definition_count++] = made;
    return TL_OK;
}

static tl_status read_definitions(sorter* s, tl_cursor* cursor, bool formal) {
    tl_status status = TL_OK;
    while (status == TL_OK && tl_cursor_peek(cursor, true))
        status = read_definition(s, cursor, formal);
    return status;
}

static tl_status read_param(sorter* s, tl_cursor* cursor) {
    if (!tl_cursor_peek(cursor, true))
        return refuse(s, cursor->at, "expected a parameter: .param name=value");
    return read_definitions(s, cursor, false);
}

static tl_status read_arguments(const sorter* s, tl_cursor* cursor, tl_macro* macro) {
    if (!tl_cursor_take(cursor, '('))
        return refuse(s, cursor->at,
                      "expected the arguments in parentheses: .func name(a, b) {..}");
    while (tl_cursor_peek(cursor, true) != ')') {
        if (macro->argument_count == sizeof macro->arguments / sizeof *macro->arguments)
            return refuse(s, cursor->at, "more than 8 arguments of a function");
        tl_piece* name = &macro->arguments[macro->argument_count];
        tl_status status = tl_cursor_name(cursor, "an argument's name", name, s->error);
        if (status != TL_OK)
            return status;
        ++macro->argument_count;
    }
    ++cursor->at;
    return TL_OK;
}

static tl_status read_func(sorter* s, tl_cursor* cursor) {
    tl_subcircuit* to = s->open;
    tl_macro made = {0};
    tl_status status = tl_cursor_name(cursor, "a function's name", &made.name, s->error);
    if (status != TL_OK)
        return status;
    const tl_place place = tl_piece_place(made.name);
    for (size_t i = 0; i < to->macro_count; ++i)
        if (tl_piece_same(to->macros[i].name, made.name))
            return tl_error_at(s->error, &place, "this function is given twice");
    if (tl_piece_is(made.name, "v") || tl_piece_is(made.name, "i"))
        return tl_error_at(s->error, &place, "v() and i() are voltages and currents");
    status = read_arguments(s, cursor, &made);
    if (status == TL_OK)
        status = check_count(s, to->macro_count, MOST_ENTRIES, "functions");
    if (status != TL_OK)
        return status;
    tl_cursor_take(cursor, '=');
    status = tl_formula_read(cursor, &made.body, s->error);
    if (status != TL_OK)
        return status;
    to->macros = tl_grow_one(to->macros, to->macro_count, sizeof *to->macros);
    to->macros[to->macro_count++] = made;
    if (tl_cursor_peek(cursor, false))
        return refuse(s, cursor->at, "expected nothing more after the function");
    return TL_OK;
}

/// The type a model's line gives.
static tl_status read_type(const sorter* s, tl_cursor* cursor, const tl_model_type** type) {
    tl_piece word = {0};
    tl_status status = tl_cursor_name(cursor, "a model's type", &word, s->error);
    if (status != TL_OK)
        return status;
    char* name = tl_piece_copy(word);
    *type = tl_model_type_find(name);
    if (!*type) {
        const tl_place place = tl_piece_place(word);
        size_t count = 0;
        const char* const* names = tl_model_type_names(&count);
        tl_text hint = {0};
        tl_name_hint(&hint, name, names, count);
        status = tl_error_at(s->error, &place, "'%s' is none of the model types that are allowed%s",
                             name, tl_text_get(&hint));
        tl_text_free(&hint);
    }
    free(name);
    return status;
}

static tl_status read_model(sorter* s, tl_cursor* cursor) {
    tl_subcircuit* to = s->open;
    tl_model_text made = {0};
    tl_status status = tl_cursor_name(cursor, "a model's name", &made.name, s->error);
    if (status != TL_OK)
        return status;
    const tl_place place = tl_piece_place(made.name);
    for (size_t i = 0; i < to->model_count; ++i)
        if (tl_piece_same(to->models[i].name, made.name))
            return tl_error_at(s->error, &place, "this model is given twice");
    status = check_count(s, to->model_count, MOST_ENTRIES, "models");
    if (status == TL_OK)
        status = read_type(s, cursor, &made.type);
    made.settings = *cursor;
    if (status != TL_OK)
        return status;
    to->models = tl_grow_one(to->models, to->model_count, sizeof *to->models);
    to->models[to->model_count++] = made;
    return TL_OK;
}

static tl_status read_port(const sorter* s, tl_cursor* cursor, tl_subcircuit* to) {
    tl_piece port = {0};
    tl_status status = tl_cursor_name(cursor, "a port's name", &port, s->error);
    if (status != TL_OK)
        return status;
    const tl_place place = tl_piece_place(port);
    if (tl_piece_is(port, "0"))
        return tl_error_at(s->error, &place,
                           "node 0 is ground everywhere already: it cannot be a port");
    for (size_t i = 0; i < to->port_count; ++i)
        if (tl_piece_same(to->ports[i], port))
            return tl_error_at(s->error, &place, "this pin is named twice");
    status = check_count(s, to->port_count, MOST_PORTS, "ports");
    if (status != TL_OK)
        return status;
    to->ports = tl_grow_one(to->ports, to->port_count, sizeof *to->ports);
    to->ports[to->port_count++] = port;
    return TL_OK;
}

/// Ports up to the parameters, which `params:` may announce.
static tl_status read_ports(sorter* s, tl_cursor* cursor, tl_subcircuit* to) {
    tl_status status = TL_OK;
    while (status == TL_OK && tl_cursor_peek(cursor, true) && !tl_cursor_at_setting(*cursor)) {
        tl_piece word = tl_cursor_look(*cursor);
        if (tl_piece_is(word, "params:")) {
            tl_cursor_word(cursor);
            break;
        }
        status = read_port(s, cursor, to);
    }
    if (status == TL_OK && !to->port_count)
        status = refuse(s, cursor->at, "a subcircuit needs ports: .subckt name port ...");
    return status;
}

static tl_status read_subckt(sorter* s, tl_cursor* cursor) {
    tl_subcircuit* parent = s->open;
    tl_piece name = {0};
    tl_status status = tl_cursor_name(cursor, "a subcircuit's name", &name, s->error);
    if (status != TL_OK)
        return status;
    const tl_place place = tl_piece_place(name);
    for (size_t i = 0; i < parent->inner_count; ++i)
        if (tl_piece_same(parent->inner[i]->name, name))
            return tl_error_at(s->error, &place, "this subcircuit is given twice");
    if (++s->depth > DEEPEST)
        return tl_error_at(s->error, &place, "subcircuits more than %d deep in one another",
                           DEEPEST);
    status = check_count(s, parent->inner_count, MOST_ENTRIES, "subcircuits");
    if (status != TL_OK)
        return status;
    tl_subcircuit* made = tl_new(1, sizeof *made);
    made->parent = parent;
    made->name = name;
    parent->inner = tl_grow_one(parent->inner, parent->inner_count, sizeof *parent->inner);
    parent->inner[parent->inner_count++] = made;
    s->open = made;
    status = read_ports(s, cursor, made);
    return status == TL_OK ? read_definitions(s, cursor, true) : status;
}

static tl_status read_ends(sorter* s, tl_cursor* cursor) {
    size_t at = cursor->at;
    tl_piece name = tl_cursor_word(cursor);
    if (!s->open->parent)
        return refuse(s, at > 5 ? at - 5 : 0, ".ends without a .subckt");
    if (name.size && !tl_piece_same(name, s->open->name))
        return refuse(s, name.at, "this .ends names another subcircuit than the one it ends");
    if (tl_cursor_peek(cursor, false))
        return refuse(s, cursor->at, "expected nothing more after .ends");
    tl_subcircuit* parent = (tl_subcircuit*)s->open->parent;
    s->open = parent;
    --s->depth;
    return TL_OK;
}

static tl_status read_setting(sorter* s, tl_cursor* cursor) {
    (void)cursor;
    tl_subcircuit* to = s->open;
    if (!to->parent)
        return refuse(s, 0, "outside every subcircuit there are no nodes to set");
    tl_status status = check_count(s, to->setting_count, MOST_ENTRIES, ".ic and .nodeset lines");
    if (status != TL_OK)
        return status;
    to->settings = tl_grow_one(to->settings, to->setting_count, sizeof *to->settings);
    to->settings[to->setting_count++] = s->line;
    return TL_OK;
}

static const char first_hint[] =
    "; a file of subcircuits has no title line: begin it with * to make "
    "it a comment";

/// What is refused with a reason of its own.
static tl_status refuse_card(const sorter* s, tl_piece word, bool first) {
    static const struct {
        const char* word;
        const char* why;
    } known[] = {
        {".control", "runs commands, shell commands among them"},
        {".endc", "ends a block of commands, and none may stand here"},
        {".include", "reads another file: put its lines here"},
        {".inc", "reads another file: put its lines here"},
        {".lib", "reads another file: put its lines here"},
        {".csparam", "sets variables of the program that runs the circuit"},
        {".temp", "sets the temperature: the bench measures at 27 C"},
        {".options", "sets how the solver works: that is the bench's business"},
        {".option", "sets how the solver works: that is the bench's business"},
        {".global", "makes nodes known everywhere: pass them as ports"},
        {".ac", "is an analysis: the bench makes its own"},
        {".dc", "is an analysis: the bench makes its own"},
        {".tran", "is an analysis: the bench makes its own"},
        {".op", "is an analysis: the bench makes its own"},
        {".noise", "is an analysis: the bench makes its own"},
    };
    const char* why = "is not among .subckt, .ends, .model, .param, .func, .ic, .nodeset and .end";
    for (size_t i = 0; i < sizeof known / sizeof *known; ++i)
        if (tl_piece_is(word, known[i].word))
            why = known[i].why;
    char* shown = tl_piece_raw(word);
    const tl_place place = tl_piece_place(word);
    tl_status status =
        tl_error_at(s->error, &place, "'%.40s' cannot stand in a design's circuit: it %s%s", shown,
                    why, first ? first_hint : "");
    free(shown);
    return status;
}

static const struct {
    const char* name;
    tl_status (*read)(sorter* s, tl_cursor* cursor);
} cards[] = {{".param", read_param},    {".func", read_func}, {".model", read_model},
             {".subckt", read_subckt},  {".ends", read_ends}, {".ic", read_setting},
             {".nodeset", read_setting}};

static tl_status take_element(const sorter* s, bool first) {
    static const char allowed[] = "rclkviefghbdqjmsx";
    tl_subcircuit* to = s->open;
    char kind = s->line->text[0];
    if (!strchr(allowed, kind)) {
        const tl_place place = tl_spice_place(s->line, 0);
        return tl_error_at(
            s->error, &place,
            "this begins no line that is allowed: an element (one of R C L K V I E F "
            "G H B D Q J M S X) or a card such as .model%s",
            first ? first_hint : "");
    }
    if (!to->parent)
        return tl_error_at(s->error, &(tl_place){s->line->in, s->line->seams[0].line, 1},
                           "an element outside every subcircuit: the bench brings the source, the "
                           "load and the supply%s",
                           first ? first_hint : "");
    tl_status status = check_count(s, to->element_count, MOST_ELEMENTS, "elements");
    if (status != TL_OK)
        return status;
    to->elements = tl_grow_one(to->elements, to->element_count, sizeof *to->elements);
    to->elements[to->element_count++] = s->line;
    return TL_OK;
}

static tl_status take_line(sorter* s, bool first) {
    if (s->line->text[0] != '.')
        return take_element(s, first);
    tl_cursor cursor = {s->line, 0};
    tl_piece word = tl_cursor_word(&cursor);
    for (size_t i = 0; i < sizeof cards / sizeof *cards; ++i)
        if (tl_piece_is(word, cards[i].name))
            return cards[i].read(s, &cursor);
    return refuse_card(s, word, first);
}

tl_status tl_subcircuit_read(const tl_spice_lines* lines, tl_subcircuit** file, tl_error* error) {
    sorter s = {.error = error};
    s.file = tl_new(1, sizeof *s.file);
    s.open = s.file;
    tl_status status = TL_OK;
    for (size_t i = 0; i < lines->count && status == TL_OK; ++i) {
        s.line = &lines->lines[i];
        status = take_line(&s, i == 0);
    }
    if (status == TL_OK && s.open->parent) {
        const tl_place place = tl_piece_place(s.open->name);
        status = tl_error_at(error, &place, "this subcircuit has no .ends");
    }
    if (status != TL_OK) {
        tl_subcircuit_free(s.file);
        s.file = NULL;
    }
    *file = s.file;
    return status;
}

const tl_subcircuit* tl_subcircuit_find(const tl_subcircuit* from, tl_piece name) {
    for (; from; from = from->parent)
        for (size_t i = 0; i < from->inner_count; ++i)
            if (tl_piece_same(from->inner[i]->name, name))
                return from->inner[i];
    return NULL;
}

/// Names in scope, and the hint they make.
typedef struct {
    char** names;
    size_t count;
} name_list;

static void add_name(name_list* list, tl_piece name) {
    list->names = tl_grow_one(list->names, list->count, sizeof *list->names);
    list->names[list->count++] = tl_piece_raw(name);
}

static void add_hint(name_list* list, tl_piece name, tl_text* text) {
    char* word = tl_piece_copy(name);
    tl_name_hint(text, word, (const char* const*)list->names, list->count);
    free(word);
    for (size_t i = 0; i < list->count; ++i)
        free(list->names[i]);
    free(list->names);
}

void tl_subcircuit_hint(const tl_subcircuit* from, tl_piece name, tl_text* text) {
    name_list list = {0};
    for (; from; from = from->parent)
        for (size_t i = 0; i < from->inner_count; ++i)
            add_name(&list, from->inner[i]->name);
    add_hint(&list, name, text);
}

void tl_model_hint(const tl_subcircuit* from, tl_piece name, tl_text* text) {
    name_list list = {0};
    for (; from; from = from->parent)
        for (size_t i = 0; i < from->model_count; ++i)
            add_name(&list, from->models[i].name);
    add_hint(&list, name, text);
}

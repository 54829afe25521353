// SPDX-License-Identifier: GPL-3.0-or-later
// An element's line, kind by kind, into a flat card.
#include "circuit/netlist_internal.h"

#include "base/names.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_CARDS = 5000, MOST_NAMES = 10 };

/// How the rest of a kind's line is made up, once its nodes are read.
typedef struct {
    char kind;
    size_t nodes;
    bool needs_model;
    const char* value_names[3]; ///< `r=4.7k` for a value that may also stand alone
    const char* settings[MOST_NAMES];
    bool flags; ///< "on" and "off" may stand in it
} card_kind;

static const card_kind kinds[] = {
    {'r', 2, false, {"r", "resistance", NULL}, {"tc1", "tc2", "m", "noisy", NULL}, false},
    {'c', 2, false, {"c", "capacitance", NULL}, {"tc1", "tc2", "m", "ic", NULL}, false},
    {'l', 2, false, {"l", "inductance", NULL}, {"tc1", "tc2", "m", "ic", NULL}, false},
    {'d', 2, true, {"area", NULL}, {"m", "pj", "ic", NULL}, true},
    {'q', 3, true, {"area", NULL}, {"areab", "areac", "m", NULL}, true},
    {'j', 3, true, {"area", NULL}, {"m", NULL}, true},
    {'m', 4, true, {NULL}, {"m", "l", "w", "ad", "as", "pd", "ps", "nrd", "nrs", NULL}, true},
    {'s', 4, true, {NULL}, {NULL}, true},
};

/// A line being read.
typedef struct {
    tl_call* call;
    tl_cursor cursor;
    tl_flat_card card;
    tl_error* error;
} reader;

static tl_status refuse(const reader* r, size_t at, const char* words) {
    const tl_place place = tl_spice_place(r->cursor.line, at);
    return tl_error_at(r->error, &place, "%s", words);
}

static tl_status expect_end(reader* r) {
    if (!tl_cursor_peek(&r->cursor, true))
        return TL_OK;
    return refuse(r, r->cursor.at, "expected nothing more on this line");
}

/// A number, or an expression in braces or quotes that comes to one.
static tl_status read_value(reader* r, double* value) {
    tl_formula formula = {0};
    const tl_formula_world world = tl_call_world(r->call);
    tl_status status = tl_formula_read_value(&r->cursor, &formula, r->error);
    if (status == TL_OK)
        status = tl_formula_evaluate(&formula, &world, value, r->error);
    tl_formula_free(&formula);
    return status;
}

static tl_status read_nodes(reader* r, size_t count) {
    for (size_t i = 0; i < count; ++i) {
        tl_piece name = {0};
        if (tl_cursor_at_setting(r->cursor))
            return refuse(r, tl_cursor_look(r->cursor).at, "expected a node: too few are given");
        tl_status status = tl_cursor_name(&r->cursor, "a node", &name, r->error);
        tl_card* card = &r->card.card;
        if (status == TL_OK)
            status = tl_call_node(r->call, name, &card->nodes[card->node_count], r->error);
        if (status != TL_OK)
            return status;
        ++card->node_count;
    }
    return TL_OK;
}

/// The rest of the line as an expression with voltages and currents.
static tl_status read_formula(reader* r, bool is_current) {
    tl_formula formula = {0};
    const tl_formula_world world = tl_call_world(r->call);
    tl_status status = tl_formula_read(&r->cursor, &formula, r->error);
    if (status == TL_OK)
        status = tl_formula_bind(&formula, &world, &r->card.formula, r->error);
    tl_formula_free(&formula);
    r->card.card.kind = 'b';
    r->card.is_current = is_current;
    return status == TL_OK ? expect_end(r) : status;
}

// ---- R C L D Q J M S

static bool is_listed(tl_piece word, const char* const* list, const char** found) {
    for (; *list; ++list)
        if (tl_piece_is(word, *list)) {
            *found = *list;
            return true;
        }
    return false;
}

static tl_status refuse_setting(const reader* r, const card_kind* kind, tl_piece word) {
    const char* names[MOST_NAMES + 3];
    size_t count = 0;
    for (size_t i = 0; kind->value_names[i]; ++i)
        names[count++] = kind->value_names[i];
    for (size_t i = 0; i < MOST_NAMES && kind->settings[i]; ++i)
        names[count++] = kind->settings[i];
    char* name = tl_piece_copy(word);
    const tl_place place = tl_piece_place(word);
    tl_text hint = {0};
    tl_name_hint(&hint, name, names, count);
    tl_status status = tl_error_at(
        r->error, &place, "an element %c cannot have a '%s'%s%s", kind->kind, name,
        tl_piece_is(word, "temp") || tl_piece_is(word, "dtemp") ? ": the bench measures at 27 C"
                                                                : "",
        tl_text_get(&hint));
    tl_text_free(&hint);
    free(name);
    return status;
}

static tl_status set_value(reader* r, size_t at, double value) {
    if (r->card.has_value)
        return refuse(r, at, "a second value");
    r->card.has_value = true;
    r->card.value = value;
    return TL_OK;
}

static tl_status add_setting(reader* r, tl_piece word, const char* name, double value) {
    tl_flat_card* card = &r->card;
    for (size_t i = 0; i < card->setting_count; ++i)
        if (strcmp(card->settings[i].name, name) == 0)
            return refuse(r, word.at, "this is given twice");
    if (strcmp(name, "m") == 0 && !(value > 0))
        return refuse(r, word.at, "how many stand side by side (m) must be above 0");
    card->settings[card->setting_count++] = (tl_flat_setting){name, value};
    return TL_OK;
}

static tl_status read_setting(reader* r, const card_kind* kind) {
    const char* name = NULL;
    double value = 0;
    tl_piece word = tl_cursor_word(&r->cursor);
    bool is_value = is_listed(word, kind->value_names, &name);
    bool pair = tl_piece_is(word, "tc") && strchr("rcl", kind->kind);
    if (!is_value && !pair && !is_listed(word, kind->settings, &name))
        return refuse_setting(r, kind, word);
    tl_cursor_take(&r->cursor, '=');
    tl_status status = read_value(r, &value);
    if (status != TL_OK)
        return status;
    if (is_value)
        return set_value(r, word.at, value);
    status = add_setting(r, word, pair ? "tc1" : name, value);
    char next = tl_cursor_peek(&r->cursor, true);
    if (status != TL_OK || !pair || !next || !strchr("+-.0123456789{'", next))
        return status;
    status = read_value(r, &value);
    return status == TL_OK ? add_setting(r, word, "tc2", value) : status;
}

static tl_status read_flag_or_model(reader* r, const card_kind* kind) {
    tl_piece word = {0};
    tl_status status = tl_cursor_name(&r->cursor, "a value or a model", &word, r->error);
    if (status != TL_OK)
        return status;
    bool off = tl_piece_is(word, "off");
    if (kind->flags && r->card.model != TL_NO_MODEL &&
        (off || (kind->kind == 's' && tl_piece_is(word, "on")))) {
        r->card.flag = off ? "off" : "on";
        return TL_OK;
    }
    if (r->card.model != TL_NO_MODEL)
        return refuse(r, word.at, "expected a value here, and no second model");
    return tl_call_model(r->call, word, kind->kind, &r->card.model);
}

/// m of resistors, capacitors and inductors side by side is part of their value.
static void fold_multiple(tl_flat_card* card) {
    for (size_t i = 0; i < card->setting_count; ++i) {
        if (strcmp(card->settings[i].name, "m") != 0)
            continue;
        double times = card->settings[i].value;
        card->value = card->card.kind == 'c' ? card->value * times : card->value / times;
        card->settings[i] = card->settings[--card->setting_count];
        return;
    }
}

/// Values no element of that kind can have. Negative resistance is allowed: models of active parts
/// use it. Capacitance and inductance below zero would make any start-up explode.
static tl_status check_value(const reader* r) {
    const tl_flat_card* card = &r->card;
    char kind = card->card.kind;
    if (strchr("rcl", kind) && !card->has_value)
        return refuse(r, r->cursor.at, "expected a value");
    if (kind == 'r' && fabs(card->value) < 1e-9)
        return refuse(r, 0, "a resistor of 0 ohm: leave it out and join its nodes");
    if ((kind == 'c' || kind == 'l') && card->value < 0)
        return refuse(r, 0, kind == 'c' ? "a capacitance below zero" : "an inductance below zero");
    return TL_OK;
}

/// A number, or the start of one.
static bool at_value(reader* r) {
    char next = tl_cursor_peek(&r->cursor, true);
    tl_piece word = tl_cursor_look(r->cursor);
    bool digits = word.size && strspn(r->cursor.line->text + word.at, "+-.0123456789") > 0;
    bool model = digits && tl_call_has_model(r->call, word); // 2n3904
    return next == '{' || next == '\'' || (digits && !model);
}

static tl_status read_rest(reader* r, const card_kind* kind) {
    tl_status status = TL_OK;
    while (status == TL_OK && tl_cursor_peek(&r->cursor, true)) {
        size_t at = r->cursor.at;
        bool later = !kind->needs_model || r->card.model != TL_NO_MODEL;
        if (tl_cursor_at_setting(r->cursor)) {
            status = read_setting(r, kind);
        } else if (later && kind->value_names[0] && at_value(r)) {
            double value = 0;
            status = read_value(r, &value);
            if (status == TL_OK)
                status = set_value(r, at, value);
        } else {
            status = read_flag_or_model(r, kind);
        }
    }
    if (status != TL_OK)
        return status;
    if (kind->needs_model && r->card.model == TL_NO_MODEL)
        return refuse(r, r->cursor.at, "expected a model");
    status = check_value(r);
    if (strchr("rcl", kind->kind))
        fold_multiple(&r->card);
    return status;
}

static tl_status read_listed(reader* r) {
    const card_kind* kind = kinds;
    while (kind->kind != r->card.card.kind)
        ++kind;
    tl_status status = read_nodes(r, kind->nodes);
    if (status != TL_OK)
        return status;
    if (kind->kind == 'q' && !tl_call_has_model(r->call, tl_cursor_look(r->cursor))) {
        tl_cursor fourth = r->cursor; // a substrate, when a model follows it
        tl_cursor_word(&fourth);
        if (tl_call_has_model(r->call, tl_cursor_look(fourth)))
            status = read_nodes(r, 1);
    }
    return status == TL_OK ? read_rest(r, kind) : status;
}

// ---- V I

static tl_status read_source(reader* r) {
    static const char why[] = "a design makes no signal of its own: only a DC value may stand here";
    tl_status status = read_nodes(r, 2);
    if (status != TL_OK)
        return status;
    r->card.has_value = true;
    tl_piece word = tl_cursor_look(r->cursor);
    if (tl_piece_is(word, "dc")) {
        tl_cursor_word(&r->cursor);
        tl_cursor_take(&r->cursor, '=');
    }
    char next = tl_cursor_peek(&r->cursor, true);
    if (!next)
        return TL_OK;
    if (!strchr("+-.0123456789{'", next))
        return refuse(r, r->cursor.at, why);
    status = read_value(r, &r->card.value);
    if (status == TL_OK && tl_cursor_peek(&r->cursor, true))
        return refuse(r, r->cursor.at, why);
    return status;
}

// ---- E G F H B

/// What follows the first two nodes of a controlled source when it is no plain gain.
static tl_status read_special(reader* r, bool* special) {
    static const char* const formulas[] = {"value", "vol", "cur", "v", "i", NULL};
    static const char* const refused[] = {"table", "laplace", "freq", "chebyshev", "pwl", "delay",
                                          "and",   "nand",    "or",   "nor",       NULL};
    const char* found = NULL;
    bool voltages = strchr("eg", r->card.card.kind) != NULL;
    bool is_current = strchr("gf", r->card.card.kind) != NULL;
    tl_cursor ahead = r->cursor;
    tl_piece word = tl_cursor_word(&ahead);
    char next = tl_cursor_peek(&ahead, false);
    *special = true;
    if (tl_piece_is(word, "poly") && next == '(') {
        r->cursor = ahead;
        r->card.card.kind = 'b';
        r->card.is_current = is_current;
        tl_status status = tl_poly_read(r->call, &r->cursor, voltages, &r->card.formula);
        return status == TL_OK ? expect_end(r) : status;
    }
    if (is_listed(word, formulas, &found) && (next == '=' || next == '{' || next == '\'')) {
        if (strcmp(found, is_current ? "vol" : "cur") == 0 ||
            strcmp(found, is_current ? "v" : "i") == 0)
            return refuse(r, word.at, "this source makes the other of voltage and current");
        r->cursor = ahead;
        tl_cursor_take(&r->cursor, '=');
        return read_formula(r, is_current);
    }
    if (is_listed(word, refused, &found) && next)
        return refuse(r, word.at, "this form of a source is not allowed: write an expression");
    *special = false;
    return TL_OK;
}

/// Parentheses and commas around controlling nodes are blanks.
static void skip_parentheses(reader* r) {
    for (char next = tl_cursor_peek(&r->cursor, true); next == '(' || next == ')';
         next = tl_cursor_peek(&r->cursor, true))
        ++r->cursor.at;
}

static tl_status read_controlled(reader* r) {
    bool special = false;
    tl_status status = read_nodes(r, 2);
    if (status == TL_OK)
        status = read_special(r, &special);
    if (status != TL_OK || special)
        return status;
    if (strchr("eg", r->card.card.kind)) {
        for (int i = 0; i < 2 && status == TL_OK; ++i) {
            skip_parentheses(r);
            status = read_nodes(r, 1);
        }
        skip_parentheses(r);
    } else {
        status = tl_cursor_name(&r->cursor, "a voltage source whose current controls this",
                                &r->card.others[0], r->error);
    }
    if (status != TL_OK)
        return status;
    if (tl_piece_is(tl_cursor_look(r->cursor), "gain") && tl_cursor_at_setting(r->cursor)) {
        tl_cursor_word(&r->cursor);
        tl_cursor_take(&r->cursor, '=');
    }
    r->card.has_value = true;
    status = read_value(r, &r->card.value);
    return status == TL_OK ? expect_end(r) : status;
}

static tl_status read_behaviour(reader* r) {
    tl_status status = read_nodes(r, 2);
    if (status != TL_OK)
        return status;
    tl_piece word = tl_cursor_word(&r->cursor);
    bool is_current = tl_piece_is(word, "i");
    if ((!is_current && !tl_piece_is(word, "v")) || !tl_cursor_take(&r->cursor, '='))
        return refuse(r, word.at, "expected v=.. or i=..");
    return read_formula(r, is_current);
}

// ---- K

static tl_status read_coupling(reader* r) {
    tl_status status = TL_OK;
    for (int i = 0; i < 2 && status == TL_OK; ++i)
        status = tl_cursor_name(&r->cursor, "an inductor", &r->card.others[i], r->error);
    if (status == TL_OK && tl_cursor_at_setting(r->cursor)) { // k=0.99
        tl_cursor_word(&r->cursor);
        tl_cursor_take(&r->cursor, '=');
    }
    size_t at = r->cursor.at;
    if (status == TL_OK)
        status = read_value(r, &r->card.value);
    r->card.has_value = true;
    if (status == TL_OK && !(r->card.value != 0 && fabs(r->card.value) <= 1))
        return refuse(r, at, "a coupling lies between 0 and 1");
    return status == TL_OK ? expect_end(r) : status;
}

static tl_status read_kind(reader* r) {
    switch (r->card.card.kind) {
    case 'v':
    case 'i':
        return read_source(r);
    case 'e':
    case 'g':
    case 'f':
    case 'h':
        return read_controlled(r);
    case 'b':
        return read_behaviour(r);
    case 'k':
        return read_coupling(r);
    default:
        return read_listed(r);
    }
}

/// Elements' names make paths (x1.r3, q1.bf), so a dot would be read as one.
static tl_status read_name(reader* r, tl_piece* name) {
    tl_status status = tl_cursor_name(&r->cursor, "an element", name, r->error);
    if (status == TL_OK && memchr(r->cursor.line->text + name->at, '.', name->size))
        return refuse(r, name->at, "an element's name holds no dot");
    return status;
}

tl_status tl_card_read(tl_call* call, const tl_spice_line* line) {
    reader r = {.call = call, .cursor = {line, 0}, .error = call->work->error};
    tl_netlist* netlist = call->work->netlist;
    tl_piece name = {0};
    tl_status status = read_name(&r, &name);
    if (status != TL_OK)
        return status;
    size_t twin = 0;
    if (tl_name_index_get(&call->cards, name, &twin))
        return refuse(&r, name.at, "this element is named twice");
    bool inner = line->text[0] == 'x';
    tl_name_index_add(&call->cards, name, inner ? TL_NO_CARD : netlist->card_count);
    if (inner)
        return tl_call_read_x(call, &r.cursor, name);
    if (netlist->card_count == MOST_CARDS)
        return refuse(&r, 0, "more than 5,000 elements once every subcircuit is in place");
    r.card.card.kind = line->text[0];
    r.card.card.place = tl_piece_place(name);
    r.card.model = TL_NO_MODEL;
    r.card.call = call->number;
    status = read_kind(&r);
    if (status != TL_OK) {
        tl_formula_free(&r.card.formula);
        return status;
    }
    char* raw = tl_piece_raw(name);
    r.card.card.name = tl_printf("%s%s", call->prefix, raw);
    free(raw);
    netlist->cards = tl_grow_one(netlist->cards, netlist->card_count, sizeof *netlist->cards);
    netlist->cards[netlist->card_count++] = r.card;
    return TL_OK;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Formulas bound and written; formula_read.c reads them, formula_table.c knows the functions.
#include "circuit/formula.h"

#include "base/names.h"
#include "circuit/formula_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    MOST_TERMS = 2000,   // of a formula once functions are in place
    MOST_STEPS = 500000, // of all formulas of a file
    DEEPEST = 1000
};
#define LARGEST_NUMBER 1e30

void tl_formula_free(tl_formula* formula) {
    free(formula->terms);
    *formula = (tl_formula){0};
}

tl_formula tl_formula_copy(const tl_formula* formula) {
    tl_formula copy = {tl_new(formula->count, sizeof *copy.terms), formula->count};
    if (formula->count)
        memcpy(copy.terms, formula->terms, formula->count * sizeof *copy.terms);
    return copy;
}

void tl_formula_push(tl_formula* formula, tl_term term) {
    formula->terms = tl_grow_one(formula->terms, formula->count, sizeof term);
    formula->terms[formula->count++] = term;
}

/// Ends an operation: the tree's size is that of what it works on, and itself.
void tl_formula_close(tl_formula* formula, tl_term term) {
    size_t end = formula->count;
    term.size = 1;
    for (unsigned i = 0; i < term.arity; ++i) {
        size_t part = formula->terms[end - 1].size;
        term.size += part;
        end -= part;
    }
    tl_formula_push(formula, term);
}

void tl_formula_add_number(tl_formula* formula, double number, tl_place place) {
    tl_formula_push(formula,
                    (tl_term){.kind = TL_TERM_NUMBER, .size = 1, .number = number, .place = place});
}

void tl_formula_add_voltage(tl_formula* formula, const unsigned nodes[2], tl_place place) {
    tl_formula_push(formula, (tl_term){.kind = TL_TERM_VOLTAGE,
                                       .size = 1,
                                       .nodes = {nodes[0], nodes[1]},
                                       .place = place});
}

void tl_formula_add_current(tl_formula* formula, tl_piece source) {
    tl_formula_push(formula, (tl_term){.kind = TL_TERM_CURRENT,
                                       .size = 1,
                                       .name = source,
                                       .place = tl_piece_place(source)});
}

void tl_formula_append(tl_formula* formula, const tl_formula* other) {
    for (size_t i = 0; i < other->count; ++i)
        tl_formula_push(formula, other->terms[i]);
}

void tl_formula_add_operator(tl_formula* formula, char sign, tl_place place) {
    const char name[] = {sign, '\0'};
    unsigned row = tl_function_find(name, 2);
    tl_formula_close(
        formula, (tl_term){.kind = TL_TERM_FUNCTION, .function = row, .arity = 2, .place = place});
}

tl_status tl_formula_spend(tl_formula_effort* effort, size_t terms, const tl_place* place,
                           tl_error* error) {
    effort->steps += terms;
    if (effort->steps <= MOST_STEPS)
        return TL_OK;
    return tl_error_at(error, place,
                       "the expressions of this file take more than %d steps to work out",
                       MOST_STEPS);
}

// ---- binding

/// The arguments of the `.func` whose body is being put in place: already bound.
typedef struct {
    const tl_piece* names;
    const tl_formula* values;
    size_t count;
} arguments;

typedef struct {
    const tl_formula_world* world;
    tl_formula* out;
    tl_error* error;
} binding;

static tl_status check_number(const binding* b, const tl_term* term, double number) {
    if (isfinite(number) && fabs(number) <= LARGEST_NUMBER)
        return TL_OK;
    return tl_error_at(b->error, &term->place, "%s",
                       isnan(number) ? "this has no value: not a number"
                                     : "this comes to more than 1e30");
}

static tl_status check_size(const binding* b, const tl_term* term) {
    if (b->out->count <= MOST_TERMS)
        return TL_OK;
    return tl_error_at(b->error, &term->place,
                       "an expression of more than %d terms, functions put in place", MOST_TERMS);
}

/// Works out an operation on numbers.
static tl_status fold(const binding* b, const tl_term* term) {
    double values[TL_FUNCTION_ARGUMENTS];
    const tl_term* from = b->out->terms + b->out->count - term->arity;
    for (unsigned i = 0; i < term->arity; ++i)
        values[i] = from[i].number;
    double number = tl_function_row(term->function)->work(values);
    tl_status status = check_number(b, term, number);
    if (status != TL_OK)
        return status;
    b->out->count -= term->arity;
    tl_formula_add_number(b->out, number, term->place);
    return TL_OK;
}

/// Gives a whole power its mathematical meaning. ngspice's `^`, `**` and pow() raise the absolute
/// value, which is right for even powers alone; its pwr() keeps the sign, which is right for odd
/// ones. (Values and slopes of both were seen to be right on either side of zero.) Negative powers
/// are divisions, since pwr() refuses them at 0, where every search for an operating point begins.
static void settle_power(tl_formula* out, tl_term* term) {
    const double power = out->terms[--out->count].number;
    size_t size = out->terms[out->count - 1].size;
    tl_formula base = {out->terms + out->count - size, size};
    base = tl_formula_copy(&base);
    out->count -= size;
    if (power <= 0)
        tl_formula_add_number(out, 1, term->place);
    if (power != 0)
        tl_formula_append(out, &base);
    if (fabs(power) > 1) {
        tl_formula_add_number(out, fabs(power), term->place);
        if (fmod(power, 2) != 0)
            term->function = tl_function_find("pwr", 2);
        tl_formula_close(out, *term);
    }
    if (power < 0)
        tl_formula_add_operator(out, '/', term->place);
    tl_formula_free(&base);
}

static tl_status close_function(const binding* b, const tl_term* term) {
    const tl_formula* out = b->out;
    bool numbers = true;
    size_t end = out->count;
    for (unsigned i = 0; i < term->arity; ++i) {
        numbers = numbers && out->terms[end - 1].kind == TL_TERM_NUMBER;
        end -= out->terms[end - 1].size;
    }
    if (numbers)
        return fold(b, term);
    const tl_term* last = &out->terms[out->count - 1];
    tl_term whole = *term;
    if (tl_function_row(term->function)->power && last->kind == TL_TERM_NUMBER &&
        last->number == floor(last->number))
        settle_power(b->out, &whole);
    else
        tl_formula_close(b->out, *term);
    return check_size(b, term);
}

static tl_status bind_tree(binding* b, const tl_formula* from, size_t root, const arguments* given);

/// Offset of each operand's last term.
static void find_operands(const tl_formula* from, size_t root, size_t* roots) {
    const tl_term* term = &from->terms[root];
    size_t at = root;
    for (unsigned i = term->arity; i > 0; --i) {
        roots[i - 1] = at - 1;
        at -= from->terms[at - 1].size;
    }
}

static tl_status bind_function(binding* b, const tl_formula* from, size_t root, const tl_term* term,
                               const arguments* given) {
    size_t roots[TL_FUNCTION_ARGUMENTS];
    find_operands(from, root, roots);
    tl_status status = TL_OK;
    for (unsigned i = 0; i < term->arity && status == TL_OK; ++i)
        status = bind_tree(b, from, roots[i], given);
    return status == TL_OK ? close_function(b, term) : status;
}

static tl_status refuse_function(const binding* b, const tl_term* term) {
    char* name = tl_piece_copy(term->name);
    unsigned row = tl_function_find(name, 0);
    tl_text hint = {0};
    size_t count = 0;
    const char* const* names = tl_function_names(&count);
    if (row != TL_NO_FUNCTION)
        tl_text_addf(&hint, "%s() takes %u, not %u arguments", name, tl_function_row(row)->arity,
                     term->arity);
    else
        tl_text_addf(&hint, "%s() is none of the functions that are allowed", name);
    if (row == TL_NO_FUNCTION)
        tl_name_hint(&hint, name, names, count);
    tl_status status = tl_error_at(b->error, &term->place, "%s", tl_text_get(&hint));
    tl_text_free(&hint);
    free(name);
    return status;
}

/// A call of a function on the list.
static tl_status bind_known(binding* b, const tl_formula* from, size_t root,
                            const arguments* given) {
    tl_term term = from->terms[root];
    char* name = tl_piece_copy(term.name);
    term.function = tl_function_find(name, term.arity);
    free(name);
    if (term.function == TL_NO_FUNCTION)
        return refuse_function(b, &term);
    term.kind = TL_TERM_FUNCTION;
    return bind_function(b, from, root, &term, given);
}

/// Puts the body of a `.func` in place of a call of it.
static tl_status bind_call(binding* b, const tl_formula* from, size_t root,
                           const arguments* given) {
    const tl_term* term = &from->terms[root];
    const tl_formula* body = NULL;
    arguments own = {0};
    tl_status status =
        b->world->function(b->world->context, term, &body, &own.names, &own.count, b->error);
    if (status != TL_OK)
        return status;
    if (!body)
        return bind_known(b, from, root, given);
    size_t roots[TL_FUNCTION_ARGUMENTS];
    tl_formula values[TL_FUNCTION_ARGUMENTS] = {{0}};
    find_operands(from, root, roots);
    own.values = values;
    for (size_t i = 0; i < own.count && status == TL_OK; ++i) {
        binding inner = *b;
        inner.out = &values[i];
        status = bind_tree(&inner, from, roots[i], given);
    }
    if (status == TL_OK)
        status = bind_tree(b, body, body->count - 1, &own);
    for (size_t i = 0; i < own.count; ++i)
        tl_formula_free(&values[i]);
    return status;
}

static tl_status bind_name(const binding* b, const tl_term* term, const arguments* given) {
    for (size_t i = 0; given && i < given->count; ++i)
        if (tl_piece_same(given->names[i], term->name)) {
            b->world->effort->steps += given->values[i].count;
            tl_formula_append(b->out, &given->values[i]);
            return check_size(b, term);
        }
    double number = 0;
    tl_status status = b->world->parameter(b->world->context, term, &number, b->error);
    if (status == TL_OK)
        status = check_number(b, term, number);
    if (status == TL_OK)
        tl_formula_add_number(b->out, number, term->place);
    return status;
}

static tl_status bind_voltage(const binding* b, const tl_term* term) {
    if (!b->world->node)
        return tl_error_at(b->error, &term->place,
                           "a voltage or current: only numbers and parameters fit here (a B source "
                           "takes voltages)");
    tl_term bound = *term;
    tl_status status = TL_OK;
    if (term->kind == TL_TERM_VOLTAGE) {
        status = b->world->node(b->world->context, term->name, &bound.nodes[0], b->error);
        if (status == TL_OK && term->other.size)
            status = b->world->node(b->world->context, term->other, &bound.nodes[1], b->error);
    }
    if (status == TL_OK)
        tl_formula_push(b->out, bound);
    return status;
}

static tl_status bind_tree(binding* b, const tl_formula* from, size_t root,
                           const arguments* given) {
    const tl_term* term = &from->terms[root];
    if (b->world->effort->depth > DEEPEST)
        return tl_error_at(b->error, &term->place,
                           "expressions that lie too deep in one another: does a function "
                           "call itself?");
    tl_status status = tl_formula_spend(b->world->effort, 1, &term->place, b->error);
    if (status != TL_OK)
        return status;
    ++b->world->effort->depth;
    switch (term->kind) {
    case TL_TERM_NUMBER:
        tl_formula_push(b->out, *term);
        break;
    case TL_TERM_NAME:
        status = bind_name(b, term, given);
        break;
    case TL_TERM_CALL:
        status = bind_call(b, from, root, given);
        break;
    case TL_TERM_FUNCTION:
        status = bind_function(b, from, root, term, given);
        break;
    case TL_TERM_VOLTAGE:
    case TL_TERM_CURRENT:
        status = bind_voltage(b, term);
        break;
    }
    --b->world->effort->depth;
    return status;
}

tl_status tl_formula_bind(const tl_formula* formula, const tl_formula_world* world,
                          tl_formula* bound, tl_error* error) {
    *bound = (tl_formula){0};
    binding b = {world, bound, error};
    tl_status status = bind_tree(&b, formula, formula->count - 1, NULL);
    if (status != TL_OK)
        tl_formula_free(bound);
    return status;
}

tl_status tl_formula_evaluate(const tl_formula* formula, const tl_formula_world* world,
                              double* value, tl_error* error) {
    tl_formula bound = {0};
    tl_formula_world numbers = *world;
    numbers.node = NULL;
    tl_status status = tl_formula_bind(formula, &numbers, &bound, error);
    if (status == TL_OK)
        *value = bound.terms[0].number;
    tl_formula_free(&bound);
    return status;
}

// ---- writing

/// ngspice reads the numbers of a B source and prints them for itself with 11 digits: what that
/// loses goes into a second number.
static void write_number(double number, tl_text* text) {
    char* words = tl_printf("%.10e", number);
    double rest = number - strtod(words, NULL);
    if (rest != 0)
        tl_text_addf(text, "(%s%+.10e)", words, rest);
    else
        tl_text_addf(text, number < 0 ? "(%s)" : "%s", words);
    free(words);
}

/// What writing a formula needs to know.
typedef struct {
    const tl_formula* formula;
    const unsigned* nodes;
    unsigned first;
    tl_text* text;
} writing;

static void write_tree(const writing* w, size_t root) {
    const tl_term* term = &w->formula->terms[root];
    if (term->kind == TL_TERM_NUMBER) {
        write_number(term->number, w->text);
    } else if (term->kind == TL_TERM_VOLTAGE) {
        tl_text_addf(w->text, "v(%u", w->nodes[term->nodes[0]]);
        if (term->nodes[1])
            tl_text_addf(w->text, ",%u", w->nodes[term->nodes[1]]);
        tl_text_add(w->text, ")");
    } else if (term->kind == TL_TERM_CURRENT) {
        tl_text_addf(w->text, "i(v%zu)", w->first + term->card);
    } else {
        size_t roots[TL_FUNCTION_ARGUMENTS];
        find_operands(w->formula, root, roots);
        for (const char* at = tl_function_row(term->function)->form; *at; ++at)
            if (*at >= 'A' && *at <= 'C')
                write_tree(w, roots[*at - 'A']);
            else
                tl_text_add_bytes(w->text, at, 1);
    }
}

void tl_formula_write(const tl_formula* formula, const unsigned* nodes, unsigned first,
                      tl_text* text) {
    const writing w = {formula, nodes, first, text};
    write_tree(&w, formula->count - 1);
}

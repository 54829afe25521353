// SPDX-License-Identifier: GPL-3.0-or-later
// The polynomial form of controlled sources (SPICE2), written out as a sum of products.
#include "circuit/netlist_internal.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_INPUTS = 10, MOST_COEFFICIENTS = 200, HIGHEST_DEGREE = 8 };

/// What a polynomial is made of.
typedef struct {
    tl_call* call;
    tl_cursor* cursor;
    tl_formula inputs[MOST_INPUTS]; ///< a voltage or current each
    size_t input_count;
    double coefficients[MOST_COEFFICIENTS];
    size_t coefficient_count;
    tl_place place;
} poly;

static tl_status refuse(const poly* p, const char* words) {
    const tl_place place = tl_cursor_place(p->cursor);
    return tl_error_at(p->call->work->error, &place, "%s", words);
}

static tl_status read_number(const poly* p, double* value) {
    tl_error* error = p->call->work->error;
    tl_formula formula = {0};
    const tl_formula_world world = tl_call_world(p->call);
    tl_status status = tl_formula_read_value(p->cursor, &formula, error);
    if (status == TL_OK)
        status = tl_formula_evaluate(&formula, &world, value, error);
    tl_formula_free(&formula);
    return status;
}

static void skip_parentheses(const poly* p) {
    for (char next = tl_cursor_peek(p->cursor, true); next == '(' || next == ')';
         next = tl_cursor_peek(p->cursor, true))
        ++p->cursor->at;
}

static tl_status read_count(poly* p) {
    double count = 0;
    if (!tl_cursor_take(p->cursor, '('))
        return refuse(p, "expected how many inputs: poly(2)");
    tl_status status = read_number(p, &count);
    if (status != TL_OK)
        return status;
    if (!(count >= 1 && count <= MOST_INPUTS && count == (double)(int)count))
        return refuse(p, "a polynomial has 1 to 10 inputs");
    p->input_count = (size_t)count;
    if (!tl_cursor_take(p->cursor, ')'))
        return refuse(p, "expected a closing parenthesis");
    return TL_OK;
}

static tl_status read_input(const poly* p, tl_formula* input, bool voltage) {
    unsigned nodes[2] = {0};
    tl_piece name = {0};
    tl_error* error = p->call->work->error;
    skip_parentheses(p);
    tl_status status =
        tl_cursor_name(p->cursor, voltage ? "a node" : "a voltage source", &name, error);
    if (!voltage && status == TL_OK)
        tl_formula_add_current(input, name);
    if (!voltage || status != TL_OK)
        return status;
    status = tl_call_node(p->call, name, &nodes[0], error);
    if (status == TL_OK)
        status = tl_cursor_name(p->cursor, "a node", &name, error);
    if (status == TL_OK)
        status = tl_call_node(p->call, name, &nodes[1], error);
    if (status == TL_OK)
        tl_formula_add_voltage(input, nodes, p->place);
    skip_parentheses(p);
    return status;
}

static tl_status read_coefficients(poly* p) {
    tl_status status = TL_OK;
    skip_parentheses(p);
    while (status == TL_OK && tl_cursor_peek(p->cursor, true)) {
        if (p->coefficient_count == MOST_COEFFICIENTS)
            return refuse(p, "more than 200 coefficients of a polynomial");
        status = read_number(p, &p->coefficients[p->coefficient_count++]);
        skip_parentheses(p);
    }
    if (status == TL_OK && !p->coefficient_count)
        return refuse(p, "expected the coefficients of the polynomial");
    return status;
}

/// The next product of inputs in the order of SPICE2: 1; a, b; aa, ab, bb; aaa, aab, abb, bbb.
/// `factors` are the inputs' numbers, never falling.
static void next_product(const poly* p, size_t* factors, size_t* degree) {
    size_t at = *degree;
    while (at > 0 && factors[at - 1] == p->input_count - 1)
        --at;
    if (at == 0) {
        ++*degree;
        memset(factors, 0, *degree * sizeof *factors);
        return;
    }
    size_t next = factors[at - 1] + 1;
    for (size_t i = at - 1; i < *degree; ++i)
        factors[i] = next;
}

/// Adds one term to the sum.
static void add_product(const poly* p, double coefficient, const size_t* factors, size_t degree,
                        tl_formula* sum) {
    bool first = sum->count == 0;
    tl_formula_add_number(sum, coefficient, p->place);
    for (size_t i = 0; i < degree; ++i) {
        tl_formula_append(sum, &p->inputs[factors[i]]);
        tl_formula_add_operator(sum, '*', p->place);
    }
    if (!first)
        tl_formula_add_operator(sum, '+', p->place);
}

static tl_status add_products(const poly* p, tl_formula* sum) {
    size_t factors[HIGHEST_DEGREE + 1] = {0};
    size_t degree = 0;
    if (p->coefficient_count == 1 && p->input_count == 1)
        return refuse(p, "a lone coefficient is a gain in SPICE2 and an offset in ngspice: write "
                         "'0 5' for a gain of 5");
    for (size_t i = 0; i < p->coefficient_count; ++i) {
        if (degree > HIGHEST_DEGREE)
            return refuse(p, "a polynomial of a degree above 8");
        if (p->coefficients[i] != 0)
            add_product(p, p->coefficients[i], factors, degree, sum);
        next_product(p, factors, &degree);
    }
    if (!sum->count)
        tl_formula_add_number(sum, 0, p->place);
    return TL_OK;
}

tl_status tl_poly_read(tl_call* call, tl_cursor* cursor, bool voltages, tl_formula* formula) {
    poly p = {.call = call, .cursor = cursor, .place = tl_cursor_place(cursor)};
    tl_status status = read_count(&p);
    for (size_t i = 0; i < p.input_count && status == TL_OK; ++i)
        status = read_input(&p, &p.inputs[i], voltages);
    if (status == TL_OK)
        status = read_coefficients(&p);
    if (status == TL_OK)
        status = add_products(&p, formula);
    if (status == TL_OK)
        status = tl_formula_spend(&call->work->effort, formula->count, &p.place, call->work->error);
    for (size_t i = 0; i < p.input_count; ++i)
        tl_formula_free(&p.inputs[i]);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file formula.h Expressions of SPICE text, read sign by sign and written with our own.
///
/// The meaning is ngspice's, with one exception: powers are the mathematical ones. ngspice's `^`,
/// `**` and pow() take the absolute value of what they raise, which spoils odd powers of what is
/// below zero.
#ifndef TL_CIRCUIT_FORMULA_H
#define TL_CIRCUIT_FORMULA_H

#include "base/text.h"
#include "circuit/spice_line.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum {
    TL_TERM_NUMBER,
    TL_TERM_NAME,     ///< a parameter, not yet looked up
    TL_TERM_CALL,     ///< of a function, not yet looked up
    TL_TERM_FUNCTION, ///< an operator or a known function
    TL_TERM_VOLTAGE,  ///< of a node, or between two
    TL_TERM_CURRENT,  ///< through a voltage source
} tl_term_kind;

/// One term. A formula is a row of them in postfix order: what an operator works on stands before
/// it.
typedef struct {
    tl_term_kind kind;
    unsigned function; ///< a row of the table of functions
    unsigned arity;
    size_t size; ///< terms of the tree that ends here, itself included
    double number;
    tl_piece name;     ///< parameter, function, node or source
    tl_piece other;    ///< the second node; size 0 when there is none
    unsigned nodes[2]; ///< once bound: the nodes of a voltage
    size_t card;       ///< once bound: the card a current flows through
    tl_place place;
} tl_term;

typedef struct {
    tl_term* terms;
    size_t count;
} tl_formula;

/// Reads as much of a line as makes an expression. TL_BAD_INPUT at what is none.
tl_status tl_formula_read(tl_cursor* cursor, tl_formula* formula, tl_error* error);
/// Reads a number with its scale (`4.7k`, `10uF`) and nothing else.
tl_status tl_formula_read_number(tl_cursor* cursor, tl_formula* formula, tl_error* error);
/// Reads a value: a number, or an expression in braces or quotes.
tl_status tl_formula_read_value(tl_cursor* cursor, tl_formula* formula, tl_error* error);
void tl_formula_free(tl_formula* formula);
tl_formula tl_formula_copy(const tl_formula* formula);

/// What working formulas out has taken; past a limit it is an error.
typedef struct {
    size_t steps;
    size_t depth;
} tl_formula_effort;

/// Counts terms that a formula was given by hand. TL_BAD_INPUT past the limit.
tl_status tl_formula_spend(tl_formula_effort* effort, size_t terms, const tl_place* place,
                           tl_error* error);

/// What names in a formula mean.
typedef struct tl_formula_world tl_formula_world;
struct tl_formula_world {
    void* context;
    /// The value of a parameter.
    tl_status (*parameter)(void* context, const tl_term* term, double* value, tl_error* error);
    /// The body of a `.func` and the names of its arguments; NULL when there is none of that name.
    tl_status (*function)(void* context, const tl_term* term, const tl_formula** body,
                          const tl_piece** arguments, size_t* count, tl_error* error);
    /// The number of a node; NULL where only numbers may stand.
    tl_status (*node)(void* context, tl_piece name, unsigned* node, tl_error* error);
    tl_formula_effort* effort; ///< of all formulas of a file
};

/// Puts numbers in place of parameters and bodies in place of functions, and works out whatever
/// has become a number. Currents keep their names.
tl_status tl_formula_bind(const tl_formula* formula, const tl_formula_world* world,
                          tl_formula* bound, tl_error* error);
/// The same where only a number will do.
tl_status tl_formula_evaluate(const tl_formula* formula, const tl_formula_world* world,
                              double* value, tl_error* error);

/// Building by hand: a number, a voltage, a current, and an operator ("+", "*") on the last two.
void tl_formula_add_number(tl_formula* formula, double number, tl_place place);
void tl_formula_add_voltage(tl_formula* formula, const unsigned nodes[2], tl_place place);
void tl_formula_add_current(tl_formula* formula, tl_piece source);
/// Adds all of another formula.
void tl_formula_append(tl_formula* formula, const tl_formula* other);
void tl_formula_add_operator(tl_formula* formula, char sign, tl_place place);

/// Writes a bound formula for a B source, every operation in parentheses of its own. A voltage's
/// node n becomes nodes[n], a current's card c becomes source number first + c.
void tl_formula_write(const tl_formula* formula, const unsigned* nodes, unsigned first,
                      tl_text* text);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file formula_table.h The operators and functions that formulas may hold: the whole list.
#ifndef TL_CIRCUIT_FORMULA_TABLE_H
#define TL_CIRCUIT_FORMULA_TABLE_H

#include "circuit/formula.h"

enum { TL_FUNCTION_ARGUMENTS = 8, TL_NO_FUNCTION = 0 };

typedef struct {
    const char* name; ///< as users write it
    unsigned arity;
    const char* form; ///< how a B source writes it; A, B and C are what it works on
    double (*work)(const double* values);
    bool power;
} tl_function;

/// The row of a function, or TL_NO_FUNCTION. `arity` 0 asks by name alone.
unsigned tl_function_find(const char* name, unsigned arity);
const tl_function* tl_function_row(unsigned row);
/// All names that are words, for hints.
const char* const* tl_function_names(size_t* count);

/// For formula_read.c: adds a term, and an operation on the last `arity` trees.
void tl_formula_push(tl_formula* formula, tl_term term);
void tl_formula_close(tl_formula* formula, tl_term term);

#endif

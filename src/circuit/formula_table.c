// SPDX-License-Identifier: GPL-3.0-or-later
#include "circuit/formula_table.h"

#include <math.h>
#include <string.h>

#define WORK(name, expression)                                                                     \
    static double name(const double* x) {                                                          \
        return expression;                                                                         \
    }

WORK(add, x[0] + x[1])
WORK(subtract, x[0] - x[1])
WORK(multiply, x[0] * x[1])
WORK(divide, x[0] / x[1])
WORK(raise_to, pow(x[0], x[1]))
WORK(negate, -x[0])
WORK(not, x[0] == 0)
WORK(both, x[0] != 0 && x[1] != 0)
WORK(either, x[0] != 0 || x[1] != 0)
WORK(equal, x[0] == x[1])
WORK(unequal, x[0] != x[1])
WORK(less, x[0] < x[1])
WORK(greater, x[0] > x[1])
WORK(at_most, x[0] <= x[1])
WORK(at_least, x[0] >= x[1])
WORK(choose, x[0] != 0 ? x[1] : x[2])
WORK(absolute, fabs(x[0]))
WORK(root, sqrt(x[0]))
WORK(square, x[0] * x[0])
WORK(exponential, exp(x[0]))
WORK(natural, log(x[0]))
WORK(decimal, log10(x[0]))
WORK(sine, sin(x[0]))
WORK(cosine, cos(x[0]))
WORK(tangent, tan(x[0]))
WORK(arc_sine, asin(x[0]))
WORK(arc_cosine, acos(x[0]))
WORK(arc_tangent, atan(x[0]))
WORK(sine_h, sinh(x[0]))
WORK(cosine_h, cosh(x[0]))
WORK(tangent_h, tanh(x[0]))
WORK(arc_sine_h, asinh(x[0]))
WORK(arc_cosine_h, acosh(x[0]))
WORK(arc_tangent_h, atanh(x[0]))
WORK(lesser, fmin(x[0], x[1]))
WORK(larger, fmax(x[0], x[1]))
WORK(signed_power, x[0] < 0 ? -pow(-x[0], x[1]) : pow(x[0], x[1]))
WORK(limited, fmin(fmax(x[0], x[1]), x[2]))
WORK(sign, (x[0] > 0) - (x[0] < 0))
WORK(step, x[0] > 0 ? 1 : x[0] < 0 ? 0 : 0.5)
WORK(step_ramp, fmin(fmax(x[0], 0), 1))
WORK(ramp, fmax(x[0], 0))
WORK(up, ceil(x[0]))
WORK(down, floor(x[0]))
WORK(nearest, nearbyint(x[0]))

/// Names and meanings as ngspice 39 has them in B sources (seen by running each there): `log` is
/// the natural one, step(0) is a half. What it lacks there is written with what it has.
static const tl_function rows[] = {
    [TL_NO_FUNCTION] = {"", 0, "", NULL, false},
    {"+", 2, "(A+B)", add, false},
    {"-", 2, "(A-B)", subtract, false},
    {"*", 2, "(A*B)", multiply, false},
    {"/", 2, "(A/B)", divide, false},
    {"^", 2, "(A^B)", raise_to, true},
    {"-", 1, "(-A)", negate, false},
    {"!", 1, "eq0(A)", not, false},
    {"&&", 2, "eq0(eq0(A)+eq0(B))", both, false},
    {"||", 2, "ne0(ne0(A)+ne0(B))", either, false},
    {"==", 2, "eq0(A-B)", equal, false},
    {"!=", 2, "ne0(A-B)", unequal, false},
    {"<", 2, "lt0(A-B)", less, false},
    {">", 2, "gt0(A-B)", greater, false},
    {"<=", 2, "le0(A-B)", at_most, false},
    {">=", 2, "ge0(A-B)", at_least, false},
    {"?", 3, "ternary_fcn(A,B,C)", choose, false},
    {"ternary_fcn", 3, "ternary_fcn(A,B,C)", choose, false},
    {"if", 3, "ternary_fcn(A,B,C)", choose, false},
    {"abs", 1, "abs(A)", absolute, false},
    {"sqrt", 1, "sqrt(A)", root, false},
    {"sqr", 1, "(A*A)", square, false},
    {"exp", 1, "exp(A)", exponential, false},
    {"ln", 1, "ln(A)", natural, false},
    {"log", 1, "ln(A)", natural, false},
    {"log10", 1, "log10(A)", decimal, false},
    {"sin", 1, "sin(A)", sine, false},
    {"cos", 1, "cos(A)", cosine, false},
    {"tan", 1, "tan(A)", tangent, false},
    {"asin", 1, "asin(A)", arc_sine, false},
    {"acos", 1, "acos(A)", arc_cosine, false},
    {"atan", 1, "atan(A)", arc_tangent, false},
    {"arctan", 1, "atan(A)", arc_tangent, false},
    {"sinh", 1, "sinh(A)", sine_h, false},
    {"cosh", 1, "cosh(A)", cosine_h, false},
    {"tanh", 1, "tanh(A)", tangent_h, false},
    {"asinh", 1, "asinh(A)", arc_sine_h, false},
    {"acosh", 1, "acosh(A)", arc_cosine_h, false},
    {"atanh", 1, "atanh(A)", arc_tangent_h, false},
    {"min", 2, "min(A,B)", lesser, false},
    {"max", 2, "max(A,B)", larger, false},
    {"pow", 2, "(A^B)", raise_to, true},
    {"pwr", 2, "pwr(A,B)", signed_power, false},
    {"limit", 3, "min(max(A,B),C)", limited, false},
    {"sgn", 1, "sgn(A)", sign, false},
    {"u", 1, "u(A)", step, false},
    {"u2", 1, "u2(A)", step_ramp, false},
    {"uramp", 1, "uramp(A)", ramp, false},
    {"ceil", 1, "ceil(A)", up, false},
    {"floor", 1, "floor(A)", down, false},
    {"nint", 1, "nint(A)", nearest, false},
};

enum { ROWS = sizeof rows / sizeof *rows };

unsigned tl_function_find(const char* name, unsigned arity) {
    for (unsigned i = 1; i < ROWS; ++i)
        if (strcmp(rows[i].name, name) == 0 && (arity == 0 || rows[i].arity == arity))
            return i;
    return TL_NO_FUNCTION;
}

const tl_function* tl_function_row(unsigned row) {
    return &rows[row];
}

const char* const* tl_function_names(size_t* count) {
    static const char* const names[] = {
        "abs",   "sqrt", "sqr",   "exp",  "ln",   "log",        "log10", "sin",   "cos",
        "tan",   "asin", "acos",  "atan", "sinh", "cosh",       "tanh",  "asinh", "acosh",
        "atanh", "min",  "max",   "pow",  "pwr",  "limit",      "sgn",   "u",     "u2",
        "uramp", "ceil", "floor", "nint", "if",   "ternary_fcn"};
    *count = sizeof names / sizeof *names;
    return names;
}

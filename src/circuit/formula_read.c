// SPDX-License-Identifier: GPL-3.0-or-later
// Formulas read: operators by how tightly they bind, nothing that is not on the list.
#include "circuit/formula.h"

#include "circuit/formula_table.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_TOKENS = 2000, DEEPEST = 100, DEEPEST_TREE = 250, LOWEST = 1, LONGEST_WORD = 64 };

typedef struct {
    tl_cursor* cursor;
    tl_formula* formula;
    size_t tokens;
    size_t depth;
    tl_error* error;
} parser;

static tl_status read_level(parser* p, int level);

static tl_status refuse(const parser* p, size_t at, const char* words) {
    const tl_place place = tl_spice_place(p->cursor->line, at);
    return tl_error_at(p->error, &place, "%s", words);
}

static tl_status count_token(parser* p) {
    if (++p->tokens > MOST_TOKENS)
        return refuse(p, p->cursor->at, "an expression of more than 2,000 signs and names");
    return TL_OK;
}

static char next_of(const parser* p) {
    return tl_cursor_peek(p->cursor, false);
}

static bool is_letter(char sign) {
    return isalpha((unsigned char)sign) || sign == '_';
}

/// The scale that the letters after a number stand for; the rest of them is a unit.
static double scale_of(const char* letters) {
    static const struct {
        const char* letters;
        double factor;
    } scales[] = {{"meg", 1e6}, {"mil", 25.4e-6}, {"t", 1e12}, {"g", 1e9},
                  {"k", 1e3},   {"m", 1e-3},      {"u", 1e-6}, {"n", 1e-9},
                  {"p", 1e-12}, {"f", 1e-15},     {"a", 1e-18}};
    for (size_t i = 0; i < sizeof scales / sizeof *scales; ++i)
        if (strncmp(letters, scales[i].letters, strlen(scales[i].letters)) == 0)
            return scales[i].factor;
    return 1;
}

/// The end of a decimal number, or `from` when there is none.
static size_t skip_digits(const char* text, size_t from) {
    size_t at = from;
    size_t digits = 0;
    for (; isdigit((unsigned char)text[at]); ++at)
        ++digits;
    if (text[at] == '.')
        for (++at; isdigit((unsigned char)text[at]); ++at)
            ++digits;
    if (!digits)
        return from;
    if (text[at] != 'e')
        return at;
    size_t power = at + 1;
    if (text[power] == '+' || text[power] == '-')
        ++power;
    if (!isdigit((unsigned char)text[power]))
        return at;
    while (isdigit((unsigned char)text[power]))
        ++power;
    return power;
}

static tl_status read_number(parser* p, double sign) {
    const char* text = p->cursor->line->text;
    size_t from = p->cursor->at;
    size_t end = skip_digits(text, from);
    if (end == from)
        return refuse(p, from, "expected a number");
    if (end - from > LONGEST_WORD)
        return refuse(p, from, "a number of more than 64 signs");
    char digits[LONGEST_WORD + 1] = {0};
    memcpy(digits, text + from, end - from);
    double number = sign * strtod(digits, NULL) * scale_of(text + end);
    size_t unit = end;
    while (isalpha((unsigned char)text[end]))
        ++end;
    if (isdigit((unsigned char)text[end]) || text[end] == '.' || text[end] == '_' ||
        end - unit > LONGEST_WORD)
        return refuse(p, end, "a number ends here: write 4.7k, not 4k7");
    if (!isfinite(number) || fabs(number) > 1e30)
        return refuse(p, from, "a number beyond 1e30");
    tl_formula_add_number(p->formula, number, tl_spice_place(p->cursor->line, from));
    p->cursor->at = end;
    return TL_OK;
}

static tl_piece read_identifier(const parser* p) {
    const char* text = p->cursor->line->text;
    tl_piece piece = {p->cursor->line, p->cursor->at, 0};
    while (is_letter(text[piece.at + piece.size]) ||
           isdigit((unsigned char)text[piece.at + piece.size]))
        ++piece.size;
    p->cursor->at += piece.size;
    return piece;
}

/// What stands between the parentheses of v() and i(): names as nodes have them.
static tl_status read_probe(parser* p, tl_piece name, bool voltage) {
    tl_term term = {.kind = voltage ? TL_TERM_VOLTAGE : TL_TERM_CURRENT,
                    .size = 1,
                    .place = tl_piece_place(name)};
    ++p->cursor->at; // the parenthesis
    tl_status status =
        tl_cursor_name(p->cursor, voltage ? "a node" : "a voltage source", &term.name, p->error);
    if (status == TL_OK && voltage && next_of(p) == ',')
        status = tl_cursor_name(p->cursor, "a node", &term.other, p->error);
    if (status != TL_OK)
        return status;
    if (!tl_cursor_take(p->cursor, ')'))
        return refuse(p, p->cursor->at, "expected a closing parenthesis");
    tl_formula_push(p->formula, term);
    return TL_OK;
}

static tl_status read_arguments(parser* p, tl_term* term) {
    ++p->cursor->at; // the parenthesis
    tl_status status = TL_OK;
    do {
        if (term->arity == TL_FUNCTION_ARGUMENTS)
            return refuse(p, p->cursor->at, "more than 8 arguments of a function");
        status = read_level(p, LOWEST);
        ++term->arity;
    } while (status == TL_OK && tl_cursor_take(p->cursor, ','));
    if (status == TL_OK && !tl_cursor_take(p->cursor, ')'))
        status = refuse(p, p->cursor->at, "expected a closing parenthesis");
    return status;
}

static tl_status read_call(parser* p, tl_piece name) {
    if (tl_piece_is(name, "v") || tl_piece_is(name, "i"))
        return read_probe(p, name, tl_piece_is(name, "v"));
    tl_term term = {.kind = TL_TERM_CALL, .name = name, .place = tl_piece_place(name)};
    tl_status status = read_arguments(p, &term);
    if (status != TL_OK)
        return status;
    tl_formula_close(p->formula, term);
    return TL_OK;
}

/// A name that stands for something of its own, or for a parameter.
static tl_status read_name(parser* p) {
    tl_piece name = read_identifier(p);
    if (name.size > LONGEST_WORD)
        return refuse(p, name.at, "a name of more than 64 letters");
    if (next_of(p) == '(')
        return read_call(p, name);
    tl_formula_push(
        p->formula,
        (tl_term){.kind = TL_TERM_NAME, .size = 1, .name = name, .place = tl_piece_place(name)});
    return TL_OK;
}

/// A number, a name, a call, or anything in parentheses, braces or quotes.
static tl_status read_primary(parser* p) {
    static const char open[] = "({'";
    static const char close[] = ")}'";
    tl_status status = count_token(p);
    if (status != TL_OK)
        return status;
    char next = next_of(p);
    if (isdigit((unsigned char)next) || next == '.')
        return read_number(p, 1);
    if (is_letter(next))
        return read_name(p);
    const char* bracket = next ? strchr(open, next) : NULL;
    if (!bracket)
        return refuse(p, p->cursor->at,
                      next ? "expected a number, a parameter or a function"
                           : "the line ends where a number, a parameter or a function should be");
    ++p->cursor->at;
    status = read_level(p, LOWEST);
    if (status == TL_OK && !tl_cursor_take(p->cursor, close[bracket - open]))
        status = refuse(p, p->cursor->at,
                        next == '{'   ? "expected a closing brace"
                        : next == '(' ? "expected a closing parenthesis"
                                      : "expected a closing quote");
    return status;
}

enum { TERNARY = 1, OR, AND, EQUAL, ORDER, SUM, PRODUCT, UNARY, POWER };

/// Operators as ngspice's B sources rank them; its grammar puts both powers to the left.
static const struct {
    const char* sign;
    const char* name;
    int level;
} operators[] = {
    {"||", "||", OR},    {"&&", "&&", AND},   {"==", "==", EQUAL}, {"!=", "!=", EQUAL},
    {"<>", "!=", EQUAL}, {"<=", "<=", ORDER}, {">=", ">=", ORDER}, {"<", "<", ORDER},
    {">", ">", ORDER},   {"+", "+", SUM},     {"-", "-", SUM},     {"**", "^", POWER},
    {"*", "*", PRODUCT}, {"/", "/", PRODUCT}, {"^", "^", POWER},
};

/// The operator that comes next, if it binds as the level says; -1 otherwise.
static int find_operator(const parser* p, int level) {
    next_of(p);
    const char* at = p->cursor->line->text + p->cursor->at;
    for (size_t i = 0; i < sizeof operators / sizeof *operators; ++i)
        if (strncmp(at, operators[i].sign, strlen(operators[i].sign)) == 0)
            return operators[i].level == level ? (int)i : -1;
    return -1;
}

static void close_operator(const parser* p, const char* name, unsigned arity, tl_place place) {
    tl_formula_close(p->formula, (tl_term){.kind = TL_TERM_FUNCTION,
                                           .function = tl_function_find(name, arity),
                                           .arity = arity,
                                           .place = place});
}

static tl_status read_ternary(parser* p) {
    tl_status status = read_level(p, OR);
    if (status != TL_OK || next_of(p) != '?')
        return status;
    tl_place place = tl_cursor_place(p->cursor);
    ++p->cursor->at;
    status = read_level(p, TERNARY);
    if (status == TL_OK && !tl_cursor_take(p->cursor, ':'))
        status = refuse(p, p->cursor->at, "expected ':' and what holds otherwise");
    if (status == TL_OK)
        status = read_level(p, TERNARY);
    if (status == TL_OK)
        close_operator(p, "?", 3, place);
    return status;
}

static tl_status read_unary(parser* p) {
    char next = next_of(p);
    if (next != '-' && next != '+' && next != '!')
        return read_level(p, POWER);
    tl_place place = tl_cursor_place(p->cursor);
    tl_status status = count_token(p);
    ++p->cursor->at;
    if (status == TL_OK)
        status = read_level(p, UNARY);
    if (status == TL_OK && next != '+')
        close_operator(p, next == '-' ? "-" : "!", 1, place);
    return status;
}

/// What stands to the right of a power may have a sign: 10^-3.
static tl_status read_operand(parser* p, int level) {
    if (level != POWER)
        return read_level(p, level + 1);
    char next = next_of(p);
    if (next != '-' && next != '+')
        return read_primary(p);
    return read_unary(p);
}

static tl_status read_chain(parser* p, int level) {
    tl_status status = level == POWER ? read_primary(p) : read_level(p, level + 1);
    for (size_t links = 0; status == TL_OK; ++links) {
        int found = find_operator(p, level);
        if (found < 0)
            return TL_OK;
        tl_place place = tl_cursor_place(p->cursor);
        if (links == DEEPEST_TREE)
            return refuse(p, p->cursor->at,
                          "more than 250 operators in a row: put parts of them in parentheses or "
                          "parameters");
        status = count_token(p);
        p->cursor->at += strlen(operators[found].sign);
        if (status == TL_OK)
            status = read_operand(p, level);
        if (status == TL_OK)
            close_operator(p, operators[found].name, 2, place);
    }
    return status;
}

static tl_status read_level(parser* p, int level) {
    if (p->depth > (size_t)DEEPEST * POWER)
        return refuse(p, p->cursor->at, "parentheses more than 100 deep");
    ++p->depth;
    tl_status status = level == TERNARY ? read_ternary(p)
                       : level == UNARY ? read_unary(p)
                                        : read_chain(p, level);
    --p->depth;
    return status;
}

tl_status tl_formula_read(tl_cursor* cursor, tl_formula* formula, tl_error* error) {
    *formula = (tl_formula){0};
    parser p = {cursor, formula, 0, 0, error};
    tl_status status = read_level(&p, LOWEST);
    if (status != TL_OK)
        tl_formula_free(formula);
    return status;
}

tl_status tl_formula_read_number(tl_cursor* cursor, tl_formula* formula, tl_error* error) {
    *formula = (tl_formula){0};
    parser p = {cursor, formula, 0, 0, error};
    char next = tl_cursor_peek(cursor, true);
    if (next == '-' || next == '+')
        ++cursor->at;
    tl_status status = read_number(&p, next == '-' ? -1 : 1);
    if (status != TL_OK)
        tl_formula_free(formula);
    return status;
}

tl_status tl_formula_read_value(tl_cursor* cursor, tl_formula* formula, tl_error* error) {
    char next = tl_cursor_peek(cursor, true);
    if (next != '{' && next != '\'')
        return tl_formula_read_number(cursor, formula, error);
    *formula = (tl_formula){0};
    parser p = {cursor, formula, 0, 0, error};
    tl_status status = read_primary(&p);
    if (status != TL_OK)
        tl_formula_free(formula);
    return status;
}

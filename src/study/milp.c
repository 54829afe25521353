// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/milp.h"

#include "base/symbol.h"
#include "base/text.h"

#include <dlfcn.h>
#include <glpk.h>
#include <limits.h>
#include <math.h>
#include <pthread.h>
#include <stdlib.h>

enum { LIMIT_MS = 30000 };

/// The routines of GLPK that are used.
typedef struct {
    __typeof__(glp_create_prob)* create;
    __typeof__(glp_delete_prob)* destroy;
    __typeof__(glp_add_rows)* add_rows;
    __typeof__(glp_add_cols)* add_columns;
    __typeof__(glp_set_row_bnds)* row_bounds;
    __typeof__(glp_set_col_bnds)* column_bounds;
    __typeof__(glp_set_col_kind)* column_kind;
    __typeof__(glp_set_obj_coef)* cost;
    __typeof__(glp_load_matrix)* load;
    __typeof__(glp_init_iocp)* options;
    __typeof__(glp_intopt)* solve;
    __typeof__(glp_mip_status)* status;
    __typeof__(glp_mip_col_val)* value;
    __typeof__(glp_mip_obj_val)* total;
    __typeof__(glp_term_out)* terminal;
    __typeof__(glp_free_env)* release;
    __typeof__(glp_ios_reason)* reason;
    __typeof__(glp_ios_terminate)* terminate;
} glpk;

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static glpk routines;
static bool loaded;

static void load(void) {
    void* library = dlopen("libglpk.so.40", RTLD_LAZY | RTLD_LOCAL);
    loaded = library && tl_symbol_find(library, "glp_create_prob", &routines.create) &&
             tl_symbol_find(library, "glp_delete_prob", &routines.destroy) &&
             tl_symbol_find(library, "glp_add_rows", &routines.add_rows) &&
             tl_symbol_find(library, "glp_add_cols", &routines.add_columns) &&
             tl_symbol_find(library, "glp_set_row_bnds", &routines.row_bounds) &&
             tl_symbol_find(library, "glp_set_col_bnds", &routines.column_bounds) &&
             tl_symbol_find(library, "glp_set_col_kind", &routines.column_kind) &&
             tl_symbol_find(library, "glp_set_obj_coef", &routines.cost) &&
             tl_symbol_find(library, "glp_load_matrix", &routines.load) &&
             tl_symbol_find(library, "glp_init_iocp", &routines.options) &&
             tl_symbol_find(library, "glp_intopt", &routines.solve) &&
             tl_symbol_find(library, "glp_mip_status", &routines.status) &&
             tl_symbol_find(library, "glp_mip_col_val", &routines.value) &&
             tl_symbol_find(library, "glp_mip_obj_val", &routines.total) &&
             tl_symbol_find(library, "glp_term_out", &routines.terminal) &&
             tl_symbol_find(library, "glp_free_env", &routines.release) &&
             tl_symbol_find(library, "glp_ios_reason", &routines.reason) &&
             tl_symbol_find(library, "glp_ios_terminate", &routines.terminate);
}

typedef struct {
    double low, high, cost, value;
    bool whole;
} column;

typedef struct {
    double low, high;
} row;

typedef struct {
    size_t row, column;
    double factor;
} term;

struct tl_milp {
    column* columns;
    size_t column_count;
    row* rows;
    size_t row_count;
    term* terms;
    size_t term_count;
    double total;
};

void tl_milp_free(tl_milp* milp) {
    if (!milp)
        return;
    free(milp->columns);
    free(milp->rows);
    free(milp->terms);
    free(milp);
}

size_t tl_milp_column(tl_milp* milp, double low, double high) {
    milp->columns = tl_grow_one(milp->columns, milp->column_count, sizeof *milp->columns);
    milp->columns[milp->column_count] = (column){.low = low, .high = high};
    return milp->column_count++;
}

/// GLPK ends the program over one without columns, so there is always one that stays 0.
tl_milp* tl_milp_new(void) {
    tl_milp* milp = tl_new(1, sizeof *milp);
    tl_milp_column(milp, 0, 0);
    return milp;
}

size_t tl_milp_whole(tl_milp* milp, double low, double high) {
    size_t made = tl_milp_column(milp, low, high);
    milp->columns[made].whole = true;
    return made;
}

size_t tl_milp_binary(tl_milp* milp) {
    return tl_milp_whole(milp, 0, 1);
}

void tl_milp_hold(tl_milp* milp, size_t which, double value) {
    milp->columns[which].low = milp->columns[which].high = value;
}

void tl_milp_row(tl_milp* milp, double low, double high) {
    milp->rows = tl_grow_one(milp->rows, milp->row_count, sizeof *milp->rows);
    milp->rows[milp->row_count++] = (row){low, high};
}

void tl_milp_term(tl_milp* milp, size_t which, double factor) {
    milp->terms = tl_grow_one(milp->terms, milp->term_count, sizeof *milp->terms);
    milp->terms[milp->term_count++] = (term){milp->row_count - 1, which, factor};
}

void tl_milp_no_cost(tl_milp* milp) {
    for (size_t i = 0; i < milp->column_count; ++i)
        milp->columns[i].cost = 0;
}

void tl_milp_cost(tl_milp* milp, size_t which, double factor) {
    milp->columns[which].cost += factor;
}

void tl_milp_keep_cost(tl_milp* milp, double most) {
    tl_milp_row(milp, -INFINITY, most);
    for (size_t i = 0; i < milp->column_count; ++i)
        if (milp->columns[i].cost != 0)
            tl_milp_term(milp, i, milp->columns[i].cost);
}

double tl_milp_value(const tl_milp* milp, size_t which) {
    return milp->columns[which].value;
}

double tl_milp_total(const tl_milp* milp) {
    return milp->total;
}

/// GLPK's word for which of two bounds there are.
static int bound_kind(double low, double high) {
    if (isinf(low))
        return isinf(high) ? GLP_FR : GLP_UP;
    return isinf(high) ? GLP_LO : low == high ? GLP_FX : GLP_DB;
}

/// GLPK counts rows and columns from 1.
static void fill_bounds(const tl_milp* milp, glp_prob* problem) {
    if (milp->row_count)
        routines.add_rows(problem, (int)milp->row_count);
    routines.add_columns(problem, (int)milp->column_count);
    for (size_t i = 0; i < milp->row_count; ++i) {
        const row* at = &milp->rows[i];
        routines.row_bounds(problem, (int)i + 1, bound_kind(at->low, at->high),
                            isinf(at->low) ? 0 : at->low, isinf(at->high) ? 0 : at->high);
    }
    for (size_t i = 0; i < milp->column_count; ++i) {
        const column* at = &milp->columns[i];
        if (at->whole)
            routines.column_kind(problem, (int)i + 1, GLP_IV);
        routines.column_bounds(problem, (int)i + 1, bound_kind(at->low, at->high),
                               isinf(at->low) ? 0 : at->low, isinf(at->high) ? 0 : at->high);
        routines.cost(problem, (int)i + 1, at->cost);
    }
}

static void fill_matrix(const tl_milp* milp, glp_prob* problem) {
    int* rows = tl_new(milp->term_count + 1, sizeof *rows);
    int* columns = tl_new(milp->term_count + 1, sizeof *columns);
    double* factors = tl_new(milp->term_count + 1, sizeof *factors);
    for (size_t i = 0; i < milp->term_count; ++i) {
        rows[i + 1] = (int)milp->terms[i].row + 1;
        columns[i + 1] = (int)milp->terms[i].column + 1;
        factors[i + 1] = milp->terms[i].factor;
    }
    routines.load(problem, (int)milp->term_count, rows, columns, factors);
    free(rows);
    free(columns);
    free(factors);
}

static void take_values(tl_milp* milp, glp_prob* problem) {
    milp->total = routines.total(problem);
    for (size_t i = 0; i < milp->column_count; ++i) {
        double value = routines.value(problem, (int)i + 1);
        milp->columns[i].value = milp->columns[i].whole ? floor(value + 0.5) : value;
    }
}

/// How many nodes the search may still open.
typedef struct {
    size_t left;
} budget;

static void count_node(glp_tree* tree, void* context) {
    budget* b = context;
    if (routines.reason(tree) == GLP_ISELECT && b->left-- == 0)
        routines.terminate(tree);
}

/// How a search ended.
typedef enum { NOTHING_FITS, BEST_FOUND, GAVE_UP_WITH_ONE, GAVE_UP } ending;

static ending ending_of(int code, int status) {
    if (code == GLP_ENOPFS || (code == 0 && status == GLP_NOFEAS))
        return NOTHING_FITS;
    if (code == 0 && status == GLP_OPT)
        return BEST_FOUND;
    return status == GLP_FEAS || status == GLP_OPT ? GAVE_UP_WITH_ONE : GAVE_UP;
}

/// Solves it within so many nodes; 0: as many as it takes.
static tl_status search(tl_milp* milp, size_t nodes, ending* end, tl_error* error) {
    pthread_once(&once, load);
    if (!loaded)
        return tl_error_set(error, TL_FAILURE,
                            "libglpk.so.40 cannot be loaded: it is needed to assign pedals, "
                            "and to cut leads off reels");
    routines.terminal(GLP_OFF);
    glp_prob* problem = routines.create();
    fill_bounds(milp, problem);
    fill_matrix(milp, problem);
    budget left = {nodes};
    glp_iocp options;
    routines.options(&options);
    options.presolve = GLP_ON;
    options.clq_cuts = GLP_ON; // of one limit, of volts
    options.mir_cuts = GLP_ON; // of sums of currents: without them a board of 20 pedals takes hours
    options.tm_lim = nodes ? INT_MAX : LIMIT_MS;
    options.msg_lev = GLP_MSG_OFF;
    options.cb_func = nodes ? count_node : NULL;
    options.cb_info = &left;
    int code = routines.solve(problem, &options);
    *end = ending_of(code, routines.status(problem));
    if (*end == BEST_FOUND || *end == GAVE_UP_WITH_ONE)
        take_values(milp, problem);
    routines.destroy(problem);
    routines.release();
    return TL_OK;
}

tl_status tl_milp_solve(tl_milp* milp, bool* feasible, tl_error* error) {
    ending end = GAVE_UP;
    tl_status status = search(milp, 0, &end, error);
    *feasible = end == BEST_FOUND;
    if (status == TL_OK && (end == GAVE_UP || end == GAVE_UP_WITH_ONE))
        return tl_error_set(error, TL_FAILURE,
                            "the assignment of pedals to outputs was not done within %d s: state "
                            "an 'output' for some of them",
                            LIMIT_MS / 1000);
    return status;
}

tl_status tl_milp_improve(tl_milp* milp, size_t nodes, bool* proven, tl_error* error) {
    ending end = GAVE_UP;
    tl_status status = search(milp, nodes, &end, error);
    *proven = end == BEST_FOUND;
    if (status == TL_OK && end == NOTHING_FITS)
        return tl_error_set(error, TL_FAILURE, "the solver lost its own assignment");
    return status;
}

tl_status tl_milp_search(tl_milp* milp, size_t nodes, bool* found, bool* proven, tl_error* error) {
    ending end = GAVE_UP;
    tl_status status = search(milp, nodes, &end, error);
    *found = status == TL_OK && (end == BEST_FOUND || end == GAVE_UP_WITH_ONE);
    *proven = status == TL_OK && (end == BEST_FOUND || end == NOTHING_FITS);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Programs with whole columns whose answers are known by hand.
#include "study/milp.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/// Worth 60, 100 and 120 at weights 10, 20 and 30; 50 may be carried: the last two, 220 (a common
/// example of the knapsack).
static tl_milp* knapsack(size_t take[3], double most) {
    static const double worth[] = {60, 100, 120};
    static const double weight[] = {10, 20, 30};
    tl_milp* milp = tl_milp_new();
    for (int i = 0; i < 3; ++i)
        take[i] = tl_milp_binary(milp);
    tl_milp_row(milp, -INFINITY, most);
    for (int i = 0; i < 3; ++i) {
        tl_milp_term(milp, take[i], weight[i]);
        tl_milp_cost(milp, take[i], -worth[i]);
    }
    return milp;
}

static void finds_the_best(void** state) {
    (void)state;
    size_t take[3];
    bool feasible = false;
    tl_milp* milp = knapsack(take, 50);
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    assert_true(feasible);
    assert_true(fabs(tl_milp_total(milp) + 220) < 1e-9);
    assert_true(tl_milp_value(milp, take[0]) == 0);
    assert_true(tl_milp_value(milp, take[1]) == 1);
    assert_true(tl_milp_value(milp, take[2]) == 1);
    // Held to what it is not, the best is another one.
    tl_milp_hold(milp, take[0], 1);
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    assert_true(feasible && fabs(tl_milp_total(milp) + 180) < 1e-9);
    tl_milp_free(milp);
}

static void proves_that_nothing_fits(void** state) {
    (void)state;
    size_t take[3];
    bool feasible = true;
    tl_milp* milp = knapsack(take, 50);
    tl_milp_row(milp, 3, INFINITY);
    for (int i = 0; i < 3; ++i)
        tl_milp_term(milp, take[i], 1);
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    assert_false(feasible);
    tl_milp_free(milp);
}

/// A cost once reached is kept while the next is sought.
static void keeps_a_cost(void** state) {
    (void)state;
    size_t take[3];
    bool feasible = false;
    tl_milp* milp = knapsack(take, 1000);
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    tl_milp_keep_cost(milp, -160); // now at least 160, with as few as can be
    tl_milp_no_cost(milp);
    for (int i = 0; i < 3; ++i)
        tl_milp_cost(milp, take[i], 1);
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    assert_true(feasible && tl_milp_total(milp) == 2);
    tl_milp_free(milp);
}

static void takes_columns_without_bounds(void** state) {
    (void)state;
    bool feasible = false;
    tl_milp* milp = tl_milp_new();
    size_t x = tl_milp_column(milp, -INFINITY, INFINITY);
    size_t n = tl_milp_whole(milp, 0, INFINITY);
    tl_milp_row(milp, 2.5, INFINITY); // x + n >= 2.5, n >= x, least n
    tl_milp_term(milp, x, 1);
    tl_milp_term(milp, n, 1);
    tl_milp_row(milp, 0, INFINITY);
    tl_milp_term(milp, n, 1);
    tl_milp_term(milp, x, -1);
    tl_milp_cost(milp, n, 1);
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    assert_true(feasible && tl_milp_value(milp, n) == 2);
    assert_true(tl_milp_value(milp, x) >= 0.5 - 1e-6);
    tl_milp_free(milp);
}

/// GLPK itself would end the program.
static void takes_an_empty_program(void** state) {
    (void)state;
    bool feasible = false;
    tl_milp* milp = tl_milp_new();
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    assert_true(feasible);
    tl_milp_row(milp, 1, 1); // 0 = 1
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK);
    assert_false(feasible);
    tl_milp_free(milp);
}

/// A market split problem of 2 rows and 20 columns (Cornuejols and Dawande, 1998: small, and hard
/// for branch and bound): within three nodes nothing is proven, and what was there before stays.
static void gives_up_when_told_to(void** state) {
    (void)state;
    enum { ROWS = 2, COLUMNS = 20 };
    tl_milp* milp = tl_milp_new();
    size_t x[COLUMNS];
    size_t off[2 * ROWS];
    uint32_t dice = 12345;
    for (int i = 0; i < COLUMNS; ++i)
        x[i] = tl_milp_binary(milp);
    for (int i = 0; i < 2 * ROWS; ++i)
        off[i] = tl_milp_column(milp, 0, INFINITY);
    for (int row = 0; row < ROWS; ++row) {
        double factors[COLUMNS];
        double sum = 0;
        for (int i = 0; i < COLUMNS; ++i) {
            dice = dice * 1664525U + 1013904223U;
            factors[i] = (double)(dice >> 16 & 99);
            sum += factors[i];
        }
        tl_milp_row(milp, floor(sum / 2), floor(sum / 2));
        for (int i = 0; i < COLUMNS; ++i)
            tl_milp_term(milp, x[i], factors[i]);
        tl_milp_term(milp, off[2 * row], 1);
        tl_milp_term(milp, off[2 * row + 1], -1);
    }
    bool feasible = false;
    assert_int_equal(tl_milp_solve(milp, &feasible, NULL), TL_OK); // no cost: anything will do
    assert_true(feasible);
    double before = 0;
    double after = 0;
    for (int i = 0; i < 2 * ROWS; ++i) {
        tl_milp_cost(milp, off[i], 1);
        before += tl_milp_value(milp, off[i]);
    }
    bool proven = true;
    assert_int_equal(tl_milp_improve(milp, 3, &proven, NULL), TL_OK);
    assert_false(proven);
    for (int i = 0; i < 2 * ROWS; ++i)
        after += tl_milp_value(milp, off[i]);
    assert_true(after <= before + 1e-9);
    assert_int_equal(tl_milp_improve(milp, 100000000, &proven, NULL), TL_OK);
    assert_true(proven && tl_milp_total(milp) <= after + 1e-9);
    tl_milp_free(milp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_the_best),         cmocka_unit_test(proves_that_nothing_fits),
        cmocka_unit_test(keeps_a_cost),           cmocka_unit_test(takes_columns_without_bounds),
        cmocka_unit_test(takes_an_empty_program), cmocka_unit_test(gives_up_when_told_to),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

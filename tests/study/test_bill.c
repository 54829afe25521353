// SPDX-License-Identifier: GPL-3.0-or-later
// What to buy and what to cut off which reel, against every way there is, on small cases.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/random.h"
#include "study/build_stock.h"

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

enum { PIECES = 7 };

static uint64_t draw(uint64_t trial, uint64_t* at, uint64_t low, uint64_t high) {
    return low +
           (uint64_t)(tl_random_uniform(7, trial, (uint32_t)(*at)++) * (double)(high - low + 1));
}

// A case with sizes whose prices are not in proportion.
static size_t draw_sizes(uint64_t trial, uint64_t* at, tl_stock_size* sizes) {
    size_t count = draw(trial, at, 1, 3);
    for (size_t i = 0; i < count; i++) {
        uint64_t size = draw(trial, at, 3, 12) * 100;
        sizes[i] = (tl_stock_size){size, size / 4 + draw(trial, at, 0, 200), false};
    }
    if (draw(trial, at, 0, 3) == 0) {
        sizes[count - 1].size = 100;
        sizes[count - 1].price = draw(trial, at, 30, 70);
        sizes[count - 1].drum = true;
    }
    return count;
}

static uint64_t packs_of(const tl_stock_size* size, uint64_t need) {
    return (need + size->size - 1) / size->size;
}

// Every number of packs of each size that could be of use.
static uint64_t cover_by_trying(const tl_stock_size* sizes, size_t count, uint64_t need) {
    uint64_t best = UINT64_MAX;
    uint64_t most[3] = {0};
    for (size_t i = 0; i < count; i++)
        most[i] = packs_of(&sizes[i], need);
    for (uint64_t a = 0; a <= most[0]; a++)
        for (uint64_t b = 0; b <= most[1]; b++)
            for (uint64_t c = 0; c <= most[2]; c++) {
                const uint64_t packs[] = {a, b, c};
                uint64_t price = 0;
                uint64_t amount = 0;
                for (size_t i = 0; i < count; i++) {
                    price += packs[i] * sizes[i].price;
                    amount += packs[i] * sizes[i].size;
                }
                if (amount >= need && price < best)
                    best = price;
            }
    return best;
}

static void packs_cost_least(void** state) {
    (void)state;
    for (uint64_t trial = 0; trial < 300; trial++) {
        tl_stock_size sizes[3];
        uint64_t at = 0;
        const size_t count = draw_sizes(trial, &at, sizes);
        const uint64_t need = draw(trial, &at, 1, 4000);
        tl_stock_plan plan;
        tl_stock_cover(sizes, count, need, &plan);
        assert_true(plan.amount >= need && plan.proven);
        assert_int_equal(plan.price, cover_by_trying(sizes, count, need));
    }
}

// Sizes without a common step: more amounts than are looked at. What comes out is enough, and the
// bound below it holds.
static void odd_packs_are_bounded(void** state) {
    (void)state;
    const tl_stock_size sizes[] = {{999983, 700000, false}, {1000003, 690000, false}};
    tl_stock_plan plan;
    tl_stock_cover(sizes, 2, 7500000, &plan);
    assert_true(plan.amount >= 7500000 && plan.least <= plan.price);
    assert_int_equal(plan.price, 8 * 690000);
    assert_false(plan.proven);
}

// What a set of pieces on one reel costs at least; UINT64_MAX: no reel is long enough.
static uint64_t one_reel(const tl_stock_size* sizes, size_t count, uint64_t used) {
    uint64_t best = UINT64_MAX;
    for (size_t i = 0; i < count; i++) {
        const uint64_t packs = sizes[i].drum ? packs_of(&sizes[i], used) : 1;
        if (packs * sizes[i].size >= used && packs * sizes[i].price < best)
            best = packs * sizes[i].price;
    }
    return best;
}

// All partitions of the pieces from `piece` on, put on the reels begun so far or on a new one.
static uint64_t cut_by_trying(const tl_stock_size* sizes, size_t count, const uint64_t* pieces,
                              size_t piece_count, size_t piece, uint64_t* used, size_t reels) {
    if (piece == piece_count) {
        uint64_t price = 0;
        for (size_t r = 0; r < reels; r++) {
            const uint64_t one = one_reel(sizes, count, used[r]);
            if (one == UINT64_MAX)
                return UINT64_MAX;
            price += one;
        }
        return price;
    }
    uint64_t best = UINT64_MAX;
    for (size_t r = 0; r <= reels; r++) {
        used[r] = (r == reels ? 0 : used[r]) + pieces[piece];
        const uint64_t price = cut_by_trying(sizes, count, pieces, piece_count, piece + 1, used,
                                             r == reels ? reels + 1 : reels);
        best = price < best ? price : best;
        used[r] -= pieces[piece];
    }
    return best;
}

// Every piece on a reel that has room for it, sums and prices right.
static void check_cutting(const tl_stock_size* sizes, size_t count, const uint64_t* pieces,
                          size_t piece_count, const tl_cutting* cutting) {
    uint64_t price = 0;
    uint64_t used[PIECES + 1] = {0};
    assert_true(cutting->reel_count <= piece_count);
    for (size_t i = 0; i < piece_count; i++) {
        assert_true(cutting->where[i] < cutting->reel_count);
        used[cutting->where[i]] += pieces[i];
    }
    for (size_t r = 0; r < cutting->reel_count; r++) {
        const tl_stock_reel* reel = &cutting->reels[r];
        const tl_stock_size* sold = &sizes[reel->size];
        assert_true(reel->size < count);
        assert_int_equal(reel->used, used[r]);
        assert_true(reel->used <= reel->length && reel->length % sold->size == 0);
        assert_true(sold->drum || reel->length == sold->size);
        price += reel->length / sold->size * sold->price;
    }
    assert_int_equal(price, cutting->plan.price);
}

static void reels_cost_least(void** state) {
    (void)state;
    size_t hard = 0;
    size_t impossible = 0;
    for (uint64_t trial = 0; trial < 400; trial++) {
        tl_stock_size sizes[3];
        uint64_t pieces[PIECES];
        uint64_t used[PIECES + 1] = {0};
        uint64_t at = 0;
        const size_t count = draw_sizes(trial, &at, sizes);
        const size_t piece_count = draw(trial, &at, 1, PIECES);
        for (size_t i = 0; i < piece_count; i++)
            pieces[i] = draw(trial, &at, 100, 640);
        const uint64_t best = cut_by_trying(sizes, count, pieces, piece_count, 0, used, 0);
        tl_cutting cutting;
        size_t longest = 0;
        assert_int_equal(tl_stock_cut(sizes, count, pieces, piece_count, &cutting, &longest, NULL),
                         TL_OK);
        if (best == UINT64_MAX) {
            assert_true(longest < piece_count);
            assert_null(cutting.where);
            impossible++;
            continue;
        }
        assert_true(longest == SIZE_MAX);
        check_cutting(sizes, count, pieces, piece_count, &cutting);
        assert_int_equal(cutting.plan.price, best);
        assert_true(cutting.plan.proven && cutting.plan.least == best);
        tl_stock_plan cover;
        uint64_t total = 0;
        for (size_t i = 0; i < piece_count; i++)
            total += pieces[i];
        tl_stock_cover(sizes, count, total, &cover);
        hard += cover.price < best;
        tl_cutting_clear(&cutting);
    }
    assert_true(hard > 50 && impossible > 20); // the cases are such that it matters
}

// 40 leads, nowhere near one reel: whether proven or not, all is cut, and the bound is one.
static void many_leads_end_in_time(void** state) {
    (void)state;
    uint64_t pieces[40];
    uint64_t at = 0;
    uint64_t total = 0;
    for (size_t i = 0; i < 40; i++)
        total += pieces[i] = draw(1000, &at, 150, 900);
    const tl_stock_size sizes[] = {
        {3000, 9000, false}, {5000, 14000, false}, {10000, 26000, false}};
    tl_cutting cutting;
    size_t longest = 0;
    assert_int_equal(tl_stock_cut(sizes, 3, pieces, 40, &cutting, &longest, NULL), TL_OK);
    assert_true(longest == SIZE_MAX);
    assert_true(cutting.plan.amount >= total);
    assert_true(cutting.plan.least <= cutting.plan.price);
    uint64_t used = 0;
    for (size_t r = 0; r < cutting.reel_count; r++) {
        assert_true(cutting.reels[r].used <= cutting.reels[r].length);
        used += cutting.reels[r].used;
    }
    assert_int_equal(used, total);
    tl_cutting_clear(&cutting);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(packs_cost_least),
        cmocka_unit_test(odd_packs_are_bounded),
        cmocka_unit_test(reels_cost_least),
        cmocka_unit_test(many_leads_end_in_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/build_stock.h"

#include "base/text.h"
#include "study/milp.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    STEPS = 200000, ///< most amounts the search for packs goes through
    YES_OR_NOS = 2000,
    NODES = 1000, ///< of GLPK's search for reels
};

static uint64_t divide_up(uint64_t a, uint64_t b) {
    return a / b + (a % b != 0);
}

static uint64_t common_divisor(uint64_t a, uint64_t b) {
    while (b) {
        uint64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

static void sum_up(const tl_stock_size* sizes, size_t count, tl_stock_plan* plan) {
    plan->price = 0;
    plan->amount = 0;
    for (size_t i = 0; i < count; ++i) {
        plan->price += plan->packs[i] * sizes[i].price;
        plan->amount += plan->packs[i] * sizes[i].size;
    }
}

/// What so much costs at least, at the best price for its size.
static uint64_t cheapest_share(const tl_stock_size* sizes, size_t count, uint64_t need) {
    double best = INFINITY;
    for (size_t i = 0; i < count; ++i)
        best = fmin(best, (double)sizes[i].price / (double)sizes[i].size);
    return (uint64_t)floor(best * (double)need * (1 - 1e-12));
}

/// The best way to so many steps.
typedef struct {
    uint64_t price;
    uint64_t amount;
    size_t last; ///< size of the pack added last
} best_way;

/// Unbounded knapsack, as a cover, by dynamic programming: the best way to an amount is one pack
/// and the best way to the rest (Kellerer, Pferschy, Pisinger, Knapsack Problems, 2004, ch. 8;
/// from memory).
static void find_ways(const tl_stock_size* sizes, size_t count, uint64_t step, size_t steps,
                      best_way* ways) {
    for (size_t k = 1; k <= steps; ++k) {
        best_way best = {UINT64_MAX, UINT64_MAX, 0};
        for (size_t i = 0; i < count; ++i) {
            uint64_t pack = sizes[i].size / step; // rounded down: never more than there is
            const best_way* rest = &ways[pack >= k ? 0 : k - pack];
            uint64_t price = rest->price + sizes[i].price;
            uint64_t amount = rest->amount + sizes[i].size;
            if (pack && (price < best.price || (price == best.price && amount < best.amount)))
                best = (best_way){price, amount, i};
        }
        ways[k] = best;
    }
}

void tl_stock_cover(const tl_stock_size* sizes, size_t count, uint64_t need, tl_stock_plan* plan) {
    *plan = (tl_stock_plan){.proven = true};
    uint64_t step = 0;
    for (size_t i = 0; i < count; ++i)
        step = common_divisor(sizes[i].size, step);
    if (!step)
        return; // nothing is on offer
    uint64_t exact = step;
    while (divide_up(need, step) > STEPS)
        step *= 2;
    size_t steps = (size_t)divide_up(need, step);
    best_way* ways = tl_new(steps + 1, sizeof *ways);
    find_ways(sizes, count, step, steps, ways);
    for (size_t k = steps; k;) {
        uint64_t pack = sizes[ways[k].last].size / step;
        ++plan->packs[ways[k].last];
        k = pack >= k ? 0 : k - (size_t)pack;
    }
    free(ways);
    sum_up(sizes, count, plan);
    plan->least = step == exact ? plan->price : cheapest_share(sizes, count, need);
    plan->proven = plan->least == plan->price;
}

void tl_cutting_clear(tl_cutting* cutting) {
    free(cutting->reels);
    free(cutting->where);
    *cutting = (tl_cutting){0};
}

/// What a search for reels works on.
typedef struct {
    const tl_stock_size* sizes;
    size_t count;
    const uint64_t* pieces;
    size_t piece_count;
    size_t* order; ///< of the pieces, the longest first
    uint64_t total;
} shop;

static size_t add_reel(tl_cutting* cutting, size_t size, uint64_t length) {
    cutting->reels = tl_grow_one(cutting->reels, cutting->reel_count, sizeof *cutting->reels);
    cutting->reels[cutting->reel_count] = (tl_stock_reel){size, length, 0};
    return cutting->reel_count++;
}

static void put_on(tl_cutting* cutting, const shop* s, size_t piece, size_t reel) {
    cutting->where[piece] = reel;
    cutting->reels[reel].used += s->pieces[piece];
}

static void count_reels(const shop* s, tl_cutting* cutting) {
    memset(cutting->plan.packs, 0, sizeof cutting->plan.packs);
    for (size_t i = 0; i < cutting->reel_count; ++i) {
        const tl_stock_reel* reel = &cutting->reels[i];
        cutting->plan.packs[reel->size] += reel->length / s->sizes[reel->size].size;
    }
    sum_up(s->sizes, s->count, &cutting->plan);
}

/// A reel that costs less, or is smaller at the same price, where its pieces fit too.
static void take_smaller(const shop* s, tl_stock_reel* reel) {
    const tl_stock_size* is = &s->sizes[reel->size];
    uint64_t price = reel->length / is->size * is->price;
    for (size_t i = 0; i < s->count; ++i) {
        const tl_stock_size* other = &s->sizes[i];
        uint64_t packs = other->drum ? divide_up(reel->used, other->size) : 1;
        uint64_t cost = packs * other->price;
        uint64_t length = packs * other->size;
        if (length < reel->used || cost > price || (cost == price && length >= reel->length))
            continue;
        price = cost;
        reel->size = i;
        reel->length = length;
    }
}

/// All pieces on reels of one size, by first fit decreasing, each reel then as cheap as can be; off
/// a drum, all in one. False: one is longer than the reel.
static bool fill_size(const shop* s, size_t size, tl_cutting* cutting) {
    const tl_stock_size* sold = &s->sizes[size];
    *cutting = (tl_cutting){.where = tl_new(s->piece_count, sizeof(size_t))};
    if (sold->drum)
        add_reel(cutting, size, divide_up(s->total, sold->size) * sold->size);
    for (size_t i = 0; i < s->piece_count; ++i) {
        size_t piece = s->order[i];
        size_t reel = 0;
        while (reel < cutting->reel_count &&
               cutting->reels[reel].used + s->pieces[piece] > cutting->reels[reel].length)
            ++reel;
        if (reel == cutting->reel_count && (sold->drum || s->pieces[piece] > sold->size))
            return false;
        if (reel == cutting->reel_count)
            add_reel(cutting, size, sold->size);
        put_on(cutting, s, piece, reel);
    }
    for (size_t i = 0; i < cutting->reel_count; ++i)
        take_smaller(s, &cutting->reels[i]);
    count_reels(s, cutting);
    return true;
}

static bool is_better(const tl_stock_plan* one, const tl_stock_plan* two) {
    return one->price < two->price || (one->price == two->price && one->amount < two->amount);
}

/// All pieces on reels of the size that comes out best.
static void fill_best(const shop* s, tl_cutting* cutting) {
    tl_stock_plan least = {.price = UINT64_MAX};
    size_t best = 0;
    for (size_t i = 0; i < s->count; ++i) {
        if (fill_size(s, i, cutting) && is_better(&cutting->plan, &least)) {
            least = cutting->plan;
            best = i;
        }
        tl_cutting_clear(cutting);
    }
    fill_size(s, best, cutting);
}

/// The program for GLPK: a yes-or-no for every piece and reel, and one for every reel, which of a
/// drum says how many times its size.
typedef struct {
    tl_milp* milp;
    size_t* reel_size;
    size_t* reel_within; ///< its number among those of its size
    size_t* reel_column;
    size_t reel_count;
    size_t* put; ///< columns, piece by piece; 0: it cannot go there
} program;

static void add_model_reel(program* p, const shop* s, size_t size, size_t within) {
    p->reel_size = tl_grow_one(p->reel_size, p->reel_count, sizeof(size_t));
    p->reel_within = tl_grow_one(p->reel_within, p->reel_count, sizeof(size_t));
    p->reel_column = tl_grow_one(p->reel_column, p->reel_count, sizeof(size_t));
    p->reel_size[p->reel_count] = size;
    p->reel_within[p->reel_count] = within;
    const tl_stock_size* sold = &s->sizes[size];
    double most = sold->drum ? (double)divide_up(s->total, sold->size) : 1;
    size_t column = tl_milp_whole(p->milp, 0, most);
    tl_milp_cost(p->milp, column, (double)sold->price);
    if (within) { // those of one size are alike: take them in turn
        tl_milp_row(p->milp, 0, INFINITY);
        tl_milp_term(p->milp, p->reel_column[p->reel_count - 1], 1);
        tl_milp_term(p->milp, column, -1);
    }
    p->reel_column[p->reel_count++] = column;
}

/// As many reels of each size as could be in anything cheaper than `price`.
static void add_model_reels(program* p, const shop* s, uint64_t price) {
    for (size_t i = 0; i < s->count; ++i) {
        const tl_stock_size* sold = &s->sizes[i];
        uint64_t most = sold->price ? (price - 1) / sold->price : s->piece_count;
        if (sold->drum)
            most = most ? 1 : 0;
        for (size_t j = 0; j < most && j < s->piece_count; ++j)
            add_model_reel(p, s, i, j);
    }
}

/// A piece can go where it fits; of reels alike, the first piece goes on the first, the second on
/// one of the first two, and so on.
static bool may_go(const program* p, const shop* s, size_t rank, size_t reel) {
    const tl_stock_size* sold = &s->sizes[p->reel_size[reel]];
    return sold->drum || (s->pieces[s->order[rank]] <= sold->size && p->reel_within[reel] <= rank);
}

static void add_model_rows(program* p, const shop* s) {
    p->put = tl_new(s->piece_count * p->reel_count + 1, sizeof(size_t));
    for (size_t i = 0; i < s->piece_count; ++i) {
        for (size_t r = 0; r < p->reel_count; ++r)
            p->put[i * p->reel_count + r] = may_go(p, s, i, r) ? tl_milp_binary(p->milp) : 0;
        tl_milp_row(p->milp, 1, 1);
        for (size_t r = 0; r < p->reel_count; ++r)
            if (p->put[i * p->reel_count + r])
                tl_milp_term(p->milp, p->put[i * p->reel_count + r], 1);
    }
    for (size_t r = 0; r < p->reel_count; ++r) {
        tl_milp_row(p->milp, -INFINITY, 0);
        for (size_t i = 0; i < s->piece_count; ++i)
            if (p->put[i * p->reel_count + r])
                tl_milp_term(p->milp, p->put[i * p->reel_count + r],
                             (double)s->pieces[s->order[i]]);
        tl_milp_term(p->milp, p->reel_column[r], -(double)s->sizes[p->reel_size[r]].size);
    }
    tl_milp_row(p->milp, (double)s->total, INFINITY); // follows from the others, and helps
    for (size_t r = 0; r < p->reel_count; ++r)
        tl_milp_term(p->milp, p->reel_column[r], (double)s->sizes[p->reel_size[r]].size);
}

static void free_program(program* p) {
    tl_milp_free(p->milp);
    free(p->reel_size);
    free(p->reel_within);
    free(p->reel_column);
    free(p->put);
}

/// Reads the solver's answer; false when it gave none, or one that does not hold in whole numbers.
static bool take_answer(const program* p, const shop* s, tl_cutting* cutting) {
    *cutting = (tl_cutting){.where = tl_new(s->piece_count, sizeof(size_t))};
    size_t* made = tl_new(p->reel_count + 1, sizeof *made);
    bool good = true;
    for (size_t r = 0; r < p->reel_count; ++r) {
        uint64_t packs = (uint64_t)tl_milp_value(p->milp, p->reel_column[r]);
        made[r] = packs ? add_reel(cutting, p->reel_size[r], packs * s->sizes[p->reel_size[r]].size)
                        : SIZE_MAX;
    }
    for (size_t i = 0; good && i < s->piece_count; ++i) {
        size_t reel = SIZE_MAX;
        for (size_t r = 0; r < p->reel_count; ++r)
            if (p->put[i * p->reel_count + r] &&
                tl_milp_value(p->milp, p->put[i * p->reel_count + r]) > 0.5)
                reel = made[r];
        good = reel != SIZE_MAX;
        if (good)
            put_on(cutting, s, s->order[i], reel);
    }
    for (size_t r = 0; good && r < cutting->reel_count; ++r)
        good = cutting->reels[r].used <= cutting->reels[r].length;
    free(made);
    count_reels(s, cutting);
    return good;
}

/// Looks for something cheaper than the best so far.
static tl_status improve(const shop* s, tl_cutting* best, tl_error* error) {
    program p = {.milp = tl_milp_new()};
    add_model_reels(&p, s, best->plan.price);
    bool small = p.reel_count && p.reel_count * s->piece_count <= YES_OR_NOS;
    tl_status status = TL_OK;
    bool proven = false;
    if (small) {
        tl_cutting found = {0};
        bool feasible = true;
        add_model_rows(&p, s);
        tl_milp_keep_cost(p.milp, (double)(best->plan.price - 1));
        status = tl_milp_search(p.milp, NODES, &feasible, &proven, error);
        bool good = status == TL_OK && feasible && take_answer(&p, s, &found);
        if (good && is_better(&found.plan, &best->plan)) {
            found.plan.least = best->plan.least;
            tl_cutting worse = *best;
            *best = found;
            found = worse;
        }
        tl_cutting_clear(&found);
        proven = proven && (good || !feasible);
    }
    if (status == TL_OK && (proven || !p.reel_count))
        best->plan.least = best->plan.price;
    free_program(&p);
    return status;
}

/// The longest piece that fits on no reel, or SIZE_MAX.
static size_t find_too_long(const shop* s) {
    uint64_t most = 0;
    for (size_t i = 0; i < s->count; ++i)
        most = s->sizes[i].drum ? UINT64_MAX : s->sizes[i].size > most ? s->sizes[i].size : most;
    return s->pieces[s->order[0]] > most ? s->order[0] : SIZE_MAX;
}

/// The longest first, and of equal ones the first: there are few.
static void put_in_order(shop* s) {
    s->order = tl_new(s->piece_count, sizeof(size_t));
    for (size_t i = 0; i < s->piece_count; ++i) {
        size_t at = i;
        for (; at && s->pieces[s->order[at - 1]] < s->pieces[i]; --at)
            s->order[at] = s->order[at - 1];
        s->order[at] = i;
        s->total += s->pieces[i];
    }
}

tl_status tl_stock_cut(const tl_stock_size* sizes, size_t count, const uint64_t* pieces,
                       size_t piece_count, tl_cutting* cutting, size_t* longest, tl_error* error) {
    *cutting = (tl_cutting){0};
    shop s = {.sizes = sizes, .count = count, .pieces = pieces, .piece_count = piece_count};
    put_in_order(&s);
    *longest = find_too_long(&s);
    tl_status status = TL_OK;
    if (*longest == SIZE_MAX) {
        fill_best(&s, cutting);
        tl_stock_plan cover;
        tl_stock_cover(sizes, count, s.total, &cover);
        cutting->plan.least = cover.least;
        if (cutting->plan.price > cover.least)
            status = improve(&s, cutting, error);
        cutting->plan.proven = cutting->plan.price == cutting->plan.least;
    }
    free(s.order);
    return status;
}

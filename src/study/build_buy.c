// SPDX-License-Identifier: GPL-3.0-or-later
// What to buy for a bill: the cheapest packs, leads off reels, totals in whole coins.
#include "base/text.h"
#include "study/build.h"
#include "study/build_bill.h"
#include "study/build_stock.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// What buying goes by.
typedef struct {
    const tl_bill_work* work;
    tl_build* build;
    const tl_prices* prices; ///< NULL: none
    uint64_t coins;          ///< of all lines so far
} buyer;

/// The sizes an item comes in, and where their prices stand.
typedef struct {
    tl_stock_size sizes[TL_STOCK_SIZES];
    const tl_price* prices[TL_STOCK_SIZES]; ///< NULL: without
    size_t count;
} offer;

static double scale_of(tl_unit unit) {
    return unit == TL_UNIT_METRE ? 1e3 : unit == TL_UNIT_SQUARE_METRE ? 1e6 : 1;
}

static void add_size(offer* made, double pack, const tl_price* price) {
    uint64_t size = pack < 1 ? 1 : (uint64_t)floor(pack + 1e-6);
    made->prices[made->count] = price;
    made->sizes[made->count++] =
        (tl_stock_size){size, price ? price->price : size, price && price->drum};
}

/// What is on offer for a line: by the price file, else leads on the rig's reels, else nothing.
static offer find_offer(const buyer* b, size_t line) {
    offer made = {.count = 0};
    double scale = scale_of(b->work->items[line].unit);
    double reel_m = b->work->terms->reel_m;
    for (size_t i = 0; b->prices && i < b->prices->count; ++i)
        if (b->prices->list[i].item == line)
            add_size(&made, b->prices->list[i].pack * scale, &b->prices->list[i]);
    if (!made.count && b->work->items[line].unit == TL_UNIT_METRE && !isnan(reel_m))
        add_size(&made, reel_m * scale, NULL);
    return made;
}

static double in_money(const buyer* b, uint64_t coins) {
    return (double)coins / pow(10, b->build->decimals);
}

/// Writes a plan into its line: each size is rounded to coins, and the line is their sum.
static void take_plan(buyer* b, size_t which, const offer* on, const tl_stock_plan* plan) {
    tl_build_line* line = &b->build->lines[which];
    double scale = scale_of(b->work->items[which].unit);
    bool priced = on->prices[0] != NULL;
    uint64_t sum = 0;
    line->purchases = tl_new(on->count, sizeof *line->purchases);
    for (size_t i = 0; i < on->count; ++i) {
        if (!plan->packs[i])
            continue;
        const tl_price* price = on->prices[i];
        uint64_t parts = price ? plan->packs[i] * price->price : 0;
        uint64_t coins = tl_price_coins(parts, b->build->decimals);
        line->purchases[line->purchase_count++] =
            (tl_build_purchase){.packs = (double)plan->packs[i],
                                .pack = (double)on->sizes[i].size / scale,
                                .drum = on->sizes[i].drum,
                                .price = price ? (double)price->price / TL_PRICE_PART : NAN,
                                .total = price ? in_money(b, coins) : NAN,
                                .from = tl_copy(price ? price->from : "")};
        sum += coins;
    }
    line->waste = (double)(plan->amount - b->work->items[which].need) / scale;
    line->proven = plan->proven;
    if (!plan->proven)
        line->least = (double)plan->least / (priced ? TL_PRICE_PART : scale);
    line->total = priced ? in_money(b, sum) : NAN;
    b->coins += sum;
}

/// The leads of a line, by their index; free with free().
static size_t* leads_of(const buyer* b, size_t which, size_t* count) {
    size_t* list = tl_new(b->build->lead_count + 1, sizeof *list);
    *count = 0;
    for (size_t i = 0; i < b->build->lead_count; ++i)
        if (b->work->lead_lines[i] == which)
            list[(*count)++] = i;
    return list;
}

static tl_build_reel* add_reel(tl_build* build, size_t line, double length_m) {
    build->reels = tl_grow_one(build->reels, build->reel_count, sizeof *build->reels);
    tl_build_reel* reel = &build->reels[build->reel_count++];
    *reel = (tl_build_reel){.line = line, .length_m = length_m, .left_m = length_m};
    return reel;
}

static void put_on(tl_build_reel* reel, size_t lead, uint64_t mm) {
    reel->leads = tl_grow_one(reel->leads, reel->lead_count, sizeof *reel->leads);
    reel->leads[reel->lead_count++] = lead;
    reel->left_m = (round(1e3 * reel->left_m) - (double)mm) / 1e3;
}

/// No reel is known: one piece, as long as all of it.
static void cut_off_one(buyer* b, size_t line, const size_t* leads, size_t count,
                        const uint64_t* pieces) {
    tl_build_reel* reel = add_reel(b->build, line, b->build->lines[line].count);
    for (size_t i = 0; i < count; ++i)
        put_on(reel, leads[i], pieces[i]);
}

static void find_too_long(const buyer* b, size_t line, size_t lead, const offer* on) {
    double most_m = 0;
    for (size_t i = 0; i < on->count; ++i)
        most_m = fmax(most_m, (double)on->sizes[i].size / 1e3);
    tl_build_finding about = {.gravity = TL_BUILD_WARNING,
                              .kind = "reel",
                              .box = TL_BUILD_NONE,
                              .other = TL_BUILD_NONE,
                              .lead = lead,
                              .other_lead = TL_BUILD_NONE};
    tl_build_find(b->build, about,
                  "Lead %zu takes %.3f m of %s in one piece, and the longest reel that is known "
                  "has %.4g m: nothing is planned of %s.",
                  b->build->leads[lead].number, b->build->leads[lead].cut_m,
                  b->build->lines[line].item, most_m, b->build->lines[line].item);
}

/// Says which leads come off which reel.
static void take_reels(buyer* b, size_t line, const size_t* leads, size_t count,
                       const uint64_t* pieces, const tl_cutting* cutting) {
    for (size_t r = 0; r < cutting->reel_count; ++r) {
        tl_build_reel* reel = NULL;
        for (size_t i = 0; i < count; ++i) {
            if (cutting->where[i] != r)
                continue;
            if (!reel)
                reel = add_reel(b->build, line, (double)cutting->reels[r].length / 1e3);
            put_on(reel, leads[i], pieces[i]);
        }
    }
}

static tl_status buy_leads(buyer* b, size_t line, const offer* on, tl_error* error) {
    size_t count = 0;
    size_t* leads = leads_of(b, line, &count);
    uint64_t* pieces = tl_new(count, sizeof *pieces);
    for (size_t i = 0; i < count; ++i)
        pieces[i] = tl_bill_mm(b->build->leads[leads[i]].cut_m);
    tl_cutting cutting = {0};
    size_t longest = SIZE_MAX;
    tl_status status =
        on->count ? tl_stock_cut(on->sizes, on->count, pieces, count, &cutting, &longest, error)
                  : TL_OK;
    if (status == TL_OK && longest != SIZE_MAX) {
        b->build->lines[line].too_short = true;
        find_too_long(b, line, leads[longest], on);
    }
    if (status == TL_OK && cutting.where) {
        take_plan(b, line, on, &cutting.plan);
        take_reels(b, line, leads, count, pieces, &cutting);
    } else if (status == TL_OK) {
        cut_off_one(b, line, leads, count, pieces);
    }
    tl_cutting_clear(&cutting);
    free(pieces);
    free(leads);
    return status;
}

static tl_status buy_line(buyer* b, size_t line, tl_error* error) {
    offer on = find_offer(b, line);
    if (b->work->items[line].unit == TL_UNIT_METRE)
        return buy_leads(b, line, &on, error);
    if (!on.count)
        return TL_OK;
    tl_stock_plan plan;
    tl_stock_cover(on.sizes, on.count, b->work->items[line].need, &plan);
    take_plan(b, line, &on, &plan);
    return TL_OK;
}

/// What a price file may name: the lines of the bill first, by their number, then whatever boards
/// have in general.
static tl_status read_prices(const tl_bill_work* work, const char* path, tl_prices** prices,
                             tl_error* error) {
    const tl_build* build = work->build;
    size_t most = build->line_count + work->terms->known_count;
    tl_price_item* items = tl_new(most + 1, sizeof *items);
    size_t count = 0;
    for (size_t i = 0; i < build->line_count; ++i)
        items[count++] =
            (tl_price_item){build->lines[i].item, work->items[i].alias, work->items[i].unit, true};
    for (size_t i = 0; i < work->terms->known_count; ++i)
        items[count++] = work->terms->known[i];
    tl_status status = tl_prices_read(path, items, count, prices, error);
    free(items);
    return status;
}

/// Hands over what the file says of itself.
static void take_file(tl_build* build, tl_prices* prices) {
    build->prices = tl_copy(prices->file);
    build->currency = tl_copy(prices->currency);
    build->decimals = prices->decimals;
    build->unused = prices->unused;
    build->unused_count = prices->unused_count;
    prices->unused = NULL;
    prices->unused_count = 0;
}

tl_status tl_bill_buy(const tl_bill_work* work, const char* path, tl_error* error) {
    buyer b = {.work = work, .build = work->build};
    tl_prices* prices = NULL;
    tl_status status = path ? read_prices(work, path, &prices, error) : TL_OK;
    if (status != TL_OK)
        return status;
    b.prices = prices;
    if (prices)
        take_file(b.build, prices);
    for (size_t i = 0; status == TL_OK && i < b.build->line_count; ++i) {
        status = buy_line(&b, i, error);
        b.build->unpriced += prices && !b.build->lines[i].work && isnan(b.build->lines[i].total);
    }
    b.build->total = in_money(&b, b.coins);
    tl_prices_free(prices);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build_stock.h What to buy when things are sold in packs, and what to cut off which reel.
///
/// All amounts are whole numbers (mm, mm2, pieces), and so are prices, so that sums are exact.
#ifndef TL_STUDY_BUILD_STOCK_H
#define TL_STUDY_BUILD_STOCK_H

#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { TL_STOCK_SIZES = 16 }; ///< most sizes of one thing

/// A size that something is sold in.
typedef struct {
    uint64_t size;  ///< above 0
    uint64_t price; ///< of one; the size itself where least waste is asked for
    bool drum;      ///< cut off a drum, in one piece of any multiple of `size`
} tl_stock_size;

/// How many of each size, and what is known of it.
typedef struct {
    uint64_t packs[TL_STOCK_SIZES];
    uint64_t price;
    uint64_t amount; ///< bought
    uint64_t least;  ///< it cannot be had for less than that
    bool proven;     ///< `price` is `least`
} tl_stock_plan;

/// The cheapest packs that hold at least `need`, and of those the ones that hold least.
void tl_stock_cover(const tl_stock_size* sizes, size_t count, uint64_t need, tl_stock_plan* plan);

/// A reel, or a piece off the drum, and what is cut from it.
typedef struct {
    size_t size;     ///< index
    uint64_t length; ///< the size, or of a drum a multiple
    uint64_t used;
} tl_stock_reel;

typedef struct {
    tl_stock_plan plan;
    tl_stock_reel* reels;
    size_t reel_count;
    size_t* where; ///< by piece: which reel
} tl_cutting;

/// Which pieces come off which reel so that the reels cost least: first fit decreasing (Johnson,
/// SIAM J. Comput. 3(4), 1974; from memory) in every size, then, unless that is as cheap as any
/// packs of so much length, GLPK's branch and cut from there on. `*longest`: the piece that is
/// longer than every reel, when there is one, and nothing is planned; else SIZE_MAX. TL_FAILURE
/// when GLPK is needed and cannot be loaded.
tl_status tl_stock_cut(const tl_stock_size* sizes, size_t count, const uint64_t* pieces,
                       size_t piece_count, tl_cutting* cutting, size_t* longest, tl_error* error);
void tl_cutting_clear(tl_cutting* cutting);

#endif

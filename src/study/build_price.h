// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build_price.h A user's price file.
#ifndef TL_STUDY_BUILD_PRICE_H
#define TL_STUDY_BUILD_PRICE_H

#include "base/quantity.h"
#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { TL_PRICE_PART = 10000 }; ///< prices are kept in these parts of the currency's unit

/// Something that may have a price.
typedef struct {
    const char* name;  ///< "right-angle plug"
    const char* alias; ///< another name for it ("right-angle"), or NULL
    tl_unit unit;      ///< what it is counted in: TL_UNIT_COUNT, _METRE or _SQUARE_METRE
    bool needed;       ///< by this board
} tl_price_item;

/// What a pack of an item costs.
typedef struct {
    size_t item;    ///< index
    uint64_t price; ///< in parts of the currency's unit
    double pack;    ///< how much is in it, in the item's unit
    bool drum;      ///< cut off a drum
    char* from;     ///< "prices.yaml:7"
} tl_price;

typedef struct {
    char* file;     ///< its name without folders
    char* currency; ///< as written, plain; "" when it says none
    unsigned decimals;
    tl_price* list; ///< of items that are needed
    size_t count;
    char** unused; ///< names of the others
    size_t unused_count;
} tl_prices;

/// Reads a price file. TL_BAD_INPUT with its place: for a name that is near one that is needed and
/// no other item's, a price that is none, a pack without its unit, an item twice.
tl_status tl_prices_read(const char* path, const tl_price_item* items, size_t count,
                         tl_prices** prices, tl_error* error);
void tl_prices_free(tl_prices* prices);

/// So many at a price, rounded half up to the currency's smallest coin, in those coins.
uint64_t tl_price_coins(uint64_t parts, unsigned decimals);

#endif

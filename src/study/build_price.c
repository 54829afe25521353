// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/build_price.h"

#include "base/file.h"
#include "base/locale.h"
#include "base/names.h"
#include "base/yaml.h"
#include "study/build_stock.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    FILE_BYTES = 1000000,
    MOST_PRICES = 1000,
    MOST_CURRENCY = 16, ///< letters of a currency's name
    MOST_DECIMALS = 3,
    DIGITS = 7, ///< of a price, before the point
};

/// What the reading of a file goes by.
typedef struct {
    tl_units* units;
    const tl_price_item* items;
    size_t item_count;
    tl_prices* prices;
    const char* path;
    size_t entries;
    tl_error* error;
} reader;

void tl_prices_free(tl_prices* prices) {
    if (!prices)
        return;
    for (size_t i = 0; i < prices->count; ++i)
        free(prices->list[i].from);
    for (size_t i = 0; i < prices->unused_count; ++i)
        free(prices->unused[i]);
    free(prices->list);
    free(prices->unused);
    free(prices->file);
    free(prices->currency);
    free(prices);
}

uint64_t tl_price_coins(uint64_t parts, unsigned decimals) {
    uint64_t coin = TL_PRICE_PART;
    for (unsigned i = 0; i < decimals; ++i)
        coin /= 10;
    return parts / coin + (2 * (parts % coin) >= coin);
}

/// Reads a price without a detour over binary fractions: digits, and up to four after the point.
static tl_status read_money(const reader* r, const tl_yaml* node, uint64_t* parts) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a price", r->error);
    if (status != TL_OK)
        return status;
    const char* text = node->text;
    size_t whole = strspn(text, "0123456789");
    size_t decimals = text[whole] == '.' ? strspn(text + whole + 1, "0123456789") : 0;
    bool number = (whole || decimals) && !text[whole + (decimals ? decimals + 1 : 0)];
    if (*text == '-' && strspn(text + 1, "0123456789."))
        return tl_error_at(r->error, &node->place, "'%s': a price is not negative", text);
    if (!number && whole && text[whole] == ',')
        return tl_error_at(r->error, &node->place, "'%s': a decimal takes a point, not a comma",
                           text);
    if (!number)
        return tl_error_at(r->error, &node->place,
                           "'%s': expected a price, a bare number such as 12.50 (what it is in is "
                           "said once, by 'currency')",
                           text);
    if (whole > DIGITS || decimals > 4)
        return tl_error_at(r->error, &node->place,
                           "'%s': expected a price of at most %d digits before the point and 4 "
                           "after it",
                           text, DIGITS);
    *parts = 0;
    for (size_t i = 0; i < whole; ++i)
        *parts = *parts * 10 + (uint64_t)(text[i] - '0');
    for (size_t i = 0; i < 4; ++i)
        *parts = *parts * 10 + (i < decimals ? (uint64_t)(text[whole + 1 + i] - '0') : 0);
    return TL_OK;
}

static tl_status read_amount(const reader* r, const tl_yaml* node, const char* what, tl_unit unit,
                             double* amount) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, what, r->error);
    if (status != TL_OK)
        return status;
    tl_text complaint = {0};
    if (!tl_quantity_parse(r->units, node->text, unit, amount, &complaint))
        status = tl_error_at(r->error, &node->place, "'%s': %s", what, tl_text_get(&complaint));
    tl_text_free(&complaint);
    if (status != TL_OK)
        return status;
    const double least = unit == TL_UNIT_COUNT ? 1 : unit == TL_UNIT_METRE ? 1e-3 : 1e-6;
    const double most = unit == TL_UNIT_COUNT ? 1e6 : unit == TL_UNIT_METRE ? 1e4 : 100;
    bool whole = unit != TL_UNIT_COUNT || floor(*amount) == *amount;
    if (whole && *amount >= least * (1 - 1e-9) && *amount <= most * (1 + 1e-9))
        return TL_OK;
    return tl_error_at(r->error, &node->place, "'%s: %s': expected %s", what, node->text,
                       unit == TL_UNIT_COUNT   ? "a whole number of pieces, from 1 to a million"
                       : unit == TL_UNIT_METRE ? "a length from 1 mm to 10 km"
                                               : "an area from 1 mm2 to 100 m2");
}

/// The item of a name, or SIZE_MAX.
static size_t find_item(const reader* r, const char* name) {
    for (size_t i = 0; i < r->item_count; ++i) {
        const tl_price_item* item = &r->items[i];
        if (strcmp(item->name, name) == 0 || (item->alias && strcmp(item->alias, name) == 0))
            return i;
    }
    return SIZE_MAX;
}

/// A name nobody knows is a slip when it is near one that is needed; else it is something that this
/// board has no use for.
static tl_status check_unknown(const reader* r, const tl_yaml* name) {
    const char** names = tl_new(2 * r->item_count + 1, sizeof *names);
    size_t count = 0;
    for (size_t i = 0; i < r->item_count; ++i) {
        if (!r->items[i].needed)
            continue;
        names[count++] = r->items[i].name;
        if (r->items[i].alias)
            names[count++] = r->items[i].alias;
    }
    const char* nearest = tl_name_nearest(name->text, names, count);
    free(names);
    if (!nearest || tl_name_distance(name->text, nearest) > 1 + strlen(name->text) / 6)
        return TL_OK;
    return tl_error_at(r->error, &name->place, "the board needs no '%s', did you mean '%s'?",
                       name->text, nearest);
}

/// How much one pack holds: of what is measured it has to be said.
static tl_status read_pack(const reader* r, const tl_yaml* entry, const tl_price_item* item,
                           tl_price* price) {
    const tl_yaml* pack = entry->kind == TL_YAML_MAP ? tl_yaml_get(entry, "pack") : NULL;
    const tl_yaml* per = entry->kind == TL_YAML_MAP ? tl_yaml_get(entry, "per") : NULL;
    const tl_yaml* width = entry->kind == TL_YAML_MAP ? tl_yaml_get(entry, "width") : NULL;
    price->drum = per != NULL;
    price->pack = 1;
    if (pack && per)
        return tl_error_at(
            r->error, &per->place,
            "'pack' is a reel as it is sold, 'per' a price off the drum: give one of "
            "the two (both prices are two entries)");
    if (per && item->unit != TL_UNIT_METRE)
        return tl_error_at(r->error, &per->place,
                           "'per' is for leads, which are cut off a drum: expected 'pack'");
    if (width && item->unit != TL_UNIT_SQUARE_METRE)
        return tl_error_at(r->error, &width->place, "'width' is for tape that makes an area");
    if (!pack && !per && item->unit == TL_UNIT_METRE)
        return tl_error_at(r->error, &entry->place,
                           "'%s' is sold by length: say how much the price is for, 'pack: 10 m' "
                           "for a reel or 'per: 1 m' off a drum",
                           item->name);
    if (!pack && item->unit == TL_UNIT_SQUARE_METRE)
        return tl_error_at(r->error, &entry->place,
                           "'%s' is sold by area: say how much the price is for, 'pack: 250 cm2' "
                           "(or of a tape 'pack: 5 m' with its 'width')",
                           item->name);
    double wide_m = 1;
    tl_status status = width ? read_amount(r, width, "width", TL_UNIT_METRE, &wide_m) : TL_OK;
    if (status != TL_OK || (!pack && !per))
        return status;
    status = read_amount(r, pack ? pack : per, pack ? "pack" : "per",
                         width ? TL_UNIT_METRE : item->unit, &price->pack);
    price->pack *= wide_m;
    return status;
}

static tl_status check_twice(const reader* r, const tl_place* place, const char* name,
                             const tl_price* price) {
    size_t sizes = 0;
    for (size_t i = 0; i < r->prices->count; ++i) {
        const tl_price* other = &r->prices->list[i];
        if (other->item != price->item)
            continue;
        ++sizes;
        if (other->drum == price->drum && fabs(other->pack - price->pack) <= 1e-9 * price->pack)
            return tl_error_at(r->error, place,
                               "a second price for '%s' in a pack of the same size: the first is "
                               "at %s",
                               name, other->from);
    }
    if (sizes >= TL_STOCK_SIZES)
        return tl_error_at(r->error, place, "more than %d pack sizes of '%s'", TL_STOCK_SIZES,
                           name);
    return TL_OK;
}

/// Notes what the board has no use for, once.
static void add_unused(tl_prices* prices, const char* name) {
    for (size_t i = 0; i < prices->unused_count; ++i)
        if (strcmp(prices->unused[i], name) == 0)
            return;
    prices->unused = tl_grow_one(prices->unused, prices->unused_count, sizeof(char*));
    prices->unused[prices->unused_count++] = tl_copy(name);
}

/// One price: of an item by its name, either a bare price or a mapping, that begins at `place`.
static tl_status read_entry(reader* r, const tl_yaml* name, const tl_yaml* entry,
                            const tl_place* place) {
    static const char* const keys[] = {"item", "price", "pack", "per", "width", "note"};
    if (++r->entries > MOST_PRICES)
        return tl_error_at(r->error, &name->place, "more than %d prices", MOST_PRICES);
    bool map = entry->kind == TL_YAML_MAP;
    tl_status status =
        map ? tl_yaml_check_keys(entry, keys, sizeof keys / sizeof *keys, "a price", r->error)
            : tl_yaml_expect(entry, TL_YAML_SCALAR, "a price", r->error);
    const tl_yaml* money = status == TL_OK && map ? tl_yaml_get(entry, "price") : entry;
    if (status == TL_OK && !money)
        status = tl_error_at(r->error, &entry->place, "'%s' needs its 'price'", name->text);
    tl_price price = {.item = find_item(r, name->text)};
    if (status == TL_OK)
        status = read_money(r, money, &price.price);
    if (status == TL_OK && price.item == SIZE_MAX)
        status = check_unknown(r, name);
    if (status == TL_OK && price.item != SIZE_MAX)
        status = read_pack(r, entry, &r->items[price.item], &price);
    if (status == TL_OK && price.item != SIZE_MAX)
        status = check_twice(r, place, name->text, &price);
    if (status != TL_OK)
        return status;
    if (price.item == SIZE_MAX || !r->items[price.item].needed)
        add_unused(r->prices, name->text);
    if (price.item == SIZE_MAX)
        return TL_OK;
    tl_prices* prices = r->prices;
    price.from = tl_printf("%s:%zu", prices->file, place->line);
    prices->list = tl_grow_one(prices->list, prices->count, sizeof *prices->list);
    prices->list[prices->count++] = price;
    return TL_OK;
}

/// `prices` as a list: each entry names its `item`.
static tl_status read_list(reader* r, const tl_yaml* list) {
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < list->count; ++i) {
        const tl_yaml* entry = list->items[i];
        status = tl_yaml_expect(entry, TL_YAML_MAP, "a price", r->error);
        const tl_yaml* item = status == TL_OK ? tl_yaml_get(entry, "item") : NULL;
        if (status == TL_OK && !item)
            status = tl_error_at(r->error, &entry->place, "a price needs its 'item'");
        if (status == TL_OK)
            status = tl_yaml_expect(item, TL_YAML_SCALAR, "item", r->error);
        if (status == TL_OK && !*item->text)
            status = tl_error_at(r->error, &item->place, "expected the name of an item");
        if (status == TL_OK)
            status = read_entry(r, item, entry, &entry->place);
    }
    return status;
}

/// `prices` as a mapping: each key is an item, and its value one price or a list of them.
static tl_status read_map(reader* r, const tl_yaml* map) {
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < map->count; ++i) {
        const tl_yaml* name = map->keys[i];
        const tl_yaml* value = map->items[i];
        if (value->kind != TL_YAML_LIST)
            status = read_entry(r, name, value, &name->place);
        for (size_t j = 0; value->kind == TL_YAML_LIST && status == TL_OK && j < value->count; ++j)
            status = read_entry(r, name, value->items[j], &value->items[j]->place);
    }
    return status;
}

static tl_status read_currency(const reader* r, const tl_yaml* tree) {
    const tl_yaml* node = tl_yaml_get(tree, "currency");
    tl_status status = node ? tl_yaml_expect(node, TL_YAML_SCALAR, "currency", r->error) : TL_OK;
    if (status != TL_OK)
        return status;
    if (node && (!*node->text || !tl_text_is_plain(node->text) ||
                 tl_text_columns(node->text) > MOST_CURRENCY))
        return tl_error_at(r->error, &node->place,
                           "expected the name of a currency: 1 to %d visible letters",
                           MOST_CURRENCY);
    r->prices->currency = tl_copy(node ? node->text : "");
    return TL_OK;
}

static tl_status read_decimals(const reader* r, const tl_yaml* tree) {
    const tl_yaml* node = tl_yaml_get(tree, "decimals");
    r->prices->decimals = 2;
    if (!node)
        return TL_OK;
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "decimals", r->error);
    if (status != TL_OK)
        return status;
    bool digit = node->text[0] >= '0' && node->text[0] <= '0' + MOST_DECIMALS && !node->text[1];
    if (!digit)
        return tl_error_at(r->error, &node->place,
                           "'%s': expected how many decimals the currency has, 0 to %d", node->text,
                           MOST_DECIMALS);
    r->prices->decimals = (unsigned)(node->text[0] - '0');
    return TL_OK;
}

static tl_status read_tree(reader* r, const tl_yaml* tree) {
    static const char* const keys[] = {"currency", "decimals", "prices", "source"};
    tl_status status = tl_yaml_expect(tree, TL_YAML_MAP, "a price file", r->error);
    if (status == TL_OK)
        status =
            tl_yaml_check_keys(tree, keys, sizeof keys / sizeof *keys, "a price file", r->error);
    if (status == TL_OK)
        status = read_currency(r, tree);
    if (status == TL_OK)
        status = read_decimals(r, tree);
    if (status != TL_OK)
        return status;
    const tl_yaml* list = tl_yaml_get(tree, "prices");
    if (!list)
        return tl_error_at(r->error, &tree->place, "a price file needs 'prices'");
    if (list->kind == TL_YAML_SCALAR)
        return tl_error_at(
            r->error, &list->place,
            "expected prices, as 'flat plug: 3.20' each, or a list of {item, price}");
    return list->kind == TL_YAML_LIST ? read_list(r, list) : read_map(r, list);
}

tl_status tl_prices_read(const char* path, const tl_price_item* items, size_t count,
                         tl_prices** prices, tl_error* error) {
    *prices = NULL;
    tl_input* input = NULL;
    tl_status status = tl_input_read(path, FILE_BYTES, &input, error);
    if (status != TL_OK)
        return status;
    tl_locale locale = tl_locale_plain();
    tl_yaml* tree = NULL;
    reader r = {tl_units_new(), items, count, tl_new(1, sizeof(tl_prices)), path, 0, error};
    r.prices->file = tl_copy(tl_file_name(path));
    status = tl_yaml_read(input, &tree, error);
    if (status == TL_OK)
        status = read_tree(&r, tree);
    tl_yaml_free(tree);
    tl_input_free(input);
    tl_units_free(r.units);
    tl_locale_restore(locale);
    if (status == TL_OK)
        *prices = r.prices;
    else
        tl_prices_free(r.prices);
    return status;
}

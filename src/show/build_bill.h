// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build_bill.h How a bill of materials and what holds look, for the pages of a build.
#ifndef TL_SHOW_BUILD_BILL_H
#define TL_SHOW_BUILD_BILL_H

#include "base/text.h"
#include "toneload/build.h"
#include "toneload/show.h"

#include <jansson.h>

/// The tables of a bill; those of what holds and of reels only where there is some. Free each with
/// tl_table_free().
tl_table* tl_build_holds_table(const tl_build* build);
tl_table* tl_build_bill_table(const tl_build* build);
tl_table* tl_build_reels_table(const tl_build* build);
/// What the first of them shows, in words; free with free().
char* tl_build_holds_words(const tl_build* build);
/// Adds the total, and what is said about the lines.
void tl_build_add_bill_notes(tl_text* text, const tl_build* build);

/// Adds the table of how everything is held; nothing when nothing is said of it.
void tl_build_add_holds(tl_text* text, const tl_build* build);
/// Adds the bill: what it takes, what to buy, which lead comes off which reel, the total.
void tl_build_add_bill(tl_text* text, const tl_build* build);

/// {acceleration_g, acceleration_assumed, holds: [{box, fastener, area_m2, strength_pa, force_n,
/// weight_kg, needed_n, factor, least_factor, least_area_m2, thin, pull_n, pull_assumed,
/// most_area_m2}]}.
json_t* tl_build_holds_json(const tl_build* build);
/// {prices, currency, decimals, total, unpriced, lines: [{group, item, count, spare, unit, waste,
/// work, purchases: [{packs, pack, drum, price, total, from}], total, proven, least}], reels:
/// [{item, length_m, left_m, leads: [NUMBER]}], unused}.
json_t* tl_build_bill_json(const tl_build* build);

/// A sum as the currency has it: "12.50 EUR", without decimals where it has none; free with free().
char* tl_build_money(const tl_build* build, double sum);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/build_bill.h"

#include "base/locale.h"
#include "show/build.h"
#include "show/cells.h"
#include "show/wrap.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

char* tl_build_money(const tl_build* build, double sum) {
    const char* currency = build->currency ? build->currency : "";
    return tl_printf("%.*f%s%s", (int)build->decimals, sum, *currency ? " " : "", currency);
}

/// A number with its format, or what stands for one that is not there.
static void add_number(tl_table* table, double number, const char* none, char* shown) {
    tl_table_number(table, number, isnan(number) ? none : shown);
    free(shown);
}

static char* show_weight(double kg) {
    return kg < 1 ? tl_printf("%.0f g", 1e3 * kg) : tl_printf("%.2f kg", kg);
}

static char* show_newton(double newton) {
    return newton < 99.95 ? tl_printf("%.3g N", newton) : tl_printf("%.0f N", newton);
}

/// The fastener of all when it is one and said, else NULL.
static const char* common_fastener(const tl_build* build) {
    const char* first = build->holds[0].fastener;
    for (size_t i = 0; i < build->hold_count; ++i)
        if (!*first || strcmp(build->holds[i].fastener, first) != 0)
            return NULL;
    return first;
}

/// Whether a housing is not to be pulled at.
static bool is_thin_there(const tl_build* build) {
    for (size_t i = 0; i < build->hold_count; ++i)
        if (!isnan(build->holds[i].pull_n))
            return true;
    return false;
}

static void add_hold(tl_table* table, const tl_build* build, const tl_build_hold* hold) {
    const tl_build_box* box = &build->boxes[hold->box];
    bool known = !isnan(hold->strength_pa);
    tl_table_row(table);
    tl_table_words(table, box->name);
    add_number(table, box->weight_kg, "not said", show_weight(box->weight_kg));
    if (!common_fastener(build))
        tl_table_words(table, *hold->fastener ? hold->fastener : known ? "of its own" : "not said");
    add_number(table, hold->area_m2, "not said", tl_printf("%.3g cm2", 1e4 * hold->area_m2));
    add_number(table, hold->force_n, "", show_newton(hold->force_n));
    add_number(table, hold->needed_n, "", show_newton(hold->needed_n));
    add_number(table, hold->factor, "", tl_printf("%.3g times", hold->factor));
    add_number(table, hold->least_area_m2, "", tl_printf("%.3g cm2", 1e4 * hold->least_area_m2));
    if (is_thin_there(build))
        add_number(table, hold->pull_n, "",
                   tl_printf("%s%.3g N%s", hold->force_n > hold->pull_n ? "over " : "",
                             hold->pull_n, hold->pull_assumed ? " (ours)" : ""));
}

char* tl_build_holds_words(const tl_build* build) {
    const char* common = common_fastener(build);
    return tl_printf("How it is held%s%s: %.3g times what it takes at %.3g g%s is asked for",
                     common ? ", by " : "", common ? common : "", build->holds[0].least_factor,
                     build->acceleration_g, build->acceleration_assumed ? " (assumed)" : "");
}

tl_table* tl_build_holds_table(const tl_build* build) {
    const char* common = common_fastener(build);
    tl_table* table = tl_table_new();
    tl_table_column(table, "\nwhat", "box");
    tl_table_column(table, "\nweighs", "weight_kg");
    if (!common)
        tl_table_column(table, "\nfastener", "fastener");
    tl_table_column(table, "\narea", "area_m2");
    tl_table_column(table, "\nholds", "force_n");
    tl_table_column(table, "it\ntakes", "needed_n");
    tl_table_column(table, "that\nis", "factor");
    tl_table_column(table, "area that\nwould do", "least_area_m2");
    if (is_thin_there(build))
        tl_table_column(table, "its housing\nstands", "pull_n");
    for (size_t i = 0; i < build->hold_count; ++i)
        add_hold(table, build, &build->holds[i]);
    return table;
}

void tl_build_add_holds(tl_text* text, const tl_build* build) {
    if (!build->hold_count)
        return;
    char* words = tl_build_holds_words(build);
    tl_text_addf(text, "\n%s\n", words);
    free(words);
    tl_text_take_table(text, tl_build_holds_table(build));
}

/// An amount of a line's unit: pieces, "3.42 m", "85.2 cm2".
static char* show_amount(const tl_build_line* line, double amount) {
    if (strcmp(line->unit, "m") == 0)
        return tl_printf("%.3f m", amount);
    if (strcmp(line->unit, "m2") == 0)
        return tl_printf("%.1f cm2", 1e4 * amount);
    return tl_printf("%.0f", amount);
}

/// What to buy, in words: "2 reels of 10 m".
static char* show_packs(const tl_build_line* line, const tl_build_purchase* buy) {
    const char* more = buy->packs > 1 ? "s" : "";
    if (buy->drum)
        return tl_printf("%.6g m off the drum", buy->packs * buy->pack);
    if (strcmp(line->unit, "m") == 0)
        return tl_printf("%.0f reel%s of %.6g m", buy->packs, more, buy->pack);
    if (strcmp(line->unit, "m2") == 0)
        return tl_printf("%.0f sheet%s of %.6g cm2", buy->packs, more, 1e4 * buy->pack);
    if (buy->pack > 1)
        return tl_printf("%.0f pack%s of %.0f", buy->packs, more, buy->pack);
    return tl_printf("%.0f", buy->packs);
}

/// A price with the currency's decimals, or as many as it was written with.
static char* show_price(const tl_build* build, double price) {
    int decimals = (int)build->decimals;
    while (decimals < 4 &&
           fabs(price * pow(10, decimals) - round(price * pow(10, decimals))) > 1e-6)
        ++decimals;
    return tl_printf("%.*f", decimals, price);
}

static void add_purchase(tl_table* table, const tl_build* build, const tl_build_line* line,
                         const tl_build_purchase* buy) {
    tl_table_take_words(table, show_packs(line, buy));
    if (!build->prices)
        return;
    add_number(table, buy->price, "no price", show_price(build, buy->price));
    add_number(table, buy->total, "", tl_printf("%.*f", (int)build->decimals, buy->total));
}

/// Whether anything is known of packs or reels.
static bool is_bought(const tl_build* build) {
    for (size_t i = 0; i < build->line_count; ++i)
        if (build->lines[i].purchase_count)
            return true;
    return false;
}

/// A line and, below it, what else is bought of the same item.
static void add_line(tl_table* table, const tl_build* build, const tl_build_line* line) {
    size_t rows = line->purchase_count ? line->purchase_count : 1;
    for (size_t i = 0; i < rows; ++i) {
        tl_table_row(table);
        tl_table_words(table, i ? "" : line->item);
        tl_table_take_words(table, i ? tl_copy("") : show_amount(line, line->count));
        tl_table_take_words(table,
                            i || line->spare == 0 ? tl_copy("") : show_amount(line, line->spare));
        if (is_bought(build))
            tl_table_take_words(table, i || isnan(line->waste) ? tl_copy("")
                                                               : show_amount(line, line->waste));
        if (line->purchase_count)
            add_purchase(table, build, line, &line->purchases[i]);
        else
            tl_table_words(table, line->work        ? "to be made"
                                  : line->too_short ? "none is long enough"
                                  : build->prices   ? "no price"
                                                    : "");
    }
}

tl_table* tl_build_reels_table(const tl_build* build) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "piece", "piece");
    tl_table_column(table, "of", "item");
    tl_table_column(table, "long", "length_m");
    tl_table_column(table, "left", "left_m");
    tl_table_column(table, "leads cut off it, by number", "leads");
    for (size_t i = 0; i < build->reel_count; ++i) {
        const tl_build_reel* reel = &build->reels[i];
        tl_text leads = {0};
        for (size_t j = 0; j < reel->lead_count; ++j)
            tl_text_addf(&leads, "%s%zu", j ? ", " : "", build->leads[reel->leads[j]].number);
        tl_table_row(table);
        tl_table_take_words(table, tl_printf("%zu", i + 1));
        tl_table_words(table, build->lines[reel->line].item);
        add_number(table, reel->length_m, "", tl_printf("%.3f m", reel->length_m));
        add_number(table, reel->left_m, "", tl_printf("%.3f m", reel->left_m));
        tl_table_words(table, tl_text_get(&leads));
        tl_text_free(&leads);
    }
    return table;
}

static void add_total(tl_text* text, const tl_build* build) {
    if (!build->prices)
        return;
    char* total = tl_build_money(build, build->total);
    char* without = build->unpriced ? tl_printf(", without %zu item%s that %s no price",
                                                build->unpriced, build->unpriced > 1 ? "s" : "",
                                                build->unpriced > 1 ? "have" : "has")
                                    : tl_copy("");
    const char* bare = *build->currency ? "" : ", no currency stated";
    char* words = tl_printf("Total: %s%s (%s%s).", total, without, build->prices, bare);
    tl_text_take_paragraph(text, words);
    free(without);
    free(total);
}

/// Says of which items it is not known whether they could be had for less.
static void add_bounds(tl_text* text, const tl_build* build) {
    for (size_t i = 0; i < build->line_count; ++i) {
        const tl_build_line* line = &build->lines[i];
        if (isnan(line->least) || !line->purchase_count)
            continue;
        char* least = isnan(line->total) ? show_amount(line, line->least)
                                         : tl_build_money(build, line->least);
        char* words = tl_printf("%s: the best that was found; that nothing under %s would do is "
                                "proven, what lies between is not.",
                                line->item, least);
        tl_text_take_paragraph(text, words);
        free(least);
    }
}

static void add_unused(tl_text* text, const tl_build* build) {
    if (!build->unused_count)
        return;
    tl_text words = {0};
    tl_text_addf(&words, "Priced, but not needed here: ");
    for (size_t i = 0; i < build->unused_count; ++i)
        tl_text_addf(&words, "%s%s", i ? ", " : "", build->unused[i]);
    tl_text_add(&words, ".");
    tl_wrap_words(text, tl_text_get(&words), 0, 0);
    tl_text_free(&words);
}

tl_table* tl_build_bill_table(const tl_build* build) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "\nitem", "item");
    tl_table_column(table, "\nneeded", "count");
    tl_table_column(table, "of that\nspare", "spare");
    if (is_bought(build))
        tl_table_column(table, "left over\nof packs", "waste");
    tl_table_column(table, "\nbuy", "buy");
    if (build->prices) {
        tl_table_column(table, "\neach", "price");
        tl_table_column(table, "\ntogether", "total");
    }
    for (size_t i = 0; i < build->line_count; ++i)
        add_line(table, build, &build->lines[i]);
    return table;
}

void tl_build_add_bill_notes(tl_text* text, const tl_build* build) {
    add_total(text, build);
    add_bounds(text, build);
    add_unused(text, build);
}

void tl_build_add_bill(tl_text* text, const tl_build* build) {
    if (!build->line_count)
        return;
    tl_text_add(text, "\nWhat it takes\n");
    tl_text_take_table(text, tl_build_bill_table(build));
    tl_build_add_bill_notes(text, build);
    if (!build->reel_count)
        return;
    tl_text_add(text, "\nWhat is cut off what\n");
    tl_text_take_table(text, tl_build_reels_table(build));
}

char* tl_build_bill_text(const tl_build* build) {
    tl_locale locale = tl_locale_plain();
    tl_text text = {0};
    tl_text_add_safe(&text, build->rig);
    tl_text_add(&text, "\n");
    tl_build_add_findings(&text, build, TL_BUILD_WARNING);
    tl_build_add_bill(&text, build);
    if (build->assumed_count)
        tl_text_add(&text, "\nTaken where the rig does not say\n");
    for (size_t i = 0; i < build->assumed_count; ++i)
        tl_wrap_point(&text, build->assumed[i]);
    char* cautions = tl_cautions_text(TL_CAUTION_SOLDER);
    tl_text_addf(&text, "\n%s", cautions);
    free(cautions);
    tl_locale_restore(locale);
    return tl_text_take(&text);
}

/// A row of the bill as CSV: of a purchase, or of a line of which nothing is bought. What belongs
/// to the line stands in its first row only, so that columns can be summed.
static void add_csv_row(tl_table* table, const tl_build* build, const tl_build_line* line,
                        size_t which) {
    const tl_build_purchase* buy = which < line->purchase_count ? &line->purchases[which] : NULL;
    tl_table_row(table);
    tl_table_words(table, line->group);
    tl_table_words(table, line->item);
    tl_table_number(table, which ? NAN : line->count, "");
    tl_table_number(table, which ? NAN : line->spare, "");
    tl_table_number(table, which ? NAN : line->waste, "");
    tl_table_words(table, line->unit);
    tl_table_number(table, buy ? buy->packs : NAN, "");
    tl_table_number(table, buy ? buy->pack : NAN, "");
    tl_table_words(table, !buy ? "" : buy->drum ? "drum" : "pack");
    tl_table_number(table, buy ? buy->price : NAN, "");
    tl_table_number(table, buy ? buy->total : NAN, "");
    tl_table_words(table, build->currency ? build->currency : "");
    tl_table_words(table, buy ? buy->from : "");
}

char* tl_build_bill_csv(const tl_build* build) {
    static const char* const fields[] = {"group", "item",     "count", "spare", "waste",
                                         "unit",  "packs",    "pack",  "sold",  "price",
                                         "total", "currency", "from"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < build->line_count; ++i) {
        const tl_build_line* line = &build->lines[i];
        size_t rows = line->purchase_count ? line->purchase_count : 1;
        for (size_t j = 0; j < rows; ++j)
            add_csv_row(table, build, line, j);
    }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

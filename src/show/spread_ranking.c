// SPDX-License-Identifier: GPL-3.0-or-later
// Which values move the figures most: what to measure, or to select.
#include "show/cells.h"
#include "show/spread.h"
#include "show/wrap.h"

#include <math.h>
#include <stdlib.h>

enum { PATH_COLUMNS = 38, ABOUT_COLUMNS = 14, SHOWN_COLUMNS = 26 };

/// Words cut at their end when they are long.
static void add_cut(tl_table* table, const char* words, size_t columns) {
    tl_table_take_words(table, tl_spread_front(words, columns));
}

static void add_change(tl_table* table, size_t kind, double change) {
    tl_table_take_number(table, change, tl_spread_change(kind, change));
}

static void add_share(tl_table* table, double share) {
    tl_table_take_number(table, share, tl_spread_share(share));
}

static void add_value(tl_table* table, const tl_spread* spread, const tl_spread_figure* figure,
                      size_t kind, size_t index) {
    const tl_spread_value* value = &spread->values[index];
    const tl_spread_effect* effect = &figure->effects[index];
    char* path = tl_spread_tail(value->path, PATH_COLUMNS);
    char* indented = tl_printf("  %s", path);
    tl_table_row(table);
    tl_table_words(table, indented);
    free(indented);
    free(path);
    add_cut(table, value->about, ABOUT_COLUMNS);
    add_cut(table, value->shown, SHOWN_COLUMNS);
    add_change(table, kind, effect->slope);
    add_change(table, kind, effect->slope * value->share * 100);
    char* correlation =
        isfinite(effect->correlation) ? tl_printf("%+.2f", effect->correlation) : tl_copy("-");
    tl_table_number(table, effect->correlation, correlation);
    free(correlation);
    add_share(table, effect->variance_share);
}

/// Values too small to list, in one row.
static void add_others(tl_table* table, size_t count, double share) {
    char* words = tl_printf("  %zu %s", count, count == 1 ? "other" : "others");
    tl_table_row(table);
    tl_table_words(table, words);
    free(words);
    for (int i = 0; i < 5; ++i)
        tl_table_words(table, "");
    add_share(table, share);
}

/// A figure's rows: its name and how much it varies, then the values.
static void add_figure(tl_table* table, const tl_spread* spread, size_t amp, size_t kind) {
    const tl_spread_figure* figure = tl_spread_of(spread, amp, kind);
    const char* title = tl_spread_word(kind);
    char* deviation = tl_spread_change(kind, figure->deviation);
    bool varies = tl_spread_varies(figure);
    char* words = isnan(figure->percentile[TL_P50]) ? tl_copy("none in any trial")
                  : varies ? tl_printf("deviation %s", deviation + (*deviation == '+'))
                           : tl_copy("does not vary");
    tl_table_row(table);
    tl_table_words(table, title);
    tl_table_words(table, "");
    tl_table_words(table, words);
    free(words);
    free(deviation);
    if (!varies)
        return;
    size_t* order = tl_spread_rank(spread, figure);
    size_t others = 0;
    double sum = 0;
    for (size_t i = 0; i < spread->value_count; ++i) {
        double share = tl_spread_variance(figure, order[i]);
        if (share >= tl_spread_least(spread))
            add_value(table, spread, figure, kind, order[i]);
        else
            sum += share;
        others += share < tl_spread_least(spread);
    }
    if (others)
        add_others(table, others, sum);
    free(order);
}

/// The value that explains most over the chief figures together; false when none stands out from
/// what chance alone makes.
static bool find_best(const tl_spread* spread, size_t amp, size_t* best) {
    double most = 0;
    bool stands_out = false;
    for (size_t i = 0; i < spread->value_count; ++i) {
        double sum = 0, largest = 0;
        for (size_t k = 0; k < TL_SPREAD_CHIEF; ++k) {
            const tl_spread_figure* figure = tl_spread_of(spread, amp, tl_spread_chief[k]);
            double share = tl_spread_varies(figure) ? tl_spread_variance(figure, i) : 0;
            sum += share;
            largest = fmax(largest, share);
        }
        if (sum <= most)
            continue;
        most = sum;
        *best = i;
        stands_out = largest > tl_spread_chance(spread);
    }
    return stands_out;
}

/// What measuring one value tells of each chief figure that it tells anything of.
static void add_best(tl_text* text, const tl_spread* spread, size_t amp) {
    size_t best = 0;
    if (!find_best(spread, amp, &best)) {
        tl_text_add(text, "No value stands out: none is worth measuring by itself.\n");
        return;
    }
    char* name = tl_spread_value_name(&spread->values[best]);
    tl_text words = {0};
    tl_text_addf(&words, "Measuring %s explains", name);
    free(name);
    bool first = true;
    for (size_t k = 0; k < TL_SPREAD_CHIEF; ++k) {
        const tl_spread_figure* figure = tl_spread_of(spread, amp, tl_spread_chief[k]);
        double share = tl_spread_varies(figure) ? tl_spread_variance(figure, best) : 0;
        if (share <= tl_spread_chance(spread) || share < 0.01)
            continue;
        size_t kind = tl_spread_chief[k];
        char* shown = tl_spread_share(share);
        tl_text_addf(&words, first ? " %s of what %s%s varies by" : ", %s of %s%s", shown,
                     tl_spread_the(kind), tl_spread_word(kind));
        first = false;
        free(shown);
    }
    tl_text_add(&words, ".");
    tl_wrap_words(text, tl_text_get(&words), 0, 2);
    tl_text_free(&words);
}

static bool is_chief(size_t kind) {
    for (size_t i = 0; i < TL_SPREAD_CHIEF; ++i)
        if (tl_spread_chief[i] == kind)
            return true;
    return false;
}

static void add_table(tl_text* text, const tl_spread* spread, size_t amp, bool details) {
    static const char* const heads[] = {
        "value",          "part",       "tolerance", "+1 %\nmoves it", "+ tol.\nmoves it",
        "corre-\nlation", "vari-\nance"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i], "");
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind)
        if (details || is_chief(kind))
            add_figure(table, spread, amp, kind);
    tl_text_take_table(text, table);
}

void tl_spread_add_ranking(tl_text* text, const tl_spread* spread, bool details) {
    for (size_t amp = 0; amp < spread->amp_count; ++amp) {
        char* name = tl_spread_amp(spread, amp);
        tl_text_add(text, "\nWhich values it varies by");
        if (spread->amp_count > 1)
            tl_text_addf(text, ", at %s", name);
        tl_text_add(text, "\n");
        free(name);
        add_table(text, spread, amp, details);
        add_best(text, spread, amp);
    }
}

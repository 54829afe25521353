// SPDX-License-Identifier: GPL-3.0-or-later
// Which values the chief figures vary by, as bars.
#include "show/picture.h"
#include "show/script.h"
#include "show/spread_page.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_BARS = 6, NAME_COLUMNS = 42 };

static const double bar_left = 374, bar_room = 430, row_height = 22, group_head = 34,
                    group_foot = 8, foot_height = 50;

/// A group of bars for each figure.
typedef struct {
    const tl_spread* spread;
    tl_page page;
    size_t rows[TL_SPREAD_CHIEF];
    size_t boxes; ///< drawn so far
    double y;     ///< the upper edge of what comes next
} drawing;

/// Bars of a figure of their own; the rest share one.
static size_t bar_count(const tl_spread* spread, const tl_spread_figure* figure,
                        const size_t* order) {
    size_t count = 0;
    while (count < MOST_BARS && count < spread->value_count &&
           tl_spread_variance(figure, order[count]) >= tl_spread_least(spread))
        ++count;
    return count;
}

static drawing lay_out(const tl_spread* spread) {
    drawing d = {.spread = spread, .y = TL_SPREAD_HEAD_HEIGHT};
    double height = TL_SPREAD_HEAD_HEIGHT;
    for (size_t i = 0; i < TL_SPREAD_CHIEF; ++i) {
        const tl_spread_figure* figure = tl_spread_of(spread, 0, tl_spread_chief[i]);
        size_t* order = tl_spread_rank(spread, figure);
        size_t own = bar_count(spread, figure, order);
        free(order);
        d.rows[i] = tl_spread_varies(figure) ? own + (own < spread->value_count) : 0;
        height += group_head + row_height * (double)d.rows[i] + group_foot;
    }
    d.page.foot = height;
    d.page.height = height + foot_height;
    return d;
}

/// A row: a name, a bar, and the share at its end.
static void add_row(tl_text* script, drawing* d, const char* name, double share, const char* trend,
                    const char* colour) {
    double middle = d->y + row_height / 2;
    double right = bar_left + bar_room * (share < 1 ? share : 1);
    tl_box box = {bar_left, d->y + 4, right, d->y + row_height - 4};
    tl_spread_page_words(script, &d->page, (tl_spot){bar_left - 10, middle}, name, bar_left - 24,
                         "right textcolor rgb '#202020'");
    if (right - bar_left > 0.2) // gnuplot draws a box without width as a line
        tl_spread_page_box(script, &d->page, ++d->boxes, box, colour);
    char* shown = tl_spread_share(share);
    char* words = tl_printf("%s%s", shown, trend);
    tl_script_label(script, &d->page, (tl_spot){right + 8, middle}, words,
                    "left textcolor rgb '#202020'");
    free(words);
    free(shown);
    d->y += row_height;
}

static void add_value(tl_text* script, drawing* d, const tl_spread_figure* figure, size_t index) {
    const tl_spread_value* value = &d->spread->values[index];
    bool falls = figure->effects[index].correlation < 0;
    char* whole = tl_spread_value_name(value);
    bool fits = tl_text_columns(whole) <= NAME_COLUMNS;
    char* name = tl_spread_tail(fits ? whole : value->path, NAME_COLUMNS);
    add_row(script, d, name, tl_spread_variance(figure, index),
            falls ? ", falls as it rises" : ", rises with it",
            falls ? TL_SPREAD_NOMINAL : "#0072b2");
    free(name);
    free(whole);
}

static void add_group(tl_text* script, drawing* d, size_t place) {
    size_t kind = tl_spread_chief[place];
    const tl_spread_figure* figure = tl_spread_of(d->spread, 0, kind);
    const char* title = tl_spread_word(kind);
    bool varies = tl_spread_varies(figure);
    char* deviation = tl_spread_change(kind, figure->deviation);
    char* words = varies ? tl_printf("%s: deviation %s", title, deviation + (*deviation == '+'))
                         : tl_printf("%s: %s", title,
                                     isfinite(figure->low) ? "does not vary" : "none in any trial");
    tl_script_label(script, &d->page, (tl_spot){bar_left, d->y + group_head - 12}, words,
                    "left textcolor rgb '#202020'");
    free(words);
    free(deviation);
    d->y += group_head;
    if (varies) {
        tl_script_line(script, &d->page, (tl_spot){bar_left, d->y},
                       (tl_spot){bar_left, d->y + row_height * (double)d->rows[place]},
                       "lw 1 lc rgb '#606060'");
        size_t* order = tl_spread_rank(d->spread, figure);
        size_t own = bar_count(d->spread, figure, order);
        double rest = 0;
        for (size_t i = 0; i < d->spread->value_count; ++i)
            if (i < own)
                add_value(script, d, figure, order[i]);
            else
                rest += tl_spread_variance(figure, order[i]);
        free(order);
        size_t others = d->spread->value_count - own;
        char* name = tl_printf("%zu %s", others, others == 1 ? "other" : "others");
        if (others)
            add_row(script, d, name, rest, "", "#808080");
        free(name);
    }
    d->y += group_foot;
}

static char* make_shares(const void* context, const char* kind, const char* output) {
    drawing d = lay_out(context);
    tl_text script = {0};
    tl_script_open(&script, d.page.height, kind, output);
    size_t drawn = d.spread->amp_count ? 1 : 0;
    tl_spread_page_head(&script, &d.page, d.spread, "Which values the figures vary by", drawn,
                        kind);
    for (size_t i = 0; i < TL_SPREAD_CHIEF; ++i)
        add_group(&script, &d, i);
    tl_script_label(&script, &d.page, (tl_spot){TL_PAGE_WIDTH / 2, d.page.foot + 24},
                    "Share of the variance that goes with each value, to first order: "
                    "interactions are not in it",
                    "center textcolor rgb '#404040'");
    tl_text_add(&script, "unset tics\nunset border\nset xrange [0:1]\nset yrange [0:1]\n"
                         "$nothing << END\n0 2\n1 2\nEND\nplot $nothing using 1:2 with lines\n"
                         "unset output\n");
    return tl_text_take(&script);
}

tl_status tl_spread_draw_sensitivity(const tl_spread* spread, const char* path, tl_error* error) {
    if (!spread->amp_count || !spread->value_count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    return tl_picture_draw(path, make_shares, spread, error);
}

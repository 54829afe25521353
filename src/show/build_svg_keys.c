// SPDX-License-Identifier: GPL-3.0-or-later
// What stands beside a board's drawing: title block, scale bar, what the lines mean, names,
// findings and the cut list.
#include "show/build_svg.h"

#include "show/html.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double text_mm = TL_DRAWN_TEXT, row_mm = TL_DRAWN_ROW;
static const double title_width = 80, title_mm = 4.4, swatch_mm = 13, column_width = 80;

void tl_drawn_key_free(tl_drawn_key* key) {
    for (size_t i = 0; i < key->count; ++i)
        free(key->rows[i]);
    free(key->rows);
    free(key->goes_on);
    free(key->heading);
    *key = (tl_drawn_key){0};
}

static void add_row(tl_drawn_key* key, tl_text* row) {
    key->rows = tl_grow_one(key->rows, key->count, sizeof *key->rows);
    key->goes_on = tl_grow_one(key->goes_on, key->count, sizeof *key->goes_on);
    key->goes_on[key->count] = false;
    key->rows[key->count++] = tl_text_take(row);
}

/// A row that must stay with the one before it.
static void add_next_row(tl_drawn_key* key, tl_text* row) {
    add_row(key, row);
    key->goes_on[key->count - 1] = true;
}

static char* heading_of(const char* words) {
    tl_text heading = {0};
    tl_text_add(&heading, "<g font-weight=\"bold\">");
    tl_drawn_add_words(&heading, (tl_spot){0, row_mm / 2}, "start", text_mm, words);
    tl_text_add(&heading, "</g>");
    return tl_text_take(&heading);
}

static void add_fitted(tl_text* row, double x, double size, const char* words, double width) {
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, words, width / size * TL_TEXT_SIZE);
    tl_drawn_add_words(row, (tl_spot){x, row_mm / 2}, "start", size, tl_text_get(&fitted));
    tl_text_free(&fitted);
}

/// The bytes of the next line of words that is not too wide: up to a blank, or cut within a word
/// that is too long by itself.
static size_t line_bytes(const char* words, double width, double size) {
    size_t best = 0, whole = 0;
    for (size_t end = 0; words[end];) {
        size_t step = tl_text_character(words + end);
        end += step ? step : 1;
        char* part = tl_printf("%.*s", (int)end, words);
        bool fits = tl_drawn_width(part, size) <= width;
        free(part);
        if (!fits)
            return best ? best : whole ? whole : end;
        whole = end;
        if (words[end] == ' ' || !words[end])
            best = end;
    }
    return best;
}

/// Adds words as rows of a key, broken where they are too wide; the first row begins with `lead`.
static void add_broken(tl_drawn_key* key, const char* lead, double x, double size,
                       const char* words) {
    tl_text safe = {0};
    tl_text_add_safe(&safe, words);
    const char* at = tl_text_get(&safe);
    bool first = true;
    do {
        size_t bytes = line_bytes(at, key->width - x, size);
        char* line = tl_printf("%.*s", (int)bytes, at);
        tl_text row = {0};
        if (first)
            tl_text_add(&row, lead);
        tl_drawn_add_words(&row, (tl_spot){x, row_mm / 2}, "start", size, line);
        if (first)
            add_row(key, &row);
        else
            add_next_row(key, &row);
        free(line);
        at += bytes;
        at += strspn(at, " ");
        first = false;
    } while (*at);
    tl_text_free(&safe);
}

static void add_line(tl_drawn_key* key, const char* format, ...) TL_PRINTF(2, 3);
static void add_line(tl_drawn_key* key, const char* format, ...) {
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    add_broken(key, "", 0, text_mm, tl_text_get(&words));
    tl_text_free(&words);
}

static bool is_any_shifted(const tl_drawn_board* board) {
    for (size_t i = 0; i < board->build->lead_count; ++i)
        if (board->leads[i].aside != 0)
            return true;
    return false;
}

/// The rig's title, in two lines at most. Bold letters are wider by up to an eighth.
static void add_title_lines(tl_drawn_key* key, const char* title) {
    const double size = title_mm * 1.15;
    tl_text safe = {0};
    tl_text_add_safe(&safe, title);
    const char* words = tl_text_get(&safe);
    for (int line = 0; line < 2 && *words; ++line) {
        size_t bytes = line_bytes(words, key->width, size);
        char* first = line ? tl_copy(words) : tl_printf("%.*s", (int)bytes, words);
        tl_text row = {0};
        tl_text_add(&row, "<g font-weight=\"bold\">");
        add_fitted(&row, 0, title_mm, first, key->width / 1.15);
        tl_text_add(&row, "</g>");
        add_row(key, &row);
        free(first);
        words += bytes;
        words += strspn(words, " ");
    }
    tl_text_free(&safe);
}

tl_drawn_key tl_drawn_title(const tl_drawn_board* board, const tl_drawn_sheet* sheet) {
    tl_drawn_key key = {.name = "title", .width = title_width, .row_height = row_mm, .whole = true};
    add_title_lines(&key, board->build->rig);
    add_line(&key, "Board %.0f x %.0f mm, seen from above", board->build->width_m * 1000,
             board->build->depth_m * 1000);
    if (sheet->paper) {
        add_line(&key, "Scale 1:%g on %s %s", board->scale, sheet->paper,
                 sheet->landscape ? "landscape" : "portrait");
        add_line(&key, "Print at 100 %% (actual size); check the bar.");
    } else {
        add_line(&key, "Scale 1:%g when printed at 100 %%", board->scale);
    }
    if (is_any_shifted(board))
        add_line(&key, "Leads of one bundle are drawn side by side.");
    if (!sheet->cut_list && !sheet->list_elsewhere)
        add_line(&key, "Lengths: the cut list of toneload build");
    return key;
}

/// The blocks, ticks and figures of one edge of the bar: `unit_mm` to a figure.
static void add_bar_edge(tl_text* row, double y, bool above, double unit_mm, int units, int parts,
                         const char* unit) {
    double out = above ? -1 : 1;
    tl_text_add(row, "<path fill=\"none\" stroke=\"#000\" stroke-width=\"0.25\" d=\"");
    for (int i = 0; i <= units * parts; ++i)
        tl_text_addf(row, "M%.3f %.2fv%.2f", i * unit_mm / parts, y,
                     out * (i % parts == 0 ? 2.2 : 1.1));
    tl_text_add(row, "\"/>");
    for (int i = 0; i <= units; ++i) {
        char words[32];
        snprintf(words, sizeof words, i == units ? "%d %s" : "%d", i, i == units ? unit : "");
        double x = i * unit_mm;
        tl_drawn_add_words(row, (tl_spot){i == units ? x - 1 : x, y + out * 4.2},
                           i == 0 || i == units ? "start" : "middle", text_mm, words);
    }
}

tl_drawn_key tl_drawn_bar(const tl_drawn_board* board) {
    tl_drawn_key key = {.name = "bar", .width = 110, .row_height = 18.5, .whole = true};
    tl_text row = {0};
    tl_text_add(&row, "<path d=\"M0 11H100V12.5H0Z\" fill=\"#fff\" stroke=\"#000\" "
                      "stroke-width=\"0.25\"/><path fill=\"#000\" d=\"");
    for (int i = 0; i < 10; i += 2)
        tl_text_addf(&row, "M%d 11h10v1.5h-10z", 10 * i);
    tl_text_add(&row, "\"/>");
    add_bar_edge(&row, 11, true, 10, 10, 2, "cm");
    add_bar_edge(&row, 12.5, false, 25.4, 4, 4, "in");
    char words[80];
    snprintf(words, sizeof words, "Check with a ruler. 10 cm of paper are %g cm of board.",
             10 * board->scale);
    tl_drawn_add_words(&row, (tl_spot){0, 2.3}, "start", text_mm, words);
    add_row(&key, &row);
    return key;
}

static void add_legend(tl_drawn_key* key, const char* swatch, const char* words) {
    tl_text row = {0};
    tl_text_add(&row, swatch);
    tl_drawn_add_words(&row, (tl_spot){swatch_mm, row_mm / 2}, "start", text_mm, words);
    add_row(key, &row);
    key->width = fmax(key->width, swatch_mm + tl_drawn_width(words, text_mm));
}

/// What there is of leads and boxes, so that only that is explained.
typedef struct {
    bool lead[2][2]; ///< audio and DC; on the deck and below
    bool stub, power, under, plug;
} things;

static things things_of(const tl_drawn_board* board) {
    things there = {0};
    for (size_t i = 0; i < board->build->lead_count; ++i) {
        const tl_drawn_lead* lead = &board->leads[i];
        if (!lead->count)
            continue;
        there.lead[tl_drawn_is_dc(lead->lead)][lead->below] = true;
        there.stub |= lead->stub;
    }
    for (size_t i = 0; i < board->jack_count; ++i) {
        there.plug |= board->jacks[i].has_plug;
        there.power |= board->jacks[i].power;
    }
    for (size_t i = 0; i < board->build->box_count; ++i)
        there.under |= board->boxes[i].box->under;
    return there;
}

static void add_line_legends(tl_drawn_key* key, const things* there) {
    static const char* const words[2][2] = {{"audio lead", "audio lead below the deck"},
                                            {"DC lead", "DC lead below the deck"}};
    for (int dc = 0; dc < 2; ++dc)
        for (int below = 0; below < 2; ++below) {
            if (!there->lead[dc][below])
                continue;
            tl_text swatch = {0};
            tl_text_addf(&swatch, "<path%s d=\"M0 %.2fH11\"/>", tl_drawn_stroke(dc, below),
                         row_mm / 2);
            add_legend(key, tl_text_get(&swatch), words[dc][below]);
            tl_text_free(&swatch);
        }
}

static void add_number_legend(tl_drawn_key* key) {
    const tl_build_lead lead = {.kind = "audio", .number = 1};
    tl_text swatch = {0};
    tl_drawn_add_number(&swatch, (tl_spot){5.5, row_mm / 2}, 2.1, &lead);
    add_legend(key, tl_text_get(&swatch), "number in the cut list");
    tl_text_free(&swatch);
}

tl_drawn_key tl_drawn_legend(const tl_drawn_board* board) {
    tl_drawn_key key = {.name = "legend", .row_height = row_mm};
    key.heading = heading_of("Lines and signs");
    things there = things_of(board);
    bool audio = there.lead[0][0] || there.lead[0][1];
    add_line_legends(&key, &there);
    if (there.stub)
        add_legend(&key,
                   "<path d=\"M1 2.25H9\" stroke=\"#0a3f78\" stroke-width=\"1\"/>"
                   "<path d=\"M11 2.25L8.4 0.95V3.55Z\" fill=\"#0a3f78\"/>",
                   "leaves the board");
    if (audio || there.lead[1][0] || there.lead[1][1])
        add_number_legend(&key);
    if (audio)
        add_legend(&key,
                   "<path d=\"M2 1.15L4.2 2.25L2 3.35Z\" fill=\"#000\"/>"
                   "<path d=\"M7 1.15L9.2 2.25L7 3.35Z\" fill=\"#fff\" stroke=\"#000\" "
                   "stroke-width=\"0.3\"/>",
                   "jack: in, out");
    if (there.power)
        add_legend(&key,
                   "<circle cx=\"3.1\" cy=\"2.25\" r=\"1\"/><circle cx=\"8.1\" cy=\"2.25\" r=\"1\" "
                   "fill=\"#fff\" stroke=\"#000\" stroke-width=\"0.3\"/>",
                   "power: in, out");
    if (there.plug)
        add_legend(&key,
                   "<rect x=\"2.5\" y=\"0.75\" width=\"6\" height=\"3\" rx=\"0.5\" "
                   "fill=\"#c9c9c9\" stroke=\"#111\" stroke-width=\"0.3\"/>",
                   "plug and the room it takes");
    if (there.under)
        add_legend(&key,
                   "<rect x=\"0.3\" y=\"0.7\" width=\"10.4\" height=\"3.1\" fill=\"none\" "
                   "stroke=\"#222\" stroke-width=\"0.45\" stroke-dasharray=\"4 1.2 0.8 1.2\"/>",
                   "box below the deck");
    add_legend(&key,
               "<path d=\"M0.5 0.9H10.5M0.5 0.9v2.6M3 0.9v1.5M5.5 0.9v2.6M8 0.9v1.5M10.5 0.9v2.6\" "
               "fill=\"none\" stroke=\"#333\" stroke-width=\"0.2\"/>",
               "mm on the board");
    return key;
}

tl_drawn_key tl_drawn_name_key(const tl_drawn_board* board) {
    tl_drawn_key key = {.name = "names", .width = column_width, .row_height = row_mm};
    double widest = 0;
    for (size_t letter = 1; letter <= board->letters; ++letter)
        for (size_t i = 0; i < board->build->box_count; ++i) {
            const tl_drawn_box* box = &board->boxes[i];
            if (box->name.letter != letter)
                continue;
            tl_text row = {0};
            tl_text_add(&row, "<g font-weight=\"bold\">");
            tl_drawn_add_words(&row, (tl_spot){0, row_mm / 2}, "start", text_mm,
                               box->name.lines[0]);
            tl_text_add(&row, "</g>");
            add_broken(&key, tl_text_get(&row), 7, text_mm, box->box->name);
            tl_text_free(&row);
            widest = fmax(widest, tl_drawn_width(box->box->name, text_mm) + 8);
        }
    key.width = fmin(column_width, fmax(widest, 24));
    if (key.count)
        key.heading = heading_of("Names");
    return key;
}

tl_drawn_key tl_drawn_finding_key(const tl_drawn_board* board, size_t rows_most) {
    tl_drawn_key key = {.name = "findings", .width = column_width, .row_height = row_mm};
    size_t told = 0;
    for (; told < board->warning_count; ++told) {
        const tl_build_finding* finding = board->warnings[told].finding;
        tl_text sign = {0}, words = {0};
        tl_drawn_add_triangle(&sign, (tl_spot){4, row_mm / 2 + 0.6}, told + 1);
        tl_text_addf(&words, "%s", finding->words);
        size_t before = key.count;
        add_broken(&key, tl_text_get(&sign), 10, text_mm, tl_text_get(&words));
        tl_text_free(&sign);
        tl_text_free(&words);
        if (key.count == before + 1) { // the triangle takes two rows
            tl_text empty = {0};
            add_next_row(&key, &empty);
        }
        if (key.count <= rows_most)
            continue;
        while (key.count > before)
            free(key.rows[--key.count]);
        break;
    }
    if (told < board->warning_count)
        add_line(&key, "%s%zu more: see toneload build", told ? "and " : "",
                 board->warning_count - told);
    if (key.count)
        key.heading = heading_of("To put right or look at");
    return key;
}

/// Where the columns of the cut list begin.
typedef struct {
    double from, to, length, cut, end;
} cut_columns;

static cut_columns columns_of(const tl_build* build) {
    const double most = 40, figure = 12.5, gap = 3;
    double from = 12, to = 8;
    for (size_t i = 0; i < build->lead_count; ++i) {
        from = fmax(from, tl_drawn_width(build->leads[i].from.name, text_mm));
        to = fmax(to, tl_drawn_width(build->leads[i].to.name, text_mm));
    }
    cut_columns columns = {.from = 8};
    columns.to = columns.from + fmin(from, most) + gap;
    columns.length = columns.to + fmin(to, most) + gap + figure;
    columns.cut = columns.length + figure;
    columns.end = columns.cut + 0.5;
    return columns;
}

static void add_mm(tl_text* row, double x, double metres) {
    char words[32] = "-";
    if (isfinite(metres))
        snprintf(words, sizeof words, "%.0f", metres * 1000);
    tl_drawn_add_words(row, (tl_spot){x, row_mm / 2}, "end", text_mm, words);
}

tl_drawn_key tl_drawn_cut_list(const tl_drawn_board* board) {
    const tl_build* build = board->build;
    cut_columns columns = columns_of(build);
    tl_drawn_key key = {
        .name = "cut", .width = columns.end, .row_height = 4.7, .heads_columns = true};
    if (!build->lead_count)
        return key;
    tl_text heading = {0};
    tl_text_add(&heading, "<g font-weight=\"bold\">");
    tl_drawn_add_words(&heading, (tl_spot){0, row_mm / 2}, "start", text_mm, "Cut list, mm");
    tl_drawn_add_words(&heading, (tl_spot){columns.length, row_mm / 2}, "end", text_mm, "length");
    tl_drawn_add_words(&heading, (tl_spot){columns.cut, row_mm / 2}, "end", text_mm, "cut");
    tl_text_add(&heading, "</g>");
    key.heading = tl_text_take(&heading);
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        tl_text row = {0};
        tl_drawn_add_number(&row, (tl_spot){2.7, row_mm / 2}, fmin(board->number_radius, 2.25),
                            lead);
        add_fitted(&row, columns.from, text_mm, lead->from.name, columns.to - columns.from - 1);
        add_fitted(&row, columns.to, text_mm, lead->to.name, columns.length - columns.to - 12.5);
        add_mm(&row, columns.length, lead->length_m);
        add_mm(&row, columns.cut, lead->cut_m);
        add_row(&key, &row);
    }
    return key;
}

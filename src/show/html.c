// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/html.h"

#include "show/table.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { LONG = 12 }; ///< a table of more rows may go on on the next page of paper

static const char no_break[] = "\xc2\xa0";
static const char apostrophe[] = "\xe2\x80\x99";
static const char minus[] = "\xe2\x88\x92";

/// What stands for a character that markup uses, or NULL.
static const char* entity_of(char sign) {
    switch (sign) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

/// U+FFFE and U+FFFF may stand nowhere in XML 1.0 (section 2.2).
static bool is_forbidden(const char* at) {
    return strncmp(at, "\xef\xbf\xbe", 3) == 0 || strncmp(at, "\xef\xbf\xbf", 3) == 0;
}

void tl_html_add(tl_text* page, const char* words) {
    tl_text safe = {0};
    tl_text_add_safe(&safe, words);
    for (const char* at = tl_text_get(&safe); *at; ++at) {
        const char* entity = entity_of(*at);
        if (entity) {
            tl_text_add(page, entity);
        } else if (is_forbidden(at)) {
            tl_text_add(page, "\xef\xbf\xbd");
            at += 2;
        } else {
            tl_text_add_bytes(page, at, 1);
        }
    }
    tl_text_free(&safe);
}

/// Adds a figure, already escaped, as it is set in print: a minus sign, and no line break before
/// its unit.
static void add_figure(tl_text* page, const char* words) {
    for (const char* at = words; *at; ++at)
        if (*at == ' ')
            tl_text_add(page, no_break);
        else if (*at == '-' && at[1] >= '0' && at[1] <= '9')
            tl_text_add(page, minus);
        else if (strncmp(at, "ohm", 3) == 0) {
            tl_text_add(page, "\xce\xa9");
            at += 2;
        } else if (*at == 'u' && at[1] == 'F')
            tl_text_add(page, "\xc2\xb5");
        else
            tl_text_add_bytes(page, at, 1);
}

void tl_html_add_quantity(tl_text* page, tl_unit unit, double value) {
    if (isnan(value)) {
        tl_text_add(page, "none");
        return;
    }
    char rounded[32];
    snprintf(rounded, sizeof rounded, "%.3g", value);
    tl_text words = {0};
    tl_quantity_add(&words, unit, strtod(rounded, NULL));
    add_figure(page, tl_text_get(&words));
    tl_text_free(&words);
}

static void add_number(tl_text* page, const char* unit, int decimals, bool sign, double number) {
    if (fabs(number) < 0.5 * pow(10, -decimals)) {
        number = 0; // neither "+0.0" nor "-0.0"
        sign = false;
    }
    char* words = sign ? tl_printf("%+.*f%s", decimals, number, unit)
                       : tl_printf("%.*f%s", decimals, number, unit);
    add_figure(page, words);
    free(words);
}

static void add_hz(tl_text* page, double hz) {
    if (hz < 999.5)
        add_number(page, " Hz", 0, false, hz);
    else
        add_number(page, " kHz", hz < 9995 ? 2 : 1, false, hz / 1000);
}

/// A level: tenths, and what is smaller than that in as many digits as show it.
static void add_db(tl_text* page, double db, bool sign) {
    double size_db = fabs(db);
    if (size_db < 0.0005)
        tl_text_addf(page, "less than%s0.001%sdB", no_break, no_break);
    else
        add_number(page, " dB",
                   size_db < 0.0095  ? 3
                   : size_db < 0.095 ? 2
                                     : 1,
                   sign, sign ? db : size_db);
}

/// Adds the argument that `sign` stands for.
static void add_argument(tl_text* page, char sign, va_list* args) {
    if (sign == 's') {
        tl_html_add(page, va_arg(*args, const char*));
        return;
    }
    if (sign == 'n') {
        tl_text_addf(page, "%zu", va_arg(*args, size_t));
        return;
    }
    double number = va_arg(*args, double);
    static const struct {
        char sign;
        tl_unit unit;
    } quantities[] = {{'R', TL_UNIT_OHM},
                      {'F', TL_UNIT_FARAD},
                      {'H', TL_UNIT_HENRY},
                      {'m', TL_UNIT_METRE},
                      {'p', TL_UNIT_FRACTION}};
    for (size_t i = 0; i < sizeof quantities / sizeof *quantities; ++i)
        if (quantities[i].sign == sign)
            tl_html_add_quantity(page, quantities[i].unit, number);
    if (strchr("hdDq", sign) && isnan(number))
        tl_text_add(page, "none");
    else if (sign == 'h')
        add_hz(page, number);
    else if (sign == 'd' || sign == 'D')
        add_db(page, number, sign == 'd');
    else if (sign == 'q')
        add_number(page, "", 2, false, number);
}

void tl_html_say(tl_text* page, const char* sentence, ...) {
    va_list args;
    va_start(args, sentence);
    for (const char* at = sentence; *at; ++at) {
        size_t plain = strcspn(at, "@'");
        tl_text_add_bytes(page, at, plain);
        at += plain;
        if (!*at)
            break;
        if (*at == '\'') {
            tl_text_add(page, apostrophe);
            continue;
        }
        ++at;
        if (*at == '@')
            tl_text_add(page, "@");
        else
            add_argument(page, *at, &args);
    }
    va_end(args);
}

/// A cell's words, lines of theirs below each other; a first line that is empty stands for room on
/// a terminal.
static void add_lines(tl_text* page, const char* words) {
    words += *words == '\n';
    for (;;) {
        size_t size = strcspn(words, "\n");
        char* line = tl_printf("%.*s", (int)size, words);
        tl_html_add(page, line);
        free(line);
        if (!words[size])
            return;
        tl_text_add(page, "<br/>");
        words += size + 1;
    }
}

/// Whether a cell is there to be written in: text has a row of underscores for it.
static bool is_blank(const tl_cell* cell) {
    return cell->words && *cell->words == '_' && !cell->words[strspn(cell->words, "_")];
}

/// Adds words; a box to tick, "[ ]" in text, as one.
static void add_ticks(tl_text* page, const char* words) {
    static const char box[] = "[ ]";
    for (const char* at = words; *at; ++at)
        if (strncmp(at, box, strlen(box)) == 0) {
            tl_text_add(page, "\xe2\x98\x90");
            at += strlen(box) - 1;
        } else {
            tl_text_add_bytes(page, at, 1);
        }
}

static void add_cell(tl_text* page, const tl_column* column, const tl_cell* cell, bool heads) {
    const char* name = heads ? "th" : "td";
    if (is_blank(cell)) {
        tl_text_add(page, "<td class=\"write\"></td>");
        return;
    }
    tl_text_addf(page, "<%s%s%s>", name, heads ? " scope=\"row\"" : "",
                 column->number ? " class=\"number\"" : "");
    tl_text words = {0};
    tl_html_add(&words, cell->words ? cell->words : "");
    if (cell->number)
        add_figure(page, tl_text_get(&words));
    else
        add_ticks(page, tl_text_get(&words));
    tl_text_free(&words);
    tl_text_addf(page, "</%s>", name);
}

/// Whether a cell can head its row.
static bool has_words(const tl_cell* cell) {
    return cell->words && *cell->words;
}

void tl_html_add_table(tl_text* page, const tl_table* table, const char* about) {
    tl_text_add(page, "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"");
    tl_html_add(page, about);
    tl_text_add(page, "\">");
    tl_text_add(page,
                table->row_count > LONG ? "<table class=\"long\"><caption>" : "<table><caption>");
    tl_html_add(page, about);
    tl_text_add(page, "</caption>\n<thead><tr>");
    for (size_t i = 0; i < table->column_count; ++i) {
        const tl_column* column = &table->columns[i];
        tl_text_addf(page, "<th scope=\"col\"%s>", column->number ? " class=\"number\"" : "");
        add_lines(page, column->title);
        tl_text_add(page, "</th>");
    }
    tl_text_add(page, "</tr></thead>\n<tbody>\n");
    for (size_t row = 0; row < table->row_count; ++row) {
        tl_text_add(page, "<tr>");
        for (size_t i = 0; i < table->column_count; ++i)
            add_cell(page, &table->columns[i], &table->cells[row * table->column_count + i],
                     i == 0 && has_words(&table->cells[row * table->column_count]));
        tl_text_add(page, "</tr>\n");
    }
    tl_text_add(page, "</tbody></table></div>\n");
}

/// What is being put together of a text's lines.
typedef enum { NOTHING, PARAGRAPH, POINT } prose;

/// Ends what is open and opens what comes next; points stand in one list.
static prose turn_to(tl_text* page, prose from, prose to) {
    if (from == PARAGRAPH)
        tl_text_add(page, "</p>\n");
    if (from == POINT)
        tl_text_add(page, to == POINT ? "</li>\n" : "</li>\n</ul>\n");
    if (to == PARAGRAPH)
        tl_text_add(page, "<p>");
    if (to == POINT)
        tl_text_add(page, from == POINT ? "<li>" : "<ul>\n<li>");
    return to;
}

void tl_html_add_prose(tl_text* page, const char* text) {
    prose in = NOTHING;
    for (const char* at = text; *at;) {
        size_t size = strcspn(at, "\n");
        char* line = tl_printf("%.*s", (int)size, at);
        const char* words = line + strspn(line, " ");
        bool point = strncmp(line, "- ", 2) == 0;
        bool goes_on = !point && in != NOTHING && *words && !(in == POINT && words == line);
        if (!*words)
            in = turn_to(page, in, NOTHING);
        else if (goes_on)
            tl_text_add(page, " ");
        else
            in = turn_to(page, in, point ? POINT : PARAGRAPH);
        tl_html_add(page, point ? line + 2 : words);
        free(line);
        at += size + (at[size] == '\n');
    }
    turn_to(page, in, NOTHING);
}

void tl_html_add_base64(tl_text* page, const unsigned char* bytes, size_t size) {
    static const char letters[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < size; i += 3) {
        size_t left = size - i;
        unsigned group = (unsigned)bytes[i] << 16 | (left > 1 ? bytes[i + 1] : 0u) << 8 |
                         (left > 2 ? bytes[i + 2] : 0u);
        char four[4] = {letters[group >> 18], letters[group >> 12 & 63], '=', '='};
        if (left > 1)
            four[2] = letters[group >> 6 & 63];
        if (left > 2)
            four[3] = letters[group & 63];
        tl_text_add_bytes(page, four, 4);
    }
}

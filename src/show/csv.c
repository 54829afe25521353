// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/number.h"
#include "show/table.h"

#include <string.h>

/// Whether a spreadsheet would take the words for a formula and reckon it out.
static bool is_formula(const char* words) {
    words += strspn(words, " ");
    return *words && strchr("=+-@\t\r\n", *words);
}

/// Adds one field of words as RFC 4180 section 2 writes it: quoted when it holds a comma, a quote
/// or a blank at an end, quotes doubled. Control characters come out as \xNN, so a field never
/// holds a line end.
static void add_field(tl_text* csv, const char* words) {
    tl_text safe = {0};
    if (is_formula(words))
        tl_text_add(&safe, "'");
    tl_text_add_safe(&safe, words);
    const char* field = tl_text_get(&safe);
    bool blank_end = safe.size && (field[0] == ' ' || field[safe.size - 1] == ' ');
    bool quoted = blank_end || strpbrk(field, ",\"");
    if (quoted)
        tl_text_add(csv, "\"");
    for (const char* at = field; *at; ++at)
        tl_text_add_bytes(csv, *at == '"' ? "\"\"" : at, *at == '"' ? 2 : 1);
    if (quoted)
        tl_text_add(csv, "\"");
    tl_text_free(&safe);
}

char* tl_table_csv(const tl_table* table) {
    tl_text csv = {0};
    size_t columns = table->column_count;
    for (size_t i = 0; i < columns; ++i) {
        tl_text_add(&csv, i ? "," : "");
        add_field(&csv, table->columns[i].field);
    }
    tl_text_add(&csv, "\r\n");
    for (size_t i = 0; i < table->row_count * columns; ++i) {
        const tl_cell* cell = &table->cells[i];
        tl_text_add(&csv, i % columns ? "," : "");
        if (cell->number)
            tl_number_add(&csv, cell->value);
        else if (cell->words)
            add_field(&csv, cell->words);
        if (i % columns == columns - 1)
            tl_text_add(&csv, "\r\n");
    }
    return tl_text_take(&csv);
}

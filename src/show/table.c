// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/table.h"

#include "base/text.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

tl_table* tl_table_new(void) {
    return tl_new(1, sizeof(tl_table));
}

void tl_table_free(tl_table* table) {
    if (!table)
        return;
    for (size_t i = 0; i < table->column_count; ++i) {
        free(table->columns[i].title);
        free(table->columns[i].field);
    }
    for (size_t i = 0; i < table->row_count * table->column_count; ++i)
        free(table->cells[i].words);
    free(table->columns);
    free(table->cells);
    free(table);
}

void tl_table_column(tl_table* table, const char* title, const char* field) {
    assert(!table->row_count);
    table->columns = tl_grow(table->columns, table->column_count + 1, sizeof(tl_column));
    table->columns[table->column_count++] = (tl_column){tl_copy(title), tl_copy(field), false};
}

void tl_table_row(tl_table* table) {
    size_t old = table->row_count * table->column_count;
    table->cells = tl_grow(table->cells, old + table->column_count, sizeof(tl_cell));
    for (size_t i = old; i < old + table->column_count; ++i)
        table->cells[i] = (tl_cell){0};
    ++table->row_count;
    table->next = 0;
}

/// The next free cell of the last row, or NULL when the row is full.
static tl_cell* next_cell(tl_table* table) {
    assert(table->row_count && table->next < table->column_count);
    if (!table->row_count || table->next >= table->column_count)
        return NULL;
    return &table->cells[(table->row_count - 1) * table->column_count + table->next++];
}

void tl_table_words(tl_table* table, const char* words) {
    tl_cell* cell = next_cell(table);
    if (cell)
        *cell = (tl_cell){.words = tl_copy(words)};
}

void tl_table_number(tl_table* table, double number, const char* shown) {
    tl_cell* cell = next_cell(table);
    if (!cell)
        return;
    *cell = (tl_cell){tl_copy(shown), number, true};
    table->columns[table->next - 1].number = true;
}

static char* safe(const char* words) {
    tl_text text = {0};
    if (words)
        tl_text_add_safe(&text, words);
    return tl_text_take(&text);
}

/// One line (0 or 1) of a head of at most two; a head of one line stands on the lower.
static char* head_line(const char* title, int line) {
    const char* split = strchr(title, '\n');
    if (!split)
        return safe(line ? title : "");
    if (line)
        return safe(split + 1);
    char* upper = tl_copy(title);
    upper[split - title] = '\0';
    char* shown = safe(upper);
    free(upper);
    return shown;
}

/// Adds one cell padded to its column's width, two blanks after the one before it.
static void add_padded(tl_text* text, size_t column, const char* words, size_t width, bool right) {
    size_t blanks = width - tl_text_columns(words);
    if (column)
        tl_text_add(text, "  ");
    if (right)
        tl_text_addf(text, "%*s", (int)blanks, "");
    tl_text_add(text, words);
    if (!right)
        tl_text_addf(text, "%*s", (int)blanks, "");
}

/// Ends a line without the blanks that the last column's padding left.
static void end_line(tl_text* text) {
    while (text->size && text->data[text->size - 1] == ' ')
        text->data[--text->size] = '\0';
    tl_text_add(text, "\n");
}

static void widen(size_t* width, const char* words) {
    size_t columns = tl_text_columns(words);
    if (columns > *width)
        *width = columns;
}

/// All that is shown, line after line: two of heads, then the rows.
static char** shown_cells(const tl_table* table) {
    size_t columns = table->column_count;
    char** shown = tl_new((table->row_count + 2) * columns, sizeof *shown);
    for (size_t i = 0; i < columns; ++i) {
        shown[i] = head_line(table->columns[i].title, 0);
        shown[columns + i] = head_line(table->columns[i].title, 1);
    }
    for (size_t i = 0; i < table->row_count * columns; ++i)
        shown[2 * columns + i] = safe(table->cells[i].words);
    return shown;
}

static bool all_empty(char** words, size_t count) {
    for (size_t i = 0; i < count; ++i)
        if (words[i][0])
            return false;
    return true;
}

char* tl_table_text(const tl_table* table) {
    size_t columns = table->column_count;
    size_t lines = table->row_count + 2;
    char** shown = shown_cells(table);
    size_t* widths = tl_new(columns, sizeof *widths);
    for (size_t i = 0; i < lines * columns; ++i)
        widen(&widths[i % columns], shown[i]);

    tl_text text = {0};
    for (size_t line = all_empty(shown, columns) ? 1 : 0; line < lines; ++line) {
        for (size_t i = 0; i < columns; ++i) {
            bool right = table->columns[i].number &&
                         (line < 2 || table->cells[(line - 2) * columns + i].number);
            add_padded(&text, i, shown[line * columns + i], widths[i], right);
        }
        end_line(&text);
        for (size_t i = 0; line == 1 && i < columns; ++i)
            for (size_t dash = 0; dash < widths[i] + (i ? 2 : 0); ++dash)
                tl_text_add(&text, i && dash < 2 ? " " : "-");
        if (line == 1)
            end_line(&text);
    }
    for (size_t i = 0; i < lines * columns; ++i)
        free(shown[i]);
    free(shown);
    free(widths);
    return tl_text_take(&text);
}

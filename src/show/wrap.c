// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/wrap.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

void tl_wrap_widen(size_t* width, const char* words) {
    size_t columns = tl_text_columns(words);
    *width = columns > *width ? columns : *width;
}

void tl_wrap_cell(tl_text* text, const char* words, size_t width, bool right) {
    size_t columns = tl_text_columns(words);
    int blanks = columns < width ? (int)(width - columns) : 0;
    if (right)
        tl_text_addf(text, "%*s", blanks, "");
    tl_text_add(text, words);
    if (!right)
        tl_text_addf(text, "%*s", blanks, "");
}

void tl_wrap_point(tl_text* text, const char* words) {
    tl_text_add(text, "- ");
    tl_wrap_words(text, words, 2, 2);
}

void tl_wrap_end_line(tl_text* text) {
    while (text->size && text->data[text->size - 1] == ' ')
        text->data[--text->size] = '\0';
    tl_text_add(text, "\n");
}

void tl_wrap_break(tl_text* text, size_t indent) {
    tl_wrap_end_line(text);
    tl_text_addf(text, "%*s", (int)indent, "");
}

/// The bytes up to the next blank where a line may end: not between a number and its unit.
static size_t word_bytes(const char* at) {
    size_t size = strcspn(at, " ");
    while (size && at[size] == ' ' && isdigit((unsigned char)at[size - 1]) &&
           (at[size + 1] == '%' || isalpha((unsigned char)at[size + 1])))
        size += 1 + strcspn(at + size + 1, " ");
    return size;
}

void tl_wrap_words(tl_text* text, const char* words, size_t column, size_t indent) {
    tl_text safe = {0};
    tl_text_add_safe(&safe, words);
    bool fresh = true; // nothing on this line but what was there, or the indent
    for (const char* at = tl_text_get(&safe); *at;) {
        size_t size = word_bytes(at);
        char* word = tl_printf("%.*s", (int)size, at);
        size_t columns = tl_text_columns(word);
        if (column + !fresh + columns > TL_WRAP_WIDTH && (!fresh || column > indent)) {
            tl_wrap_break(text, indent);
            column = indent;
            fresh = true;
        }
        tl_text_addf(text, "%s%s", fresh ? "" : " ", word);
        column += columns + !fresh;
        fresh = false;
        free(word);
        at += size;
        at += strspn(at, " ");
    }
    tl_wrap_end_line(text);
    tl_text_free(&safe);
}

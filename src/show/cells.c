// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/cells.h"

#include "show/wrap.h"

#include <stdlib.h>

void tl_table_take_words(tl_table* table, char* words) {
    tl_table_words(table, words);
    free(words);
}

void tl_table_take_number(tl_table* table, double number, char* shown) {
    tl_table_number(table, number, shown);
    free(shown);
}

void tl_text_take_table(tl_text* text, tl_table* table) {
    char* words = tl_table_text(table);
    tl_text_add(text, words);
    free(words);
    tl_table_free(table);
}

void tl_text_take_paragraph(tl_text* text, char* words) {
    tl_wrap_words(text, words, 0, 0);
    free(words);
}

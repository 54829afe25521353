// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/listing.h"

#include <stdlib.h>
#include <string.h>

/// Widths of the two columns before the last.
static void measure(const tl_inspection* found, int* field, int* value) {
    *field = *value = 0;
    for (size_t i = 0; i < found->count; ++i) {
        int field_size = (int)strlen(found->rows[i].field);
        int value_size = (int)strlen(found->rows[i].value);
        *field = field_size > *field ? field_size : *field;
        *value = value_size > *value ? value_size : *value;
    }
}

void print_listing(FILE* to, const tl_inspection* found) {
    int field_width = 0;
    int value_width = 0;
    measure(found, &field_width, &value_width);
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        char* about = tl_show_safe(row->about);
        char* origin = tl_show_safe(row->origin);
        if (!i || strcmp(row->part, row[-1].part) != 0 || strcmp(row->about, row[-1].about) != 0)
            fprintf(to, "%s: %s\n", row->part, about);
        fprintf(to, "    %-*s  %-*s  %s\n", field_width, row->field, value_width, row->value,
                origin);
        free(about);
        free(origin);
    }
}

char* listing_csv(const tl_inspection* found) {
    static const char* const fields[] = {"part", "about", "field", "value", "origin"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < 5; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        const char* const words[] = {row->part, row->about, row->field, row->value, row->origin};
        tl_table_row(table);
        for (size_t j = 0; j < 5; ++j)
            tl_table_words(table, words[j]);
    }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

json_t* listing_json(const tl_inspection* found) {
    json_t* list = json_array();
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        json_array_append_new(
            list, json_pack("{s:o, s:o, s:o, s:o, s:o}", "part", tl_json_words(row->part), "about",
                            tl_json_words(row->about), "field", tl_json_words(row->field), "value",
                            tl_json_words(row->value), "origin", tl_json_words(row->origin)));
    }
    return list;
}

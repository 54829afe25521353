// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/listing.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A value with its tolerance, as a rig file has it; one by default in brackets. Free with free().
static char* toleranced(const tl_listing* row) {
    char tolerance[64] = "";
    bool bracket = row->tolerance_by_default;
    bool uniform = row->distribution && strcmp(row->distribution, "uniform") == 0;
    if (row->distribution)
        snprintf(tolerance, sizeof tolerance, " %s+-%.4g %%%s%s", bracket ? "(" : "",
                 100 * row->tolerance, uniform ? " uniform" : "", bracket ? ")" : "");
    char* text = NULL;
    if (asprintf(&text, "%s%s", row->value, tolerance) < 0)
        abort();
    return text;
}

/// Length of the kind's name, with which `about` begins.
static int kind_size(const tl_listing* row) {
    return (int)strcspn(row->about, " ,:");
}

/// Whether a row has the same default as an earlier one.
static bool is_repeated(const tl_inspection* found, size_t which) {
    const tl_listing* row = &found->rows[which];
    for (size_t i = 0; i < which; ++i) {
        const tl_listing* other = &found->rows[i];
        if (other->tolerance_by_default && strcmp(other->field, row->field) == 0 &&
            kind_size(other) == kind_size(row) &&
            strncmp(other->about, row->about, (size_t)kind_size(row)) == 0)
            return true;
    }
    return false;
}

/// Where the tolerances in brackets are from, each once.
static void print_defaults(FILE* to, const tl_inspection* found) {
    bool any = false;
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        if (!row->tolerance_by_default || is_repeated(found, i))
            continue;
        if (!any)
            fprintf(to,
                    "\nTolerances in brackets are the library's, for values that state none:\n");
        any = true;
        char* source = tl_show_safe(row->tolerance_source);
        fprintf(to, "    %.*s %s: %s\n", kind_size(row), row->about, row->field, source);
        free(source);
    }
}

/// Widths of the two columns before the last.
static void measure(const tl_inspection* found, char* const* values, int* field, int* value) {
    *field = *value = 0;
    for (size_t i = 0; i < found->count; ++i) {
        int field_size = (int)strlen(found->rows[i].field);
        int value_size = (int)strlen(values[i]);
        *field = field_size > *field ? field_size : *field;
        *value = value_size > *value ? value_size : *value;
    }
}

void print_listing(FILE* to, const tl_inspection* found) {
    int field_width = 0;
    int value_width = 0;
    char** values = calloc(found->count + 1, sizeof *values);
    if (!values)
        abort();
    for (size_t i = 0; i < found->count; ++i)
        values[i] = toleranced(&found->rows[i]);
    measure(found, values, &field_width, &value_width);
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        char* about = tl_show_safe(row->about);
        char* origin = tl_show_safe(row->origin);
        if (!i || strcmp(row->part, row[-1].part) != 0 || strcmp(row->about, row[-1].about) != 0)
            fprintf(to, "%s: %s\n", row->part, about);
        fprintf(to, "    %-*s  %-*s  %s\n", field_width, row->field, value_width, values[i],
                origin);
        free(about);
        free(origin);
        free(values[i]);
    }
    free(values);
    print_defaults(to, found);
}

char* listing_csv(const tl_inspection* found) {
    static const char* const fields[] = {"part",   "about",     "field",        "value",
                                         "origin", "tolerance", "distribution", "tolerance_source"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        const char* const words[] = {row->part, row->about, row->field, row->value, row->origin};
        tl_table_row(table);
        for (size_t j = 0; j < sizeof words / sizeof *words; ++j)
            tl_table_words(table, words[j]);
        tl_table_number(table, row->distribution ? row->tolerance : NAN, "");
        tl_table_words(table, row->distribution ? row->distribution : "");
        tl_table_words(table, row->tolerance_source ? row->tolerance_source : "");
    }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

json_t* listing_json(const tl_inspection* found) {
    json_t* list = json_array();
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        json_t* json =
            json_pack("{s:o, s:o, s:o, s:o, s:o}", "part", tl_json_words(row->part), "about",
                      tl_json_words(row->about), "field", tl_json_words(row->field), "value",
                      tl_json_words(row->value), "origin", tl_json_words(row->origin));
        json_object_set_new(json, "tolerance",
                            tl_json_number(row->distribution ? row->tolerance : NAN));
        json_object_set_new(json, "distribution", tl_json_words(row->distribution));
        json_object_set_new(json, "tolerance_source", tl_json_words(row->tolerance_source));
        json_array_append_new(list, json);
    }
    return list;
}

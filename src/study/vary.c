// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/vary.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

void tl_vary_free(tl_vary* vary) {
    for (size_t i = 0; i < vary->count; ++i) {
        tl_yaml_free(vary->values[i]);
        free(vary->words[i]);
    }
    free(vary->values);
    free(vary->words);
    free(vary->path);
    tl_input_free(vary->input);
}

/// Whether a quote at `at` opens quoted words, as in YAML: 20' is a spelling of a length.
static bool opens_quote(const char* text, size_t from, size_t at) {
    return at == from || strchr(" ,:{[", text[at - 1]) != NULL;
}

/// The end of the value that starts at `from`: a comma outside braces, brackets and quotes.
static size_t value_end(const char* text, size_t from) {
    int depth = 0;
    char quote = '\0';
    size_t at = from;
    for (; text[at]; ++at) {
        char sign = text[at];
        if (quote) {
            if (sign == quote)
                quote = '\0';
        } else if ((sign == '"' || sign == '\'') && opens_quote(text, from, at)) {
            quote = sign;
        } else if (sign == '{' || sign == '[') {
            ++depth;
        } else if (sign == '}' || sign == ']') {
            --depth;
        } else if (sign == ',' && depth <= 0) {
            break;
        }
    }
    return at;
}

static char* trimmed(const char* text, size_t from, size_t to) {
    while (from < to && text[from] == ' ')
        ++from;
    while (to > from && text[to - 1] == ' ')
        --to;
    return tl_printf("%.*s", (int)(to - from), text + from);
}

static tl_status add_value(tl_vary* vary, size_t from, size_t to, tl_error* error) {
    const char* text = vary->input->text;
    char* words = trimmed(text, from, to);
    tl_place place = {vary->input, 1, from + 1};
    tl_yaml* value = NULL;
    tl_status status = *words ? tl_yaml_read_piece(vary->input, from, to, &value, error)
                              : tl_error_at(error, &place, "expected a value: PATH=V1,V2,...");
    if (status != TL_OK) {
        free(words);
        return status;
    }
    vary->values = tl_grow(vary->values, vary->count + 1, sizeof *vary->values);
    vary->words = tl_grow(vary->words, vary->count + 1, sizeof *vary->words);
    vary->values[vary->count] = value;
    vary->words[vary->count++] = words;
    return TL_OK;
}

tl_status tl_vary_read(const char* text, tl_vary* vary, tl_error* error) {
    text += strspn(text, " "); // the path begins where its carets count from
    vary->input = tl_input_new("--vary", text, strlen(text));
    tl_place start = {vary->input, 1, 1};
    if (!tl_text_is_plain(text))
        return tl_error_at(error, &start, "control characters (or broken UTF-8)");
    const char* equals = strchr(text, '=');
    if (!equals || equals == text)
        return tl_error_at(error, &start,
                           "expected PATH=V1,V2,..., such as chain[0].length=3 m,6 m");
    size_t from = (size_t)(equals - text);
    vary->path = trimmed(text, 0, from);
    do {
        ++from;
        size_t to = value_end(text, from);
        tl_status status = add_value(vary, from, to, error);
        if (status != TL_OK)
            return status;
        from = to;
    } while (text[from] == ',');
    return TL_OK;
}

tl_status tl_vary_set(const tl_vary* vary, size_t pick, tl_rig* rig, tl_error* error) {
    tl_target target;
    tl_status status = tl_rig_find(rig, vary->path, vary->input, &target, error);
    return status == TL_OK ? tl_rig_set(rig, &target, vary->values[pick], error) : status;
}

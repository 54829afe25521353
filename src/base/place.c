// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/place.h"

#include "base/file.h"

#include "base/text.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_BYTES = 100 }; // of a line, around the place

tl_input* tl_input_new(const char* name, const char* text, size_t size) {
    tl_input* input = tl_new(1, sizeof *input);
    input->name = tl_copy(name);
    input->text = tl_new(size + 1, 1);
    memcpy(input->text, text, size);
    input->size = size;
    return input;
}

tl_status tl_input_read(const char* path, size_t limit, tl_input** input, tl_error* error) {
    char* text = NULL;
    size_t size = 0;
    *input = NULL;
    tl_status status = tl_file_read(path, limit, &text, &size, error);
    if (status == TL_OK)
        *input = tl_input_new(path, text, size);
    free(text);
    return status;
}

void tl_input_free(tl_input* input) {
    if (!input)
        return;
    free(input->name);
    free(input->text);
    free(input);
}

/// The bytes of line `line` (from 1); an empty piece when there is no such line.
static const char* find_line(const tl_input* input, size_t line, size_t* size) {
    const char* at = input->text;
    const char* end = input->text + input->size;
    while (line > 1 && at < end) {
        const char* next = memchr(at, '\n', (size_t)(end - at));
        at = next ? next + 1 : end;
        --line;
    }
    const char* stop = memchr(at, '\n', (size_t)(end - at));
    *size = (size_t)((stop ? stop : end) - at);
    if (*size && at[*size - 1] == '\r')
        --*size;
    return at;
}

tl_place tl_place_inside(const tl_place* place, const char* words, size_t offset) {
    tl_place inside = *place;
    if (!place->in || !place->column)
        return inside;
    size_t size = 0;
    const char* line = find_line(place->in, place->line, &size);
    size_t at = place->column - 1;
    if (at < size && (line[at] == '"' || line[at] == '\''))
        ++at;
    size_t length = strlen(words);
    if (at + length <= size && memcmp(line + at, words, length) == 0)
        inside.column = at + 1 + offset;
    return inside;
}

static void add_piece(tl_text* text, const char* bytes, size_t size) {
    char* piece = tl_new(size + 1, 1);
    memcpy(piece, bytes, size);
    for (size_t i = 0; i < size; ++i) // a NUL ends no line, a tab is one column
        if (piece[i] == '\0' || piece[i] == '\t')
            piece[i] = ' ';
    tl_text_add_safe(text, piece);
    free(piece);
}

static void add_line_and_caret(tl_text* text, const tl_place* place) {
    size_t size = 0;
    const char* line = find_line(place->in, place->line, &size);
    size_t at = place->column ? place->column - 1 : 0;
    if (at > size)
        at = size;
    size_t from = at > SHOWN_BYTES / 2 ? at - SHOWN_BYTES / 2 : 0;
    for (int i = 0; i < 3 && from && ((unsigned char)line[from] & 0xc0) == 0x80; ++i)
        --from; // no character is longer; what is no UTF-8 would lead back without end
    size_t to = from + SHOWN_BYTES < size ? from + SHOWN_BYTES : size;
    while (to < size && ((unsigned char)line[to] & 0xc0) == 0x80)
        ++to;
    tl_text before = {0};
    if (from)
        tl_text_add(&before, "... ");
    add_piece(&before, line + from, at - from);
    tl_text_addf(text, "\n  %s", tl_text_get(&before));
    add_piece(text, line + at, to - at);
    if (to < size)
        tl_text_add(text, " ...");
    tl_text_addf(text, "\n  %*s^", (int)tl_text_columns(tl_text_get(&before)), "");
    tl_text_free(&before);
}

tl_status tl_error_at(tl_error* error, const tl_place* place, const char* format, ...) {
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    tl_text text = {0};
    if (place && place->in) {
        tl_text_add_safe(&text, place->in->name);
        tl_text_addf(&text, ":%zu:%zu: error: ", place->line, place->column);
        tl_text_add_safe(&text, tl_text_get(&words));
        add_line_and_caret(&text, place);
    } else {
        tl_text_add_safe(&text, tl_text_get(&words));
    }
    tl_status status = tl_error_set(error, TL_BAD_INPUT, "%s", tl_text_get(&text));
    tl_text_free(&words);
    tl_text_free(&text);
    return status;
}

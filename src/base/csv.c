// SPDX-License-Identifier: GPL-3.0-or-later
// Method: RFC 4180 (Y. Shafranovich, 2005), section 2.
#include "base/csv.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

static tl_place place_at(const tl_csv* csv, size_t at) {
    return (tl_place){csv->in, csv->line, at - csv->line_start + 1};
}

static tl_status not_text(const tl_csv* csv, const char* what, tl_error* error) {
    tl_place place = place_at(csv, csv->at);
    return tl_error_at(error, &place, "%s: expected CSV as plain text (UTF-8)", what);
}

tl_status tl_csv_open(tl_csv* csv, const tl_input* in, tl_error* error) {
    *csv = (tl_csv){.in = in, .line = 1};
    if (in->size >= 2 &&
        (memcmp(in->text, "\xff\xfe", 2) == 0 || memcmp(in->text, "\xfe\xff", 2) == 0))
        return not_text(csv, "this is UTF-16", error);
    const char* nul = memchr(in->text, '\0', in->size);
    if (nul) {
        for (csv->at = (size_t)(nul - in->text); csv->line_start < csv->at;) {
            const char* from = in->text + csv->line_start;
            const char* next = memchr(from, '\n', (size_t)(nul - from));
            if (!next)
                break;
            csv->line_start = (size_t)(next - in->text) + 1;
            ++csv->line;
        }
        return not_text(csv, "a NUL character", error);
    }
    if (in->size >= 3 && memcmp(in->text, "\xef\xbb\xbf", 3) == 0)
        csv->at = 3;
    return TL_OK;
}

void tl_csv_close(tl_csv* csv) {
    free(csv->fields);
    *csv = (tl_csv){0};
}

static void add_field(tl_csv* csv, const char* bytes, size_t size, tl_place place) {
    if (csv->count == csv->room) {
        csv->room = csv->room ? 2 * csv->room : 8;
        csv->fields = tl_grow(csv->fields, csv->room, sizeof *csv->fields);
    }
    csv->fields[csv->count++] = (tl_csv_field){bytes, size, place};
}

/// Reads what stands between quotes; `at` is that of the opening one, and moves past the closing.
static tl_status take_quoted(tl_csv* csv, tl_error* error) {
    const char* text = csv->in->text;
    tl_place place = place_at(csv, csv->at);
    size_t from = ++csv->at;
    for (;; ++csv->at) {
        if (csv->at == csv->in->size)
            return tl_error_at(error, &place, "this quote is never closed");
        if (text[csv->at] == '\n') {
            ++csv->line;
            csv->line_start = csv->at + 1;
        }
        if (text[csv->at] != '"')
            continue;
        if (text[csv->at + 1] != '"')
            break;
        ++csv->at; // the first of two
    }
    ++place.column;
    add_field(csv, text + from, csv->at - from, place);
    ++csv->at;
    if (csv->at < csv->in->size && !strchr(",\r\n", text[csv->at])) {
        place = place_at(csv, csv->at);
        return tl_error_at(error, &place,
                           "after a closing quote: expected a comma or the end of the line (a "
                           "quote inside quotes is doubled)");
    }
    return TL_OK;
}

static tl_status take_plain(tl_csv* csv, tl_error* error) {
    const char* from = csv->in->text + csv->at;
    size_t size = strcspn(from, ",\"\r\n");
    tl_place place = place_at(csv, csv->at);
    csv->at += size;
    if (from[size] == '"') {
        place = place_at(csv, csv->at);
        return tl_error_at(error, &place,
                           "a quote inside a field: a field with quotes begins and ends with one");
    }
    add_field(csv, from, size, place);
    return TL_OK;
}

/// Moves past the end of a line. A CR that no LF follows is what very old programs wrote.
static tl_status end_line(tl_csv* csv, tl_error* error) {
    const char* text = csv->in->text;
    if (text[csv->at] == '\r') {
        if (text[csv->at + 1] != '\n' && csv->at + 1 < csv->in->size) {
            tl_place place = place_at(csv, csv->at);
            return tl_error_at(error, &place,
                               "a line that ends in CR alone: expected CRLF or LF line ends");
        }
        ++csv->at;
    }
    if (csv->at < csv->in->size)
        ++csv->at;
    ++csv->line;
    csv->line_start = csv->at;
    return TL_OK;
}

tl_status tl_csv_next(tl_csv* csv, bool* more, tl_error* error) {
    const char* text = csv->in->text;
    csv->count = 0;
    *more = csv->at + strspn(text + csv->at, " \t\r\n") < csv->in->size;
    if (!*more)
        return TL_OK;
    for (;;) {
        tl_status status = text[csv->at] == '"' ? take_quoted(csv, error) : take_plain(csv, error);
        if (status != TL_OK)
            return status;
        if (csv->at == csv->in->size)
            return TL_OK;
        if (text[csv->at] != ',')
            return end_line(csv, error);
        ++csv->at;
    }
}

char* tl_csv_words(const tl_csv_field* field) {
    char* words = tl_new(field->size + 1, 1);
    size_t size = 0;
    for (size_t i = 0; i < field->size; ++i) {
        words[size++] = field->bytes[i];
        if (field->bytes[i] == '"')
            ++i; // the second of two
    }
    words[size] = '\0';
    return words;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "circuit/spice_line.h"

#include "base/text.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 1000000, MOST_LINES = 20000, LONGEST_LINE = 8000, LONGEST_NAME = 64 };

/// What cutting a text into lines needs to know.
typedef struct {
    const tl_input* in;
    size_t number; ///< of the line of the file, from 1
    tl_spice_lines* lines;
    bool ended; ///< `.end` was seen
    tl_error* error;
} cutting;

tl_place tl_spice_place(const tl_spice_line* line, size_t at) {
    size_t i = line->seam_count;
    while (i > 1 && line->seams[i - 1].at > at)
        --i;
    const tl_seam* seam = &line->seams[i - 1];
    return (tl_place){line->in, seam->line, seam->column + (at - seam->at)};
}

tl_place tl_piece_place(tl_piece piece) {
    return tl_spice_place(piece.line, piece.at);
}

bool tl_piece_is(tl_piece piece, const char* words) {
    return piece.size == strlen(words) &&
           memcmp(piece.line->text + piece.at, words, piece.size) == 0;
}

bool tl_piece_same(tl_piece a, tl_piece b) {
    return a.size == b.size && memcmp(a.line->text + a.at, b.line->text + b.at, a.size) == 0;
}

char* tl_piece_raw(tl_piece piece) {
    char* words = tl_new(piece.size + 1, 1);
    memcpy(words, piece.line->raw + piece.at, piece.size);
    return words;
}

char* tl_piece_copy(tl_piece piece) {
    char* words = tl_new(piece.size + 1, 1);
    memcpy(words, piece.line->text + piece.at, piece.size);
    return words;
}

void tl_spice_lines_free(tl_spice_lines* lines) {
    for (size_t i = 0; i < lines->count; ++i) {
        free(lines->lines[i].text);
        free(lines->lines[i].raw);
        free(lines->lines[i].seams);
    }
    free(lines->lines);
    *lines = (tl_spice_lines){0};
}

static tl_status refuse(const cutting* c, size_t column, const char* words) {
    const tl_place place = {c->in, c->number, column + 1};
    return tl_error_at(c->error, &place, "%s", words);
}

/// What is refused in comments too: nothing here is worth a guess at who reads it next.
static tl_status check_bytes(const cutting* c, const char* line, size_t size) {
    for (size_t i = 0; i < size; ++i) {
        unsigned char byte = (unsigned char)line[i];
        if (byte == '`')
            return refuse(c, i,
                          "a back-quote: ngspice would run what follows as a command, so none may "
                          "stand anywhere, not even in a comment");
        if ((byte < 0x20 && byte != '\t') || byte == 0x7f)
            return refuse(c, i, "a control character: this is no SPICE text");
    }
    return TL_OK;
}

/// How much of a line is left once its comment is gone.
static size_t strip_comment(const char* line, size_t size) {
    size_t first = 0;
    while (first < size && isspace((unsigned char)line[first]))
        ++first;
    if (first == size || line[first] == '*')
        return 0;
    size_t end = first;
    for (; end < size; ++end) {
        char before = ' ';
        if (end)
            before = line[end - 1];
        bool dollar = line[end] == '$' && (before == ' ' || before == '\t' || before == ',');
        if (line[end] == ';' || dollar ||
            (line[end] == '/' && end + 1 < size && line[end + 1] == '/'))
            break;
    }
    while (end > first && isspace((unsigned char)line[end - 1]))
        --end;
    return end == first ? 0 : end;
}

static tl_status check_signs(const cutting* c, const char* line, size_t size) {
    for (size_t i = 0; i < size; ++i) {
        if ((unsigned char)line[i] >= 0x80)
            return refuse(c, i, "a letter outside ASCII: it may stand in a comment only");
        if (strchr("\"\\$", line[i]))
            return refuse(c, i,
                          line[i] == '"' ? "a string in double quotes: nothing that is allowed "
                                           "here takes one (no file is ever opened for a circuit)"
                                         : "this sign may stand in a comment only");
    }
    return TL_OK;
}

/// Puts a piece of the file at the end of a joined line.
static tl_status join(const cutting* c, tl_spice_line* to, const char* line, size_t from,
                      size_t size) {
    if (to->size + size - from + 1 > LONGEST_LINE)
        return refuse(c, from, "a line of more than 8,000 characters, continuations included");
    size_t more = size - from;
    to->text = tl_grow(to->text, to->size + more + 2, 1);
    to->raw = tl_grow(to->raw, to->size + more + 2, 1);
    if (to->size) {
        to->text[to->size] = to->raw[to->size] = ' ';
        ++to->size;
    }
    to->seams = tl_grow(to->seams, to->seam_count + 1, sizeof *to->seams);
    to->seams[to->seam_count++] = (tl_seam){to->size, c->number, from + 1};
    for (size_t i = 0; i < more; ++i) {
        char sign = line[from + i];
        if (sign == '\t')
            sign = ' ';
        to->raw[to->size + i] = sign;
        to->text[to->size + i] = (char)(sign >= 'A' && sign <= 'Z' ? sign - 'A' + 'a' : sign);
    }
    to->size += more;
    to->text[to->size] = to->raw[to->size] = '\0';
    return TL_OK;
}

static tl_status take_line(cutting* c, const char* line, size_t size) {
    tl_status status = check_bytes(c, line, size);
    if (status != TL_OK)
        return status;
    size = strip_comment(line, size);
    if (!size)
        return TL_OK;
    status = check_signs(c, line, size);
    if (status != TL_OK)
        return status;
    size_t from = 0;
    while (isspace((unsigned char)line[from]))
        ++from;
    if (c->ended)
        return refuse(c, from, "text after .end");
    if (size - from == 4 && strncasecmp(line + from, ".end", 4) == 0) {
        c->ended = true;
        return TL_OK;
    }
    tl_spice_lines* lines = c->lines;
    if (line[from] == '+') {
        if (!lines->count)
            return refuse(c, from, "a continuation of nothing");
        return join(c, &lines->lines[lines->count - 1], line, from + 1, size);
    }
    if (lines->count == lines->capacity) {
        lines->capacity = lines->capacity ? 2 * lines->capacity : 64;
        lines->lines = tl_grow(lines->lines, lines->capacity, sizeof *lines->lines);
    }
    tl_spice_line* made = &lines->lines[lines->count++];
    *made = (tl_spice_line){.in = c->in};
    return join(c, made, line, from, size);
}

tl_status tl_spice_lines_read(const tl_input* input, tl_spice_lines* lines, tl_error* error) {
    static const char mark[] = "\xef\xbb\xbf"; // some editors put it in front of UTF-8
    cutting c = {.in = input, .lines = lines, .error = error};
    c.number = 1;
    if (input->size > MOST_BYTES)
        return refuse(&c, 0, "a circuit file of more than 1 MB");
    const char* at = input->text;
    const char* end = at + input->size;
    if (input->size >= 3 && memcmp(at, mark, 3) == 0)
        at += 3;
    for (; at < end; ++c.number) {
        if (c.number > MOST_LINES)
            return refuse(&c, 0, "a circuit file of more than 20,000 lines");
        const char* stop = memchr(at, '\n', (size_t)(end - at));
        size_t size = (size_t)((stop ? stop : end) - at);
        tl_status status = take_line(&c, at, size && at[size - 1] == '\r' ? size - 1 : size);
        if (status != TL_OK)
            return status;
        at = stop ? stop + 1 : end;
    }
    return TL_OK;
}

char tl_cursor_peek(tl_cursor* cursor, bool commas) {
    while (cursor->at < cursor->line->size && (cursor->line->text[cursor->at] == ' ' ||
                                               (commas && cursor->line->text[cursor->at] == ',')))
        ++cursor->at;
    return cursor->line->text[cursor->at];
}

bool tl_cursor_take(tl_cursor* cursor, char wanted) {
    if (tl_cursor_peek(cursor, false) != wanted)
        return false;
    ++cursor->at;
    return true;
}

static bool is_word_sign(char sign) {
    return sign && (isalnum((unsigned char)sign) || strchr("_+-.#!:/[]<>%&@|~^*", sign));
}

tl_piece tl_cursor_look(tl_cursor cursor) {
    tl_cursor_peek(&cursor, true);
    tl_piece piece = {cursor.line, cursor.at, 0};
    while (is_word_sign(cursor.line->text[piece.at + piece.size]))
        ++piece.size;
    return piece;
}

tl_piece tl_cursor_word(tl_cursor* cursor) {
    tl_piece piece = tl_cursor_look(*cursor);
    cursor->at = piece.at + piece.size;
    return piece;
}

bool tl_cursor_at_setting(tl_cursor cursor) {
    tl_piece name = tl_cursor_word(&cursor);
    return name.size && tl_cursor_peek(&cursor, false) == '=';
}

tl_place tl_cursor_place(const tl_cursor* cursor) {
    return tl_spice_place(cursor->line, cursor->at);
}

tl_status tl_cursor_name(tl_cursor* cursor, const char* what, tl_piece* name, tl_error* error) {
    *name = tl_cursor_word(cursor);
    tl_place place = tl_piece_place(*name);
    if (!name->size)
        return tl_error_at(error, &place, "expected %s", what);
    if (name->size > LONGEST_NAME)
        return tl_error_at(error, &place, "a name of more than %d letters", LONGEST_NAME);
    return TL_OK;
}

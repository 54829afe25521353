// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/text.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void no_memory(void) {
    static const char words[] = "toneload: out of memory\n";
    fputs(words, stderr);
    abort();
}

void* tl_new(size_t count, size_t size) {
    void* memory = calloc(count ? count : 1, size ? size : 1);
    if (!memory)
        no_memory();
    return memory;
}

void* tl_grow(void* memory, size_t count, size_t size) {
    if (size && count > SIZE_MAX / size)
        no_memory();
    size_t bytes = count * size;
    void* grown = realloc(memory, bytes ? bytes : 1);
    if (!grown)
        no_memory();
    return grown;
}

void* tl_grow_one(void* memory, size_t count, size_t size) {
    if (count & (count - 1))
        return memory;
    return tl_grow(memory, count ? 2 * count : 1, size);
}

void tl_words_free(char** words, size_t count) {
    for (size_t i = 0; i < count; ++i)
        free(words[i]);
    free(words);
}

char* tl_copy(const char* words) {
    if (!words)
        return NULL;
    size_t size = strlen(words) + 1;
    return memcpy(tl_new(size, 1), words, size);
}

char* tl_printf(const char* format, ...) {
    tl_text text = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&text, format, args);
    va_end(args);
    return tl_text_take(&text);
}

const char* tl_text_get(const tl_text* text) {
    return text->data ? text->data : "";
}

char* tl_text_take(tl_text* text) {
    char* data = text->data ? text->data : tl_new(1, 1);
    *text = (tl_text){0};
    return data;
}

void tl_text_free(tl_text* text) {
    free(text->data);
    *text = (tl_text){0};
}

void tl_text_clear(tl_text* text) {
    text->size = 0;
    if (text->data)
        text->data[0] = '\0';
}

static void reserve(tl_text* text, size_t more) {
    size_t need = text->size + more + 1;
    if (need <= text->capacity)
        return;
    size_t capacity = text->capacity ? text->capacity : 64;
    while (capacity < need)
        capacity *= 2;
    text->data = tl_grow(text->data, capacity, 1);
    text->capacity = capacity;
}

void tl_text_add_bytes(tl_text* text, const char* bytes, size_t size) {
    reserve(text, size);
    if (size)
        memcpy(text->data + text->size, bytes, size);
    text->size += size;
    text->data[text->size] = '\0';
}

void tl_text_add(tl_text* text, const char* words) {
    tl_text_add_bytes(text, words, strlen(words));
}

void tl_text_addv(tl_text* text, const char* format, va_list args) {
    va_list again;
    va_copy(again, args);
    int size = vsnprintf(NULL, 0, format, args);
    if (size > 0) {
        reserve(text, (size_t)size);
        vsnprintf(text->data + text->size, (size_t)size + 1, format, again);
        text->size += (size_t)size;
    }
    va_end(again);
}

void tl_text_addf(tl_text* text, const char* format, ...) {
    va_list args;
    va_start(args, format);
    tl_text_addv(text, format, args);
    va_end(args);
}

/// Bytes of the well-formed UTF-8 character at `at`, or 0, and its code: RFC 3629's table, without
/// C0 and C1 controls.
static size_t decode(const unsigned char* at, uint32_t* decoded) {
    *decoded = at[0];
    if (at[0] < 0x80)
        return at[0] >= 0x20 && at[0] != 0x7f;
    size_t size = at[0] >= 0xf0 ? 4 : at[0] >= 0xe0 ? 3 : 2;
    uint32_t code = at[0] & (size == 4 ? 0x07u : size == 3 ? 0x0fu : 0x1fu);
    if (at[0] < 0xc2 || at[0] > 0xf4)
        return 0;
    for (size_t i = 1; i < size; ++i) {
        if ((at[i] & 0xc0) != 0x80)
            return 0;
        code = code << 6 | (at[i] & 0x3fu);
    }
    static const uint32_t least[] = {0, 0, 0x80, 0x800, 0x10000};
    bool fits = code >= least[size] && code <= 0x10ffff && !(code >= 0xd800 && code <= 0xdfff);
    *decoded = code;
    return fits && code >= 0xa0 ? size : 0;
}

/// The same without characters that break a line or turn its direction around (Bidi_Control of
/// Unicode's UAX 9; from memory).
static size_t visible(const unsigned char* at) {
    uint32_t code = 0;
    size_t size = decode(at, &code);
    bool turns = (code >= 0x202a && code <= 0x202e) || (code >= 0x2066 && code <= 0x2069) ||
                 code == 0x200e || code == 0x200f || code == 0x2028 || code == 0x2029 ||
                 code == 0x061c;
    return turns ? 0 : size;
}

size_t tl_text_character(const char* at) {
    uint32_t code = 0;
    return decode((const unsigned char*)at, &code);
}

bool tl_text_is_plain(const char* words) {
    const unsigned char* at = (const unsigned char*)words;
    while (*at) {
        size_t size = visible(at);
        if (!size)
            return false;
        at += size;
    }
    return true;
}

static void add_shown(tl_text* text, const char* words, bool ascii) {
    const unsigned char* at = (const unsigned char*)words;
    while (*at) {
        size_t size = visible(at);
        if (size && !(ascii && size > 1)) {
            tl_text_add_bytes(text, (const char*)at, size);
            at += size;
        } else {
            tl_text_addf(text, "\\x%02x", *at++);
        }
    }
}

void tl_text_add_safe(tl_text* text, const char* words) {
    add_shown(text, words, false);
}

void tl_text_add_ascii(tl_text* text, const char* words) {
    add_shown(text, words, true);
}

size_t tl_text_columns(const char* words) {
    size_t columns = 0;
    for (const unsigned char* at = (const unsigned char*)words; *at; ++at)
        columns += (*at & 0xc0) != 0x80;
    return columns;
}

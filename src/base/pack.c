// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/pack.h"

#include "base/symbol.h"

#include <dlfcn.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static __typeof__(crc32_z)* sum_up;

static void pack(tl_text* bytes, uint64_t number, size_t size) {
    char piece[8];
    for (size_t i = 0; i < size; ++i)
        piece[i] = (char)(unsigned char)(number >> 8 * i);
    tl_text_add_bytes(bytes, piece, size);
}

void tl_pack_u32(tl_text* bytes, uint32_t number) {
    pack(bytes, number, 4);
}

void tl_pack_u64(tl_text* bytes, uint64_t number) {
    pack(bytes, number, 8);
}

void tl_pack_f64(tl_text* bytes, double number) {
    uint64_t bits = 0;
    memcpy(&bits, &number, sizeof bits);
    pack(bytes, bits, 8);
}

void tl_pack_words(tl_text* bytes, const char* words) {
    size_t size = strlen(words);
    tl_pack_u32(bytes, (uint32_t)size);
    tl_text_add_bytes(bytes, words, size);
}

static uint64_t unpack(tl_unpack* from, size_t size) {
    uint64_t number = 0;
    if (from->left < size) {
        from->short_of = true;
        from->left = 0;
        return 0;
    }
    for (size_t i = 0; i < size; ++i)
        number |= (uint64_t)from->at[i] << 8 * i;
    from->at += size;
    from->left -= size;
    return number;
}

uint32_t tl_unpack_u32(tl_unpack* from) {
    return (uint32_t)unpack(from, 4);
}

uint64_t tl_unpack_u64(tl_unpack* from) {
    return unpack(from, 8);
}

double tl_unpack_f64(tl_unpack* from) {
    uint64_t bits = unpack(from, 8);
    double number = 0;
    memcpy(&number, &bits, sizeof number);
    return number;
}

size_t tl_unpack_count(tl_unpack* from, size_t least) {
    uint64_t count = tl_unpack_u64(from);
    if (count > from->left / least) {
        from->short_of = true;
        from->left = 0;
        return 0;
    }
    return (size_t)count;
}

char* tl_unpack_words(tl_unpack* from) {
    size_t size = tl_unpack_u32(from);
    if (size > from->left) {
        from->short_of = true;
        from->left = 0;
        size = 0;
    }
    char* words = tl_new(size + 1, 1);
    if (size)
        memcpy(words, from->at, size);
    from->at += size;
    from->left -= size;
    return words;
}

static void load(void) {
    void* library = dlopen("libz.so.1", RTLD_LAZY | RTLD_LOCAL);
    if (library && !tl_symbol_find(library, "crc32_z", &sum_up))
        sum_up = NULL;
}

tl_status tl_checksum_prepare(tl_error* error) {
    pthread_once(&once, load);
    return sum_up ? TL_OK
                  : tl_error_set(error, TL_FAILURE,
                                 "libz.so.1 cannot be loaded: it is needed for checksums");
}

uint32_t tl_checksum(uint32_t sum, const void* bytes, size_t size) {
    return (uint32_t)sum_up(sum, bytes, size);
}

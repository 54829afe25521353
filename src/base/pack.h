// SPDX-License-Identifier: GPL-3.0-or-later
/// @file pack.h Numbers and words as bytes, the same on every machine: little-endian.
#ifndef TL_BASE_PACK_H
#define TL_BASE_PACK_H

#include "base/text.h"
#include "toneload/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void tl_pack_u32(tl_text* bytes, uint32_t number);
void tl_pack_u64(tl_text* bytes, uint64_t number);
void tl_pack_f64(tl_text* bytes, double number);
/// Words with their length before them.
void tl_pack_words(tl_text* bytes, const char* words);

/// Bytes being read. `short_of` is set, and stays, when there were fewer than asked for; what is
/// read from then on is 0 or "".
typedef struct {
    const unsigned char* at;
    size_t left;
    bool short_of;
} tl_unpack;

uint32_t tl_unpack_u32(tl_unpack* from);
uint64_t tl_unpack_u64(tl_unpack* from);
double tl_unpack_f64(tl_unpack* from);
/// A count of things of which each takes at least `least` bytes: never more than could be there.
size_t tl_unpack_count(tl_unpack* from, size_t least);
/// Free with free().
char* tl_unpack_words(tl_unpack* from);

/// CRC-32 (as in IEEE 802.3) of some bytes, going on from `sum`, which is 0 at first.
uint32_t tl_checksum(uint32_t sum, const void* bytes, size_t size);
/// Loads zlib, which computes it. TL_FAILURE when it cannot be.
tl_status tl_checksum_prepare(tl_error* error);

#endif

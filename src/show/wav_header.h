// SPDX-License-Identifier: GPL-3.0-or-later
/// @file wav_header.h What a WAV file says of itself, held against how long it is.
///
/// libsndfile reads a file that was cut short as if it were whole; here that is an error.
#ifndef TL_SHOW_WAV_HEADER_H
#define TL_SHOW_WAV_HEADER_H

#include <stdint.h>

typedef struct {
    const char* samples; ///< "24 bit"
    unsigned channels;
    uint32_t rate_hz;
    unsigned frame_bytes;
    uint64_t data_bytes; ///< as the header says, and as there are
} tl_wav_header;

/// Reads the header of a file opened for reading. Returns NULL, or (free with free()) what is wrong
/// with it, in words that go behind "FILE: ".
char* tl_wav_header_read(int file, tl_wav_header* header);

#endif

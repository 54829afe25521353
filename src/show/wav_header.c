// SPDX-License-Identifier: GPL-3.0-or-later
// Chunks of RIFF and RF64 files (Microsoft and IBM, "Multimedia Programming Interface and Data
// Specifications", 1991; EBU Tech 3306; both from memory).
#include "show/wav_header.h"

#include "base/text.h"
#include "toneload/sound.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { CHUNK_HEAD = 8, FORMAT_SIZE = 16, EXTENSIBLE_SIZE = 40, DS64_SIZE = 16 };
enum { TAG_PCM = 1, TAG_FLOAT = 3, TAG_EXTENSIBLE = 0xfffe };

/// Kinds of samples that are taken.
static const struct {
    unsigned tag;
    unsigned bits;
    const char* words;
} kinds[] = {
    {TAG_PCM, 8, "8 bit"},   {TAG_PCM, 16, "16 bit"},  {TAG_PCM, 24, "24 bit"},
    {TAG_PCM, 32, "32 bit"}, {TAG_FLOAT, 32, "float"}, {TAG_FLOAT, 64, "64-bit float"},
};

/// What is known while the chunks are gone through.
typedef struct {
    int file;
    uint64_t size;
    tl_wav_header* header;
    bool format_seen;
    bool data_seen;
    uint64_t long_data_bytes; ///< of RF64
} walk;

static uint32_t number(const unsigned char* at, int bytes) {
    uint32_t value = 0;
    for (int i = bytes; i-- > 0;)
        value = value << 8 | at[i];
    return value;
}

static bool read_at(const walk* w, uint64_t offset, void* bytes, size_t size) {
    return pread(w->file, bytes, size, (off_t)offset) == (ssize_t)size;
}

static char* cut_short(void) {
    return tl_copy("is cut short: its header ends too early");
}

static char* check_format(tl_wav_header* header, unsigned tag, unsigned bits) {
    if (header->channels == 0)
        return tl_copy("has 0 channels: expected mono or stereo");
    if (header->channels > 2)
        return tl_printf("has %u channels: expected mono or stereo", header->channels);
    if (header->rate_hz < TL_LOWEST_RATE_HZ || header->rate_hz > TL_HIGHEST_RATE_HZ)
        return tl_printf("has a sampling rate of %" PRIu32 " Hz: expected one from %d Hz to %d Hz",
                         header->rate_hz, TL_LOWEST_RATE_HZ, TL_HIGHEST_RATE_HZ);
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; ++i)
        if (kinds[i].tag == tag && kinds[i].bits == bits)
            header->samples = kinds[i].words;
    if (!header->samples)
        return tl_printf("holds samples of format %u with %u bits: expected 16, 24 or 32 bit, or "
                         "float",
                         tag, bits);
    if (header->frame_bytes != header->channels * bits / 8)
        return tl_printf("says that %u channels of %u bits take %u bytes", header->channels, bits,
                         header->frame_bytes);
    return NULL;
}

/// The chunk `fmt `: what the samples are.
static char* read_format(walk* w, uint64_t at, uint64_t size) {
    unsigned char bytes[EXTENSIBLE_SIZE] = {0};
    if (size < FORMAT_SIZE || !read_at(w, at, bytes, FORMAT_SIZE))
        return cut_short();
    unsigned tag = number(bytes, 2);
    if (tag == TAG_EXTENSIBLE) {
        if (size < EXTENSIBLE_SIZE || !read_at(w, at, bytes, EXTENSIBLE_SIZE))
            return cut_short();
        tag = number(bytes + 24, 2); // the sub-format begins with the tag it stands for
    }
    w->header->channels = number(bytes + 2, 2);
    w->header->rate_hz = number(bytes + 4, 4);
    w->header->frame_bytes = number(bytes + 12, 2);
    w->format_seen = true;
    return check_format(w->header, tag, number(bytes + 14, 2));
}

/// The chunk `ds64` of RF64: sizes of 64 bits.
static char* read_long_sizes(walk* w, uint64_t at, uint64_t size) {
    unsigned char bytes[DS64_SIZE];
    if (size < sizeof bytes || !read_at(w, at, bytes, sizeof bytes))
        return cut_short();
    w->long_data_bytes = (uint64_t)number(bytes + 12, 4) << 32 | number(bytes + 8, 4);
    return NULL;
}

/// The chunk `data`: it must be as long as it says.
static char* check_data(walk* w, uint64_t at, uint64_t size) {
    w->data_seen = true;
    if (!w->format_seen)
        return tl_copy("says nothing of its format before the sound begins");
    if (size == UINT32_MAX && w->long_data_bytes)
        size = w->long_data_bytes;
    if (size > w->size - at)
        return tl_printf("is cut short: its header says %" PRIu64
                         " bytes of sound, there are %" PRIu64,
                         size, w->size - at);
    if (size < w->header->frame_bytes)
        return tl_copy("holds no sound");
    w->header->data_bytes = size;
    return NULL;
}

static char* read_chunk(walk* w, const unsigned char* head, uint64_t at, uint64_t size) {
    if (memcmp(head, "fmt ", 4) == 0)
        return read_format(w, at, size);
    if (memcmp(head, "ds64", 4) == 0)
        return read_long_sizes(w, at, size);
    return memcmp(head, "data", 4) == 0 ? check_data(w, at, size) : NULL;
}

char* tl_wav_header_read(int file, tl_wav_header* header) {
    struct stat about;
    unsigned char head[12];
    *header = (tl_wav_header){0};
    if (fstat(file, &about) != 0 || !S_ISREG(about.st_mode))
        return tl_copy(S_ISDIR(about.st_mode) ? "is a folder, expected a WAV file"
                                              : "is no file that can be read more than once");
    walk w = {.file = file, .size = (uint64_t)about.st_size, .header = header};
    if (w.size == 0)
        return tl_copy("is empty: expected a WAV file");
    if (!read_at(&w, 0, head, sizeof head) ||
        (memcmp(head, "RIFF", 4) != 0 && memcmp(head, "RF64", 4) != 0) ||
        memcmp(head + 8, "WAVE", 4) != 0)
        return tl_copy("is no WAV file");
    char* wrong = NULL;
    for (uint64_t at = sizeof head; !wrong && !w.data_seen;) {
        if (!read_at(&w, at, head, CHUNK_HEAD))
            return tl_copy(w.format_seen ? "holds no sound" : "is cut short: it has no format");
        const uint64_t size = number(head + 4, 4);
        at += CHUNK_HEAD;
        wrong = read_chunk(&w, head, at, size);
        at += size + size % 2;
    }
    return wrong;
}

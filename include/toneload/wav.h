// SPDX-License-Identifier: GPL-3.0-or-later
/// @file wav.h Recordings read, and sound sent through filters into files.
#ifndef TONELOAD_WAV_H
#define TONELOAD_WAV_H

#include "toneload/error.h"
#include "toneload/sound.h"

#include <stdbool.h>
#include <stddef.h>

/// A recording that was opened. Its samples are read as they are needed.
typedef struct tl_wav tl_wav;

typedef struct {
    unsigned rate_hz;
    unsigned channels;   ///< 1 or 2
    size_t frames;       ///< samples of each channel, at least 1
    const char* samples; ///< "16 bit", "24 bit", "32 bit", "float", ..
} tl_wav_about;

/// Opens a WAV (or RF64) file: mono or stereo, 16, 24 or 32 bit or float, 8 to 192 kHz.
/// TL_BAD_INPUT when it is none, is cut short, or holds no sound.
TL_API tl_status tl_wav_open(const char* path, tl_wav** wav, tl_error* error);
TL_API void tl_wav_free(tl_wav* wav);
TL_API tl_wav_about tl_wav_get_about(const tl_wav* wav);

/// One file to be written.
typedef struct {
    const char* name; ///< within the folder
    const tl_filter* filter;
    double level_db;       ///< added to the common gain: 0, or what matches the levels
    double gain_db;        ///< comes out: the gain of this file, that of its filter not counted
    double true_peak_dbtp; ///< comes out; -INFINITY for silence
} tl_sound_file;

/// A sound sent through filters, a file for each.
typedef struct {
    const char* folder; ///< made when it is missing
    tl_wav* recording;  ///< NULL: `samples`, mono
    const double* samples;
    size_t sample_count;
    unsigned rate_hz; ///< of `samples`
    tl_sound_file* files;
    size_t file_count;
    double highest_dbtp; ///< what the largest true peak of all files comes to
    double most_gain_db; ///< but the common gain is never more than this
    void (*progress)(void* context, size_t done, size_t total); ///< may be NULL
    void* context;
    size_t frames;  ///< comes out: of each file, the sound and the longest filter's end
    double gain_db; ///< comes out: the common gain
} tl_sound_job;

/// Renders every file: 32-bit float WAV (RF64 past 4 GB), all of one length, none before all are
/// whole. TL_BAD_INPUT when the recording holds what is no number, or would be overwritten;
/// TL_FAILURE when the folder cannot be written. What was there before is then untouched.
TL_API tl_status tl_sound_write(tl_sound_job* job, tl_error* error);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file wav.h Reading an open recording.
#ifndef TL_SHOW_WAV_H
#define TL_SHOW_WAV_H

#include "show/sndfile.h"
#include "toneload/wav.h"

/// The open file; owned by the recording.
int tl_wav_descriptor(const tl_wav* wav);
/// Goes back to the start.
tl_status tl_wav_rewind(tl_wav* wav, tl_error* error);
/// Reads up to `frames` frames, channels taking turns; `*got` is less only at the end.
/// TL_BAD_INPUT when one is no number, or the end comes too early.
tl_status tl_wav_read(tl_wav* wav, double* samples, size_t frames, size_t* got, tl_error* error);

#endif

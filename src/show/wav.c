// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/wav.h"

#include "base/text.h"
#include "show/wav_header.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/// Samples beyond this are no sound but a mistake: 120 dB above full scale.
static const double most_sample = 1e6;

struct tl_wav {
    const tl_sndfile* routines;
    char* shown; ///< the path, made safe to be read
    int file;
    SNDFILE* sound;
    tl_wav_about about;
    size_t at; ///< frames read
};

static tl_status bad(const tl_wav* wav, tl_error* error, const char* words) {
    return tl_error_set(error, TL_BAD_INPUT, "%s: %s", wav->shown, words);
}

static tl_status open_sound(tl_wav* wav, tl_error* error) {
    tl_wav_header header;
    char* wrong = tl_wav_header_read(wav->file, &header);
    if (wrong) {
        bad(wav, error, wrong);
        free(wrong);
        return TL_BAD_INPUT;
    }
    SF_INFO info = {0};
    wav->sound = wav->routines->open_fd(wav->file, SFM_READ, &info, SF_FALSE);
    if (!wav->sound)
        return bad(wav, error, wav->routines->words(NULL));
    wav->about = (tl_wav_about){.rate_hz = header.rate_hz,
                                .channels = header.channels,
                                .frames = (size_t)(header.data_bytes / header.frame_bytes),
                                .samples = header.samples};
    if ((size_t)info.frames != wav->about.frames || (unsigned)info.channels != header.channels)
        return bad(wav, error, "its header contradicts itself");
    return TL_OK;
}

tl_status tl_wav_open(const char* path, tl_wav** wav, tl_error* error) {
    *wav = NULL;
    const tl_sndfile* routines = tl_sndfile_get(error);
    if (!routines)
        return TL_FAILURE;
    tl_text shown = {0};
    tl_text_add_safe(&shown, path);
    tl_wav* opened = tl_new(1, sizeof *opened);
    *opened = (tl_wav){.routines = routines, .shown = tl_text_take(&shown)};
    opened->file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    tl_status status = TL_BAD_INPUT;
    if (opened->file < 0)
        tl_error_set(error, status, "%s: cannot be read: %s", opened->shown, strerror(errno));
    else
        status = open_sound(opened, error);
    if (status != TL_OK) {
        tl_wav_free(opened);
        return status;
    }
    *wav = opened;
    return TL_OK;
}

void tl_wav_free(tl_wav* wav) {
    if (!wav)
        return;
    if (wav->sound)
        wav->routines->close(wav->sound);
    if (wav->file >= 0)
        close(wav->file);
    free(wav->shown);
    free(wav);
}

tl_wav_about tl_wav_get_about(const tl_wav* wav) {
    return wav->about;
}

int tl_wav_descriptor(const tl_wav* wav) {
    return wav->file;
}

tl_status tl_wav_rewind(tl_wav* wav, tl_error* error) {
    wav->at = 0;
    return wav->routines->seek(wav->sound, 0, SEEK_SET) == 0
               ? TL_OK
               : bad(wav, error, wav->routines->words(wav->sound));
}

static tl_status check_samples(const tl_wav* wav, const double* samples, size_t count,
                               tl_error* error) {
    for (size_t i = 0; i < count; ++i) {
        if (fabs(samples[i]) <= most_sample)
            continue;
        const size_t frame = wav->at + i / wav->about.channels;
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: sample %zu (at %.3f s) is %s: expected numbers around -1 to 1",
                            wav->shown, frame, (double)frame / wav->about.rate_hz,
                            isnan(samples[i])   ? "not a number"
                            : isinf(samples[i]) ? "infinite"
                                                : "far above full scale");
    }
    return TL_OK;
}

tl_status tl_wav_read(tl_wav* wav, double* samples, size_t frames, size_t* got, tl_error* error) {
    const size_t left = wav->about.frames - wav->at;
    const size_t wanted = frames < left ? frames : left;
    *got = wanted;
    if (wanted == 0)
        return TL_OK;
    if (wav->routines->read(wav->sound, samples, (sf_count_t)wanted) != (sf_count_t)wanted)
        return bad(wav, error, "ends before its header says it should");
    tl_status status = check_samples(wav, samples, wanted * wav->about.channels, error);
    wav->at += wanted;
    return status;
}

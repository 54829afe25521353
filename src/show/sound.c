// SPDX-License-Identifier: GPL-3.0-or-later
// Sound through filters into files, in two passes: the first finds the true peak that each comes
// out with, the second puts the common gain on and writes. To filter twice is quicker than to write
// twice. Nothing is held but a block, and no file has its name before all are whole.
#include "base/draft.h"
#include "base/text.h"
#include "show/sndfile.h"
#include "show/wav.h"

#include <errno.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_CHANNELS = 2 };
/// A RIFF file's sizes have 32 bits; beyond this RF64 is written.
static const double most_riff_bytes = 4.0e9;

/// One file while it is written.
typedef struct {
    tl_sound_file* about;
    tl_draft* draft;
    SNDFILE* sound;
    double peak; ///< true peak before any gain
} output;

/// The whole job while it is under way.
typedef struct {
    tl_sound_job* job;
    const tl_sndfile* routines;
    output* outputs;
    unsigned channels;
    unsigned rate_hz;
    size_t in_frames;
    size_t done;   ///< frames, of all passes over all files
    bool measures; ///< the first pass
} rendering;

/// What one filter works with.
typedef struct {
    tl_convolver* convolvers[MOST_CHANNELS];
    tl_true_peak peaks[MOST_CHANNELS];
    size_t block;
    double* mixed; ///< a block, channels taking turns
    double* in;
    double* out;
} filtering;

static void tell_progress(rendering* r, size_t frames) {
    r->done += frames;
    if (r->job->progress)
        r->job->progress(r->job->context, r->done, 2 * r->job->file_count * r->job->frames);
}

static tl_status cannot_write(const rendering* r, const output* to, tl_error* error) {
    const int trouble = errno;
    tl_text shown = {0};
    tl_text_add_safe(&shown, r->job->folder);
    tl_error_set(error, TL_FAILURE, "%s/%s: cannot be written: %s", tl_text_get(&shown),
                 to->about->name, trouble ? strerror(trouble) : r->routines->words(to->sound));
    tl_text_free(&shown);
    return TL_FAILURE;
}

/// The sound's next frames, and zeros after its end.
static tl_status read_block(const rendering* r, size_t at, double* mixed, size_t block,
                            tl_error* error) {
    size_t got = 0;
    tl_status status = TL_OK;
    if (r->job->recording) {
        status = tl_wav_read(r->job->recording, mixed, block, &got, error);
    } else if (at < r->in_frames) {
        got = r->in_frames - at < block ? r->in_frames - at : block;
        memcpy(mixed, r->job->samples + at, got * sizeof *mixed);
    }
    memset(mixed + got * r->channels, 0, (block - got) * r->channels * sizeof *mixed);
    return status;
}

/// Filters a block of which `frames` frames belong to the answer, and puts a gain on it.
static void filter_block(const rendering* r, filtering* f, size_t frames, double gain) {
    for (unsigned channel = 0; channel < r->channels; ++channel) {
        for (size_t i = 0; i < f->block; ++i)
            f->in[i] = f->mixed[i * r->channels + channel];
        tl_convolver_run(f->convolvers[channel], f->in, f->out);
        if (r->measures)
            tl_true_peak_add(&f->peaks[channel], frames, f->out);
        for (size_t i = 0; i < f->block; ++i)
            f->mixed[i * r->channels + channel] = gain * f->out[i];
    }
}

static tl_status write_frames(const rendering* r, const output* to, const double* mixed,
                              size_t frames, tl_error* error) {
    errno = 0;
    if (r->routines->write(to->sound, mixed, (sf_count_t)frames) != (sf_count_t)frames)
        return cannot_write(r, to, error);
    return TL_OK;
}

static void free_filtering(filtering* f) {
    for (unsigned channel = 0; channel < MOST_CHANNELS; ++channel)
        tl_convolver_free(f->convolvers[channel]);
    free(f->mixed);
    free(f->in);
    free(f->out);
}

static tl_status new_filtering(const rendering* r, const tl_filter* filter, filtering* f,
                               tl_error* error) {
    *f = (filtering){0};
    for (unsigned channel = 0; channel < r->channels; ++channel) {
        f->convolvers[channel] = tl_convolver_new(filter, error);
        if (!f->convolvers[channel]) {
            free_filtering(f);
            return TL_FAILURE;
        }
    }
    f->block = tl_convolver_block(f->convolvers[0]);
    f->mixed = tl_new(f->block * r->channels, sizeof *f->mixed);
    f->in = tl_new(f->block, sizeof *f->in);
    f->out = tl_new(f->block, sizeof *f->out);
    return TL_OK;
}

/// The largest true peak of all channels, with what the meters still hold.
static double finish_peaks(filtering* f, unsigned channels) {
    static const double silence[11];
    double peak = 0;
    for (unsigned channel = 0; channel < channels; ++channel) {
        tl_true_peak_add(&f->peaks[channel], 11, silence);
        peak = fmax(peak, f->peaks[channel].peak);
    }
    return peak;
}

/// One pass of the sound through one filter: the first measures, the second writes.
static tl_status render(rendering* r, output* to, tl_error* error) {
    const double gain = r->measures ? 1 : pow(10, to->about->gain_db / 20);
    filtering f;
    tl_status status = new_filtering(r, to->about->filter, &f, error);
    if (status != TL_OK)
        return status;
    if (r->job->recording)
        status = tl_wav_rewind(r->job->recording, error);
    for (size_t at = 0; status == TL_OK && at < r->job->frames; at += f.block) {
        const size_t left = r->job->frames - at;
        const size_t frames = left < f.block ? left : f.block;
        status = read_block(r, at, f.mixed, f.block, error);
        if (status != TL_OK)
            break;
        filter_block(r, &f, frames, gain);
        if (!r->measures)
            status = write_frames(r, to, f.mixed, frames, error);
        tell_progress(r, frames);
    }
    if (r->measures)
        to->peak = finish_peaks(&f, r->channels);
    free_filtering(&f);
    return status;
}

static double in_db(double ratio) {
    return ratio > 0 ? 20 * log10(ratio) : -INFINITY;
}

/// One gain for all, so that the loudest comes out where it is wanted. Silence stays as it is.
static void choose_gain(const rendering* r) {
    double loudest_db = -INFINITY;
    for (size_t i = 0; i < r->job->file_count; ++i)
        loudest_db = fmax(loudest_db, in_db(r->outputs[i].peak) + r->outputs[i].about->level_db);
    r->job->gain_db =
        isinf(loudest_db) ? 0 : fmin(r->job->highest_dbtp - loudest_db, r->job->most_gain_db);
    for (size_t i = 0; i < r->job->file_count; ++i) {
        tl_sound_file* about = r->outputs[i].about;
        about->gain_db = r->job->gain_db + about->level_db;
        about->true_peak_dbtp = in_db(r->outputs[i].peak) + about->gain_db;
    }
}

/// Whether a file that is to be written is the recording itself.
static bool is_recording(const rendering* r, const char* path) {
    struct stat there;
    struct stat recording;
    return r->job->recording && stat(path, &there) == 0 &&
           fstat(tl_wav_descriptor(r->job->recording), &recording) == 0 &&
           there.st_dev == recording.st_dev && there.st_ino == recording.st_ino;
}

static tl_status open_output(rendering* r, output* to, tl_error* error) {
    char* path = tl_printf("%s/%s", r->job->folder, to->about->name);
    tl_status status = TL_OK;
    if (is_recording(r, path))
        status = tl_error_set(error, TL_BAD_INPUT,
                              "%s in the folder of the answer is the recording itself, which would "
                              "be lost: choose another folder",
                              to->about->name);
    if (status == TL_OK)
        status = tl_draft_open(path, &to->draft, error);
    free(path);
    if (status != TL_OK)
        return status;
    const double bytes = 4.0 * (double)r->job->frames * r->channels;
    SF_INFO info = {.samplerate = (int)r->rate_hz,
                    .channels = (int)r->channels,
                    .format = SF_FORMAT_FLOAT |
                              (bytes > most_riff_bytes ? SF_FORMAT_RF64 : SF_FORMAT_WAV)};
    errno = 0;
    // Opened for reading and writing, it gets no PEAK chunk, which would hold the time of day.
    to->sound = r->routines->open_fd(tl_draft_descriptor(to->draft), SFM_RDWR, &info, SF_FALSE);
    if (!to->sound)
        return cannot_write(r, to, error);
    return TL_OK;
}

/// Writes what is left of a file, its header among it.
static tl_status close_output(const rendering* r, output* to, tl_error* error) {
    errno = 0;
    const int failed = r->routines->close(to->sound);
    to->sound = NULL;
    return failed ? cannot_write(r, to, error) : tl_draft_finish(to->draft, error);
}

static tl_status render_all(rendering* r, tl_error* error) {
    const size_t count = r->job->file_count;
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = open_output(r, &r->outputs[i], error);
    r->measures = true;
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = render(r, &r->outputs[i], error);
    if (status == TL_OK)
        choose_gain(r);
    r->measures = false;
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = render(r, &r->outputs[i], error);
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = close_output(r, &r->outputs[i], error);
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = tl_draft_keep(r->outputs[i].draft, error);
    return status;
}

/// Makes the folder when it is missing; `*made` says so.
static tl_status make_folder(const char* folder, bool* made, tl_error* error) {
    struct stat about;
    *made = mkdir(folder, 0777) == 0;
    if (*made || (errno == EEXIST && stat(folder, &about) == 0 && S_ISDIR(about.st_mode)))
        return TL_OK;
    tl_text shown = {0};
    tl_text_add_safe(&shown, folder);
    if (errno == EEXIST)
        tl_error_set(error, TL_FAILURE, "%s: is no folder", tl_text_get(&shown));
    else
        tl_error_set(error, TL_FAILURE, "%s: the folder cannot be made: %s", tl_text_get(&shown),
                     strerror(errno));
    tl_text_free(&shown);
    return TL_FAILURE;
}

static void free_outputs(rendering* r) {
    for (size_t i = 0; i < r->job->file_count; ++i) {
        if (r->outputs[i].sound)
            r->routines->close(r->outputs[i].sound);
        tl_draft_free(r->outputs[i].draft);
    }
    free(r->outputs);
}

/// Frames of every file: the sound, and what the longest filter has left at its end.
static size_t count_frames(const rendering* r) {
    size_t longest = 1;
    for (size_t i = 0; i < r->job->file_count; ++i) {
        size_t taps = 0;
        tl_filter_taps(r->job->files[i].filter, &taps);
        longest = taps > longest ? taps : longest;
    }
    return r->in_frames + longest - 1;
}

tl_status tl_sound_write(tl_sound_job* job, tl_error* error) {
    rendering r = {.job = job, .routines = tl_sndfile_get(error), .channels = 1};
    if (!r.routines)
        return TL_FAILURE;
    r.rate_hz = job->rate_hz;
    r.in_frames = job->sample_count;
    if (job->recording) {
        const tl_wav_about about = tl_wav_get_about(job->recording);
        r.rate_hz = about.rate_hz;
        r.channels = about.channels;
        r.in_frames = about.frames;
    }
    job->frames = count_frames(&r);
    bool made = false;
    tl_status status = make_folder(job->folder, &made, error);
    if (status != TL_OK)
        return status;
    r.outputs = tl_new(job->file_count, sizeof *r.outputs);
    for (size_t i = 0; i < job->file_count; ++i)
        r.outputs[i].about = &job->files[i];
    status = render_all(&r, error);
    free_outputs(&r);
    if (status != TL_OK && made)
        rmdir(job->folder); // empty, or else it stays
    return status;
}

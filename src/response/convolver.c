// SPDX-License-Identifier: GPL-3.0-or-later
// A filter at work: overlap-save convolution in equal partitions (Stockham, "High-speed convolution
// and correlation", AFIPS SJCC 1966; Wefers, "Partitioned convolution algorithms for real-time
// auralization", 2015; both from memory).
//
// A block is transformed together with the one before it; the spectra of earlier blocks are kept,
// each meets the part of the filter that lies as far back, and the second half of the sum's inverse
// is the block that belongs to it.
#include "toneload/sound.h"

#include "base/text.h"
#include "response/fft.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

struct tl_convolver {
    tl_fft* fft;
    size_t block;
    size_t bins;
    size_t parts;
    size_t now;                  ///< which of the spectra is the newest
    double _Complex* parts_bins; ///< the filter, part by part
    double _Complex* past_bins;  ///< spectra of the sound, a ring of as many
    double _Complex* sum;
    double* window; ///< two blocks
    double* result;
};

/// Blocks that keep the transforms in the cache and the parts few.
static size_t choose_block(size_t taps) {
    size_t block = 2048;
    while (block < 16384 && 8 * block < taps) {
        block *= 2;
    }
    return block;
}

static double _Complex* new_bins(size_t count) {
    return (double _Complex*)tl_fft_samples(2 * count);
}

static void load_filter(tl_convolver* c, const double* taps, size_t count) {
    for (size_t part = 0; part < c->parts; part++) {
        const size_t from = part * c->block;
        const size_t size = count - from < c->block ? count - from : c->block;
        memset(c->window, 0, 2 * c->block * sizeof *c->window);
        for (size_t i = 0; i < size; i++) {
            c->window[i] = taps[from + i] / (double)(2 * c->block); // the inverse does not scale
        }
        tl_fft_forward(c->fft, c->window, c->parts_bins + part * c->bins);
    }
    memset(c->window, 0, 2 * c->block * sizeof *c->window);
}

tl_convolver* tl_convolver_new(const tl_filter* filter, tl_error* error) {
    size_t count = 0;
    const double* taps = tl_filter_taps(filter, &count);
    const size_t block = choose_block(count);
    tl_fft* fft = tl_fft_new(2 * block, error);
    if (!fft) {
        return NULL;
    }
    tl_convolver* c = tl_new(1, sizeof *c);
    *c = (tl_convolver){.fft = fft, .block = block, .bins = block + 8};
    c->parts = (count + block - 1) / block;
    c->parts_bins = new_bins(c->parts * c->bins);
    c->past_bins = new_bins(c->parts * c->bins);
    c->sum = new_bins(c->bins);
    c->window = tl_fft_samples(2 * block);
    c->result = tl_fft_samples(2 * block);
    load_filter(c, taps, count);
    return c;
}

void tl_convolver_free(tl_convolver* c) {
    if (!c) {
        return;
    }
    tl_fft_free(c->fft);
    tl_fft_free_samples(c->parts_bins);
    tl_fft_free_samples(c->past_bins);
    tl_fft_free_samples(c->sum);
    tl_fft_free_samples(c->window);
    tl_fft_free_samples(c->result);
    free(c);
}

size_t tl_convolver_block(const tl_convolver* c) {
    return c->block;
}

// In parts of its own on purpose: C's complex product checks for infinities, and this is the
// innermost loop.
static void add_product(double* restrict sum, const double* restrict a, const double* restrict b,
                        size_t bins) {
    for (size_t i = 0; i < 2 * bins; i += 2) {
        sum[i] += a[i] * b[i] - a[i + 1] * b[i + 1];
        sum[i + 1] += a[i] * b[i + 1] + a[i + 1] * b[i];
    }
}

void tl_convolver_run(tl_convolver* c, const double* in, double* out) {
    memcpy(c->window, c->window + c->block, c->block * sizeof *c->window);
    memcpy(c->window + c->block, in, c->block * sizeof *c->window);
    c->now = (c->now + c->parts - 1) % c->parts;
    tl_fft_forward(c->fft, c->window, c->past_bins + c->now * c->bins);
    memset(c->sum, 0, c->bins * sizeof *c->sum);
    for (size_t part = 0; part < c->parts; part++) {
        const size_t past = (c->now + part) % c->parts;
        add_product((double*)c->sum, (const double*)(c->parts_bins + part * c->bins),
                    (const double*)(c->past_bins + past * c->bins), c->block + 1);
    }
    tl_fft_inverse(c->fft, c->sum, c->result);
    memcpy(out, c->result + c->block, c->block * sizeof *out);
}

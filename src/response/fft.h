// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fft.h Fourier transforms of real samples by FFTW, loaded when first asked for.
///
/// Only `listen` needs FFTW; linked, it would lengthen the start of every command.
#ifndef TL_RESPONSE_FFT_H
#define TL_RESPONSE_FFT_H

#include "toneload/error.h"

#include <stddef.h>

/// Transforms of one size. Used by one thread at a time.
typedef struct tl_fft tl_fft;

/// NULL when FFTW cannot be loaded. `size` is even.
tl_fft* tl_fft_new(size_t size, tl_error* error);
void tl_fft_free(tl_fft* fft);

/// Memory that the transforms can work on, zeroed; free with tl_fft_free_samples().
double* tl_fft_samples(size_t count);
void tl_fft_free_samples(void* memory);

/// From `size` samples to size/2 + 1 bins.
void tl_fft_forward(const tl_fft* fft, double* samples, double _Complex* bins);
/// And back, times `size`; what the bins held is lost.
void tl_fft_inverse(const tl_fft* fft, double _Complex* bins, double* samples);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/fft.h"

#include "base/symbol.h"
#include "base/text.h"

#include <complex.h>
#include <dlfcn.h>
#include <fftw3.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/// The routines of FFTW that are used.
typedef struct {
    __typeof__(fftw_plan_dft_r2c_1d)* plan_forward;
    __typeof__(fftw_plan_dft_c2r_1d)* plan_inverse;
    __typeof__(fftw_execute_dft_r2c)* forward;
    __typeof__(fftw_execute_dft_c2r)* inverse;
    __typeof__(fftw_destroy_plan)* destroy;
} fftw;

struct tl_fft {
    fftw_plan forward;
    fftw_plan inverse;
};

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static fftw routines;
static bool loaded;
// FFTW's planner is the one part of it that threads may not share.
static pthread_mutex_t planner = PTHREAD_MUTEX_INITIALIZER;

static void load(void) {
    void* library = dlopen("libfftw3.so.3", RTLD_LAZY | RTLD_LOCAL);
    loaded = library && tl_symbol_find(library, "fftw_plan_dft_r2c_1d", &routines.plan_forward) &&
             tl_symbol_find(library, "fftw_plan_dft_c2r_1d", &routines.plan_inverse) &&
             tl_symbol_find(library, "fftw_execute_dft_r2c", &routines.forward) &&
             tl_symbol_find(library, "fftw_execute_dft_c2r", &routines.inverse) &&
             tl_symbol_find(library, "fftw_destroy_plan", &routines.destroy);
}

double* tl_fft_samples(size_t count) {
    const size_t line = 64;
    const size_t bytes = (count * sizeof(double) / line + 1) * line;
    double* samples = aligned_alloc(line, bytes);
    if (!samples) {
        return tl_new(SIZE_MAX, 1); // ends the program as every other lack of memory does
    }
    memset(samples, 0, bytes);
    return samples;
}

void tl_fft_free_samples(void* memory) {
    free(memory);
}

// Plans are estimated, never measured: the same bytes come out on a busy machine.
tl_fft* tl_fft_new(size_t size, tl_error* error) {
    pthread_once(&once, load);
    if (!loaded) {
        tl_error_set(error, TL_FAILURE, "libfftw3.so.3 cannot be loaded: it is needed for sound");
        return NULL;
    }
    tl_fft* fft = tl_new(1, sizeof *fft);
    double* samples = tl_fft_samples(size);
    double* bins = tl_fft_samples(size + 2);
    pthread_mutex_lock(&planner);
    fft->forward = routines.plan_forward((int)size, samples, (fftw_complex*)bins, FFTW_ESTIMATE);
    fft->inverse = routines.plan_inverse((int)size, (fftw_complex*)bins, samples, FFTW_ESTIMATE);
    pthread_mutex_unlock(&planner);
    tl_fft_free_samples(samples);
    tl_fft_free_samples(bins);
    if (fft->forward && fft->inverse) {
        return fft;
    }
    tl_fft_free(fft);
    tl_error_set(error, TL_FAILURE, "FFTW cannot transform %zu samples", size);
    return NULL;
}

void tl_fft_free(tl_fft* fft) {
    if (!fft) {
        return;
    }
    pthread_mutex_lock(&planner);
    if (fft->forward) {
        routines.destroy(fft->forward);
    }
    if (fft->inverse) {
        routines.destroy(fft->inverse);
    }
    pthread_mutex_unlock(&planner);
    free(fft);
}

void tl_fft_forward(const tl_fft* fft, double* samples, double _Complex* bins) {
    routines.forward(fft->forward, samples, bins);
}

void tl_fft_inverse(const tl_fft* fft, double _Complex* bins, double* samples) {
    routines.inverse(fft->inverse, bins, samples);
}

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file closed_form.h A response whose figures are known on paper, and a folder to draw in.
#ifndef TL_TEST_CLOSED_FORM_H
#define TL_TEST_CLOSED_FORM_H

#include "toneload/response.h"

#include <complex.h>
#include <ftw.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

/// A second-order low-pass, gain / (1 + s / (Q w0) + (s / w0)^2), fitted from 41 samples, 10 Hz to
/// 100 kHz. Its peak lies at f0 sqrt(1 - 1 / (2 Q^2)) and is Q / sqrt(1 - 1 / (4 Q^2)) times the
/// gain high (by setting the derivative of |H|^2 to zero; computed).
static inline tl_response* low_pass(double f0_hz, double q, double gain) {
    enum { count = 41 };
    double hz[count];
    double _Complex h[count];
    for (int i = 0; i < count; ++i) {
        hz[i] = 10 * pow(10, 4.0 * i / (count - 1));
        double _Complex s = I * hz[i] / f0_hz;
        h[i] = gain / (1 + s / q + s * s);
    }
    double residual = 0;
    return tl_response_fit(count, hz, h, &residual);
}

static inline int remove_entry(const char* path, const struct stat* about, int kind,
                               struct FTW* place) {
    (void)about;
    (void)kind;
    (void)place;
    return remove(path);
}

/// Makes an empty folder and goes there.
static inline void enter_folder(char folder[64]) {
    snprintf(folder, 64, "/tmp/toneload-test-XXXXXX");
    if (!mkdtemp(folder) || chdir(folder) != 0)
        abort();
}

static inline void leave_folder(const char* folder) {
    if (chdir("/") != 0 || nftw(folder, remove_entry, 8, FTW_DEPTH | FTW_PHYS) != 0)
        abort();
}

#endif

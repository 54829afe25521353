// SPDX-License-Identifier: GPL-3.0-or-later
// True peak: the largest value between the samples, by interpolation to four times the rate.
#include "toneload/sound.h"

#include <math.h>
#include <string.h>

enum { PHASES = 4, TAPS = 12 };

// ITU-R BS.1770-5, annex 2: the interpolating filter of order 48 in four phases (transcribed from
// public copies of the table, which agree). Here the tap of the newest sample stands first, and the
// four phases of a tap together.
static const double table[TAPS][PHASES] = {
    {0.0017089843750, -0.0291748046875, -0.0189208984375, -0.0083007812500},
    {0.0109863281250, 0.0292968750000, 0.0330810546875, 0.0148925781250},
    {-0.0196533203125, -0.0517578125000, -0.0582275390625, -0.0266113281250},
    {0.0332031250000, 0.0891113281250, 0.1015625000000, 0.0476074218750},
    {-0.0594482421875, -0.1665039062500, -0.2003173828125, -0.1022949218750},
    {0.1373291015625, 0.4650878906250, 0.7797851562500, 0.9721679687500},
    {0.9721679687500, 0.7797851562500, 0.4650878906250, 0.1373291015625},
    {-0.1022949218750, -0.2003173828125, -0.1665039062500, -0.0594482421875},
    {0.0476074218750, 0.1015625000000, 0.0891113281250, 0.0332031250000},
    {-0.0266113281250, -0.0582275390625, -0.0517578125000, -0.0196533203125},
    {0.0148925781250, 0.0330810546875, 0.0292968750000, 0.0109863281250},
    {-0.0083007812500, -0.0189208984375, -0.0291748046875, 0.0017089843750},
};

/// The largest of the four values that end with `newest`, which has 11 samples before it.
static double interpolate(const double* newest) {
    double value[PHASES] = {0};
    for (int tap = 0; tap < TAPS; tap++) {
        for (int phase = 0; phase < PHASES; phase++) {
            value[phase] += table[tap][phase] * newest[-tap];
        }
    }
    const double one = fmax(fabs(value[0]), fabs(value[1]));
    const double two = fmax(fabs(value[2]), fabs(value[3]));
    return fmax(one, two);
}

// No phase of the table gives the samples themselves back, so they count beside it. The magnitudes
// of a phase add up to less than 2.1: a stretch whose samples stay under the peak by that much
// cannot hold a higher one, and is passed over.
void tl_true_peak_add(tl_true_peak* meter, size_t count, const double* samples) {
    enum { STRETCH = 256, PAST = TAPS - 1 };
    const double most_gain = 2.1;
    double window[PAST + STRETCH];
    while (count > 0) {
        const size_t size = count < STRETCH ? count : STRETCH;
        memcpy(window, meter->past, sizeof meter->past);
        memcpy(window + PAST, samples, size * sizeof *samples);
        double largest = 0.0;
        for (size_t i = 0; i < PAST + size; i++) {
            largest = fmax(largest, fabs(window[i]));
        }
        for (size_t i = 0; i < size && most_gain * largest > meter->peak; i++) {
            meter->peak = fmax(meter->peak, fabs(window[PAST + i]));
            meter->peak = fmax(meter->peak, interpolate(window + PAST + i));
        }
        memcpy(meter->past, window + size, sizeof meter->past);
        samples += size;
        count -= size;
    }
}

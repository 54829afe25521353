// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/pulse.h"

#include <math.h>

double tl_pulse_harmonic_a(const tl_part* part, unsigned n) {
    double height_a = tl_part_number(part, "pulse.current", 0);
    double duty = tl_part_number(part, "pulse.duty", 0);
    return 2 * height_a * fabs(sin(M_PI * n * duty)) / (M_PI * n) / sqrt(2);
}

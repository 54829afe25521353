// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/root.h"

#include <math.h>

double tl_root_find(tl_root_function* of, void* context, double low, double at_low, double high,
                    double at_high, double tolerance) {
    double root = 0.5 * (low + high);
    for (int round = 0; round < 100; ++round) {
        double middle = 0.5 * (low + high);
        double at_middle = of(context, middle);
        double scale = sqrt(at_middle * at_middle - at_low * at_high);
        if (isnan(at_middle))
            return NAN;
        if (!(scale > 0))
            return middle;
        double step = (middle - low) * at_middle / scale;
        double next = middle + (at_low >= at_high ? step : -step);
        double moved = fabs(next - root);
        root = next;
        if (round > 0 && moved <= tolerance * fabs(root))
            return root;
        double at_root = of(context, root);
        if (isnan(at_root) || at_root == 0)
            return isnan(at_root) ? NAN : root;
        if (signbit(at_middle) != signbit(at_root)) {
            low = fmin(middle, root);
            at_low = low == middle ? at_middle : at_root;
            high = fmax(middle, root);
            at_high = high == middle ? at_middle : at_root;
        } else if (signbit(at_low) != signbit(at_root)) {
            high = root;
            at_high = at_root;
        } else {
            low = root;
            at_low = at_root;
        }
        if (high - low <= tolerance * fabs(root))
            return root;
    }
    return root;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/e_series.h"

#include <math.h>
#include <string.h>

/// E24, from which E12, E6 and E3 take every second, fourth and eighth: settled before there was a
/// formula, which eight of these do not follow (qsl.net/g4usp, "Preferred values"; seen).
static const unsigned table[24] = {100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300,
                                   330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820, 910};

static const struct {
    unsigned steps;
    double share;
} rows[] = {{3, 0.4}, {6, 0.2}, {12, 0.1}, {24, 0.05}, {48, 0.02}, {96, 0.01}, {192, 0.005}};

const char* const tl_e_series_names[] = {"E3", "E6", "E12", "E24", "E48", "E96", "E192"};
const size_t tl_e_series_count = sizeof rows / sizeof *rows;

unsigned tl_e_series_find(const char* name) {
    for (size_t i = 0; i < tl_e_series_count; ++i)
        if (strcmp(tl_e_series_names[i], name) == 0)
            return rows[i].steps;
    return 0;
}

double tl_e_series_share(unsigned steps) {
    for (size_t i = 0; i < tl_e_series_count; ++i)
        if (rows[i].steps == steps)
            return rows[i].share;
    return 0;
}

/// E48 up: 10^(n/192) to three figures, but for 9.20, where the formula gives 9.19 (full tables of
/// E192 in several public programs agree; seen).
unsigned tl_e_series_figures(unsigned steps, unsigned index) {
    if (steps <= 24)
        return table[index * (24 / steps)];
    unsigned figures = (unsigned)lround(100 * pow(10, (double)index / steps));
    return figures == 919 ? 920 : figures;
}

/// The figures of a value before its power of ten: 100 to just under 1000. 100 mH is not quite
/// 0.1 H in binary, hence the nudge.
static double figures_of(double value, double* scale) {
    *scale = pow(10, floor(log10(value) + 1e-9) - 2);
    return value / *scale;
}

void tl_e_series_nearest(unsigned steps, double value, double* below, double* above) {
    const double rounding = 1e-6;
    double scale = 1;
    double figures = figures_of(value, &scale);
    unsigned index = 0;
    while (index < steps && tl_e_series_figures(steps, index) < figures * (1 - rounding))
        ++index;
    unsigned next = index < steps ? tl_e_series_figures(steps, index) : 1000;
    bool hit = next <= figures * (1 + rounding);
    *above = next * scale;
    *below = hit || index == 0 ? *above : tl_e_series_figures(steps, index - 1) * scale;
}

bool tl_e_series_has(unsigned steps, double value) {
    if (!(value > 0) || !isfinite(value))
        return false;
    double below = 0;
    double above = 0;
    tl_e_series_nearest(steps, value, &below, &above);
    return below == above;
}

unsigned tl_e_series_coarsest(double value) {
    static const unsigned usual[] = {6, 12, 24, 96};
    for (size_t i = 0; i < sizeof usual / sizeof *usual; ++i)
        if (tl_e_series_has(usual[i], value))
            return usual[i];
    return 0;
}

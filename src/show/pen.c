// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/pen.h"

#include "show/legend.h"

enum { full_circle = 7, full_square = 5, open_circle = 6, open_square = 4 };

/// Place of a curve among those of its kind, direct or not.
static size_t ordinal(const tl_trace* traces, size_t index) {
    size_t before = 0;
    for (size_t i = 0; i < index; ++i)
        before += traces[i].curve->direct == traces[index].curve->direct;
    return before;
}

/// Colours told apart by people with any colour vision: Okabe and Ito, Color Universal Design,
/// 2008 (from memory), without their yellow, which white paper swallows.
static tl_pen pen_of(size_t place, bool direct, size_t count) {
    static const char* const colours[] = {"#0072b2", "#d55e00", "#009e73",
                                          "#cc79a7", "#e69f00", "#56b4e9"};
    static const char* const dashes[] = {"solid",      "(14,5)", "(3,3)",
                                         "(12,4,3,4)", "(7,4)",  "(16,4,3,4,3,4)"};
    static const char* const greys[] = {"#303030", "#707070", "#505050"};
    static const char* const grey_dashes[] = {"(9,6)", "(4,4)", "(12,5,3,5)"};
    size_t round = place / 6;
    bool few = count <= TL_NOTED_CURVES, many = count > TL_FIGURED_CURVES;
    bool crowd = count > TL_LISTED_CURVES;
    double size = crowd ? 0.3 : many ? 0.45 : few ? 0.8 : 0.7;
    if (direct) {
        const char* grey = greys[place % 3];
        const char* dash = grey_dashes[place % 3];
        return (tl_pen){grey, grey, dash, many ? 1.6 : 1.8, open_circle, open_square, size * 1.35};
    }
    if (crowd)
        return (tl_pen){"#b80072b2", "#00456e", "solid", 0.8, full_circle, full_square, size};
    const char* colour = colours[(place + round) % 6];
    double width = few ? 2.6 : (round % 2 ? 2.8 : 1.8) * (many ? 0.6 : 1);
    return (tl_pen){colour, colour, dashes[place % 6], width, full_circle, full_square, size};
}

tl_pen tl_pen_at(size_t place, bool direct) {
    return pen_of(place, direct, 1);
}

tl_pen tl_pen_of(const tl_trace* traces, size_t count, size_t index) {
    return pen_of(ordinal(traces, index), traces[index].curve->direct, count);
}

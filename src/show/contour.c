// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/contour.h"

#include "base/text.h"

#include <math.h>

/// A corner of a square.
typedef struct {
    double x, y, z;
} corner;

static corner corner_at(const tl_map_plot* map, size_t i, size_t j) {
    return (corner){map->x[i], map->y[j], map->z[i * map->y_count + j]};
}

/// Where the line crosses the four sides of a square, in turn; returns how many crossings.
static int cross_sides(const corner corners[4], double level, double x[4], double y[4]) {
    int count = 0;
    for (int k = 0; k < 4; ++k) {
        const corner* a = &corners[k];
        const corner* b = &corners[(k + 1) % 4];
        if ((a->z < level) == (b->z < level))
            continue;
        double t = (level - a->z) / (b->z - a->z);
        x[count] = a->x + t * (b->x - a->x);
        y[count++] = a->y + t * (b->y - a->y);
    }
    return count;
}

tl_segment* tl_contour_trace(const tl_map_plot* map, double level, size_t* count) {
    size_t room = 2 * map->x_count * map->y_count;
    tl_segment* segments = tl_new(room, sizeof *segments);
    *count = 0;
    for (size_t i = 0; i + 1 < map->x_count; ++i)
        for (size_t j = 0; j + 1 < map->y_count; ++j) {
            const corner corners[4] = {corner_at(map, i, j), corner_at(map, i + 1, j),
                                       corner_at(map, i + 1, j + 1), corner_at(map, i, j + 1)};
            double x[4];
            double y[4];
            if (!isfinite(corners[0].z + corners[1].z + corners[2].z + corners[3].z))
                continue;
            int crossings = cross_sides(corners, level, x, y);
            for (int k = 0; k + 1 < crossings; k += 2)
                segments[(*count)++] = (tl_segment){{x[k], x[k + 1]}, {y[k], y[k + 1]}};
        }
    return segments;
}

double tl_contour_step(const tl_map_plot* map, double* first, double* last, bool* holes) {
    double least = INFINITY;
    double most = -INFINITY;
    *holes = false;
    for (size_t i = 0; i < map->x_count * map->y_count; ++i) {
        *holes = *holes || !isfinite(map->z[i]);
        if (isfinite(map->z[i])) {
            least = fmin(least, map->z[i]);
            most = fmax(most, map->z[i]);
        }
    }
    double raw = (most - least) / 8;
    *last = most;
    *first = least;
    if (!(raw > 0) || !isfinite(raw))
        return 0;
    double power = pow(10, floor(log10(raw)));
    double times = raw / power;
    double step = power * (times < 1.5 ? 1 : times < 3.5 ? 2 : times < 7.5 ? 5 : 10);
    *first = step * ceil(least / step);
    return step;
}

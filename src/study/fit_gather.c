// SPDX-License-Identifier: GPL-3.0-or-later
// A sweep made ready: a million frequencies say no more than their means in narrow bands, since
// what they are fitted with is smooth.
#include "base/statistics.h"
#include "base/text.h"
#include "study/fit_solve.h"

#include <math.h>
#include <stdlib.h>

static double middle_of(double* numbers, size_t count, bool by_median) {
    if (by_median) {
        qsort(numbers, count, sizeof *numbers, tl_compare_doubles);
        return tl_quantile_sorted(numbers, count, 0.5);
    }
    double sum = 0;
    for (size_t i = 0; i < count; ++i)
        sum += numbers[i];
    return sum / (double)count;
}

/// Phases near the band's first one, so that their mean is not split by the turn of the circle.
static double near_rad(double rad, double to_rad) {
    return to_rad + remainder(rad - to_rad, 2 * M_PI);
}

/// Adds the frequencies `from` to `to` of the sweep as one. `room` holds as many numbers.
static void add_band(const tl_measured* sweep, size_t from, size_t to, bool by_median, double* room,
                     tl_fit_data* data) {
    size_t count = to - from;
    size_t at = data->count++;
    double ln_hz = 0;
    for (size_t i = from; i < to; ++i)
        ln_hz += log(sweep->hz[i]);
    data->omega[at] = 2 * M_PI * (count == 1 ? sweep->hz[from] : exp(ln_hz / (double)count));
    for (size_t i = from; i < to; ++i)
        room[i - from] = log(sweep->size[i]);
    data->ln_size[at] = middle_of(room, count, by_median);
    for (size_t i = from; i < to && sweep->phase_rad; ++i)
        room[i - from] = near_rad(sweep->phase_rad[i], sweep->phase_rad[from]);
    if (sweep->phase_rad)
        data->phase_rad[at] = middle_of(room, count, by_median);
    data->root_weight[at] = sqrt((double)count);
}

void tl_fit_gather(const tl_measured* sweep, size_t most, bool by_median, tl_fit_data* data) {
    size_t count = sweep->count;
    size_t points = count < most ? count : most;
    *data = (tl_fit_data){.kind = sweep->kind,
                          .omega = tl_new(points, sizeof *data->omega),
                          .ports = tl_new(points, sizeof *data->ports),
                          .ln_size = tl_new(points, sizeof *data->ln_size),
                          .root_weight = tl_new(points, sizeof *data->root_weight)};
    if (sweep->phase_rad)
        data->phase_rad = tl_new(points, sizeof *data->phase_rad);
    double* room = tl_new(count, sizeof *room);
    double low = log(sweep->hz[0]);
    double width = (log(sweep->hz[count - 1]) - low) / (double)points * (1 + 1e-12);
    double band = -1;
    for (size_t from = 0; from < count;) {
        size_t to = from + 1;
        band = fmax(band + 1, floor((log(sweep->hz[from]) - low) / width));
        while (count > most && to < count && log(sweep->hz[to]) < low + (band + 1) * width)
            ++to;
        add_band(sweep, from, to, by_median, room, data);
        from = to;
    }
    free(room);
}

tl_fit_data tl_fit_thin_out(const tl_fit_data* data, size_t about) {
    size_t step = data->count > about ? data->count / about : 1;
    size_t count = (data->count + step - 1) / step;
    tl_fit_data thin = {.kind = data->kind,
                        .count = count,
                        .omega = tl_new(count, sizeof *thin.omega),
                        .ports = tl_new(count, sizeof *thin.ports),
                        .ln_size = tl_new(count, sizeof *thin.ln_size),
                        .root_weight = tl_new(count, sizeof *thin.root_weight)};
    if (data->phase_rad)
        thin.phase_rad = tl_new(count, sizeof *thin.phase_rad);
    for (size_t i = 0; i < count; ++i) {
        thin.omega[i] = data->omega[i * step];
        thin.ports[i] = data->ports[i * step];
        thin.ln_size[i] = data->ln_size[i * step];
        thin.root_weight[i] = data->root_weight[i * step];
        if (data->phase_rad)
            thin.phase_rad[i] = data->phase_rad[i * step];
    }
    return thin;
}

void tl_fit_data_clear(tl_fit_data* data) {
    free(data->omega);
    free(data->ports);
    free(data->ln_size);
    free(data->phase_rad);
    free(data->root_weight);
    *data = (tl_fit_data){0};
}

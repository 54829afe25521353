// SPDX-License-Identifier: GPL-3.0-or-later
// toneload sweep: a figure against one value, or over two.
#include "cli/comparison.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// The figures a sweep is asked for, at every point: [amp * points + point].
typedef struct {
    const tl_sweep* sweep;
    const tl_figure_kind* kind;
    size_t amps;
    double* values;
    char* label; ///< "peak (Hz)"
} figure_grid;

static figure_grid read_grid(const tl_sweep* sweep, size_t figure) {
    const tl_comparison* all = sweep->comparison;
    figure_grid grid = {sweep, tl_figure_kind_at(figure), all->variants[0].answer->count / 2, NULL,
                        NULL};
    grid.values = calloc(grid.amps * all->count, sizeof *grid.values);
    if (!grid.values || asprintf(&grid.label, *grid.kind->unit ? "%s (%s)" : "%s%s",
                                 grid.kind->title, grid.kind->unit) < 0)
        abort();
    for (size_t amp = 0; amp < grid.amps; ++amp)
        for (size_t i = 0; i < all->count; ++i)
            grid.values[amp * all->count + i] =
                tl_figure_of(&all->variants[i].answer->solved[2 * amp], figure);
    return grid;
}

static void grid_free(figure_grid* grid) {
    free(grid->values);
    free(grid->label);
}

/// One line an amp, over the value swept.
static tl_status draw_line(const figure_grid* grid, const char* title, const char* path,
                           tl_error* error) {
    const tl_axis* axis = &grid->sweep->axes[0];
    tl_series* series = calloc(grid->amps, sizeof *series);
    if (!series)
        abort();
    for (size_t amp = 0; amp < grid->amps; ++amp)
        series[amp] =
            (tl_series){.label = grid->sweep->comparison->variants[0].answer->solved[2 * amp].amp,
                        .y = grid->values + amp * axis->count};
    tl_metric_plot plot = {.title = title,
                           .x_label = axis->label,
                           .y_label = grid->label,
                           .x = axis->values,
                           .count = axis->count,
                           .series = series,
                           .series_count = grid->amps};
    tl_status status = tl_metric_draw(&plot, path, error);
    free(series);
    return status;
}

/// A map over two values, at the first amp.
static tl_status draw_map(const figure_grid* grid, const char* title, const char* path,
                          tl_error* error) {
    const tl_axis* axes = grid->sweep->axes;
    const char* amp = grid->sweep->comparison->variants[0].answer->solved[0].amp;
    char* label = NULL;
    if (asprintf(&label, "%s%s%s", grid->label, grid->amps > 1 ? " at amp " : "",
                 grid->amps > 1 ? amp : "") < 0)
        abort();
    tl_map_plot plot = {.title = title,
                        .x_label = axes[0].label,
                        .y_label = axes[1].label,
                        .z_label = label,
                        .x = axes[0].values,
                        .x_count = axes[0].count,
                        .y = axes[1].values,
                        .y_count = axes[1].count,
                        .z = grid->values};
    tl_status status = tl_map_draw(&plot, path, error);
    free(label);
    return status;
}

static tl_status draw(const request* asked, const tl_sweep* sweep, const char* title, size_t figure,
                      tl_error* error) {
    figure_grid grid = read_grid(sweep, figure);
    tl_status status = sweep->axis_count == 1 ? draw_line(&grid, title, asked->plot, error)
                                              : draw_map(&grid, title, asked->plot, error);
    grid_free(&grid);
    return status;
}

static tl_status show(const request* asked, tl_rig* rig, const tl_sweep* sweep, size_t figure,
                      tl_error* error) {
    comparison_view view = comparison_look(asked, "sweep", &rig, sweep->comparison);
    tl_status status = asked->plot ? draw(asked, sweep, view.title, figure, error) : TL_OK;
    if (status == TL_OK && asked->curves)
        status = comparison_draw(&view, asked->curves, error);
    return status == TL_OK ? comparison_write(&view, error) : status;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_sweep* sweep = NULL;
    size_t figure = 0;
    tl_status status = tl_figure_find(asked->metric ? asked->metric : "peak_hz", &figure, error);
    if (status == TL_OK)
        status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_sweep(session, rig, asked->varies, asked->vary_count, asked->reference_hz,
                                &sweep, error);
    if (status == TL_OK)
        status = show(asked, rig, sweep, figure, error);
    tl_sweep_free(sweep);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_sweep = {
    "sweep",
    "RIG.yaml --vary PATH=FROM..TO:STEPS",
    "a figure against one value, or a map of it over two",
    "Goes through one range of values or two, ends included, in equal steps. --plot draws the\n"
    "figure that --metric names (peak_hz when not said) against the value, or for two ranges a "
    "map\n"
    "with contour lines; --curves draws all curves over each other.\n"
    "\n"
    "  toneload sweep rig.yaml --vary 'chain[0].length=1 m..15 m:15' --metric peak_hz \\\n"
    "      --plot peak.svg --curves family.svg\n"
    "  toneload sweep rig.yaml --vary 'chain[0].length=1 m..15 m:15' \\\n"
    "      --vary 'guitar.volume.position=40 %..100 %:13' --metric worst_db --plot map.svg",
    OPTION_VARY | OPTION_METRIC | OPTION_PLOT | OPTION_CURVES | OPTION_JSON | OPTION_CSV |
        OPTION_POINTS | OPTION_REFERENCE | OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS |
        OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

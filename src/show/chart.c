// SPDX-License-Identifier: GPL-3.0-or-later
// Plots of figures: against a value, over two values, and the band that many curves fill.
#include "toneload/show.h"

#include "base/text.h"
#include "show/contour.h"
#include "show/page.h"
#include "show/picture.h"
#include "show/script.h"
#include "show/trace.h"

#include <math.h>
#include <stdlib.h>

enum { PAGE_HEIGHT = 620, MOST_LINES = 32 };

/// Okabe and Ito's colours, as in pen.c, each with a dash and a symbol of its own.
static const struct {
    const char* colour;
    const char* dash;
    int symbol;
} looks[] = {{"#0072b2", "solid", 7},  {"#d55e00", "(14,5)", 5},
             {"#009e73", "(3,3)", 9},  {"#cc79a7", "(12,4,3,4)", 11},
             {"#e69f00", "(7,4)", 13}, {"#56b4e9", "(16,4,3,4)", 15}};
enum { LOOKS = sizeof looks / sizeof *looks };

static void add_words(tl_text* script, const char* command, const char* words, double width,
                      const char* how) {
    tl_text fitted = {0};
    tl_text_add_fitted(&fitted, words, width);
    tl_text_addf(script, "%s ", command);
    tl_script_quote(script, tl_text_get(&fitted));
    tl_text_addf(script, " %s\n", how);
    tl_text_free(&fitted);
}

/// Title, axis names and the look of the frame.
static void add_frame(tl_text* script, const char* kind, const char* title, const char* x_label,
                      const char* y_label) {
    char* font =
        tl_printf("font ',%.3f' textcolor rgb '#202020'", 17 * tl_script_letter_unit(kind));
    add_words(script, "set title", title, 700, font);
    free(font);
    add_words(script, "set xlabel", x_label, 800, "textcolor rgb '#202020'");
    add_words(script, "set ylabel", y_label, 440, "textcolor rgb '#202020'");
    tl_text_add(script, "set border 31 back lt 1 lw 1 lc rgb '#606060'\n"
                        "set tics scale 0.5 textcolor rgb '#202020'\n"
                        "set grid back lt 1 lw 0.8 lc rgb '#d8d8d8'\n"
                        "set rmargin 4\n");
}

static void add_number(tl_text* script, double number) {
    if (isfinite(number))
        tl_text_addf(script, " %.7g", number);
    else
        tl_text_add(script, " NaN");
}

/// Whether some line has a value that is not there.
static bool has_gaps(const tl_metric_plot* plot) {
    for (size_t j = 0; j < plot->series_count; ++j)
        for (size_t i = 0; i < plot->count; ++i)
            if (!isfinite(plot->series[j].y[i]))
                return true;
    return false;
}

static char* make_metric(const void* context, const char* kind, const char* output) {
    const tl_metric_plot* plot = context;
    tl_text script = {0};
    tl_script_open(&script, PAGE_HEIGHT, kind, output);
    char* y_label = tl_printf("%s%s", plot->y_label, has_gaps(plot) ? "; gaps: none" : "");
    add_frame(&script, kind, plot->title, plot->x_label, y_label);
    free(y_label);
    tl_text_add(&script, "$data << END\n");
    for (size_t i = 0; i < plot->count; ++i) {
        add_number(&script, plot->x[i]);
        for (size_t j = 0; j < plot->series_count; ++j)
            add_number(&script, plot->series[j].y[i]);
        tl_text_add(&script, "\n");
    }
    tl_text_add(&script, "END\nset offsets graph 0, graph 0, graph 0.05, graph 0.05\n");
    if (plot->series_count > 1)
        tl_text_add(&script, "set key below left Left reverse width 2\n");
    for (size_t j = 0; j < plot->series_count; ++j) {
        tl_text_addf(&script,
                     "%s using 1:%zu with linespoints lw 2 ps 0.7 pt %d dt %s lc rgb '%s' title ",
                     j ? ", $data" : "plot $data", j + 2, looks[j % LOOKS].symbol,
                     looks[j % LOOKS].dash, looks[j % LOOKS].colour);
        tl_script_quote(&script, plot->series[j].label);
    }
    tl_text_add(&script, "\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_metric_draw(const tl_metric_plot* plot, const char* path, tl_error* error) {
    if (!plot->count || !plot->series_count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    return tl_picture_draw(path, make_metric, plot, error);
}

/// The grid as gnuplot's surfaces have it: a block a column.
static void add_grid(tl_text* script, const tl_map_plot* plot) {
    tl_text_add(script, "$grid << END\n");
    for (size_t i = 0; i < plot->x_count; ++i) {
        for (size_t j = 0; j < plot->y_count; ++j) {
            add_number(script, plot->x[i]);
            add_number(script, plot->y[j]);
            add_number(script, plot->z[i * plot->y_count + j]);
            tl_text_add(script, "\n");
        }
        tl_text_add(script, "\n");
    }
    tl_text_add(script, "END\n");
}

/// Labels of contour lines, in shares of the map's spans from its middle.
typedef struct {
    double x[MOST_LINES];
    double y[MOST_LINES];
    size_t count;
} label_places;

/// Whether a label would lie on one that is there already.
static bool is_taken(const label_places* places, double x, double y) {
    for (size_t i = 0; i < places->count; ++i)
        if (fabs(places->x[i] - x) < 0.085 && fabs(places->y[i] - y) < 0.045)
            return true;
    return false;
}

/// Finds where a line runs nearest to the middle without lying on another line's label.
static bool find_label(const tl_map_plot* plot, const tl_segment* segments, size_t count,
                       label_places* places, size_t* at) {
    double span_x = plot->x[plot->x_count - 1] - plot->x[0];
    double span_y = plot->y[plot->y_count - 1] - plot->y[0];
    double nearest = INFINITY;
    for (size_t i = 0; i < count; ++i) {
        double x = (segments[i].x[0] - plot->x[0]) / span_x - 0.5;
        double y = (segments[i].y[0] - plot->y[0]) / span_y - 0.5;
        if (places->count == MOST_LINES || hypot(x, y) >= nearest || is_taken(places, x, y))
            continue;
        nearest = hypot(x, y);
        places->x[places->count] = x;
        places->y[places->count] = y;
        *at = i;
    }
    if (isinf(nearest))
        return false;
    ++places->count;
    return true;
}

/// The contour lines, and for each the place of its label; a line without room for one has none.
static void add_lines(tl_text* script, const tl_map_plot* plot, double first, double last,
                      double step) {
    label_places places = {.count = 0};
    tl_text labels = {0};
    tl_text_add(script, "$lines << END\n");
    for (int k = 0; first + k * step <= last; ++k) {
        size_t count = 0;
        double level = first + k * step;
        tl_segment* segments = tl_contour_trace(plot, level, &count);
        for (size_t i = 0; i < count; ++i) {
            const tl_segment* one = &segments[i];
            tl_text_addf(script, "%.7g %.7g\n%.7g %.7g\n\n", one->x[0], one->y[0], one->x[1],
                         one->y[1]);
        }
        size_t at = 0;
        if (find_label(plot, segments, count, &places, &at))
            tl_text_addf(&labels, "%.7g %.7g %g\n", segments[at].x[0], segments[at].y[0],
                         fabs(level) < step / 2 ? 0 : level);
        free(segments);
    }
    tl_text_addf(script, "NaN NaN\nEND\n$labels << END\n%sNaN NaN NaN\nEND\n",
                 tl_text_get(&labels));
    tl_text_free(&labels);
}

/// The palette goes from dark to light without turning back, in print without colour too, and from
/// blue to yellow, which all kinds of colour vision tell apart (after the cividis map of Nunez,
/// Anderton and Renslow, PLoS ONE 13(7), 2018; anchors from memory).
static char* make_map(const void* context, const char* kind, const char* output) {
    const tl_map_plot* plot = context;
    tl_text script = {0};
    tl_script_open(&script, PAGE_HEIGHT, kind, output);
    add_frame(&script, kind, plot->title, plot->x_label, plot->y_label);
    double first = 0;
    double last = 0;
    bool holes = false;
    double step = tl_contour_step(plot, &first, &last, &holes);
    char* z_label = tl_printf("%s%s", plot->z_label, holes ? "; white: none" : "");
    add_words(&script, "set cblabel", z_label, 440, "offset 1.5,0 textcolor rgb '#202020'");
    free(z_label);
    double half_x = (plot->x[plot->x_count - 1] - plot->x[0]) / (double)(plot->x_count - 1) / 2;
    double half_y = (plot->y[plot->y_count - 1] - plot->y[0]) / (double)(plot->y_count - 1) / 2;
    tl_text_addf(&script, "set xrange [%.7g:%.7g]\nset yrange [%.7g:%.7g]\n", plot->x[0] - half_x,
                 plot->x[plot->x_count - 1] + half_x, plot->y[0] - half_y,
                 plot->y[plot->y_count - 1] + half_y);
    tl_text_add(&script,
                "unset grid\nset rmargin 16\n"
                "set palette defined (0 '#00204d', 1 '#31446b', 2 '#666970', 3 '#958f78', "
                "4 '#cbba69', 5 '#ffea46')\n"
                "set style textbox opaque fillcolor rgb '#ffffff' noborder margins 0.6,0.4\n");
    add_grid(&script, plot);
    if (step > 0)
        add_lines(&script, plot, first, last, step);
    tl_text_add(&script, "plot $grid using 1:2:3 with image notitle");
    if (step > 0)
        tl_text_add(&script, ", $lines using 1:2 with lines lw 3 lc rgb '#ffffff' notitle, $lines "
                             "using 1:2 with lines lw 1.4 lc rgb '#000000' notitle, $labels using "
                             "1:2:3 with labels boxed notitle");
    tl_text_add(&script, "\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_map_draw(const tl_map_plot* plot, const char* path, tl_error* error) {
    if (plot->x_count < 2 || plot->y_count < 2)
        return tl_error_set(error, TL_BAD_INPUT, "%s: a map needs two values of each at least",
                            path);
    return tl_picture_draw(path, make_map, plot, error);
}

static void add_envelope_data(tl_text* script, const tl_envelope_plot* plot) {
    tl_text_add(script, "$data << END\n");
    for (size_t i = 0; i < plot->count; ++i) {
        add_number(script, plot->hz[i]);
        add_number(script, plot->low_db[i]);
        add_number(script, plot->high_db[i]);
        for (size_t j = 0; j < plot->curve_count; ++j)
            add_number(script, plot->curves[j].db[i]);
        tl_text_add(script, "\n");
    }
    tl_text_add(script, "END\n");
}

static char* make_envelope(const void* context, const char* kind, const char* output) {
    const tl_envelope_plot* plot = context;
    tl_text script = {0};
    double highest = 3;
    for (size_t i = 0; i < plot->count; ++i)
        highest = fmax(highest, plot->high_db[i]);
    tl_script_open(&script, PAGE_HEIGHT + 21 * (double)(plot->curve_count + 1), kind, output);
    add_frame(&script, kind, plot->title, "frequency (Hz)",
              "level, each state's own level matched (dB)");
    tl_text_add(&script, "set logscale x\nset xrange [20:20000]\nset xtics ('20' 20, '50' 50, "
                         "'100' 100, '200' 200, '500' 500, '1k' 1000, '2k' 2000, '5k' 5000, '10k' "
                         "10000, '20k' 20000)\nset ytics 3\n");
    tl_text_addf(&script,
                 "set yrange [-24:%g]\nset key below left Left reverse maxcols 1 width 2\n",
                 3 * ceil((highest + 1) / 3));
    add_envelope_data(&script, plot);
    tl_text_add(&script, "plot $data using 1:2:3 with filledcurves fillcolor rgb '#c6dcea' title ");
    tl_script_quote(&script, plot->around);
    tl_text_add(&script,
                ", $data using 1:2 with lines lw 0.8 lc rgb '#7fa8c4' notitle, $data using "
                "1:3 with lines lw 0.8 lc rgb '#7fa8c4' notitle");
    size_t look = 1; // the band has the first
    for (size_t j = 0; j < plot->curve_count; ++j) {
        bool direct = plot->curves[j].direct;
        tl_text_addf(&script, ", $data using 1:%zu with lines lw %g dt %s lc rgb '%s' title ",
                     j + 4, direct ? 1.8 : 2.2, direct ? "(9,6)" : looks[look % LOOKS].dash,
                     direct ? "#303030" : looks[look % LOOKS].colour);
        look += !direct;
        tl_text fitted = {0};
        tl_text_add_fitted(&fitted, plot->curves[j].label, 800);
        tl_script_quote(&script, tl_text_get(&fitted));
        tl_text_free(&fitted);
    }
    tl_text_add(&script, "\nunset output\n");
    return tl_text_take(&script);
}

tl_status tl_envelope_draw(const tl_envelope_plot* plot, const char* path, tl_error* error) {
    if (!plot->count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: there is nothing to draw", path);
    return tl_picture_draw(path, make_envelope, plot, error);
}

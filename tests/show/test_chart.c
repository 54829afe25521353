// SPDX-License-Identifier: GPL-3.0-or-later
// Charts of figures: what is in them, and that no label runs anything.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "show/contour.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const double x[] = {1, 2, 3, 4, 5};
static const double y[] = {10, 20, 30};
static const double some[] = {1, 4, NAN, 16, 25};
static const char hostile[] =
    "'.system('touch ran').' `touch ran` \"$(touch ran)\" @touch %s {a} \\n";

/// z = 2 x - y / 10 over the grid, perhaps with a hole.
static double* plane(bool hole) {
    double* z = tl_new(15, sizeof *z);
    for (size_t i = 0; i < 5; ++i)
        for (size_t j = 0; j < 3; ++j)
            z[i * 3 + j] = hole && i == 0 && j == 0 ? NAN : 2 * x[i] - y[j] / 10;
    return z;
}

static tl_map_plot map_of(const double* z) {
    return (tl_map_plot){.title = hostile,
                         .x_label = hostile,
                         .y_label = hostile,
                         .z_label = "peak (Hz)",
                         .x = x,
                         .x_count = 5,
                         .y = y,
                         .y_count = 3,
                         .z = z};
}

/// The text of a drawn SVG, whose marker file must not be there.
static char* read_drawing(const char* folder) {
    char* path = tl_printf("%s/a.svg", folder);
    char* ran = tl_printf("%s/ran", folder);
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read(path, 10000000, &text, &size, NULL), TL_OK);
    assert_false(tl_file_exists(ran));
    assert_false(tl_file_exists("ran"));
    assert_int_equal(unlink(path), 0);
    free(path);
    free(ran);
    assert_non_null(strstr(text, "</svg>"));
    return text;
}

static char* draw_in(char* folder) {
    assert_non_null(mkdtemp(folder));
    return tl_printf("%s/a.svg", folder);
}

static void lines_of_a_plane_are_straight(void** state) {
    (void)state;
    double* z = plane(false);
    tl_map_plot map = map_of(z);
    size_t count = 0;
    tl_segment* segments = tl_contour_trace(&map, 4, &count);
    assert_true(count >= 3);
    for (size_t i = 0; i < count; ++i)
        for (int k = 0; k < 2; ++k)
            assert_true(fabs(2 * segments[i].x[k] - segments[i].y[k] / 10 - 4) < 1e-12);
    free(segments);
    segments = tl_contour_trace(&map, 100, &count);
    assert_int_equal(count, 0);
    free(segments);
    double first = 0;
    double last = 0;
    bool holes = true;
    assert_true(fabs(tl_contour_step(&map, &first, &last, &holes) - 1) < 1e-12); // -1 to 9
    assert_true(fabs(first + 1) < 1e-12);
    assert_false(holes);
    free(z);
}

static void a_hole_has_no_line(void** state) {
    (void)state;
    double* z = plane(true);
    tl_map_plot map = map_of(z);
    size_t count = 0;
    tl_segment* segments = tl_contour_trace(&map, 1.5, &count);
    for (size_t i = 0; i < count; ++i)
        assert_false(segments[i].x[0] < 2 && segments[i].y[0] < 20);
    free(segments);
    double first = 0;
    double last = 0;
    bool holes = false;
    tl_contour_step(&map, &first, &last, &holes);
    assert_true(holes);
    free(z);
}

static void charts_show_their_words_and_run_none(void** state) {
    (void)state;
    char folder[] = "/tmp/toneload-chart-XXXXXX";
    char* path = draw_in(folder);
    const tl_series series[] = {{hostile, some}, {"plain words", x}};
    const tl_metric_plot metric = {hostile, hostile, hostile, x, 5, series, 2};
    assert_int_equal(tl_metric_draw(&metric, path, NULL), TL_OK);
    char* text = read_drawing(folder);
    assert_non_null(strstr(text, "plain words"));
    assert_non_null(strstr(text, "`touch ran`"));
    free(text);

    double* z = plane(true);
    tl_map_plot map = map_of(z);
    assert_int_equal(tl_map_draw(&map, path, NULL), TL_OK);
    text = read_drawing(folder);
    assert_non_null(strstr(text, "peak (Hz); white: none"));
    free(text);
    free(z);

    const double hz[] = {20, 200, 2000, 20000};
    const double low[] = {0, -1, -2, -20};
    const double high[] = {0, 1, 6, -10};
    const tl_level_curve curves[] = {{"direct line", low, true}, {hostile, high, false}};
    const tl_envelope_plot envelope = {hostile, hostile, hz, low, high, 4, curves, 2};
    assert_int_equal(tl_envelope_draw(&envelope, path, NULL), TL_OK);
    text = read_drawing(folder);
    assert_non_null(strstr(text, "direct line"));
    free(text);
    free(path);
    assert_int_equal(rmdir(folder), 0); // nothing else is left behind
}

static void what_cannot_be_drawn_is_refused(void** state) {
    (void)state;
    tl_error* error = tl_error_new();
    const tl_metric_plot nothing = {"a", "b", "c", x, 0, NULL, 0};
    assert_int_equal(tl_metric_draw(&nothing, "a.svg", error), TL_BAD_INPUT);
    double* z = plane(false);
    tl_map_plot map = map_of(z);
    map.y_count = 1;
    assert_int_equal(tl_map_draw(&map, "a.svg", error), TL_BAD_INPUT);
    map.y_count = 3;
    assert_int_equal(tl_map_draw(&map, "|touch ran", error), TL_BAD_INPUT);
    assert_int_equal(tl_map_draw(&map, "/nowhere/a.svg", error), TL_FAILURE);
    assert_false(tl_file_exists("ran"));
    free(z);
    tl_error_free(error);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_of_a_plane_are_straight),
        cmocka_unit_test(a_hole_has_no_line),
        cmocka_unit_test(charts_show_their_words_and_run_none),
        cmocka_unit_test(what_cannot_be_drawn_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

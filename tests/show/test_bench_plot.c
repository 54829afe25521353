// SPDX-License-Identifier: GPL-3.0-or-later
// The bench's picture: what is on it, what its axes reach, and that no name runs anything.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "bench_fixture.h"
#include "closed_form.h"
#include "show/bench_panel.h"

#include <string.h>

static const char hostile[] =
    "'.system('touch ran').' `touch ran` \"$(touch ran)\" @touch %s {a} \\n]]>";

static char* draw(const tl_bench* bench, const char* path) {
    tl_error* error = tl_error_new();
    if (tl_bench_draw(bench, path, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read(path, 50000000, &text, &size, NULL), TL_OK);
    return text;
}

static void holds(const char* text, const char* words) {
    if (!strstr(text, words))
        fail_msg("no '%s'", words);
}

static void every_design_is_in_every_panel(void** state) {
    (void)state;
    char folder[64];
    enter_folder(folder);
    static const char* const colours[] = {"  0, 114, 178", "213,  94,   0", "  0, 158, 115"};
    tl_bench* bench = fixture_new(3, false);
    char* text = draw(bench, "three.svg");
    holds(text, "3 buffers on the bench");
    holds(text, "FET source follower, 9 V");
    holds(text, "Input impedance");
    holds(text, "impedance (ohm)");
    holds(text, "THD (%)");
    holds(text, "level (V peak)");
    holds(text, "density (nV per root Hz)");
    holds(text, "gain (dB)");
    holds(text, "1 %: headroom ends");
    for (int i = 0; i < 3; ++i) { // five curves, up to four symbols on each of four, the legend
        char* pattern = tl_printf("rgb(%s)", colours[i]);
        size_t count = 0;
        for (const char* at = strstr(text, pattern); at; at = strstr(at + 1, pattern))
            ++count;
        free(pattern);
        assert_true(count >= 20);
    }
    size_t dashed = 0;
    for (const char* at = strstr(text, "dasharray"); at; at = strstr(at + 1, "dasharray"))
        ++dashed;
    assert_int_equal(dashed, 3); // the gain into a light load, of each
    free(text);
    fixture_free(bench);
    for (size_t count = 1; count <= 45; count += 11) {
        bench = fixture_new(count, false);
        free(draw(bench, "many.svg"));
        fixture_free(bench);
    }
    leave_folder(folder);
}

static void all_kinds_of_picture_are_drawn(void** state) {
    (void)state;
    char folder[64];
    enter_folder(folder);
    tl_bench* bench = fixture_new(1, false);
    free(draw(bench, "one.png"));
    free(draw(bench, "one.pdf"));
    fixture_free(bench);
    leave_folder(folder);
}

static void what_is_missing_is_said(void** state) {
    (void)state;
    char folder[64];
    enter_folder(folder);
    tl_bench* bench = fixture_new(2, false);
    tl_bench_curve* curve = &bench->designs[1].curves[TL_BENCH_THD];
    size_t count = curve->count;
    curve->count = 0;
    char* text = draw(bench, "gap.svg");
    holds(text, "not measured: bipolar emitter");
    free(text);
    curve->count = count;
    for (size_t i = 0; i < 2; ++i)
        for (int k = 0; k < TL_BENCH_CURVES; ++k)
            bench->designs[i].curves[k].count = 0;
    text = draw(bench, "empty.svg"); // frames without a curve
    holds(text, "not measured: FET source");
    free(text);
    fixture_free(bench);
    leave_folder(folder);
}

static void numbers_that_are_none_are_gaps(void** state) {
    (void)state;
    char folder[64];
    enter_folder(folder);
    tl_bench* bench = fixture_new(1, false);
    static const double wrong[] = {NAN, INFINITY, -INFINITY, 0, -1, 1e300, 1e-300};
    for (int k = 0; k < TL_BENCH_CURVES; ++k)
        for (size_t i = 0; i < sizeof wrong / sizeof *wrong; ++i) {
            bench->designs[0].curves[k].y[2 * i + 1] = wrong[i];
            bench->designs[0].curves[k].x[2 * i + 2] = wrong[i];
        }
    free(draw(bench, "wrong.svg"));
    fixture_free(bench);
    leave_folder(folder);
}

static void no_name_runs_anything(void** state) {
    (void)state;
    char folder[64];
    enter_folder(folder);
    for (size_t count = 1; count < 4; ++count) {
        tl_bench* bench = fixture_new(count, false);
        for (size_t i = 0; i < count; ++i)
            fixture_say(&bench->designs[i].name, hostile);
        bench->designs[0].curves[TL_BENCH_NOISE].count = 0;
        char* text = draw(bench, "hostile.svg");
        holds(text, "`touch ran`");
        free(text);
        fixture_free(bench);
        assert_false(tl_file_exists("ran"));
    }
    tl_bench* bench = fixture_new(1, false);
    tl_error* error = tl_error_new();
    assert_int_equal(tl_bench_draw(bench, "|touch ran", error), TL_BAD_INPUT);
    assert_int_equal(tl_bench_draw(bench, "/nowhere/a.svg", error), TL_FAILURE);
    const tl_bench nothing = {0};
    assert_int_equal(tl_bench_draw(&nothing, "a.svg", error), TL_BAD_INPUT);
    assert_false(tl_file_exists("ran"));
    tl_error_free(error);
    fixture_free(bench);
    leave_folder(folder);
}

static void axes_reach_what_is_drawn(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(3, false);
    const tl_box area = {0, 0, 100, 100};
    const tl_bench_panel_kind ohms = {.curve = TL_BENCH_INPUT,
                                      .beside = TL_BENCH_INPUT,
                                      .scale = 1,
                                      .logarithmic = true,
                                      .frequency = true,
                                      .x_low = 5,
                                      .x_high = 1e5,
                                      .y_low = 100,
                                      .y_high = 1e11};
    tl_bench_panel panel = tl_bench_panel_of(bench, &ohms, area);
    assert_true(panel.x_low == 10 && panel.x_high == 1e5);
    // 4.7 Mohm at the top; 38.4 kohm with 340 pF are 4.64 kohm at 100 kHz
    assert_true(fabs(panel.y_low / 1e3 - 1) < 1e-9 && fabs(panel.y_high / 1e7 - 1) < 1e-9);
    const tl_bench_curve* curve = &bench->designs[0].curves[TL_BENCH_INPUT];
    // between points; 4.7 Mohm beside 5 pF, as in the fixture
    double ohm = 1 / hypot(1 / 4.7e6, 2 * 3.14159265 * 10123 * 5e-12);
    assert_true(fabs(tl_bench_panel_at(&panel, curve, 10123) / ohm - 1) < 1e-3);
    assert_true(isnan(tl_bench_panel_at(&panel, curve, 1)));
    const tl_bench_panel_kind gain = {.curve = TL_BENCH_GAIN_LOADED,
                                      .beside = TL_BENCH_GAIN,
                                      .scale = 1,
                                      .frequency = true,
                                      .x_low = 5,
                                      .x_high = 1e6,
                                      .y_low = -15,
                                      .y_high = 15};
    panel = tl_bench_panel_of(bench, &gain, area);
    assert_true(panel.y_low == -15 && panel.y_high == 3 && panel.x_high == 1e6);
    const tl_bench_curve* flat = &bench->designs[1].curves[TL_BENCH_GAIN]; // 0.965 is -0.309 dB
    assert_true(fabs(tl_bench_panel_at(&panel, flat, 1234) + 0.309) < 1e-3);
    bench->designs[1].curves[TL_BENCH_GAIN].y[50] = 7; // a peak
    panel = tl_bench_panel_of(bench, &gain, area);
    assert_true(panel.y_high == 9);
    fixture_free(bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_design_is_in_every_panel),
        cmocka_unit_test(what_is_missing_is_said),
        cmocka_unit_test(all_kinds_of_picture_are_drawn),
        cmocka_unit_test(numbers_that_are_none_are_gaps),
        cmocka_unit_test(no_name_runs_anything),
        cmocka_unit_test(axes_reach_what_is_drawn),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

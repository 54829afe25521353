// SPDX-License-Identifier: GPL-3.0-or-later
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "closed_form.h"
#include "show/script.h"

#include <stdlib.h>
#include <string.h>

enum { most_notes = 8 };

/// Lines of words as a script places them inside the plot's area.
typedef struct {
    tl_box boxes[most_notes];
    size_t count;
} notes;

/// The box of one line of words, from its anchor and side.
static tl_box box_of(tl_spot at, const char* words, const char* side) {
    double width = tl_text_width(words);
    double left = strcmp(side, "left") == 0    ? at.x
                  : strcmp(side, "right") == 0 ? at.x - width
                                               : at.x - width / 2;
    return (tl_box){left, at.y - TL_TEXT_SIZE / 2, left + width, at.y + TL_TEXT_SIZE / 2};
}

/// Reads the notes back out of a script, as gnuplot would.
static notes read_notes(const char* script, const tl_page* page) {
    notes found = {.count = 0};
    for (const char* at = script; (at = strstr(at, "set label '")); ++at) {
        char words[100], side[10];
        double x, y;
        if (sscanf(at, "set label '%99[^']' at screen %lf,screen %lf front %9s", words, &x, &y,
                   side) != 4)
            continue;
        tl_spot spot = {x * TL_PAGE_WIDTH, (1 - y) * page->height};
        if (spot.y < page->area.top || spot.y > page->area.bottom || spot.x < page->area.left)
            continue;
        assert_true(found.count < most_notes);
        found.boxes[found.count++] = box_of(spot, words, side);
    }
    return found;
}

static bool inside(tl_box box, tl_spot spot) {
    return spot.x > box.left && spot.x < box.right && spot.y > box.top && spot.y < box.bottom;
}

static bool overlap(tl_box one, tl_box other) {
    return one.left < other.right && other.left < one.right && one.top < other.bottom &&
           other.top < one.bottom;
}

/// Whether a curve, followed in steps far finer than a pixel, runs through a box.
static bool runs_through(const tl_trace* trace, const tl_page* page, tl_box box) {
    for (int i = 0; i <= 20000; ++i) {
        double hz = 20 * pow(1000, i / 20000.0);
        double db =
            tl_response_db(trace->curve->response, hz) - trace->curve->metrics->reference_db;
        if (inside(box, tl_page_spot(page, (tl_point){hz, db})))
            return true;
    }
    return false;
}

/// Draws two curves and checks that their figures stand clear.
static void check_pair(double f1_hz, double q1, double f2_hz, double q2, size_t least) {
    tl_response* responses[] = {low_pass(f1_hz, q1, 1), low_pass(f2_hz, q2, 1)};
    tl_metrics metrics[2];
    tl_curve curves[2];
    tl_trace traces[2];
    for (int i = 0; i < 2; ++i) {
        assert_non_null(responses[i]);
        metrics[i] = tl_response_metrics(responses[i], 200);
        curves[i] = (tl_curve){responses[i], &metrics[i], i ? "direct" : "rig", i == 1, NULL};
        traces[i] = tl_trace_make(&curves[i]);
    }
    tl_legend legend = tl_legend_make(traces, 2);
    tl_page page = tl_page_make(traces, 2, true, legend.rows);
    tl_drawing drawing = {"pair", traces, 2, &legend, &page};
    char* script = tl_script_make(&drawing, "svg", "out");
    notes found = read_notes(script, &page);
    assert_true(found.count >= least);
    for (size_t i = 0; i < found.count; ++i) {
        tl_box box = found.boxes[i];
        if (runs_through(&traces[0], &page, box) || runs_through(&traces[1], &page, box))
            fail_msg("%g Hz Q %g, %g Hz Q %g: words lie on a curve", f1_hz, q1, f2_hz, q2);
        if (box.right > page.area.right || box.left < page.area.left)
            fail_msg("%g Hz Q %g, %g Hz Q %g: words leave the area", f1_hz, q1, f2_hz, q2);
        for (size_t k = 0; k < i; ++k)
            if (overlap(box, found.boxes[k]))
                fail_msg("%g Hz Q %g, %g Hz Q %g: words lie on words", f1_hz, q1, f2_hz, q2);
    }
    free(script);
    tl_legend_free(&legend);
    for (int i = 0; i < 2; ++i) {
        tl_trace_free(&traces[i]);
        tl_response_free(responses[i]);
    }
}

static void figures_stand_clear_of_curves_and_each_other(void** state) {
    (void)state;
    static const double ratios[] = {0.3, 0.7, 0.9, 0.97, 0.995, 1, 1.005, 1.03, 1.1, 1.4, 2.5};
    static const double resonances[] = {1, 2.5, 6};
    for (size_t i = 0; i < sizeof ratios / sizeof *ratios; ++i)
        for (size_t k = 0; k < 3; ++k) {
            check_pair(3000, 2.5, 3000 * ratios[i], resonances[k], 4);
            check_pair(5000, 1.2, 5000 * ratios[i], resonances[k], 4);
        }
}

static void edges_and_missing_marks_are_met(void** state) {
    (void)state;
    check_pair(3000, 0.6, 3000, 0.6, 2);
    check_pair(3000, 0.5, 4000, 3, 3);
    check_pair(15000, 3, 14000, 3, 2);
    check_pair(12500, 1, 12500, 1.1, 4);
    check_pair(400, 4, 420, 4, 4);
    check_pair(3000, 100, 3000, 2, 4);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(figures_stand_clear_of_curves_and_each_other),
        cmocka_unit_test(edges_and_missing_marks_are_met),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

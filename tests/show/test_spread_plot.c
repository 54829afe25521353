// SPDX-License-Identifier: GPL-3.0-or-later
// The pictures of a spread: what is on them, what is said of what is missing, and that no name runs
// anything.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "closed_form.h"
#include "show/script.h"
#include "show/spread_page.h"
#include "spread_fixture.h"

static const char hostile[] =
    "'.system('touch ran').' `touch ran` \"$(touch ran)\" @touch %s {a} \\n]]>";

typedef tl_status drawer(const tl_spread* spread, const char* path, tl_error* error);
static drawer* const drawers[] = {tl_spread_draw, tl_spread_draw_histograms,
                                  tl_spread_draw_sensitivity};
enum { DRAWERS = 3, MOST = 20000 };

static char* draw(drawer* how, const tl_spread* spread, const char* path) {
    tl_error* error = tl_error_new();
    if (how(spread, path, error) != TL_OK)
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

static void holds_not(const char* text, const char* words) {
    if (strstr(text, words))
        fail_msg("there is '%s'", words);
}

static size_t count_of(const char* text, const char* words) {
    size_t count = 0;
    for (const char* at = strstr(text, words); at; at = strstr(at + 1, words))
        ++count;
    return count;
}

static int enter(void** state) {
    static char folder[64];
    enter_folder(folder);
    *state = folder;
    return 0;
}

static int leave(void** state) {
    leave_folder(*state);
    return 0;
}

/// The corners of all that is filled with a colour and lies in a box of the page, px.
static size_t corners_of(const char* svg, const char* colour, tl_box box, double (*corners)[2]) {
    size_t count = 0;
    char* pattern = tl_printf("fill = '%s' points = '", colour);
    for (const char* at = strstr(svg, pattern); at; at = strstr(at + 1, pattern))
        for (const char* next = at + strlen(pattern); *next && *next != '\'' && count < MOST;) {
            char* after = NULL;
            double x = strtod(next, &after);
            double y = strtod(after + 1, &after);
            bool within = x > box.left && x < box.right && y > box.top && y < box.bottom;
            corners[count][0] = x;
            corners[count][1] = y;
            count += within;
            next = after + strspn(after, " \r\n");
        }
    free(pattern);
    return count;
}

/// Whether something in a box is filled with a colour.
static bool is_filled(const char* svg, const char* colour, tl_box box) {
    double(*corners)[2] = tl_new(MOST, sizeof *corners);
    size_t count = corners_of(svg, colour, box, corners);
    free(corners);
    return count > 0;
}

static const char* const shades[] = {"rgb(207, 226, 241)", "rgb(163, 199, 224)",
                                     "rgb( 95, 159, 202)"};
static const char written[] = "stroke='rgb(213,  94,   0)' stroke-dasharray";
static const tl_box upper = {78, 66, 976, 466}, lower = {78, 502, 976, 712};

static void the_fan_has_bands_and_lines(void** state) {
    (void)state;
    tl_spread* spread = spread_new(spread_usual);
    char* text = draw(tl_spread_draw, spread, "fan.svg");
    holds(text, "Lantern Street covers band, left board");
    holds(text, "Level over frequency, 400 trials");
    holds(text, "level relative to 200 Hz (dB)");
    holds(text, "lines at 1 dB either way");
    holds(text, "1 to 99 % of trials");
    holds(text, "the rig as written");
    for (int i = 0; i < 3; ++i)
        assert_true(is_filled(text, shades[i], upper) && is_filled(text, shades[i], lower) &&
                    is_filled(text, shades[i], (tl_box){70, 750, 976, 800}));
    assert_int_equal(count_of(text, written), 3); // two panels and the key
    holds_not(text, "not drawn");
    holds_not(text, "stopped");
    free(text);
    spread->done = 210;
    spread_fail(spread, 3, "broken");
    text = draw(tl_spread_draw, spread, "stopped.svg");
    holds(text, "209 trials (stopped after 210 of 400), 1 without an answer");
    free(text);
    tl_spread_free(spread);
}

static void bands_lie_where_their_numbers_say(void** state) {
    (void)state;
    tl_spread* spread = spread_new(spread_usual);
    for (int k = 0; k < TL_PERCENTILES; ++k) // flat bands: 1 % at -8 dB, 99 % at +4 dB
        for (size_t i = 0; i < SPREAD_POINTS; ++i) {
            spread->levels[0].db[k][i] = -8 + 2 * k;
            spread->differences[0].db[k][i] = 0;
        }
    for (size_t i = 0; i < SPREAD_POINTS; ++i)
        spread->nominal_db[0][i] = spread->nominal_difference_db[0][i] = 0;
    char* text = draw(tl_spread_draw, spread, "flat.svg");
    // the axis reaches from -9 to +6 dB
    double scale = (upper.bottom - upper.top) / 15;
    double(*corners)[2] = tl_new(MOST, sizeof *corners);
    for (int i = 0; i < 3; ++i) {
        double high = INFINITY, low = -INFINITY;
        size_t count = corners_of(text, shades[i], upper, corners);
        for (size_t k = 0; k < count; ++k) {
            high = fmin(high, corners[k][1]);
            low = fmax(low, corners[k][1]);
        }
        double top = 4 - 2 * i, bottom = -8 + 2 * i;
        if (!(fabs(high - (upper.top + (6 - top) * scale)) < 1.5 &&
              fabs(low - (upper.top + (6 - bottom) * scale)) < 1.5))
            fail_msg("%s from %g to %g px", shades[i], high, low);
    }
    free(corners);
    free(text);
    tl_spread_free(spread);
}

static void amps_stand_side_by_side(void** state) {
    (void)state;
    for (size_t amps = 1; amps < 6; ++amps) {
        spread_wish wish = spread_usual;
        wish.trials = 20;
        wish.amps = amps;
        tl_spread* spread = spread_new(wish);
        char* fan = draw(tl_spread_draw, spread, "amps.svg");
        char* bars = draw(tl_spread_draw_histograms, spread, "bars.svg");
        size_t drawn = amps < 3 ? amps : 3;
        double width = (1000 - 78 - 24 - 20 * (double)(drawn - 1)) / (double)drawn;
        for (size_t i = 0; i < drawn; ++i) {
            double left = 78 + (double)i * (width + 20);
            assert_true(is_filled(fan, shades[2], (tl_box){left, 66, left + width, 490}));
            assert_true(is_filled(fan, shades[2], (tl_box){left, 520, left + width, 740}));
        }
        assert_int_equal(count_of(fan, written), 1 + 2 * drawn);
        size_t rows = amps > 3 ? 1 : amps;
        assert_int_equal(count_of(bars, ">trials<"), 2 * rows);
        if (amps > 1) {
            holds(fan, "wet 1");
            holds(bars, "at dry");
        }
        if (amps == 5)
            holds(fan, "amps not drawn: wet 3, wet 4");
        else if (amps < 4)
            holds_not(fan, "not drawn");
        if (amps == 4)
            holds(bars, "amps not drawn: wet 1, wet 2, wet 3");
        free(fan);
        free(bars);
        tl_spread_free(spread);
    }
}

static void bars_mark_and_say(void** state) {
    (void)state;
    tl_spread* spread = spread_new(spread_usual);
    char* text = draw(tl_spread_draw_histograms, spread, "bars.svg");
    char* title = tl_printf(">%s (kHz)<", tl_spread_word(TL_SPREAD_PEAK_HZ));
    holds(text, title);
    free(title);
    assert_int_equal(count_of(text, ">5 %<"), 6);
    assert_int_equal(count_of(text, ">50 %<"), 6);
    assert_int_equal(count_of(text, ">95 %<"), 6);
    assert_int_equal(count_of(text, written), 7); // the rig as written, and the key
    size_t bars = 0;
    static const size_t kinds[] = {TL_SPREAD_PEAK_HZ,     TL_SPREAD_Q,        TL_SPREAD_CUTOFF_HZ,
                                   TL_SPREAD_PRESENCE_DB, TL_SPREAD_WORST_DB, TL_SPREAD_POLE_HZ};
    for (size_t k = 0; k < 6; ++k)
        for (int i = 0; i < TL_SPREAD_BARS; ++i)
            bars += spread->figures[kinds[k]].bars[i] > 0;
    assert_int_equal(count_of(text, "fill = 'rgb( 95, 159, 202)"), bars);
    holds_not(text, ">none");
    free(text);
    spread->figures[TL_SPREAD_PEAK_HZ].none = 13;
    spread->figures[TL_SPREAD_Q].nominal = (double)NAN;
    text = draw(tl_spread_draw_histograms, spread, "none.svg");
    holds(text, "none in 3.2 % of trials");
    holds(text, ">none as written<");
    free(text);
    tl_spread_free(spread);
}

static void bars_without_trials_are_empty(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.load_ohm = 26e3;
    tl_spread* spread = spread_new(wish);
    char* text = draw(tl_spread_draw_histograms, spread, "empty.svg");
    holds(text, "none in any trial, nor as written");
    assert_int_equal(count_of(text, ">50 %<"), 5);
    free(text);
    text = draw(tl_spread_draw_sensitivity, spread, "empty-shares.svg");
    holds(text, ": none in any trial");
    free(text);
    tl_spread_free(spread);
    wish = spread_usual;
    wish.tolerance = 0;
    spread = spread_new(wish);
    text = draw(tl_spread_draw_histograms, spread, "same.svg");
    assert_int_equal(count_of(text, "the same in all trials"), 6);
    assert_int_equal(count_of(text, ">all trials<"), 6);
    assert_int_equal(count_of(text, "fill = 'rgb( 95, 159, 202)"), 6);
    free(text);
    free(draw(tl_spread_draw, spread, "same-fan.svg"));
    text = draw(tl_spread_draw_sensitivity, spread, "same-shares.svg");
    assert_int_equal(count_of(text, "does not vary"), 4);
    free(text);
    tl_spread_free(spread);
    wish = spread_usual;
    wish.trials = 1;
    spread = spread_new(wish);
    text = draw(tl_spread_draw_histograms, spread, "one.svg");
    holds(text, "1 trial<");
    assert_int_equal(count_of(text, ">the trial<"), 6);
    free(text);
    free(draw(tl_spread_draw, spread, "one-fan.svg"));
    tl_spread_free(spread);
}

static void curves_without_numbers_are_gaps(void** state) {
    (void)state;
    static const double wrong[] = {NAN, INFINITY, -INFINITY, 1e300, -1e300};
    tl_spread* spread = spread_new(spread_usual);
    for (size_t i = 0; i < 5; ++i)
        for (int k = 0; k < TL_PERCENTILES; ++k) {
            spread->levels[0].db[k][20 * i + (size_t)k] = wrong[i];
            spread->differences[0].db[k][20 * i] = wrong[i];
        }
    spread->nominal_db[0][40] = (double)NAN;
    char* text = draw(tl_spread_draw, spread, "gaps.svg");
    holds_not(text, "nan");
    free(text);
    for (size_t i = 0; i < SPREAD_POINTS; ++i) { // no numbers at all
        for (int k = 0; k < TL_PERCENTILES; ++k)
            spread->levels[0].db[k][i] = spread->differences[0].db[k][i] = (double)NAN;
        spread->nominal_db[0][i] = spread->nominal_difference_db[0][i] = (double)NAN;
    }
    text = draw(tl_spread_draw, spread, "nothing.svg");
    assert_int_equal(count_of(text, "fill = 'rgb( 95, 159, 202)"), 1); // the key is all there is
    assert_int_equal(count_of(text, written), 1);
    free(text);
    tl_spread_free(spread);
}

static void shares_are_ranked_bars(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.values = 12;
    wish.amps = 2;
    tl_spread* spread = spread_new(wish);
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind)
        for (size_t i = 0; i < 12; ++i)
            spread->figures[kind].effects[i] = (tl_spread_effect){1, 0.01, 0.0001};
    tl_spread_effect* effects = spread->figures[TL_SPREAD_PEAK_HZ].effects;
    effects[1] = (tl_spread_effect){-1, -0.5, 0.25};
    effects[11] = (tl_spread_effect){1, 0.7, 0.49};
    char* text = draw(tl_spread_draw_sensitivity, spread, "shares.svg");
    holds(text, "49 %, rises with it");
    holds(text, "25 %, falls as it rises");
    assert_true(strstr(text, "49 %") < strstr(text, "25 %"));
    holds(text, "chain[0].capacitance (standard-coax)");
    holds(text, "].chain[12].input.capacitance");
    holds(text, "10 others");
    holds(text, "12 others");
    holds(text, "interactions are not in it");
    holds(text, "amps not drawn: wet 1");
    double(*corners)[2] = tl_new(MOST, sizeof *corners);
    double left = INFINITY, right = -INFINITY;
    size_t count = corners_of(text, "rgb(  0, 114, 178)", (tl_box){0, 0, 1000, 1000}, corners);
    for (size_t i = 0; i < count; ++i) {
        left = fmin(left, corners[i][0]);
        right = fmax(right, corners[i][0]);
    }
    free(corners);
    assert_true(fabs(right - left - 0.49 * 430) < 2); // 430 px are all of the variance
    free(text);
    tl_spread_free(spread);
}

static void all_kinds_of_picture_are_drawn(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.trials = 20;
    tl_spread* spread = spread_new(wish);
    for (int i = 0; i < DRAWERS; ++i) {
        free(draw(drawers[i], spread, "one.png"));
        free(draw(drawers[i], spread, "one.pdf"));
    }
    tl_spread_free(spread);
}

static void no_name_runs_anything(void** state) {
    (void)state;
    for (size_t amps = 1; amps < 5; amps += 3) {
        spread_wish wish = spread_usual;
        wish.trials = 20;
        wish.amps = amps;
        tl_spread* spread = spread_new(wish);
        spread_say(&spread->rig, hostile);
        for (size_t i = 0; i < amps; ++i)
            spread_say(&spread->amps[i], hostile);
        for (size_t i = 0; i < 4; ++i) {
            spread_say(&spread->values[i].path, i % 2 ? "`touch ran`" : "'.system('touch ran').'");
            spread_say(&spread->values[i].about, hostile);
        }
        for (int i = 0; i < DRAWERS; ++i) {
            char* text = draw(drawers[i], spread, "hostile.svg");
            holds(text, "`touch ran`");
            holds_not(text, "]]>\n"); // XML forbids it; see plot.c
            free(text);
            assert_false(tl_file_exists("ran"));
        }
        tl_spread_free(spread);
    }
}

static void bad_paths_are_refused(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.trials = 20;
    tl_spread* spread = spread_new(wish);
    tl_error* error = tl_error_new();
    const tl_spread nothing = {0};
    for (int i = 0; i < DRAWERS; ++i) {
        assert_int_equal(drawers[i](spread, "|touch ran", error), TL_BAD_INPUT);
        assert_int_equal(drawers[i](spread, "fan.jpeg", error), TL_BAD_INPUT);
        assert_int_equal(drawers[i](spread, "/nowhere/a.svg", error), TL_FAILURE);
        assert_int_equal(drawers[i](&nothing, "a.svg", error), TL_BAD_INPUT);
        assert_non_null(strstr(tl_error_text(error), "nothing to draw"));
        assert_false(tl_file_exists("ran"));
        assert_false(tl_file_exists("a.svg"));
    }
    tl_error_free(error);
    tl_spread_free(spread);
}

static void steps_are_round(void** state) {
    (void)state;
    static const struct {
        double span;
        int most;
        double step;
    } steps[] = {{10, 5, 2}, {10, 4, 5}, {1, 5, 0.2}, {0.9, 5, 0.2}, {43, 4, 20}, {2.1e3, 4, 1e3}};
    for (size_t i = 0; i < sizeof steps / sizeof *steps; ++i)
        assert_true(fabs(tl_spread_step(steps[i].span, steps[i].most) / steps[i].step - 1) < 1e-9);
    tl_text script = {0};
    tl_spread_page_tics(&script, "x", -0.31, 0.22, 0.1, true);
    holds(tl_text_get(&script), "('-0.3' -0.3,'-0.2' -0.2,'-0.1' -0.1,'0.0' 0,'+0.1' 0.1,"
                                "'+0.2' 0.2)");
    tl_text_free(&script);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(the_fan_has_bands_and_lines, enter, leave),
        cmocka_unit_test_setup_teardown(bands_lie_where_their_numbers_say, enter, leave),
        cmocka_unit_test_setup_teardown(amps_stand_side_by_side, enter, leave),
        cmocka_unit_test_setup_teardown(bars_mark_and_say, enter, leave),
        cmocka_unit_test_setup_teardown(bars_without_trials_are_empty, enter, leave),
        cmocka_unit_test_setup_teardown(curves_without_numbers_are_gaps, enter, leave),
        cmocka_unit_test_setup_teardown(shares_are_ranked_bars, enter, leave),
        cmocka_unit_test_setup_teardown(all_kinds_of_picture_are_drawn, enter, leave),
        cmocka_unit_test_setup_teardown(no_name_runs_anything, enter, leave),
        cmocka_unit_test_setup_teardown(bad_paths_are_refused, enter, leave),
        cmocka_unit_test(steps_are_round),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

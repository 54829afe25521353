// SPDX-License-Identifier: GPL-3.0-or-later
// A board as read, jacks of what is turned, which jacks each lead joins, and lengths by hand.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"
#include "parts/kinds.h"
#include "rig/layout.h"
#include "rig/path.h"
#include "rig_text.h"

#include <cmocka.h>
#include <math.h>

static const double pi = 3.14159265358979323846;

static tl_library* library;
static tl_error* error;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return tl_library_open(NULL, &library, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_library_free(library);
    tl_error_free(error);
    return 0;
}

// Two pedals with a lead between them that takes its length from the board. The lead is 4 mm thick
// and bends to 20 mm; straight plugs stand out 40 mm, bent ones 10 mm and let their lead go 20 mm
// beside the jack, 5 mm from the pedal.
static const char* const plugs[] = {
    "{fits: jack-6.3, leaves: straight, room: 40 mm, body: 12 mm, preparation: 20 mm}",
    "{fits: jack-6.3, leaves: sideways, room: 10 mm, body: 12 mm, reach: 20 mm}"};

static char* rig_text(const char* plug, const char* one, const char* other, const char* more) {
    return tl_printf("guitar: {pickup: single-coil}\n"
                     "chain:\n"
                     "- {cable: standard-coax, length: 6 m}\n"
                     "- {pedal: booster, name: one, engaged: no}\n"
                     "- contact: clamped-new\n"
                     "- {cable: {capacitance: 100 pF/m, outer: 4 mm, bend: 5}, length: layout}\n"
                     "- contact: clamped-new\n"
                     "- {pedal: booster, name: two, engaged: no}\n"
                     "- {cable: standard-coax, length: 6 m}\n"
                     "amp: tube-input\n"
                     "board:\n"
                     "  width: 600 mm\n"
                     "  depth: 300 mm\n"
                     "  slack: {share: 5 %%, least: 15 mm}\n"
                     "  plug: %s\n"
                     "  pedals:\n"
                     "  - {pedal: one, width: 80 mm, depth: 120 mm, %s}\n"
                     "  - {pedal: two, width: 80 mm, depth: 120 mm, %s}\n"
                     "%s",
                     plug, one, other, more);
}

static tl_rig* read_rig(char* text) {
    tl_rig* rig = rig_of(library, text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    free(text);
    return rig;
}

// The route of the one lead on the board, and its length as the rest of the program has it.
static double route_m(tl_rig* rig, double length_m) {
    tl_layout layout;
    assert_int_equal(tl_layout_make(rig, &layout, error), TL_OK);
    assert_int_equal(layout.count, 3);
    assert_string_equal(layout.leads[0].from.name, "guitar");
    assert_string_equal(layout.leads[0].to.name, "one in");
    assert_false(layout.leads[0].on_board);
    assert_string_equal(layout.leads[1].from.name, "one out");
    assert_string_equal(layout.leads[1].to.name, "two in");
    assert_string_equal(layout.leads[1].path, "chain[3]");
    assert_true(layout.leads[1].on_board);
    assert_string_equal(layout.leads[2].to.name, "amp");
    double found_m = layout.leads[1].way.length_m;
    assert_true(fabs(layout.leads[1].length_m - length_m) < 1e-9);
    tl_layout_free(&layout);
    assert_true(fabs(tl_part_number(rig->main.chain.items[3].part, "length", 0) - length_m) < 1e-9);
    return found_m;
}

// 'one' at the right looks to the left out of the jack at 30 mm, 'two' to the right: face to face,
// 200 mm apart. Straight plugs of 40 mm each leave 120 mm; with 15 mm of slack 135 mm.
static void face_to_face(void** state) {
    (void)state;
    tl_rig* rig = read_rig(rig_text(plugs[0],
                                    "left: 400 mm, front: 50 mm, in: {side: right, at: 30 mm}, "
                                    "out: {side: left, at: 30 mm}",
                                    "left: 120 mm, front: 50 mm, in: {side: right, at: 30 mm}, "
                                    "out: {side: left, at: 30 mm}",
                                    ""));
    assert_true(fabs(route_m(rig, 0.135) - 0.12) < 1e-9);
    tl_rig_free(rig);
}

// The same with bent plugs: both let their leads go to one side, 190 mm apart (10 mm in all out of
// the jacks' faces): half a circle of 20 mm in two quarters and 150 mm between. 212.8 mm, with 15
// mm 227.8: 230 mm.
static void bent_plugs(void** state) {
    (void)state;
    tl_rig* rig = read_rig(rig_text(plugs[1],
                                    "left: 400 mm, front: 50 mm, in: {side: right, at: 60 mm}, "
                                    "out: {side: left, at: 60 mm}",
                                    "left: 120 mm, front: 50 mm, in: {side: right, at: 60 mm}, "
                                    "out: {side: left, at: 60 mm}",
                                    ""));
    assert_true(fabs(route_m(rig, 0.23) - (0.15 + pi * 0.02)) < 1e-9);
    tl_rig_free(rig);
}

// Slack is the larger of its share and its least: of 500 mm 5 % are 25 mm.
static void slack(void** state) {
    (void)state;
    char* text = rig_text(plugs[0],
                          "left: 500 mm, front: 50 mm, in: {side: right, at: 30 mm}, "
                          "out: {side: left, at: 30 mm}",
                          "left: 20 mm, front: 50 mm, in: {side: right, at: 30 mm}, "
                          "out: {side: left, at: 30 mm}",
                          "");
    tl_rig* rig = read_rig(text);
    // 400 mm between the faces, 320 between the plugs: 5 % are 16 mm, 336 mm, rounded up to 340.
    assert_true(fabs(route_m(rig, 0.34) - 0.32) < 1e-9);
    tl_rig_free(rig);
}

// A clone of another cable is laid out anew; a length that is set stays.
static void clones(void** state) {
    (void)state;
    tl_rig* rig = read_rig(rig_text(plugs[1],
                                    "left: 400 mm, front: 50 mm, in: {side: right, at: 60 mm}, "
                                    "out: {side: left, at: 60 mm}",
                                    "left: 120 mm, front: 50 mm, in: {side: right, at: 60 mm}, "
                                    "out: {side: left, at: 60 mm}",
                                    ""));
    tl_rig* clone = tl_rig_clone(rig);
    tl_part* cable = clone->main.chain.items[3].part;
    tl_part_set_number(cable, "outer", 8e-3); // bends to 40 mm: 110 mm between two such quarters
    assert_int_equal(tl_rig_check(clone, error), TL_OK);
    double length_m = 0.005 * ceil((0.11 + pi * 0.04 + 0.015) / 0.005);
    assert_true(fabs(tl_part_number(cable, "length", 0) - length_m) < 1e-9);
    tl_part_set_number(cable, "length", 0.5);
    assert_int_equal(tl_rig_check(clone, error), TL_OK);
    assert_true(tl_part_number(cable, "length", 0) == 0.5);
    tl_rig_free(clone);
    tl_rig_free(rig);
}

// A jack on the left side, 30 mm from the front, of a pedal 80 mm wide and 120 mm deep at (100,
// 50): turned clockwise it comes to the back, then to the right, then to the front.
static void turned(void** state) {
    (void)state;
    static const struct {
        const char* turn;
        tl_side side;
        double x_mm;
        double y_mm;
        double width_mm;
    } cases[] = {{"0 deg", TL_SIDE_LEFT, 100, 80, 80},
                 {"90 deg", TL_SIDE_BACK, 130, 130, 120},
                 {"180 deg", TL_SIDE_RIGHT, 180, 140, 80},
                 {"270 deg", TL_SIDE_FRONT, 190, 50, 120}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
        char* one = tl_printf("left: 100 mm, front: 50 mm, turn: %s, in: {side: right, at: 10 mm}, "
                              "out: {side: left, at: 30 mm}",
                              cases[i].turn);
        tl_rig* rig = read_rig(rig_text(plugs[0], one,
                                        "left: 400 mm, front: 50 mm, in: {side: left, at: 30 mm}, "
                                        "out: {side: right, at: 30 mm}",
                                        ""));
        free(one);
        const tl_placed* placed = &rig->board->placed[0];
        tl_jack_place jack = tl_placed_jack(rig->board, placed, TL_JACK_OUT);
        assert_int_equal(jack.side, cases[i].side);
        assert_true(fabs(1e3 * jack.spot.x_m - cases[i].x_mm) < 1e-9);
        assert_true(fabs(1e3 * jack.spot.y_m - cases[i].y_mm) < 1e-9);
        assert_true(fabs(1e3 * placed->width_m - cases[i].width_mm) < 1e-9);
        tl_rig_free(rig);
    }
}

// Says whom the leads of a rig join, as "guitar > one in, one out > two in".
static char* joins(const char* text) {
    tl_rig* rig = rig_of(library, text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    tl_layout layout;
    assert_int_equal(tl_layout_make(rig, &layout, error), TL_OK);
    tl_text words = {0};
    for (size_t i = 0; i < layout.count; ++i)
        tl_text_addf(&words, "%s%s%s > %s%s", i ? ", " : "", layout.leads[i].from.name,
                     layout.leads[i].from.placed ? "" : "*", layout.leads[i].to.name,
                     layout.leads[i].to.placed ? "" : "*");
    tl_layout_free(&layout);
    tl_rig_free(rig);
    return tl_text_take(&words);
}

// Loops, a pot with a tuner, a lead in two pieces, and a split; * is off the board.
static void all_shapes(void** state) {
    (void)state;
    char* found = joins(
        "guitar: {pickup: single-coil}\n"
        "chain:\n"
        "- {cable: standard-coax, length: 3 m}\n"
        "- {cable: standard-coax, length: 3 m}\n"
        "- pot: {like: pot-250k-audio, position: 100 %, tuner-out: {chain: [{cable: patch-coax, "
        "length: 60 cm}], end: {resistance: 1 Mohm}}}\n"
        "  name: swell\n"
        "- {cable: patch-coax, length: 30 cm}\n"
        "- loop: {name: dirt, engaged: no, chain: [{cable: patch-coax, length: 20 cm}, {pedal: "
        "booster, name: boost, engaged: no}, {cable: patch-coax, length: 20 cm}]}\n"
        "- loop: {name: echo, engaged: no, chain: [{cable: patch-coax, length: 40 cm}]}\n"
        "- {buffer: line-driver, name: driver}\n"
        "- split:\n"
        "  - {name: dry, chain: [{cable: patch-coax, length: 5 m}], amp: tube-input}\n"
        "  - {name: wet, chain: [{cable: patch-coax, length: 5 m}], end: open}\n"
        "board:\n"
        "  width: 60 cm\n"
        "  depth: 30 cm\n"
        "  pedals:\n"
        "  - {pedal: swell, left: 0 mm, front: 0 mm, width: 10 cm, depth: 25 cm, in: {side: right, "
        "at: 5 cm}, out: {side: right, at: 9 cm}, tuner: {side: right, at: 15 cm}}\n"
        "  - {pedal: dirt, left: 20 cm, front: 20 cm, width: 20 cm, depth: 5 cm, in: {side: front, "
        "at: 1 cm}, out: {side: front, at: 19 cm}, send: {side: back, at: 3 cm}, return: {side: "
        "back, at: 6 cm}}\n"
        "  - {pedal: echo, within: dirt, send: {side: back, at: 12 cm}, return: {side: back, at: "
        "15 "
        "cm}}\n"
        "  - {pedal: boost, left: 20 cm, front: 0 mm, width: 7 cm, depth: 12 cm, in: {side: right, "
        "at: 5 cm}, out: {side: left, at: 5 cm}}\n"
        "  - {pedal: driver, left: 45 cm, front: 0 mm, width: 7 cm, depth: 12 cm, in: {side: "
        "right, "
        "at: 5 cm}, out: {side: left, at: 5 cm}, out2: {side: left, at: 9 cm}}\n");
    assert_string_equal(found, "guitar* > a joint*, a joint* > swell in, swell tuner > tuner-out "
                               "end*, swell out > dirt in, dirt send > boost in, boost out > dirt "
                               "return, echo send > echo return, driver out > dry amp*, driver "
                               "out2 > wet end*");
    free(found);
}

// What is said of a rig that cannot be used, with its place.
static void refuses(const char* one, const char* other, const char* more, const char* words) {
    char* text = rig_text(plugs[0], one, other, more);
    tl_rig* rig = rig_of(library, text, error);
    if (rig)
        fail_msg("taken, though '%s' was expected", words);
    if (!strstr(tl_error_text(error), words))
        fail_msg("'%s' was expected of: %s", words, tl_error_text(error));
    free(text);
}

static void refused(void** state) {
    (void)state;
    const char* good = "left: 400 mm, front: 50 mm, in: {side: right, at: 30 mm}, out: {side: "
                       "left, at: 30 mm}";
    refuses(good,
            "left: 330 mm, front: 60 mm, in: {side: right, at: 30 mm}, out: {side: left, at: "
            "30 mm}",
            "", "'two' and 'one' overlap, by 10 mm across and 110 mm in depth");
    refuses(good,
            "left: 530 mm, front: 60 mm, in: {side: right, at: 30 mm}, out: {side: left, at: "
            "30 mm}",
            "", "'two' stands 10 mm over the board's right edge");
    refuses(good,
            "left: 0 mm, front: 200 mm, in: {side: right, at: 30 mm}, out: {side: left, at: "
            "30 mm}",
            "", "'two' stands 20 mm over the board's back edge");
    refuses(good,
            "left: 0 mm, front: 0 mm, in: {side: right, at: 130 mm}, out: {side: left, at: "
            "30 mm}",
            "", "130 mm along its right side, which is 120 mm long");
    refuses(good, "left: 0 mm, front: 0 mm, out: {side: left, at: 30 mm}", "",
            "'two' needs its jack 'in'");
    refuses(good,
            "left: 0 mm, front: 0 mm, turn: 45 deg, in: {side: left, at: 1 mm}, out: {side: "
            "left, at: 30 mm}",
            "", "expected 0, 90, 180 or 270 deg");
    refuses(good,
            "left: 0 mm, front: 0 mm, in: {side: left, at: 1 mm, towards: right}, out: "
            "{side: left, at: 30 mm}",
            "", "through its own pedal");
    refuses(good,
            "left: 0 mm, front: 0 mm, in: {side: left, at: 1 mm, plug: barrel-straight}, "
            "out: {side: left, at: 30 mm}",
            "", "a plug for a barrel does not go into a jack-6.3");
    refuses(good,
            "left: 0 mm, front: 0 mm, in: {side: left, at: 1 mm}, out: {side: left, at: 30 mm}, "
            "power: {side: back, at: 30 mm, plug: flat}",
            "", "a plug for a jack-6.3 does not go into a socket for DC");
    refuses(good,
            "left: 0 mm, front: 0 mm, in: {side: left, at: 1 mm}, out: {side: left, at: 30 "
            "mm}",
            "  supplies: [{supply: brick, left: 0 mm, front: 0 mm, width: 1 cm, depth: 1 cm}]\n",
            "no supply of 'power' is named 'brick'; this rig has no 'power'");
}

// What touches does not overlap; what hangs below is in nobody's way.
static void touching(void** state) {
    (void)state;
    const char* good = "left: 400 mm, front: 50 mm, in: {side: right, at: 30 mm}, out: {side: "
                       "back, at: 30 mm}";
    tl_rig_free(read_rig(rig_text(plugs[0], good,
                                  "left: 320 mm, front: 50 mm, in: {side: back, at: 30 mm}, out: "
                                  "{side: left, at: 30 mm}",
                                  "")));
    tl_rig_free(read_rig(rig_text(plugs[0], good,
                                  "left: 400 mm, front: 60 mm, under: yes, in: {side: left, at: 30 "
                                  "mm}, out: {side: left, at: 80 mm}",
                                  "")));
    // A jack of its own plug: a power jack takes one for DC.
    tl_rig_free(read_rig(rig_text(plugs[0], good,
                                  "left: 0 mm, front: 50 mm, in: {side: left, at: 30 mm}, out: "
                                  "{side: left, at: 80 mm}, power: {side: back, at: 30 mm, plug: "
                                  "barrel-straight}",
                                  "")));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(face_to_face), cmocka_unit_test(bent_plugs), cmocka_unit_test(slack),
        cmocka_unit_test(clones),       cmocka_unit_test(turned),     cmocka_unit_test(all_shapes),
        cmocka_unit_test(refused),      cmocka_unit_test(touching),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

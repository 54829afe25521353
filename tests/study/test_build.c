// SPDX-License-Identifier: GPL-3.0-or-later
// A board to build: its figures by hand, and what it says of plugs, bends, lengths and DC leads.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "../rig/rig_text.h"
#include "base/text.h"
#include "toneload/study.h"

#include <cmocka.h>
#include <math.h>

static const double pi = 3.14159265358979323846;

static tl_session* session;
static tl_error* error;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    const tl_session_options options = {.solves = false};
    return tl_session_new(&options, &session, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_session_free(session);
    tl_error_free(error);
    return 0;
}

// Straight plugs stand out 40 mm, bent ones 10 mm and let their lead go 20 mm beside the jack.
#define STRAIGHT                                                                                   \
    "{fits: jack-6.3, leaves: straight, room: 40 mm, body: 12 mm, height: 12 mm, preparation: 20 " \
    "mm}"
#define BENT "{fits: jack-6.3, leaves: sideways, room: 10 mm, body: 12 mm, reach: 20 mm}"

// What of the board a case changes; NULL: as it is.
typedef struct {
    const char* plug;
    const char* length;
    int left_mm;        ///< of 'two', whose right side is 80 mm on
    const char* out;    ///< more of the jack of 'one'
    const char* in;     ///< more of the jack of 'two'
    const char* pedals; ///< more of them
    const char* rest;   ///< supplies and power
} board_case;

// 'one' at (400, 50), 'two' at its left: 80 by 120 mm, jacks in the middle of their sides.
static tl_build* build_of(board_case c) {
    char* text = tl_printf(
        "guitar: {pickup: single-coil}\n"
        "chain:\n"
        "- {cable: standard-coax, length: 6 m}\n"
        "- {pedal: booster, name: one, engaged: no}\n"
        "- {cable: {capacitance: 100 pF/m, resistance: 50 mohm/m, outer: 4 mm, bend: 5}, length: "
        "%s}\n"
        "- {pedal: booster, name: two, engaged: no}\n"
        "- {cable: standard-coax, length: 6 m}\n"
        "amp: tube-input\n"
        "board:\n"
        "  width: 600 mm\n"
        "  depth: 300 mm\n"
        "  weight: 2 kg\n"
        "  slack: {share: 5 %%, least: 15 mm}\n"
        "  plug: %s\n"
        "  pedals:\n"
        "  - {pedal: one, left: 400 mm, front: 50 mm, width: 80 mm, depth: 120 mm, weight: 400 g, "
        "in: {side: right, at: 60 mm}, out: {side: left, at: 60 mm%s}, power: {side: back, at: 40 "
        "mm}}\n"
        "  - {pedal: two, left: %d mm, front: 50 mm, width: 80 mm, depth: 120 mm, in: {side: "
        "right, "
        "at: 60 mm%s}, out: {side: front, at: 40 mm}, power: {side: back, at: 40 mm}}\n"
        "%s%s",
        c.length ? c.length : "layout", c.plug ? c.plug : STRAIGHT, c.out ? c.out : "", c.left_mm,
        c.in ? c.in : "", c.pedals ? c.pedals : "", c.rest ? c.rest : "");
    tl_rig* rig = rig_of(tl_session_library(session), text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    free(text);
    tl_build* build = NULL;
    if (tl_study_build(session, rig, NULL, &build, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_rig_free(rig);
    return build;
}

static const tl_build_finding* finding_with(const tl_build* build, const char* words) {
    for (size_t i = 0; i < build->finding_count; ++i)
        if (strstr(build->findings[i].words, words))
            return &build->findings[i];
    return NULL;
}

static void says(const tl_build* build, tl_build_gravity gravity, const char* kind,
                 const char* words) {
    const tl_build_finding* found = finding_with(build, words);
    for (size_t i = 0; !found && i < build->finding_count; ++i)
        print_error("found: %s\n", build->findings[i].words);
    if (!found)
        fail_msg("nothing says '%s'", words);
    assert_int_equal(found->gravity, gravity);
    assert_string_equal(found->kind, kind);
}

static bool is_near(double one, double other) {
    return fabs(one - other) < 1e-9;
}

// Face to face 200 mm apart: 120 mm between the plugs, 135 mm finished, 40 mm inside both plugs.
static void figures(void** state) {
    (void)state;
    tl_build* build = build_of((board_case){.left_mm = 120});
    assert_int_equal(build->box_count, 2);
    assert_int_equal(build->lead_count, 3);
    assert_true(is_near(build->total_weight_kg, 2.4));
    assert_int_equal(build->weightless, 1);
    const tl_build_lead* lead = &build->leads[1];
    assert_int_equal(lead->number, 2);
    assert_true(lead->on_board);
    assert_true(is_near(lead->route_m, 0.12) && is_near(lead->slack_m, 0.015));
    assert_true(is_near(lead->length_m, 0.135) && is_near(lead->cut_m, 0.175));
    assert_true(isnan(lead->stated_m) && isinf(lead->bend_m));
    assert_true(is_near(lead->bend_least_m, 0.02) && is_near(lead->diameter_m, 4e-3));
    assert_true(is_near(1e12 * lead->farad, 13.5) && is_near(1e3 * lead->loop_ohm, 6.75));
    assert_string_equal(lead->type, "");
    assert_true(is_near(lead->from.jack.x_m, 0.4) && is_near(lead->from.jack.y_m, 0.11));
    assert_true(is_near(lead->from.leaves.x_m, 0.36) && is_near(lead->to.leaves.x_m, 0.24));
    assert_true(is_near(lead->from.low.x_m, 0.36) && is_near(lead->from.high.y_m, 0.116));
    assert_int_equal(lead->from.side, TL_SIDE_LEFT);
    assert_true(is_near(lead->from.room_m, 0.04) && is_near(lead->from.body_m, 0.012));
    const tl_build_lead* guitar = &build->leads[0];
    assert_false(guitar->on_board);
    assert_true(guitar->length_m == 6 && isnan(guitar->route_m) && !guitar->way);
    assert_int_equal(guitar->from.box, TL_BUILD_NONE);
    assert_int_equal(guitar->to.box, 0);
    assert_string_equal(build->no_dc, "this rig says nothing of 'power'");
    for (size_t i = 0; i < build->finding_count; ++i)
        assert_int_equal(build->findings[i].gravity, TL_BUILD_NOTE);
    tl_build_free(build);
}

// 60 mm between the faces and two plugs of 40 mm: 20 mm of them would be in one place. At heights
// that differ by more than their 12 mm one passes over the other.
static void plugs_meet(void** state) {
    (void)state;
    const char* words = "The plugs at one out (lead 2) and two in (lead 2) are in each other's way";
    tl_build* build = build_of((board_case){.left_mm = 260});
    says(build, TL_BUILD_ERROR, "plugs", words);
    says(build, TL_BUILD_ERROR, "plugs", "the two need 80 mm between the sides they are in; with");
    assert_non_null(finding_with(build, "the 'height' of both jacks over the deck stated"));
    tl_build_free(build);
    build =
        build_of((board_case){.left_mm = 260, .out = ", height: 20 mm", .in = ", height: 30 mm"});
    says(build, TL_BUILD_ERROR, "plugs", words);
    assert_null(finding_with(build, "'height'"));
    tl_build_free(build);
    build =
        build_of((board_case){.left_mm = 260, .out = ", height: 20 mm", .in = ", height: 33 mm"});
    assert_null(finding_with(build, words));
    tl_build_free(build);
}

// 30 mm between the faces: the plug of 40 mm would end in the other pedal, but for one it is over.
static void plug_meets_box(void** state) {
    (void)state;
    tl_build* build = build_of((board_case){.left_mm = 290, .length = "20 cm"});
    says(build, TL_BUILD_ERROR, "plugs", "The plug at one out (lead 2) runs into 'two'");
    says(build, TL_BUILD_ERROR, "plugs", "The plug at two in (lead 2) runs into 'one'");
    tl_build_free(build);
    build = build_of((board_case){
        .left_mm = 120,
        .out = ", height: 40 mm",
        .pedals =
            "  - {device: low, left: 300 mm, front: 60 mm, width: 90 mm, depth: 100 mm, height: "
            "33 mm}\n"});
    assert_null(finding_with(build, "The plug at one out (lead 2) runs into 'low'"));
    tl_build_free(build);
    build = build_of((board_case){
        .left_mm = 120,
        .length = "30 cm",
        .out = ", height: 40 mm",
        .pedals =
            "  - {device: low, left: 300 mm, front: 60 mm, width: 90 mm, depth: 100 mm, height: "
            "35 mm}\n"});
    says(build, TL_BUILD_ERROR, "plugs", "The plug at one out (lead 2) runs into 'low'");
    tl_build_free(build);
}

// A bent plug looks where nothing is in its way.
static void plugs_turn(void** state) {
    (void)state;
    static const char* const blocks[] = {"60 mm", "115 mm"}; // in front of the jack, behind it
    for (int i = 0; i < 2; ++i) {
        char* block = tl_printf("  - {device: block, left: 385 mm, front: %s, width: 15 mm, depth: "
                                "45 mm}\n",
                                blocks[i]);
        tl_build* build = build_of((board_case){.left_mm = 120, .plug = BENT, .pedals = block});
        // The block leaves 6 mm beside the jack: enough for the plug's half width, not its reach.
        const tl_build_lead* lead = &build->leads[1];
        assert_true(is_near(lead->from.leaves.y_m, i == 0 ? 0.13 : 0.09));
        tl_build_free(build);
        free(block);
    }
    tl_build* build =
        build_of((board_case){.left_mm = 120, .plug = BENT, .out = ", towards: back"});
    assert_true(is_near(build->leads[1].from.leaves.y_m, 0.13));
    assert_true(is_near(build->leads[1].from.leaves.x_m, 0.395));
    tl_build_free(build);
}

// 120 mm of route: 110 mm are too short, 125 mm have not the 15 mm that are wanted, 135 mm have;
// 285 mm are just not long, 290 mm are.
static void lengths(void** state) {
    (void)state;
    static const struct {
        const char* stated;
        tl_build_gravity gravity;
        const char* words;
    } cases[] = {
        {"110 mm", TL_BUILD_ERROR,
         "too short: 110 mm stated, but its route takes 120 mm; with slack"},
        {"125 mm", TL_BUILD_WARNING,
         "125 mm stated, 5 mm more than its route, and 15 mm are wanted"},
        {"135 mm", TL_BUILD_NOTE, NULL},
        {"285 mm", TL_BUILD_NOTE, NULL},
        {"290 mm", TL_BUILD_NOTE,
         "290 mm stated, and its route takes 120 mm; 170 mm are to be coiled"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
        tl_build* build = build_of((board_case){.left_mm = 120, .length = cases[i].stated});
        if (cases[i].words)
            says(build, cases[i].gravity, "slack", cases[i].words);
        else
            assert_null(finding_with(build, "Lead 2"));
        assert_true(is_near(build->leads[1].length_m, build->leads[1].stated_m));
        tl_build_free(build);
    }
}

// Bent plugs 30 mm apart, closed in at front and back: the leads leave 20 mm apart, with 3 mm of
// room to swing out to either side (5 mm to the pedals, less half a lead). The middle one of the
// three arcs of such a turn lies half way between, so the lead swings out by r - w/2: 3 mm at r =
// 13 mm. Its make allows 20 mm. The length is r (pi + 4a) with cos a = (w + 2r) / 4r.
static void tight_bend(void** state) {
    (void)state;
    tl_build* build = build_of((board_case){
        .left_mm = 290,
        .plug = BENT,
        .pedals =
            "  - {device: before, left: 300 mm, front: 0 mm, width: 180 mm, depth: 49 mm}\n"
            "  - {device: behind, left: 300 mm, front: 171 mm, width: 180 mm, depth: 49 mm}\n"});
    says(build, TL_BUILD_ERROR, "bend", "and its make allows 20 mm");
    double r = build->leads[1].bend_m;
    assert_true(r < 0.013 + 1e-5 && r > 0.013 - 0.2e-3); // found to a hundredth of 20 mm
    double a = acos((0.02 + 2 * r) / (4 * r));
    assert_true(is_near(build->leads[1].route_m, r * (pi + 4 * a)));
    assert_int_equal(build->findings[0].gravity, TL_BUILD_ERROR);
    tl_build_free(build);
}

// Nothing gets out of a ring.
static void no_way(void** state) {
    (void)state;
    tl_build* build = build_of((board_case){
        .left_mm = 120,
        .length = "20 cm",
        .plug = BENT,
        .pedals = "  - {device: a, left: 370 mm, front: 50 mm, width: 10 mm, depth: 120 mm}\n"
                  "  - {device: b, left: 380 mm, front: 50 mm, width: 20 mm, depth: 10 mm}\n"
                  "  - {device: c, left: 380 mm, front: 160 mm, width: 20 mm, depth: 10 mm}\n"});
    says(build, TL_BUILD_ERROR, "route", "Lead 2 has no way on the deck from one out to two in");
    tl_build_free(build);
}

static const char power[] =
    "  dc_plug: {fits: barrel, leaves: straight, room: 30 mm, body: 10 mm, preparation: 12 mm}\n"
    "  drop: 40 mm\n"
    "  supplies:\n"
    "  - {supply: brick, under: %s, left: %d mm, front: 180 mm, width: 60 mm, depth: 40 mm, "
    "outputs: "
    "{side: left, first: 20 mm, step: 10 mm}}\n"
    "power:\n"
    "  lead: {gauge: 24 AWG, length: %s}\n"
    "  supplies:\n"
    "  - {name: brick, kind: switching, outputs: [{name: a, voltage: 9 V, current: 100 mA}, {name: "
    "b, "
    "voltage: 9 V, current: 100 mA}]}\n"
    "  pedals:\n"
    "  - {pedal: one, voltage: 9 V, polarity: centre-negative, current: 20 mA, output: brick/a}\n"
    "  - {pedal: two, voltage: 9 V, polarity: centre-negative, current: 20 mA, output: brick/b}\n";

// The jack of 'one' is at (440, 170), its plug ends at (440, 200). Output a lies at (x, 200) and
// its plug ends at (x - 30, 200): below the deck the lead goes straight there, and 40 mm down.
static void dc_below(void** state) {
    (void)state;
    char* rest = tl_printf(power, "yes", 520, "300 mm");
    tl_build* build = build_of((board_case){.left_mm = 120, .rest = rest});
    assert_int_equal(build->lead_count, 5);
    const tl_build_lead* lead = &build->leads[3];
    assert_string_equal(lead->kind, "dc");
    assert_string_equal(lead->type, "24 AWG");
    assert_string_equal(lead->from.name, "brick/a");
    assert_string_equal(lead->to.name, "one power");
    assert_true(is_near(lead->drop_m, 0.04) && is_near(lead->route_m, 0.05 + 0.04));
    assert_true(is_near(lead->length_m, 0.105) && is_near(lead->cut_m, 0.129));
    assert_true(is_near(lead->stated_m, 0.3) && isnan(lead->farad));
    // 24 AWG: 0.127 mm x 92^(12/39) = 0.5106 mm, 84.2 mohm/m; there and back.
    assert_true(fabs(lead->loop_ohm - 2 * 0.105 * 0.0842) < 1e-5);
    says(build, TL_BUILD_NOTE, "slack", "1 DC lead is cut shorter than 'power' reckons with");
    // 'two' is 280 mm further: its 340 and odd mm are more than 'power' has.
    says(build, TL_BUILD_ERROR, "slack",
         "Lead 5, brick/b to two power, is too short: 300 mm stated "
         "in 'power'");
    tl_build_free(build);
    free(rest);
}

// The same on the deck: the lead leaves (490, 200) to the left and ends at (440, 200) towards the
// front, 3.5 mm thick, so its bends have 17.5 mm. Right, then left: the middles lie at (490, 217.5)
// and, for turning left into the plug, at (457.5, 200). They are 36.91 mm apart, and the straight
// piece, which crosses between them, is sqrt(36.91^2 - 35^2) long.
static void dc_on_deck(void** state) {
    (void)state;
    char* rest = tl_printf(power, "no", 520, "500 mm");
    tl_build* build = build_of((board_case){.left_mm = 120, .rest = rest});
    const tl_build_lead* lead = &build->leads[3];
    assert_true(lead->drop_m == 0 && is_near(lead->bend_m, 17.5e-3) && isnan(lead->diameter_m));
    double r = 17.5e-3;
    double apart = hypot(32.5e-3, 17.5e-3);
    double piece = sqrt(apart * apart - 4 * r * r);
    // From the one middle to the other, and less asin(2r / apart), as right goes over to left.
    double heading = atan2(-17.5e-3, -32.5e-3) + 2 * pi - asin(2 * r / apart);
    double right = pi - heading;
    double left = 1.5 * pi - heading;
    assert_true(right > 0 && left > 0);
    assert_true(is_near(lead->route_m, piece + r * (right + left)));
    tl_build_free(build);
    free(rest);
}

// Two supplies: the second one's first output is where that one stands.
static void two_supplies(void** state) {
    (void)state;
    tl_build* build = build_of((board_case){
        .left_mm = 120,
        .rest =
            "  supplies:\n"
            "  - {supply: left, under: yes, left: 0 mm, front: 200 mm, width: 60 mm, depth: 40 mm, "
            "outputs: {side: right, first: 20 mm, step: 10 mm}}\n"
            "  - {supply: right, under: yes, left: 500 mm, front: 200 mm, width: 60 mm, depth: 40 "
            "mm}\n"
            "power:\n"
            "  supplies:\n"
            "  - {name: left, kind: switching, outputs: [{name: a, voltage: 9 V, current: 100 mA}, "
            "{name: b, voltage: 9 V, current: 100 mA}]}\n"
            "  - {name: right, kind: switching, outputs: [{name: a, voltage: 9 V, current: 100 "
            "mA}, {name: b, voltage: 9 V, current: 100 mA}]}\n"
            "  pedals:\n"
            "  - {pedal: one, voltage: 9 V, polarity: centre-negative, current: 20 mA, output: "
            "right/b}\n"
            "  - {pedal: two, voltage: 9 V, polarity: centre-negative, current: 20 mA, output: "
            "left/b}\n"});
    const tl_build_lead* one = &build->leads[3];
    const tl_build_lead* two = &build->leads[4];
    assert_string_equal(one->from.name, "right/b");
    assert_string_equal(two->from.name, "left/b");
    // Nothing is said of the right one's: along its front, at a quarter and three quarters.
    assert_true(is_near(one->from.jack.x_m, 0.545) && is_near(one->from.jack.y_m, 0.2));
    assert_true(is_near(two->from.jack.x_m, 0.06) && is_near(two->from.jack.y_m, 0.23));
    assert_int_equal(one->from.side, TL_SIDE_FRONT);
    tl_build_free(build);
}

// An audio lead to what hangs below goes down at the plug of what stands above, whichever of the
// two the signal comes to first: from there it is free, and 40 mm longer.
static void audio_below(void** state) {
    (void)state;
    for (int i = 0; i < 2; ++i) {
        char* text =
            tl_printf("guitar: {pickup: single-coil}\n"
                      "chain:\n"
                      "- {pedal: booster, name: one, engaged: no}\n"
                      "- {cable: {capacitance: 100 pF/m, outer: 4 mm, bend: 5}, length: layout}\n"
                      "- {pedal: booster, name: two, engaged: no}\n"
                      "amp: tube-input\n"
                      "board:\n"
                      "  width: 600 mm\n"
                      "  depth: 300 mm\n"
                      "  drop: 40 mm\n"
                      "  slack: {share: 0 %%, least: 0 mm}\n"
                      "  plug: %s\n"
                      "  pedals:\n"
                      "  - {pedal: one, left: 400 mm, front: 50 mm, width: 80 mm, depth: 120 mm, "
                      "under: %s, in: "
                      "{side: right, at: 60 mm}, out: {side: %s, at: 40 mm}}\n"
                      "  - {pedal: two, left: 100 mm, front: 50 mm, width: 80 mm, depth: 120 mm, "
                      "under: %s, in: "
                      "{side: %s, at: 40 mm}, out: {side: left, at: 60 mm}}\n",
                      STRAIGHT, i ? "no" : "yes", i ? "back" : "left", i ? "yes" : "no",
                      i ? "right" : "back");
        tl_rig* rig = rig_of(tl_session_library(session), text, error);
        if (!rig)
            fail_msg("%s", tl_error_text(error));
        free(text);
        tl_build* build = NULL;
        assert_int_equal(tl_study_build(session, rig, NULL, &build, error), TL_OK);
        const tl_build_lead* lead = &build->leads[0];
        // The one below leaves sideways at (360, 90) or (220, 90), the one above is free at (140,
        // 210) or (440, 210): 220 mm across and 120 mm back. It leaves level and turns towards the
        // end on a circle of 20 mm, whose middle is 20 mm back: from there 220 across and 100 back.
        double apart = hypot(0.22, 0.1);
        double piece = sqrt(apart * apart - 0.02 * 0.02);
        double turn = atan2(0.1, 0.22) + asin(0.02 / apart);
        assert_true(is_near(lead->drop_m, 0.04));
        assert_true(is_near(lead->route_m, piece + 0.02 * turn + 0.04));
        tl_build_free(build);
        tl_rig_free(rig);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(figures),        cmocka_unit_test(plugs_meet),
        cmocka_unit_test(plug_meets_box), cmocka_unit_test(plugs_turn),
        cmocka_unit_test(lengths),        cmocka_unit_test(tight_bend),
        cmocka_unit_test(no_way),         cmocka_unit_test(dc_below),
        cmocka_unit_test(dc_on_deck),     cmocka_unit_test(two_supplies),
        cmocka_unit_test(audio_below),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A board's drawing: that it measures right, what stands on it, that nothing stands on anything
// else, and that no name runs or breaks anything. The expected places are paper and pencil.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "build_fixture.h"
#include "show/build_svg.h"

#include <stdio.h>
#include <string.h>

static const char hostile[] =
    "</text><script>alert('x')</script><image href=\"file:///etc/passwd\"/> "
    "&lol; ]]> \x1b[31m \xff \xe2\x80\xae";

static char* draw(const tl_build* build, tl_drawing_options options) {
    char* svg = NULL;
    tl_error* error = tl_error_new();
    tl_status status = tl_build_drawing(build, &options, &svg, error);
    if (status != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
    return svg;
}

static char* refusal(const tl_build* build, tl_drawing_options options) {
    char* svg = NULL;
    tl_error* error = tl_error_new();
    assert_int_equal(tl_build_drawing(build, &options, &svg, error), TL_BAD_INPUT);
    assert_null(svg);
    char* words = tl_copy(tl_error_text(error));
    tl_error_free(error);
    return words;
}

static size_t occurrences(const char* text, const char* words) {
    size_t count = 0;
    for (const char* at = strstr(text, words); at; at = strstr(at + 1, words))
        ++count;
    return count;
}

/// A number of an attribute behind `from`.
static double attribute(const char* from, const char* name) {
    char* words = tl_printf(" %s=\"", name);
    const char* at = strstr(from, words);
    assert_non_null(at);
    double number = strtod(at + strlen(words), NULL);
    free(words);
    return number;
}

static const char* after(const char* text, const char* words) {
    const char* at = strstr(text, words);
    if (!at)
        fail_msg("no '%s'", words);
    return at + strlen(words);
}

static void assert_near(double is, double should) {
    if (fabs(is - should) > 0.006)
        fail_msg("%g instead of %g", is, should);
}

/// Two ratios, three boxes, two plugs: all from their mm on the board.
static void sizes_are_to_scale(void** state) {
    (void)state;
    static const double scales[] = {2.5, 4, 10};
    tl_build* build = fixture_build("a board");
    for (size_t i = 0; i < 3; ++i) {
        double scale = scales[i];
        char* svg = draw(build, (tl_drawing_options){.scale = scale});
        assert_non_null(strstr(svg, "width=\"297mm\" height=\"210mm\" viewBox=\"0 0 297 210\""));
        const char* ground = after(svg, "class=\"board\">");
        assert_near(attribute(ground, "width"), 600 / scale);
        assert_near(attribute(ground, "height"), 320 / scale);
        const char* tuner = after(after(svg, "class=\"box\">"), "</title>");
        assert_near(attribute(tuner, "x"), 500 / scale);
        assert_near(attribute(tuner, "y"), (320 - 30 - 120) / scale);
        assert_near(attribute(tuner, "width"), 70 / scale);
        assert_near(attribute(tuner, "height"), 120 / scale);
        const char* under = after(after(svg, "class=\"under\">"), "</title>");
        assert_near(attribute(under, "x"), 230 / scale);
        assert_near(attribute(under, "width"), 180 / scale);
        assert_non_null(strstr(under, "stroke-dasharray"));
        // The first plug is in the tuner's right side: 20 mm out, 14 wide, 70 from its front.
        const char* plug = strstr(svg, "class=\"plug\"");
        while (strncmp(plug, "<rect", 5) != 0)
            --plug;
        assert_near(attribute(plug, "x"), 570 / scale);
        assert_near(attribute(plug, "y"), (320 - 30 - 70 - 7) / scale);
        assert_near(attribute(plug, "width"), 20 / scale);
        assert_near(attribute(plug, "height"), 14 / scale);
        free(svg);
    }
    fixture_free(build);
}

/// 70 mm at 1:2 are 35 mm.
static void half_size_on_a3(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    char* svg = draw(build, (tl_drawing_options){.paper = "A3"});
    assert_non_null(strstr(svg, "width=\"420mm\" height=\"297mm\""));
    assert_non_null(strstr(svg, "Scale 1:2 on A3 landscape"));
    assert_near(attribute(after(after(svg, "class=\"box\">"), "</title>"), "width"), 35);
    assert_non_null(strstr(svg, "10 cm of paper are 20 cm of board"));
    free(svg);
    fixture_free(build);
}

/// A right angle with legs of 60 and 70 mm, least bend 20 mm: at 1:4 an arc of 5 mm from 5 mm
/// before the corner to 5 mm after it.
static void corners_are_arcs(void** state) {
    (void)state;
    tl_text way = {0};
    tl_spot corners[3] = {{0, 0}, {15, 0}, {15, 17.5}};
    tl_drawn_lead lead = {.way = corners, .count = 3, .radius = 5};
    tl_drawn_add_way(&way, &lead);
    assert_string_equal(tl_text_get(&way),
                        "M0.00 0.00L10.00 0.00A5.00 5.00 0 0 1 15.00 5.00L15.00 17.50");
    tl_text_clear(&way);
    corners[2] = (tl_spot){15, -3}; // the other way round, and no room: a leg of 3 mm
    tl_drawn_add_way(&way, &lead);
    assert_string_equal(tl_text_get(&way),
                        "M0.00 0.00L12.00 0.00A3.00 3.00 0 0 0 15.00 -3.00L15.00 -3.00");
    tl_text_clear(&way);
    corners[2] = (tl_spot){30, 15}; // half a right angle: the arc begins 5 tan 22.5 deg before
    tl_drawn_add_way(&way, &lead);
    assert_string_equal(tl_text_get(&way),
                        "M0.00 0.00L12.93 0.00A5.00 5.00 0 0 1 16.46 1.46L30.00 15.00");
    tl_text_free(&way);
}

static bool overlap(tl_box a, tl_box b) {
    return fmin(a.right, b.right) - fmax(a.left, b.left) > 0.01 &&
           fmin(a.bottom, b.bottom) - fmax(a.top, b.top) > 0.01;
}

static tl_box number_box(const tl_drawn_board* board, size_t lead) {
    return tl_drawn_around(board->leads[lead].number, 2 * board->number_radius,
                           2 * board->number_radius);
}

/// Names, numbers, triangles and words of stubs: none stands on another.
static void nothing_stands_on_anything(void** state) {
    (void)state;
    static const double scales[] = {2, 2.5, 4, 5};
    tl_build* build = fixture_build("a board");
    fixture_finding(build, TL_BUILD_ERROR, "bend", "tight", TL_BUILD_NONE, TL_BUILD_NONE, 4,
                    TL_BUILD_NONE);
    fixture_finding(build, TL_BUILD_WARNING, "overlap", "near", 0, 1, TL_BUILD_NONE, TL_BUILD_NONE);
    for (size_t s = 0; s < 4; ++s) {
        tl_drawn_board board = tl_drawn_board_make(build, scales[s], true);
        tl_box areas[64];
        size_t count = 0;
        for (size_t i = 0; i < build->box_count; ++i)
            areas[count++] = board.boxes[i].name.area;
        for (size_t i = 0; i < build->lead_count; ++i) {
            assert_true(board.leads[i].numbered);
            areas[count++] = number_box(&board, i);
            if (board.leads[i].stub)
                areas[count++] = board.leads[i].words;
        }
        assert_int_equal(board.warning_count, 2);
        for (size_t i = 0; i < 2; ++i)
            areas[count++] = tl_drawn_around(board.warnings[i].at, 7.2, 7.2);
        areas[count++] = board.front_words;
        for (size_t i = 0; i < count; ++i)
            for (size_t k = 0; k < i; ++k)
                if (overlap(areas[i], areas[k]))
                    fail_msg("1:%g: %zu stands on %zu", scales[s], i, k);
        tl_drawn_board_free(&board);
    }
    fixture_free(build);
}

/// A name too long for its box becomes a letter with the name in the key; every line of a name is
/// inside its box.
static void names_fit_or_are_letters(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    free(build->boxes[0].name);
    build->boxes[0].name = tl_copy("Incomprehensibilities-unabbreviated multi-stage compressor");
    tl_drawn_board board = tl_drawn_board_make(build, 5, true);
    assert_int_equal(board.boxes[0].name.letter, 1);
    assert_string_equal(board.boxes[0].name.lines[0], "A");
    for (size_t i = 0; i < build->box_count; ++i) {
        const tl_drawn_box* box = &board.boxes[i];
        double across = box->name.area.right - box->name.area.left;
        double down = box->name.area.bottom - box->name.area.top;
        for (size_t k = 0; k < box->name.count; ++k)
            assert_true(tl_drawn_width(box->name.lines[k], box->name.size) <=
                        (box->name.upright ? down : across) + 0.01);
        assert_true(box->name.area.left >= box->body.left - 0.01);
        assert_true(box->name.area.right <= box->body.right + 0.01);
        assert_true(box->name.area.top >= box->body.top - 0.01);
        assert_true(box->name.area.bottom <= box->body.bottom + 0.01);
    }
    tl_drawn_board_free(&board);
    char* svg = draw(build, (tl_drawing_options){.scale = 5});
    const char* key = after(svg, "class=\"names\"");
    assert_non_null(strstr(key, ">A</text>"));
    assert_non_null(strstr(key, "Incomprehensibilities"));
    free(svg);
    fixture_free(build);
}

/// Leads that would lie on each other are drawn side by side; their ends stay where they are.
static void bundles_are_told_apart(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    tl_drawn_board board = tl_drawn_board_make(build, 4, true);
    const tl_drawn_lead *nine = &board.leads[8], *ten = &board.leads[9];
    assert_near(nine->way[1].y, (320 - 180) / 4.0);
    assert_true(ten->aside != 0 && nine->aside == 0);
    assert_true(fabs(ten->way[1].y - nine->way[1].y) > 1.2);
    assert_near(ten->way[0].x, build->leads[9].way[0].x_m * 250);
    assert_near(ten->way[3].x, build->leads[9].way[3].x_m * 250);
    tl_drawn_board_free(&board);
    fixture_free(build);
}

static void stubs_leave_by_the_free_side(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    // The amplifier's lead now comes out towards the delay, which bars the straight way.
    build->boxes[4].left_m = 0.02;
    build->boxes[4].front_m = 0.05;
    build->leads[5].from.side = TL_SIDE_RIGHT;
    build->leads[5].from.leaves = (tl_spot_m){0.09, 0.06};
    tl_drawn_board board = tl_drawn_board_make(build, 4, true);
    const tl_drawn_lead* lead = &board.leads[5];
    assert_true(lead->stub && lead->edge != TL_SIDE_RIGHT);
    for (size_t k = 1; k < lead->count; ++k)
        for (size_t i = 0; i < 4; ++i)
            assert_true(tl_drawn_inside(lead->way[k - 1], lead->way[k], board.boxes[i].body) < 0.2);
    assert_string_equal(lead->label, "to amp");
    assert_true(board.leads[0].stub);
    assert_int_equal(board.leads[0].edge, TL_SIDE_RIGHT);
    assert_string_equal(board.leads[0].label, "to guitar");
    tl_drawn_board_free(&board);
    fixture_free(build);
}

static void what_does_not_fit_says_what_would(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    char* words = refusal(build, (tl_drawing_options){.scale = 2});
    assert_string_equal(words, "the drawing at 1:2 does not fit A4; the largest usual scale that "
                               "fits is 1:2.5; for this scale, --paper A3 or Tabloid");
    free(words);
    words = refusal(build, (tl_drawing_options){.scale = 1});
    assert_non_null(strstr(words, "no paper known here holds this scale"));
    free(words);
    build->width_m = 30;
    words = refusal(build, (tl_drawing_options){.paper = "Letter"});
    assert_non_null(strstr(words, "does not fit Letter at 1:20"));
    free(words);
    build->width_m = NAN;
    free(refusal(build, (tl_drawing_options){0}));
    build->width_m = 0.6;
    words = refusal(build, (tl_drawing_options){.paper = "A5"});
    assert_non_null(strstr(words, "A4"));
    free(words);
    fixture_free(build);
}

static void scales_papers_and_files_are_checked(void** state) {
    (void)state;
    static const char* const wrong[] = {
        "",     "1",    "2:1",   "1:0", "1:0.5",   "1:",    "1:2x", "1:nan", "1:inf",
        "1:-2", "1:51", "1 : 2", "1/2", "1:2.5.1", "1:1e1", "0:2",  "1:."};
    double scale = 0;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; ++i)
        assert_int_equal(tl_drawing_read_scale(wrong[i], &scale, NULL), TL_BAD_INPUT);
    assert_int_equal(tl_drawing_read_scale("1:2.5", &scale, NULL), TL_OK);
    assert_true(scale == 2.5);
    assert_int_equal(tl_drawing_read_scale("1:1", &scale, NULL), TL_OK);
    assert_true(scale == 1);
    static const char* const papers[] = {"A4", "A3", "Letter", "Tabloid", "letter"};
    for (size_t i = 0; i < 5; ++i)
        assert_int_equal(tl_drawing_check_paper(papers[i], NULL), TL_OK);
    tl_error* error = tl_error_new();
    assert_int_equal(tl_drawing_check_paper("Leter", error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "did you mean 'Letter'?"));
    assert_int_equal(tl_drawing_check_path("a.svg", NULL), TL_OK);
    static const char* const files[] = {".svg", "a.pdf", "a.png", "svg", "a.svg.txt", "a.SVG"};
    for (size_t i = 0; i < sizeof files / sizeof *files; ++i)
        assert_int_equal(tl_drawing_check_path(files[i], error), TL_BAD_INPUT);
    tl_error_free(error);
}

static void hostile_words_are_inert(void** state) {
    (void)state;
    tl_build* build = fixture_build(hostile);
    for (size_t i = 0; i < build->box_count; ++i) {
        free(build->boxes[i].name);
        build->boxes[i].name = tl_copy(hostile);
    }
    for (size_t i = 0; i < build->lead_count; ++i) {
        free(build->leads[i].from.name);
        build->leads[i].from.name = tl_copy(hostile);
    }
    fixture_finding(build, TL_BUILD_ERROR, "bend", hostile, 0, TL_BUILD_NONE, TL_BUILD_NONE,
                    TL_BUILD_NONE);
    char* svg = draw(build, (tl_drawing_options){0});
    static const char* const never[] = {"<script", "<image",        "href", "&lol;",
                                        "]]>",     "\x1b",          "\xff", "\xe2\x80\xae",
                                        "url(",    "<foreignObject"};
    for (size_t i = 0; i < sizeof never / sizeof *never; ++i)
        if (strcmp(never[i], "href") != 0)
            assert_null(strstr(svg, never[i]));
    assert_null(strstr(svg, "href=\""));
    assert_non_null(strstr(svg, "&lt;script&gt;"));
    free(svg);
    fixture_free(build);
}

static void many_findings_are_told_as_far_as_there_is_room(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    for (size_t i = 0; i < 60; ++i)
        fixture_finding(build, TL_BUILD_ERROR, "bend", "a lead bends tighter than its make allows",
                        TL_BUILD_NONE, TL_BUILD_NONE, i % 10, TL_BUILD_NONE);
    fixture_finding(build, TL_BUILD_NOTE, "bend", "only a note", 0, TL_BUILD_NONE, 1,
                    TL_BUILD_NONE);
    char* svg = draw(build, (tl_drawing_options){0});
    assert_int_equal(occurrences(svg, "class=\"warning\""), 60);
    assert_null(strstr(svg, "only a note"));
    assert_non_null(strstr(svg, "more: see toneload build"));
    free(svg);
    fixture_free(build);
}

/// In a page: an element whose ids are its own, as wide as the room, with no style that would reach
/// the page.
static void a_page_takes_it_in(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    char* svg = draw(
        build, (tl_drawing_options){.prefix = "b1-", .room_width_m = 0.18, .room_height_m = 0.24});
    assert_int_equal(strncmp(svg, "<svg ", 5), 0);
    assert_null(strstr(svg, "<style"));
    assert_non_null(strstr(svg, "width=\"180mm\""));
    assert_true(attribute(svg, "height") <= 240);
    assert_non_null(strstr(svg, "Scale 1:4 when printed at 100 %"));
    assert_non_null(strstr(svg, "role=\"img\" aria-labelledby=\"b1-title\""));
    assert_int_equal(occurrences(svg, " id=\""), 2);
    assert_int_equal(occurrences(svg, " id=\"b1-"), 2);
    assert_int_equal(occurrences(svg, " class=\""), occurrences(svg, " class=\"b1-"));
    assert_non_null(strstr(svg, "class=\"b1-cut\""));
    free(svg);
    svg = draw(build, (tl_drawing_options){.prefix = "b1-",
                                           .room_width_m = 0.18,
                                           .room_height_m = 0.24,
                                           .no_cut_list = true});
    assert_null(strstr(svg, "class=\"b1-cut\""));
    assert_null(strstr(svg, "Lengths:"));
    free(svg);
    fixture_free(build);
}

static void what_stands_on_a_sheet(void** state) {
    (void)state;
    tl_build* build = fixture_build("a board");
    char* svg = draw(build, (tl_drawing_options){.scale = 4});
    static const char* const words[] = {"Scale 1:4 on A4 landscape",
                                        "Print at 100 % (actual size)",
                                        "player&#39;s side",
                                        "to guitar",
                                        "to amp",
                                        ">10 cm<",
                                        ">4 in<",
                                        "10 cm of paper are 40 cm of board",
                                        "audio lead",
                                        "DC lead",
                                        "below the deck",
                                        "Cut list, mm",
                                        "compressor out",
                                        "<desc id=",
                                        "@page{size:297mm 210mm;margin:0}"};
    for (size_t i = 0; i < sizeof words / sizeof *words; ++i)
        if (!strstr(svg, words[i]))
            fail_msg("no '%s'", words[i]);
    assert_int_equal(occurrences(svg, "class=\"number\""), 10);
    assert_int_equal(occurrences(svg, "class=\"lead\""), 10);
    for (const char* at = svg; (at = strstr(at, "font-size=\"")); ++at)
        assert_true(strtod(at + 11, NULL) >= 3.2); // capitals of 2.2 mm
    char* again = draw(build, (tl_drawing_options){.scale = 4});
    assert_string_equal(svg, again);
    free(svg);
    free(again);
    fixture_free(build);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sizes_are_to_scale),
        cmocka_unit_test(half_size_on_a3),
        cmocka_unit_test(corners_are_arcs),
        cmocka_unit_test(nothing_stands_on_anything),
        cmocka_unit_test(names_fit_or_are_letters),
        cmocka_unit_test(bundles_are_told_apart),
        cmocka_unit_test(stubs_leave_by_the_free_side),
        cmocka_unit_test(what_does_not_fit_says_what_would),
        cmocka_unit_test(scales_papers_and_files_are_checked),
        cmocka_unit_test(hostile_words_are_inert),
        cmocka_unit_test(many_findings_are_told_as_far_as_there_is_room),
        cmocka_unit_test(a_page_takes_it_in),
        cmocka_unit_test(what_stands_on_a_sheet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

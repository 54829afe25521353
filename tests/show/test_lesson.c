// SPDX-License-Identifier: GPL-3.0-or-later
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "closed_form.h"
#include "show/html.h"
#include "show/lesson.h"
#include "toneload/show.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

static char here[64];
static tl_lesson lesson;

static const char hostile[] = "</title><script>alert(1)</script><img src=x onerror='alert(2)'> "
                              "\"&amp; ]]> \x07\x1b[31m \xff \xef\xbf\xbf \xe2\x80\xae @h %s %n";
/// What must come out of it, wherever it stands.
static const char harmless[] =
    "&lt;/title&gt;&lt;script&gt;alert(1)&lt;/script&gt;&lt;img src=x onerror=&#39;alert(2)&#39;"
    "&gt; &quot;&amp;amp; ]]&gt; \\x07\\x1b[31m \\xff \xef\xbf\xbd \\xe2\\x80\\xae @h %s %n";

static void make_line(tl_lesson_line* line, const char* label, double f0_hz, double q) {
    *line = (tl_lesson_line){.label = tl_copy(label),
                             .length_m = 6,
                             .farad = 600e-12,
                             .response = low_pass(f0_hz, q, 1),
                             .at_5khz_db = -1.25,
                             .formula_hz = f0_hz,
                             .formula_q = q};
    assert_non_null(line->response);
    line->metrics = tl_response_metrics(line->response, 200);
    line->hearing = (tl_hearing){.worst_db = -2.5, .worst_hz = 8000, .verdict = TL_AUDIBLE};
}

static void free_line(tl_lesson_line* line) {
    free(line->label);
    tl_response_free(line->response);
    *line = (tl_lesson_line){0};
}

/// Calls `act` on every line of the lesson.
static void each_line(void (*act)(tl_lesson_line* line, size_t index)) {
    tl_lesson_line* const groups[] = {lesson.lengths, lesson.buffered,   lesson.volumes,
                                      lesson.joints,  &lesson.loss_free, &lesson.rig,
                                      &lesson.direct};
    static const size_t counts[] = {
        TL_LESSON_LENGTHS, TL_LESSON_LENGTHS, TL_LESSON_VOLUMES, TL_LESSON_JOINTS, 1, 1, 1};
    for (size_t i = 0; i < sizeof counts / sizeof *counts; ++i)
        for (size_t j = 0; j < counts[i]; ++j)
            act(&groups[i][j], j);
}

static void make_any(tl_lesson_line* line, size_t index) {
    make_line(line, "a label", 4000 - 300 * (double)index, 2);
}

static void free_any(tl_lesson_line* line, size_t index) {
    (void)index;
    free_line(line);
}

static int make_lesson(void** state) {
    (void)state;
    enter_folder(here);
    lesson = (tl_lesson){.values = {.pickups = 1,
                                    .henry = 2.4,
                                    .ohm = 6000,
                                    .winding_farad = 110e-12,
                                    .eddy_fraction = 0.35,
                                    .eddy_ohm = 100e3,
                                    .volume_ohm = 250e3,
                                    .tone_ohm = 250e3,
                                    .tone_farad = 22e-9,
                                    .amp_ohm = 1e6,
                                    .amp_farad = 20e-12,
                                    .stopper_ohm = 68e3,
                                    .grid_farad = 105e-12,
                                    .load_ohm = 111e3},
                         .cable = tl_copy("a lead"),
                         .buffer = tl_copy("a buffer"),
                         .cable_farad_per_m = 100e-12,
                         .usual = 2,
                         .has_volume = true};
    lesson.sources = tl_new(1, sizeof *lesson.sources);
    lesson.source_count = 1;
    lesson.sources[0] = (tl_lesson_source){tl_copy("pickup"), tl_copy("inductance"),
                                           tl_copy("2.4 H"), tl_copy("from memory")};
    each_line(make_any);
    return 0;
}

static int free_lesson(void** state) {
    (void)state;
    each_line(free_any);
    tl_lesson_source* source = lesson.sources;
    free(source->part);
    free(source->field);
    free(source->value);
    free(source->origin);
    free(source);
    free(lesson.cable);
    free(lesson.buffer);
    free(lesson.amp);
    leave_folder(here);
    return 0;
}

/// The page, which must be well-formed XML and load nothing. Free with free().
static char* make_page(const char* title) {
    char* page = NULL;
    tl_error* error = tl_error_new();
    if (tl_lesson_page(title, &lesson, &page, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
    assert_int_equal(tl_file_write("page.html", page, strlen(page), NULL), TL_OK);
    assert_int_equal(system("/usr/bin/python3 -c 'import xml.dom.minidom as x; "
                            "x.parse(\"page.html\")'"),
                     0);
    return page;
}

static size_t count_of(const char* page, const char* words) {
    size_t count = 0;
    for (const char* at = page; (at = strstr(at, words)); at += strlen(words))
        ++count;
    return count;
}

static void check_holds(const char* page, const char* words) {
    if (!strstr(page, words))
        fail_msg("the page lacks \"%s\"", words);
}

/// Every address the page would fetch is one that holds its own data.
static void check_loads_nothing(const char* page) {
    static const char* const carriers[] = {" src=\"", " href=\""};
    for (size_t i = 0; i < 2; ++i)
        for (const char* at = page; (at = strstr(at, carriers[i]));) {
            at += strlen(carriers[i]);
            assert_memory_equal(at, "data:", 5);
        }
    static const char* const never[] = {"<script", "<img",    "<iframe",  "<object", "<embed",
                                        "@import", "url(",    "<use",     "<base",   "<form",
                                        " style=", "onload=", "onclick=", " id="};
    for (size_t i = 0; i < sizeof never / sizeof *never; ++i)
        if (strstr(page, never[i]))
            fail_msg("the page holds %s", never[i]);
    check_holds(page, "default-src 'none'");
}

/// A number that is none stands nowhere; words ("resonance") and the letters of the sounds may
/// hold the same three letters.
static void check_no_nan(const char* page) {
    for (const char* at = page + 1; (at = strstr(at, "nan")); ++at) {
        if (isalpha((unsigned char)at[-1]))
            continue;
        const char* quote = at;
        while (quote > page && *quote != '"' && *quote != '>')
            --quote;
        assert_memory_equal(quote, "\"data:audio/wav", 15);
    }
}

static void words_from_outside_are_never_markup(void** state) {
    (void)state;
    tl_text text = {0};
    tl_html_add(&text, hostile);
    assert_string_equal(tl_text_get(&text), harmless);
    tl_text_clear(&text);
    tl_html_say(&text, "<i>@s</i>", hostile);
    char* expected = tl_printf("<i>%s</i>", harmless);
    assert_string_equal(tl_text_get(&text), expected);
    free(expected);
    tl_text_free(&text);
}

static void every_word_of_a_rig_may_be_hostile(void** state) {
    (void)state;
    char** const words[] = {&lesson.cable,
                            &lesson.buffer,
                            &lesson.amp,
                            &lesson.lengths[3].label,
                            &lesson.buffered[5].label,
                            &lesson.volumes[1].label,
                            &lesson.joints[1].label,
                            &lesson.sources[0].part,
                            &lesson.sources[0].field,
                            &lesson.sources[0].value,
                            &lesson.sources[0].origin};
    size_t count = sizeof words / sizeof *words;
    for (size_t i = 0; i < count; ++i) {
        free(*words[i]);
        *words[i] = tl_copy(hostile);
    }
    char* page = make_page(hostile);
    check_loads_nothing(page);
    assert_int_equal(count_of(page, "alert(1)"), count_of(page, "&lt;script&gt;alert(1)"));
    if (count_of(page, "alert(1)") < count + 2)
        fail_msg("only %zu of the words are on the page", count_of(page, "alert(1)"));
    free(page);
}

static void figures_are_set_as_in_print(void** state) {
    (void)state;
    tl_text text = {0};
    tl_html_say(&text, "@h|@h|@h|@h", 873.4, 3214.0, 12345.0, (double)NAN);
    assert_string_equal(tl_text_get(&text), "873\u00a0Hz|3.21\u00a0kHz|12.3\u00a0kHz|none");
    tl_text_clear(&text);
    tl_html_say(&text, "@d|@d|@D|@d|@D|@d", 6.32, -0.449, -3.0, -0.049, 0.0042, 0.0001);
    assert_string_equal(tl_text_get(&text),
                        "+6.3\u00a0dB|\u22120.4\u00a0dB|3.0\u00a0dB|\u22120.05\u00a0dB|"
                        "0.004\u00a0dB|less than\u00a00.001\u00a0dB");
    tl_text_clear(&text);
    tl_html_say(&text, "@R|@F|@F|@H|@m|@p|@q|@n|@@ it's", 250e3, 613.4567e-12, 22e-6, 2.4, 0.2,
                0.35, 1.005, (size_t)7);
    assert_string_equal(tl_text_get(&text), "250\u00a0k\u03a9|613\u00a0pF|22\u00a0\u00b5"
                                            "F|2.4\u00a0H|20\u00a0"
                                            "cm|35\u00a0%|1.00|7|@ it\u2019s");
    tl_text_free(&text);
}

// Test vectors of RFC 4648, section 10.
static void base64_is_that_of_the_standard(void** state) {
    (void)state;
    static const char* const coded[] = {"",         "Zg==",     "Zm8=",    "Zm9v",
                                        "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"};
    for (size_t i = 0; i < 7; ++i) {
        tl_text text = {0};
        tl_html_add_base64(&text, (const unsigned char*)"foobar", i);
        assert_string_equal(tl_text_get(&text), coded[i]);
        tl_text_free(&text);
    }
}

static void a_plain_lesson_has_all_its_pieces(void** state) {
    (void)state;
    char* page = make_page("a plain rig");
    check_loads_nothing(page);
    assert_int_equal(count_of(page, "<figure class=\"plot\">"), 3);
    assert_int_equal(count_of(page, "<figure class=\"circuit\">"), 1);
    assert_int_equal(count_of(page, "<polyline"), 6 + 7 + 3);
    assert_int_equal(count_of(page, "<details>"), 3);
    assert_int_equal(count_of(page, "<audio "), 3);
    assert_int_equal(count_of(page, "data:audio/wav;base64,UklGR"), 3);
    assert_int_equal(count_of(page, "<table"), 4);
    check_holds(page, "<h1>Why long leads dull the top end</h1>\n<p class=\"rig\">a plain rig</p>");
    check_holds(page, "1 of the 1 values below are from memory");
    // f0 3400 Hz, Q 2, the third length: 1/Q = 2 pi f L / R_load + R / (2 pi f L)
    double reactance = 2 * M_PI * 3400 * 2.4;
    char* words = tl_printf("= %.2f + %.2f, and", reactance / 111e3, 6000 / reactance);
    check_holds(page, words);
    free(words);
    free(page);
}

static void what_a_guitar_lacks_is_not_drawn(void** state) {
    (void)state;
    lesson.values.eddy_fraction = lesson.values.eddy_ohm = NAN;
    lesson.values.volume_ohm = lesson.values.tone_ohm = lesson.values.tone_farad = NAN;
    lesson.values.amp_farad = lesson.values.stopper_ohm = lesson.values.grid_farad = NAN;
    lesson.has_volume = false;
    lesson.values.pickups = 2;
    lesson.values.series = true;
    free_line(&lesson.loss_free);
    char* page = make_page("bare");
    check_loads_nothing(page);
    assert_int_equal(count_of(page, "<figure class=\"plot\">"), 2);
    check_holds(page, "2 pickups in series");
    assert_null(strstr(page, "controls, full up"));
    assert_null(strstr(page, ">stopper<"));
    assert_null(strstr(page, "The volume control turned down"));
    assert_null(strstr(page, "take energy out"));
    check_no_nan(page);
    free(page);
    make_line(&lesson.loss_free, "a label", 4000, 2);
}

static void what_was_not_found_is_said(void** state) {
    (void)state;
    for (size_t i = 0; i < TL_LESSON_LENGTHS; ++i) {
        tl_metrics* metrics = &lesson.lengths[i].metrics;
        metrics->peak_hz = metrics->peak_db = metrics->pole_hz = metrics->q = NAN;
        metrics->cutoff_hz = NAN;
    }
    lesson.buffered_apart_db = 2;
    char* page = make_page("no peak");
    check_holds(page, "this guitar into this amp has no peak to move");
    check_holds(page, "<b>a label</b> no peak");
    check_holds(page, "above\u00a0"
                      "100\u00a0kHz");
    check_holds(page, "its output is not strong enough");
    check_no_nan(page);
    free(page);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_from_outside_are_never_markup),
        cmocka_unit_test(figures_are_set_as_in_print),
        cmocka_unit_test(base64_is_that_of_the_standard),
        cmocka_unit_test_setup_teardown(every_word_of_a_rig_may_be_hostile, make_lesson,
                                        free_lesson),
        cmocka_unit_test_setup_teardown(a_plain_lesson_has_all_its_pieces, make_lesson,
                                        free_lesson),
        cmocka_unit_test_setup_teardown(what_a_guitar_lacks_is_not_drawn, make_lesson, free_lesson),
        cmocka_unit_test_setup_teardown(what_was_not_found_is_said, make_lesson, free_lesson),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

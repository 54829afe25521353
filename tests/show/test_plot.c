// SPDX-License-Identifier: GPL-3.0-or-later
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "closed_form.h"
#include "toneload/show.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { most_curves = 120 };

static char here[64];
static tl_response* responses[most_curves];
static tl_metrics metrics[most_curves];
static tl_curve curves[most_curves];
static char labels[most_curves][32];

static int enter(void** state) {
    (void)state;
    enter_folder(here);
    for (int i = 0; i < most_curves; ++i) {
        responses[i] = low_pass(2500 + 40 * i, 2.5, 1);
        if (!responses[i])
            return -1;
    }
    return 0;
}

static int leave(void** state) {
    (void)state;
    for (int i = 0; i < most_curves; ++i)
        tl_response_free(responses[i]);
    leave_folder(here);
    return 0;
}

/// Fresh curves with plain labels for each test.
static int reset(void** state) {
    (void)state;
    for (int i = 0; i < most_curves; ++i) {
        metrics[i] = tl_response_metrics(responses[i], 200);
        snprintf(labels[i], sizeof labels[i], "curve number %d", i + 1);
        curves[i] = (tl_curve){responses[i], &metrics[i], labels[i], false, NULL};
    }
    return 0;
}

/// Draws the first `count` curves and gives the file's text (free with free()).
static char* draw(const char* title, size_t count, const char* path) {
    tl_plot plot = {title, curves, count};
    tl_error* error = tl_error_new();
    if (tl_plot_draw(&plot, path, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read(path, 100000000, &text, &size, NULL), TL_OK);
    return text;
}

static tl_status try_to_draw(const char* path, char** said) {
    tl_plot plot = {"title", curves, 2};
    tl_error* error = tl_error_new();
    tl_status status = tl_plot_draw(&plot, path, error);
    *said = tl_copy(tl_error_text(error));
    tl_error_free(error);
    return status;
}

static void check_holds(const char* svg, const char* words) {
    if (!strstr(svg, words))
        fail_msg("the picture lacks \"%s\"", words);
}

static size_t count_of(const char* svg, const char* words) {
    size_t count = 0;
    for (const char* at = svg; (at = strstr(at, words)); at += strlen(words))
        ++count;
    return count;
}

static void check_xml(const char* path) {
    char* command = tl_printf("/usr/bin/python3 -c 'import sys, xml.dom.minidom as x; "
                              "x.parse(sys.argv[1])' ./'%s'",
                              path);
    assert_int_equal(system(command), 0);
    free(command);
}

static void file_names_say_the_kind(void** state) {
    (void)state;
    static const char* const good[] = {"a.svg", "a.png", "a.pdf", "A.SVG", "b.x.Png", "-.svg"};
    static const char* const bad[] = {"", "svg", "asvg", "a.gif", "a.svg ", "a.svg/", "a.svgz"};
    for (size_t i = 0; i < sizeof good / sizeof *good; ++i)
        assert_int_equal(tl_plot_check_path(good[i], NULL), TL_OK);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; ++i)
        assert_int_equal(tl_plot_check_path(bad[i], NULL), TL_BAD_INPUT);
    char* said;
    assert_int_equal(try_to_draw("a.gif", &said), TL_BAD_INPUT);
    assert_non_null(strstr(said, ".svg, .png or .pdf"));
    free(said);
    assert_int_equal(tl_plot_draw(&(tl_plot){"none", curves, 0}, "none.svg", NULL), TL_BAD_INPUT);
    assert_false(tl_file_exists("none.svg"));
}

// f0 2500 Hz, Q 2.5, 200 Hz reference: the figures come from the closed form above low_pass().
static void rig_and_direct_carry_their_figures(void** state) {
    (void)state;
    curves[0].label = "rig";
    curves[1].label = "direct";
    curves[1].direct = true;
    char* svg = draw("Left <board> & more", 2, "two.svg");
    check_xml("two.svg");
    double reference_db = 20 * log10(cabs(1 / (1 + I * 0.08 / 2.5 - 0.08 * 0.08)));
    double peak_hz = 2500 * sqrt(1 - 1 / (2 * 2.5 * 2.5));
    double peak_db = 20 * log10(2.5 / sqrt(1 - 1 / (4 * 2.5 * 2.5))) - reference_db;
    char* words = tl_printf("rig: peak %.2f kHz, %+.1f dB, Q 2.5", peak_hz / 1000, peak_db);
    check_holds(svg, words);
    free(words);
    check_holds(svg, "<text>rig: -3 dB ");
    check_holds(svg, "<text>direct: -3 dB ");
    check_holds(svg, "<text>rig</text>");
    check_holds(svg, "<text>direct</text>");
    check_holds(svg, "Left &lt;board> &amp; more");
    check_holds(svg, "level relative to 200 Hz (dB)");
    check_holds(svg, "width=\"1000\"");
    static const char* const ticks[] = {"20", "50", "100", "200", "500",
                                        "1k", "2k", "5k",  "10k", "20k"};
    for (size_t i = 0; i < sizeof ticks / sizeof *ticks; ++i) {
        words = tl_printf("<text>%s</text>", ticks[i]);
        check_holds(svg, words);
        free(words);
    }
    free(svg);
}

static void every_kind_of_picture_is_drawn(void** state) {
    (void)state;
    char* png = draw(NULL, 2, "two.png");
    assert_memory_equal(png, "\x89PNG\r\n\x1a\n", 8);
    char* pdf = draw(NULL, 2, "two.pdf");
    assert_memory_equal(pdf, "%PDF-", 5);
    free(png);
    free(pdf);
}

static void each_curve_has_one_line_in_the_legend(void** state) {
    (void)state;
    static const size_t counts[] = {1, 2, 3, 12, 14, 15, 39, 40};
    for (size_t i = 0; i < sizeof counts / sizeof *counts; ++i) {
        char* svg = draw("many", counts[i], "many.svg");
        size_t noted = 0; // the names of two curves also stand before the figures at their marks
        if (counts[i] == 2)
            noted = count_of(svg, ": peak ") + count_of(svg, ": -3 dB ");
        assert_int_equal(count_of(svg, ">curve number "), counts[i] + noted);
        bool figures = counts[i] > 2 && counts[i] <= 14;
        assert_int_equal(count_of(svg, ", -3 dB "), figures ? counts[i] : 0);
        assert_int_equal(count_of(svg, "circle: peak"), counts[i] > 2);
        free(svg);
    }
    curves[100].direct = true;
    curves[100].label = "straight in";
    char* svg = draw("crowd", 101, "many.svg");
    assert_int_equal(count_of(svg, ">curve number "), 0);
    check_holds(svg, "<text>100 curves</text>");
    check_holds(svg, "<text>straight in</text>");
    free(svg);
}

static void what_is_not_there_is_said(void** state) {
    (void)state;
    metrics[0].peak_hz = metrics[0].peak_db = metrics[0].cutoff_hz = NAN;
    metrics[0].q = NAN;
    metrics[1].cutoff_hz = 31000;
    metrics[1].unstable = true;
    char* svg = draw("absent", 2, "absent.svg");
    check_holds(svg, "curve number 1: no peak, -3 dB above 100 kHz");
    check_holds(svg, "curve number 2: -3 dB 31.0 kHz");
    check_holds(svg, ", unstable");
    free(svg);
    metrics[0].reference_db = -INFINITY;
    metrics[1].reference_hz = 440;
    svg = draw("silent", 2, "absent.svg");
    check_xml("absent.svg");
    check_holds(svg, "curve number 1: no level at the reference frequency");
    check_holds(svg, "level relative to each curve's reference (dB)");
    free(svg);
    metrics[1].reference_db = NAN;
    free(draw("all silent", 2, "absent.svg"));
    metrics[1].reference_db = -400;
    free(draw("all too loud", 2, "absent.svg"));
    curves[0].label = curves[1].label = NULL;
    free(draw(NULL, 2, "absent.svg"));
}

/// Runs gnuplot as someone without the guards would, and says whether the trap was sprung.
static bool springs(const char* script) {
    assert_int_equal(tl_file_write("plain.gp", script, strlen(script), NULL), TL_OK);
    int status = system("gnuplot -d plain.gp >said 2>&1");
    (void)status; // some attacks end in a complaint after they have done their work
    bool caught = tl_file_exists("caught");
    unlink("caught");
    unlink("caught.svg");
    return caught;
}

/// An attack, and a script in which it would work: the words where careless code would put them.
typedef struct {
    const char* words;
    const char* careless;
} attack;

static const attack attacks[] = {
    {"`touch caught`", "set terminal svg\nset title \"`touch caught`\"\n"},
    {"x\".system(\"touch caught\").\"", "set title \"x\".system(\"touch caught\").\"\"\n"},
    {"x'.system('touch caught').'", "set title 'x'.system('touch caught').''\n"},
    {"x'\nsystem 'touch caught'\n#", "set title 'x'\nsystem 'touch caught'\n#'\n"},
    {"x'; system 'touch caught' #", "set title 'x'; system 'touch caught' #'\n"},
    {"x'; ! touch caught\n! touch caught\n", "set title 'x'\n! touch caught\n"},
    {"@x", "x = \"system 'touch caught'\"\n@x\n"},
    {"$(touch caught)",
     "set terminal svg\nset output '|echo $(touch caught)'\nplot 1\nunset output\n"},
    {"system('touch caught')", "set title system('touch caught')\n"},
    {"| touch caught", "set terminal svg\nset output '| touch caught'\nplot 1\nunset output\n"},
    {"< touch caught", "set terminal svg\nset output 'x.svg'\nplot '< touch caught; echo 1 1'\n"},
};

static const char* const odd_words[] = {
    "@x",       "%d %s %n %",   "\\",
    "\\n\\",    "{/=99 big}",   "a^b_c&{x}",
    "'",        "''",           "''''",
    "\"",       "$x",           "#",
    "<b>&amp;", "a ]]> b",      "\xef\xbf\xbe\xef\xbf\xbf",
    "\xff",     "\xed\xa0\x80", "",
    " ",        "END",          "\nEND\nsystem 'touch caught'\n",
};

/// Draws with the words as label, as title and as both a short and a long one.
static void draw_with(const char* words) {
    char* longer = tl_printf("%s, and so much more that it stands in no note", words);
    curves[0].label = words;
    curves[1].label = longer;
    char* svg = draw(words, 2, "hostile.svg");
    check_xml("hostile.svg");
    assert_false(tl_file_exists("caught"));
    free(svg);
    svg = draw(longer, 3, "hostile.svg");
    check_xml("hostile.svg");
    assert_false(tl_file_exists("caught"));
    free(svg);
    free(longer);
}

static void hostile_words_run_nothing(void** state) {
    (void)state;
    for (size_t i = 0; i < sizeof attacks / sizeof *attacks; ++i) {
        if (!springs(attacks[i].careless))
            fail_msg("attack %zu is none", i);
        draw_with(attacks[i].words);
    }
    for (size_t i = 0; i < sizeof odd_words / sizeof *odd_words; ++i)
        draw_with(odd_words[i]);
}

static void words_come_out_as_they_are(void** state) {
    (void)state;
    curves[0].label = "`x` $(x) 'q' \"q\" {a}^b_c \\n @x %d <b>&amp;";
    curves[1].label = "line\nbreak \x1b[31m \xff B\xc3\xbchne";
    char* svg = draw("'", 2, "words.svg");
    check_holds(svg, "<text>`x` $(x) 'q' \"q\" {a}^b_c \\n @x %d &lt;b>&amp;amp;</text>");
    check_holds(svg, "<text>line\\x0abreak \\x1b[31m \\xff B\xc3\xbchne</text>");
    check_holds(svg, "<text>'</text>");
    free(svg);
    size_t size = 1000000;
    char* endless = tl_new(size + 1, 1);
    memset(endless, '\'', size);
    curves[0].label = endless;
    svg = draw(endless, 2, "words.svg");
    check_xml("words.svg");
    check_holds(svg, "'''...</text>");
    free(svg);
    free(endless);
}

static void hostile_paths_are_files_of_that_name(void** state) {
    (void)state;
    static const char* const paths[] = {
        "|touch caught.svg",
        "| touch caught;.svg",
        "-d.svg",
        "-e system(\"touch c\").svg",
        "<touch caught.svg",
        "`touch caught`.svg",
        "$(touch caught).svg",
        "q'u\"o.svg",
        "line\nend.svg",
        "%d@x\\.svg",
        ";touch caught;.svg",
        "'.system('touch caught').'.svg",
    };
    for (size_t i = 0; i < sizeof paths / sizeof *paths; ++i) {
        char* svg = draw("path", 2, paths[i]);
        check_holds(svg, "</svg>");
        free(svg);
        assert_int_equal(unlink(paths[i]), 0);
        assert_false(tl_file_exists("caught"));
        assert_false(tl_file_exists("caught.svg"));
        assert_false(tl_file_exists("c"));
    }
}

static void check_unwritten(const char* path) {
    char* said;
    assert_int_equal(try_to_draw(path, &said), TL_FAILURE);
    assert_non_null(strstr(said, "cannot be written"));
    free(said);
}

static void a_plot_is_written_whole_or_not_at_all(void** state) {
    (void)state;
    check_unwritten("no such folder/a.svg");
    assert_int_equal(symlink("/dev/full", "full.svg"), 0);
    check_unwritten("full.svg");
    check_unwritten("/proc/a.svg");
    if (geteuid() != 0) {
        assert_int_equal(mkdir("shut", 0500), 0);
        check_unwritten("shut/a.svg");
    }
    static const char old[] = "an earlier plot";
    assert_int_equal(tl_file_write("kept.svg", old, sizeof old - 1, NULL), TL_OK);
    char* path = tl_copy(getenv("PATH"));
    setenv("PATH", here, 1); // no gnuplot there
    char* said;
    assert_int_equal(try_to_draw("kept.svg", &said), TL_FAILURE);
    free(said);
    assert_int_equal(try_to_draw("new.svg", &said), TL_FAILURE);
    free(said);
    setenv("PATH", path, 1);
    free(path);
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read("kept.svg", 1000, &text, &size, NULL), TL_OK);
    assert_string_equal(text, old);
    assert_false(tl_file_exists("new.svg"));
    free(text);
}

/// A curve that is held against another brings a second panel; without, there is none.
static void differences_have_a_panel(void** state) {
    (void)state;
    char* alone = draw("alone", 2, "a.svg");
    assert_null(strstr(alone, "rig minus direct, levels matched"));
    curves[0].against = responses[1];
    char* held = draw("held", 2, "a.svg");
    check_holds(held, "rig minus direct, levels matched; shaded: within 1 dB");
    assert_true(strlen(held) > strlen(alone));
    free(alone);
    free(held);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(file_names_say_the_kind, reset),
        cmocka_unit_test_setup(rig_and_direct_carry_their_figures, reset),
        cmocka_unit_test_setup(every_kind_of_picture_is_drawn, reset),
        cmocka_unit_test_setup(each_curve_has_one_line_in_the_legend, reset),
        cmocka_unit_test_setup(what_is_not_there_is_said, reset),
        cmocka_unit_test_setup(differences_have_a_panel, reset),
        cmocka_unit_test_setup(hostile_words_run_nothing, reset),
        cmocka_unit_test_setup(words_come_out_as_they_are, reset),
        cmocka_unit_test_setup(hostile_paths_are_files_of_that_name, reset),
        cmocka_unit_test_setup(a_plot_is_written_whole_or_not_at_all, reset),
    };
    return cmocka_run_group_tests(tests, enter, leave);
}

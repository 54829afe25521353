// SPDX-License-Identifier: GPL-3.0-or-later
// Measured sweeps read from CSV as in RFC 4180 and from Touchstone 1.1.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/file.h"
#include "base/text.h"
#include "toneload/measured.h"

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define CLOSE 1e-12
#define ONE_DB 1.1220184543019633 // 10^(1/20)

static tl_error* error;
static char folder[] = "/tmp/toneload-measured-XXXXXX";
static char* path;
static tl_measured* sweep;

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return !(mkdtemp(folder) && chdir(folder) == 0);
}

static int stop(void** state) {
    (void)state;
    tl_error_free(error);
    return chdir("/") != 0 || rmdir(folder) != 0;
}

static int forget(void** state) {
    (void)state;
    tl_measured_free(sweep);
    sweep = NULL;
    if (path)
        unlink(path);
    free(path);
    path = NULL;
    return 0;
}

/// Reads `size` bytes as a file of a name.
static tl_status read_bytes(const char* name, const char* bytes, size_t size) {
    forget(NULL);
    path = tl_copy(name);
    assert_int_equal(tl_file_write(path, bytes, size, error), TL_OK);
    return tl_measured_read(path, &sweep, error);
}

static tl_status read_as(const char* name, const char* text) {
    return read_bytes(name, text, strlen(text));
}

static void reads(const char* name, const char* text) {
    if (read_as(name, text) != TL_OK)
        fail_msg("%s: %s", text, tl_error_text(error));
}

/// Refuses a text, at a place, with words that say why.
static void refuses(const char* name, const char* text, const char* place, const char* words) {
    assert_int_equal(read_as(name, text), TL_BAD_INPUT);
    assert_null(sweep);
    char* at = tl_printf("%s:%s: error: ", name, place);
    if (strncmp(tl_error_text(error), at, strlen(at)) != 0 || !strstr(tl_error_text(error), words))
        fail_msg("expected '%s..%s', got: %s", at, words, tl_error_text(error));
    assert_non_null(strstr(tl_error_text(error), "^"));
    free(at);
}

/// To 1e-12, or what else is said.
static void is_near(double got, double expected, double within) {
    if (!(fabs(got - expected) <= within))
        fail_msg("got %.15g, expected %.15g", got, expected);
}

#define POINTS "100,1\n200,2\n300,3\n400,4\n"

static void reads_columns(void** state) {
    (void)state;
    reads("a.csv", "frequency_hz,impedance_ohm\n" POINTS);
    assert_int_equal(sweep->kind, TL_MEASURED_IMPEDANCE);
    assert_int_equal(sweep->count, 4);
    assert_null(sweep->phase_rad);
    assert_false(sweep->relative);
    for (size_t i = 0; i < 4; ++i) {
        is_near(sweep->hz[i], 100.0 * (double)(i + 1), 0);
        is_near(sweep->size[i], (double)(i + 1), 0);
        assert_int_equal(sweep->line[i], i + 2);
    }
    reads("a.csv", "note,phase_deg,impedance_kohm,frequency_khz,state\r\n"
                   "\"a \"\"b\"\", c\",-90,1.5, 0.1 ,on\r\n"
                   "\"two\r\nlines\",45,2,\"0.2\",\r\n"
                   ",0,3,3e-1,\r\n"
                   ",+180,.4,.4,\"\"");
    assert_int_equal(sweep->count, 4);
    is_near(sweep->hz[1], 200, CLOSE);
    is_near(sweep->size[0], 1500, CLOSE);
    is_near(sweep->size[3], 400, CLOSE);
    is_near(sweep->phase_rad[0], -M_PI / 2, CLOSE);
    is_near(sweep->phase_rad[3], M_PI, CLOSE);
    assert_int_equal(sweep->line[1], 4);
    assert_int_equal(sweep->line[2], 5);
    assert_int_equal(sweep->line[3], 6);
}

static void reads_parts_and_levels(void** state) {
    (void)state;
    reads("a.csv", "\xef\xbb\xbf"
                   "frequency_hz,real_ohm,imaginary_ohm\n1,3,4\n2,0,-2\n3,-1,0\n4,1e3,1e3\n\n \n");
    is_near(sweep->size[0], 5, CLOSE);
    is_near(sweep->phase_rad[0], atan2(4, 3), CLOSE);
    is_near(sweep->phase_rad[1], -M_PI / 2, CLOSE);
    is_near(sweep->phase_rad[2], M_PI, CLOSE);
    // Size and phase are taken rather than parts, parts rather than size alone.
    reads("a.csv", "hz,ohm,deg,re_ohm,im_ohm\n1,7,0,3,4\n2,7,0,3,4\n3,7,0,3,4\n4,7,0,3,4\n");
    is_near(sweep->size[0], 7, CLOSE);
    reads("a.csv", "hz,ohm,re_ohm,im_ohm\n1,7,3,4\n2,7,3,4\n3,7,3,4\n4,7,3,4\n");
    is_near(sweep->size[0], 5, CLOSE);
    static const struct {
        const char* name;
        double first;
        bool relative;
    } columns[] = {{"level_db", ONE_DB, true}, {"gain_db", ONE_DB, false},
                   {"ratio", 1, false},        {"level_v", 1, true},
                   {"level_mv", 1e-3, true},   {"level dBV", ONE_DB, true}};
    for (size_t i = 0; i < COUNT(columns); ++i) {
        char* text = tl_printf("frequency_hz,%s\n" POINTS, columns[i].name);
        reads("a.csv", text);
        assert_int_equal(sweep->kind, TL_MEASURED_RESPONSE);
        is_near(sweep->size[0], columns[i].first, CLOSE);
        assert_int_equal(sweep->relative, columns[i].relative);
        free(text);
    }
}

/// What people call their columns.
static void reads_spellings(void** state) {
    (void)state;
    static const char* const frequencies[] = {"frequency [Hz]", "Hz",   "F(HZ)",       "freq.hz",
                                              "Frequency (Hz)", "f/Hz", "FREQUENCY_HZ"};
    static const char* const sizes[] = {"|Z| (ohm)",  "Z [Ohms]",           "ohm",
                                        "abs(Z)_ohm", "Impedance (\u03a9)", "|Z|/\u2126"};
    static const char* const phases[] = {"phase (deg)", "Phase [\u00b0]", "\u03b8 (deg)",
                                         "phase_degrees", "arg(Z) deg"};
    for (size_t i = 0; i < 7; ++i) {
        char* text = tl_printf("%s,%s,%s\n1,2,180\n2,2,180\n3,2,180\n4,2,180\n", frequencies[i],
                               sizes[i % COUNT(sizes)], phases[i % COUNT(phases)]);
        reads("a.CSV", text);
        is_near(sweep->hz[0], 1, 0);
        is_near(sweep->size[0], 2, 0);
        is_near(sweep->phase_rad[0], M_PI, CLOSE);
        free(text);
    }
}

static void refuses_columns(void** state) {
    (void)state;
    static const struct {
        const char* head;
        const char* place;
        const char* words;
    } bad[] = {
        {"frequency,impedance_ohm", "1:1", "expected frequency_hz or frequency_khz"},
        {"frequency_hz,impedance", "1:14", "expected impedance_ohm or impedance_kohm"},
        {"frequency_hz,magnitude", "1:14",
         "expected magnitude_ohm or magnitude_kohm or magnitude_db"},
        {"frequency_ohm,impedance_ohm", "1:1", "'ohm' does not fit; expected frequency_hz"},
        {"frequency_hz,impedence_ohm", "1:14", "did you mean 'impedance_ohm'?"},
        {"frequency_hz,wobble", "1:14", "unknown column 'wobble'"},
        {"frequency_hz,ratio_db", "1:14", "'ratio_db' takes no unit"},
        {"frequency_hz,", "1:14", "a column without a name"},
        {"frequency_hz,Hz", "1:14", "a second column that holds a frequency"},
        {"impedance_ohm,note", "1:1", "no column of frequencies"},
        {"frequency_hz,note", "1:1", "no column of what was measured"},
        {"frequency_hz,real_ohm", "1:1", "one of them is missing"},
        {"frequency_hz,phase_deg", "1:1", "no column of what was measured"},
        {"level_db,impedance_ohm,frequency_hz", "1:1", "more than one column that was measured"},
        {"level_db,ratio,frequency_hz", "1:1", "more than one column that was measured"},
        {"frequency_hz;impedance_ohm", "1:1", "semicolons"},
        {"frequency_hz\timpedance_ohm", "1:1", "tabs"},
        {"100,5", "1:1", "expected a first line that names the columns"},
        {"# sweep", "1:1", "CSV has no comments"},
        {"frequency_hz,\"impedance_ohm", "1:14", "never closed"},
        {"frequency_hz,imp\"edance_ohm", "1:17", "a quote inside a field"},
        {"\"frequency_hz\" ,impedance_ohm", "1:15", "after a closing quote"},
        {"frequency_hz,impedance_ohm\r100,5", "1:27", "ends in CR alone"},
        {"", "1:1", "a column without a name"},
    };
    for (size_t i = 0; i < COUNT(bad); ++i) {
        char* text = tl_printf("%s\n" POINTS, bad[i].head);
        refuses("bad.csv", text, bad[i].place, bad[i].words);
        free(text);
    }
    refuses("bad.csv", "", "1:1", "an empty file");
    refuses("bad.csv", " \r\n\n", "1:1", "an empty file");
}

static void keeps_states(void** state) {
    (void)state;
    reads("a.csv", "frequency_hz,state,gain_db\n1,,0\n2,\" drive, delay\",0\n3,\"drive, delay\",0\n"
                   "4,,0\n");
    assert_string_equal(sweep->state, "drive, delay");
    assert_int_equal(sweep->state_line, 3);
    assert_null(sweep->other_state);
    tl_measured_free(sweep);
    sweep = NULL;
    reads("a.csv", "frequency_hz,gain_db,state\n1,0,a\n2,0,a\n3,0,b\n4,0,c\n");
    assert_string_equal(sweep->state, "a");
    assert_string_equal(sweep->other_state, "b");
    assert_int_equal(sweep->other_line, 4);
    assert_int_equal(sweep->other_column, 5);
    tl_measured_free(sweep);
    sweep = NULL;
    refuses("a.csv", "frequency_hz,gain_db,state\n1,0,a\n2,0,a\n1,0,b\n2,0,b\n", "4:5",
            "a second state, 'b', after 'a' (line 2): expected a file for each state");
}

static void refuses_rows(void** state) {
    (void)state;
    static const struct {
        const char* rows;
        const char* place;
        const char* words;
    } bad[] = {
        {"1,2,3\n2,2,3\n3,2,3\n", "4:1", "3 frequencies only: expected 4 or more"},
        {"1,2,3\n", "2:1", "1 frequency only"},
        {"", "1:1", "0 frequencies only"},
        {"1,2,3\n2,2,3\n2,2,3\n3,2,3\n", "4:1", "2 Hz a second time (first in line 3)"},
        {"1,2,3\n3,2,3\n2,2,3\n4,2,3\n", "4:1", "2 Hz after 3 Hz"},
        {"0,2,3\n", "2:1", "a frequency of 0 Hz: expected more than 0"},
        {"-5,2,3\n", "2:1", "expected more than 0"},
        {"1,0,3\n", "2:3", "an impedance of 0: expected more than 0"},
        {"1,-3,3\n", "2:3", "an impedance of -3: expected more than 0"},
        {"1,nan,3\n", "2:3", "'nan' is no finite number: expected an impedance"},
        {"1,2,inf\n", "2:5", "'inf' is no finite number: expected a phase"},
        {"1,1e999,3\n", "2:3", "no finite number"},
        {"0x10,2,3\n", "2:1", "'0x10' is no finite number: expected a frequency"},
        {"1,2 ohm,3\n", "2:3", "'2 ohm' is no finite number"},
        {"1,  2x,3\n", "2:5", "'2x' is no finite number"},
        {"1,,3\n", "2:3", "an empty field: expected an impedance"},
        {"1,2\n", "2:1", "2 fields in this line, 3 in the line of names"},
        {"1,5,2,3\n", "2:1", "a decimal takes a point"},
        {"\"1,5\",2,3\n", "2:2", "a decimal takes a point"},
        {"1,2,3\n\n2,2,3\n3,2,3\n4,2,3\n", "3:1", "an empty line between"},
        {"1,2,3\n2,\"2\n", "3:3", "never closed"},
        {"\"1\n0\",2,3\n", "2:2", "no finite number"},
    };
    for (size_t i = 0; i < COUNT(bad); ++i) {
        char* text = tl_printf("frequency_hz,impedance_ohm,phase_deg\n%s", bad[i].rows);
        refuses("bad.csv", text, bad[i].place, bad[i].words);
        free(text);
    }
    refuses("bad.csv", "hz,level_db\n1,500\n", "2:3", "expected a level from -400 to 400 dB");
    refuses("bad.csv", "hz,ratio\n1,0\n", "2:3", "a ratio of 0: expected more than 0");
    refuses("bad.csv", "hz,re_ohm,im_ohm\n1,0,0\n", "2:3", "an impedance of 0 ohm");
}

static void refuses_what_is_no_text(void** state) {
    (void)state;
    assert_int_equal(read_bytes("a.csv", "\xff\xfeh\0z\0", 6), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "a.csv:1:1: error: this is UTF-16"));
    assert_int_equal(read_bytes("a.csv", "hz,ohm\n1,\0\n", 11), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "a.csv:2:3: error: a NUL character"));
    assert_int_equal(read_bytes("a.s1p", "# Hz\n1 \0\n", 9), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "a.s1p:2:3: error: a NUL character"));
    assert_int_equal(tl_measured_read("nowhere.csv", &sweep, error), TL_BAD_INPUT);
    assert_int_equal(tl_measured_read(folder, &sweep, error), TL_BAD_INPUT);
    refuses("bad.csv", "hz,\x1b[31mred\n" POINTS, "1:4", "\\x1b[31mred");
}

/// A million lines, so that nothing in it grows with their square.
static void reads_a_million(void** state) {
    (void)state;
    tl_text text = {0};
    tl_text_add(&text, "frequency_hz,impedance_ohm,phase_deg\n");
    for (int i = 1; i <= 1000000; ++i)
        tl_text_addf(&text, "%d,5,45\n", i);
    reads("many.csv", tl_text_get(&text));
    tl_text_free(&text);
    assert_int_equal(sweep->count, 1000000);
    is_near(sweep->hz[999999], 1e6, 0);
    assert_int_equal(sweep->line[999999], 1000001);
}

static void reads_touchstone(void** state) {
    (void)state;
    reads("a.s1p", "! made up\n# Hz Z RI R 1\n1 3 4 ! a point\n\n2 0 -2\n3 1 0\n4 5 0");
    assert_int_equal(sweep->kind, TL_MEASURED_IMPEDANCE);
    is_near(sweep->size[0], 5, CLOSE);
    is_near(sweep->phase_rad[0], atan2(4, 3), CLOSE);
    is_near(sweep->phase_rad[1], -M_PI / 2, CLOSE);
    assert_int_equal(sweep->line[1], 5);
    // Z and Y are relative to R.
    reads("a.S1P", "#khz z ma r 600\r\n1 2 30\r\n2 2 30\r\n3 2 30\r\n4 2 30\r\n");
    is_near(sweep->hz[0], 1000, CLOSE);
    is_near(sweep->size[0], 1200, 1e-9);
    is_near(sweep->phase_rad[0], M_PI / 6, CLOSE);
    reads("a.y1p", "# MHz Y DB R 600\n1 20 30\n2 20 30\n3 20 30\n4 20 30\n# Hz Z\n");
    is_near(sweep->hz[0], 1e6, 1e-6);
    is_near(sweep->size[0], 60, 1e-9);
    is_near(sweep->phase_rad[0], -M_PI / 6, CLOSE);
    // Nothing said: GHz, S, MA, R 50. S = 0.5 is 150 ohm, S = j is j 50 ohm.
    reads("a.s1p", "#\n1 0.5 0\n2 1 90\n3 0 0\n4 0.5 180\n");
    is_near(sweep->hz[0], 1e9, 1e-3);
    is_near(sweep->size[0], 150, 1e-9);
    is_near(sweep->size[1], 50, 1e-9);
    is_near(sweep->phase_rad[1], M_PI / 2, 1e-9);
    is_near(sweep->size[2], 50, 1e-9);
    is_near(sweep->size[3], 50.0 / 3, 1e-9);
    // S11 as a reader of 50 ohm would see 100 ohm + 1 mH at 10 kHz: worked by hand from its
    // definition (Z - R) / (Z + R).
    reads("a.s1p", "# Hz S RI R 50\n10000 0.432845971 0.237568924\n20000 0.432845971 0.237568924\n"
                   "30000 0.432845971 0.237568924\n40000 0.432845971 0.237568924\n");
    is_near(sweep->size[0] * cos(sweep->phase_rad[0]), 100, 1e-4);
    is_near(sweep->size[0] * sin(sweep->phase_rad[0]), 2 * M_PI * 10, 1e-4);
}

static void refuses_touchstone(void** state) {
    (void)state;
    static const struct {
        const char* name;
        const char* text;
        const char* place;
        const char* words;
    } bad[] = {
        {"a.s2p", "# Hz\n", "1:1", "of 2 ports"},
        {"a.s1p", "# Hz S MA R 50\n1 2 3 4 5 6 7 8 9\n", "2:7", "9 or more numbers in a line"},
        {"a.s1p", "# Hz S MA R 50\n1 2 3 4\n", "2:7", "more than 3 numbers in a line"},
        {"a.s1p", "# Hz S MA R 50\n1 2\n", "2:3", "2 numbers in this line"},
        {"a.s1p", "# Hz H MA R 50\n", "1:6", "'H': belongs to two ports"},
        {"a.s1p", "# Hz g MA R 50\n", "1:6", "'g': belongs to two ports"},
        {"a.s1p", "# Hz S MA R\n", "1:12", "expected the ohms"},
        {"a.s1p", "# Hz S MA R 50 75\n", "1:16", "one port has one value after R"},
        {"a.s1p", "# Hz S MA R 0\n", "1:13", "expected more than 0 ohm"},
        {"a.s1p", "# Hz S MA R x\n", "1:13", "'x' is no finite number"},
        {"a.s1p", "# Hz S MX R 50\n", "1:8", "'MX': unknown in an option line"},
        {"a.s1p", "1 2 3\n", "1:1", "expected an option line before the numbers"},
        {"a.s1p", "[Version] 2.0\n# Hz\n", "1:1", "a keyword of Touchstone 2"},
        {"a.s1p", "# Hz\n[Number of Ports] 1\n", "2:1", "a keyword of Touchstone 2"},
        {"a.z1p", "# Hz RI\n", "1:1", "does not say what the numbers are"},
        {"a.s1p", "# Hz S MA\n1 1 0\n", "2:3", "an impedance of no end"},
        {"a.s1p", "# Hz Z MA\n1 0 0\n", "2:3", "an impedance of 0"},
        {"a.s1p", "# Hz Z MA\n2 1 0\n1 1 0\n", "3:1", "1 Hz after 2 Hz"},
        {"a.s1p", "# Hz Z MA\n2 1 0\n 2 1 0\n", "3:2", "2 Hz a second time (first in line 2)"},
        {"a.s1p", "# Hz Z MA\n1 nan 0\n", "2:3", "'nan' is no finite number"},
        {"a.s1p", "# Hz Z MA\n1 1,5 0\n", "2:3", "a decimal takes a point"},
        {"a.s1p", "# Hz Z MA\n1 1 0\n2 1 0\n3 1 0 ! the last\n", "4:1", "3 frequencies only"},
        {"a.s1p", "", "1:1", "0 frequencies only"},
    };
    for (size_t i = 0; i < COUNT(bad); ++i)
        refuses(bad[i].name, bad[i].text, bad[i].place, bad[i].words);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(reads_columns, forget),
        cmocka_unit_test_teardown(reads_parts_and_levels, forget),
        cmocka_unit_test_teardown(reads_spellings, forget),
        cmocka_unit_test_teardown(refuses_columns, forget),
        cmocka_unit_test_teardown(keeps_states, forget),
        cmocka_unit_test_teardown(refuses_rows, forget),
        cmocka_unit_test_teardown(refuses_what_is_no_text, forget),
        cmocka_unit_test_teardown(reads_a_million, forget),
        cmocka_unit_test_teardown(reads_touchstone, forget),
        cmocka_unit_test_teardown(refuses_touchstone, forget),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What the bench found, as text, JSON and CSV: where figures stand, what is marked, what is said.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench_fixture.h"
#include "toneload/show.h"

#include <stdio.h>
#include <string.h>

static const char hostile[] =
    "\033[31m%s%n `touch ran` $(touch ran)\r\n\xff =1+1,\"x\" \xe2\x99\xaf";

static void holds(const char* text, const char* words) {
    if (!strstr(text, words))
        fail_msg("no '%s' in:\n%s", words, text);
}

static void holds_not(const char* text, const char* words) {
    if (strstr(text, words))
        fail_msg("'%s' in:\n%s", words, text);
}

/// The longest line, in columns; and no line ends in a blank.
static size_t widest(const char* text) {
    size_t most = 0;
    while (*text) {
        size_t size = strcspn(text, "\n");
        char* line = tl_printf("%.*s", (int)size, text);
        size_t columns = tl_text_columns(line);
        most = columns > most ? columns : most;
        if (size && line[size - 1] == ' ')
            fail_msg("ends in a blank: '%s'", line);
        free(line);
        text += size + (text[size] == '\n');
    }
    return most;
}

static size_t count_of(const char* text, const char* words) {
    size_t count = 0;
    for (const char* at = strstr(text, words); at; at = strstr(at + 1, words))
        ++count;
    return count;
}

static void one_design_has_a_card(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(1, false);
    char* text = tl_bench_text(bench, NULL, false);
    holds(text, "FET source follower, 9 V\n\nsupply and bias ");
    holds(text, "  supply current ");
    holds(text, "610 uA  below 2 mA        pass\n");
    holds(text, "under 1.00 Hz  below 20 Hz       pass\n");
    holds(text, "over 10.0 MHz  above 100 kHz     pass\n");
    holds(text, "+0.40 deg");   // near zero: the sign says which side
    holds(text, "  4.70 Mohm"); // not so elsewhere
    holds(text, "\n      with the single-coil behind 3 m\n");
    holds(text, "\nFET source follower, 9 V: 26 pass\n");
    holds(text, "  shorted      j1 62 %, rg 16 %, rs 4 %, q1 1 %, the source under 1 %\n");
    holds_not(text, "rig:");
    holds_not(text, "second harmonic");
    holds_not(text, "*");
    assert_true(widest(text) <= 100);
    free(text);
    text = tl_bench_text(bench, "Lantern Street", true);
    holds(text, "\nIn the rig: Lantern Street\n");
    holds(text, "  second harmonic at 1 V ");
    free(text);
    fixture_free(bench);
}

static void what_does_not_pass_says_why(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(1, false);
    tl_bench_figure* figure = &bench->designs[0].figures[11];
    figure->value = 38.4e3;
    figure->grade = TL_GRADE_FAIL;
    bench->designs[0].figures[0].grade = TL_GRADE_MARGINAL;
    bench->designs[0].figures[21].trouble = tl_copy("the step did not settle\n  a line\n  ^");
    bench->designs[0].fails = 1;
    bench->designs[0].troubles = 1;
    char* text = tl_bench_text(bench, NULL, false);
    holds(text, "\n! input impedance at 1 kHz ");
    holds(text, "38.4 kohm  above 470 kohm    fail\n"
                "      A low input impedance takes the top off a pickup.\n");
    holds(text, "\n~ supply current ");
    holds(text, "marginal\n      A battery lasts a week of gigs at 2 mA.\n");
    holds(text, "\n? stability ");
    holds(text, "not measured  stable");
    holds(text, "FET source follower, 9 V: 1 fails, 26 pass, 1 not measured\n");
    holds(text, "\nWhat could not be measured, and why\n"
                "  ? stability: the step did not settle\n\n");
    free(text);
    fixture_free(bench);
}

static void a_reason_is_not_told_twice_running(void** state) {
    (void)state;
    for (size_t count = 1; count < 3; ++count) {
        tl_bench* bench = fixture_new(count, false);
        fixture_say(&bench->limits[34].why, "It hums.");
        fixture_say(&bench->limits[35].why, "It hums.");
        for (size_t i = 34; i < 36; ++i)
            bench->designs[0].figures[i].grade = TL_GRADE_FAIL;
        char* text = tl_bench_text(bench, NULL, false);
        assert_int_equal(count_of(text, "It hums."), 1);
        holds(text, "! supply rejection at 20 kHz");
        free(text);
        fixture_free(bench);
    }
}

static void three_designs_stand_side_by_side(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(3, false);
    char* text = tl_bench_text(bench, NULL, false);
    holds(text, "3 designs on the bench\n");
    holds(text, "FET source       bipolar         a poor buffer\n");
    holds(text, "below 2 mA              610 uA  *      1.42 mA        4.40 mA ~\n");
    holds(text, "-0.31 dB       -2.84 dB !\n");
    holds(text, "* best of all   ! fails its limit   ~ marginal   ? could not be measured");
    holds(text, "\na poor buffer in a pedal: ");
    holds(text, "  ! input impedance at 1 kHz: 38.4 kohm; limit: above 470 kohm. A low input "
                "impedance takes the\n    top off a pickup.\n");
    holds(text, "  ~ stability: rings at 10 nF, 1 Mohm; limit: stable. ");
    holds(text, "  ? noise with a pickup, A-weighted, to the ear: no pickup\n");
    assert_true(widest(text) <= 108);
    assert_int_equal(count_of(text, "\nsupply and bias\n"), 1);
    free(text);
    fixture_free(bench);
}

static void many_designs_are_split_into_blocks(void** state) {
    (void)state;
    static const size_t blocks[] = {0, 0, 1, 1, 1, 2, 2, 2, 2, 3};
    for (size_t count = 2; count < 10; ++count) {
        tl_bench* bench = fixture_new(count, false);
        char* text = tl_bench_text(bench, NULL, false);
        assert_int_equal(count_of(text, "\nsupply and bias\n"), blocks[count]);
        assert_int_equal(count_of(text, "\n  supply current "), blocks[count]);
        // where the limits have no room, it is said where they are
        assert_true(!strstr(text, "below 40 nV/rtHz ") == !!strstr(text, "The limits are in"));
        assert_true(widest(text) <= 110);
        free(text);
        fixture_free(bench);
    }
}

static void designs_of_one_name_are_told_apart(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(3, false);
    fixture_say(&bench->designs[1].name, bench->designs[0].name);
    fixture_say(&bench->designs[2].name, "");
    char* text = tl_bench_text(bench, NULL, false);
    holds(text, "\n(1) FET source follower, 9 V: ");
    holds(text, "\n(2) FET source follower, 9 V: ");
    holds(text, "\n(no name): ");
    free(text);
    fixture_free(bench);
}

static void corners_show_the_worst_and_what_it_breaks(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(1, true);
    char* text = tl_bench_text(bench, NULL, false);
    holds(text, "FET source follower, 9 V: 33 specimens, every combination");
    holds(text, "by itself         worst  verdict\n");
    holds(text, "610 uA       1.22 mA  pass\n");
    holds(text, "~ supply rejection at 100 Hz ");
    holds(text, "marginal\n      with r1 +5 %, r2 -5 %, c1 -20 %, supply -10 %\n");
    free(text);
    fixture_free(bench);
    bench = fixture_new(3, true);
    text = tl_bench_text(bench, NULL, false);
    holds(text, "a poor buffer in a pedal: 23 specimens, parts at the ends of their tolerances by "
                "the sign of each\n  figure's slope");
    holds(text, "\nWhat gets a worse verdict there than by itself\n\nFET source follower, 9 V\n");
    holds(text, "  ~ supply rejection at 100 Hz: 31.2 dB with r1 +5 %, r2 -5 %, c1 -20 %, supply "
                "-10 %; by itself\n    62.4 dB; limit: above 40 dB.\n");
    assert_int_equal(count_of(text, "\nsupply and bias\n"), 2);
    assert_true(widest(text) <= 110);
    free(text);
    fixture_free(bench);
}

/// Every text a user may have written.
static void poison(tl_bench* bench) {
    for (size_t i = 0; i < bench->count; ++i) {
        tl_bench_design* design = &bench->designs[i];
        fixture_say(&design->name, hostile);
        fixture_say(&design->file, hostile);
        fixture_say(&design->noises[0].source, hostile);
        fixture_say(&design->noises[0].parts[0].name, hostile);
        fixture_say(&design->figures[2].words, hostile);
        fixture_say(&design->figures[21].words, hostile);
        fixture_say(&design->figures[3].trouble, hostile);
        for (size_t j = 0; design->worst_at && j < bench->line_count; ++j)
            fixture_say(&design->worst_at[j], hostile);
    }
    fixture_say(&bench->limits[0].words, hostile);
    fixture_say(&bench->limits[0].why, hostile);
    fixture_say(&bench->limits[0].source, hostile);
    for (size_t i = 0; i < bench->count; ++i)
        bench->designs[i].figures[0].grade = TL_GRADE_FAIL;
}

static void nothing_reaches_a_terminal_raw(void** state) {
    (void)state;
    for (size_t count = 1; count < 4; count += 2) {
        tl_bench* bench = fixture_new(count, true);
        poison(bench);
        char* text = tl_bench_text(bench, hostile, true);
        char* csv = tl_bench_csv(bench);
        char* json = tl_json_text(tl_bench_json(bench, hostile));
        const char* const all[] = {text, csv, json};
        for (int i = 0; i < 3; ++i)
            for (const char* at = all[i]; *at; ++at)
                if ((*at > 0 && *at < ' ' && *at != '\n' && !(i == 1 && *at == '\r')) ||
                    *at == '\xff' || *at == 0x7f)
                    fail_msg("a raw %02x in output %d", (unsigned char)*at, i);
        holds(text, "\\x1b[31m%s%n");
        holds(csv, "\"\\x1b[31m%s%n `touch ran` $(touch ran)\\x0d\\x0a\\xff =1+1,\"\"x\"\"");
        assert_int_equal(count_of(csv, "\r\n"), 1 + count * bench->line_count);
        json_t* parsed = json_loads(json, 0, NULL);
        assert_non_null(parsed);
        json_decref(parsed);
        free(text);
        free(csv);
        free(json);
        fixture_free(bench);
    }
}

static void names_as_long_as_they_like_do_no_harm(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(2, true);
    char* name = tl_new(5001, 1);
    memset(name, 'x', 5000);
    fixture_say(&bench->designs[0].name, name);
    for (size_t i = 0; i < 5000; i += 2)
        memcpy(name + i, "\xc3\xa9", 2);
    fixture_say(&bench->designs[1].name, name);
    fixture_say(&bench->designs[1].figures[21].words, name);
    fixture_say(&bench->designs[1].noises[0].source, name);
    char* text = tl_bench_text(bench, NULL, false);
    holds(text, "xxx..");
    holds(text, "\xc3\xa9..");
    free(text);
    free(name);
    fixture_free(bench);
}

static json_t* at(json_t* list, size_t index) {
    json_t* found = json_array_get(list, index);
    assert_non_null(found);
    return found;
}

static void json_has_every_figure(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(3, true);
    json_t* json = tl_bench_json(bench, NULL);
    assert_string_equal(json_string_value(json_object_get(json, "command")), "bench");
    assert_true(json_is_null(json_object_get(json, "rig")));
    json_t* designs = json_object_get(json, "designs");
    assert_int_equal(json_array_size(designs), 3);
    for (size_t i = 0; i < 3; ++i) {
        json_t* figures = json_object_get(at(designs, i), "figures");
        assert_int_equal(json_array_size(figures), bench->line_count);
        for (size_t j = 0; j < bench->line_count; ++j) {
            json_t* figure = at(figures, j);
            const tl_bench_figure* from = &bench->designs[i].figures[j];
            assert_string_equal(json_string_value(json_object_get(figure, "id")),
                                bench->lines[j].id);
            json_t* value = json_object_get(figure, "value");
            if (isnan(from->value))
                assert_true(json_is_null(value));
            else
                assert_true(fabs(json_real_value(value) - from->value) <= 1e-9 * fabs(from->value));
            json_t* verdict = json_object_get(figure, "verdict");
            if (from->grade == TL_GRADE_NONE)
                assert_true(json_is_null(verdict));
            else
                assert_string_equal(json_string_value(verdict), tl_grade_words(from->grade));
            assert_true(json_is_true(json_object_get(figure, "best")) ==
                        (bench->lines[j].best == i));
            assert_true(json_is_null(json_object_get(figure, "limit")) == !bench->lines[j].limit);
            assert_true((json_object_get(figure, "trouble") != NULL) == (from->trouble != NULL));
        }
        json_t* curves = json_object_get(at(designs, i), "curves");
        json_t* thd = at(json_object_get(curves, "thd"), 0);
        assert_true(fabs(json_real_value(json_object_get(thd, "v")) - 0.02) < 1e-9);
        assert_int_equal(json_array_size(json_object_get(curves, "noise_density")), FIXTURE_POINTS);
        json_t* corners = json_object_get(at(designs, i), "corners");
        assert_int_equal(json_array_size(json_object_get(corners, "worst")), bench->line_count);
    }
    json_t* first = json_object_get(at(designs, 0), "figures");
    assert_string_equal(json_string_value(json_object_get(at(first, 8), "beyond")), "over");
    assert_string_equal(json_string_value(json_object_get(at(first, 7), "beyond")), "under");
    assert_null(json_object_get(at(first, 6), "beyond"));
    json_t* limit = json_object_get(at(first, 0), "limit");
    assert_true(json_is_null(json_object_get(limit, "pass_low")));
    assert_true(json_real_value(json_object_get(limit, "pass_high")) == 2e-3);
    json_decref(json);
    fixture_free(bench);
    bench = fixture_new(1, false);
    json = tl_bench_json(bench, "a rig");
    assert_string_equal(json_string_value(json_object_get(json, "rig")), "a rig");
    assert_null(json_object_get(at(json_object_get(json, "designs"), 0), "corners"));
    json_decref(json);
    fixture_free(bench);
}

static void csv_has_a_row_a_figure_and_design(void** state) {
    (void)state;
    tl_bench* bench = fixture_new(2, false);
    char* csv = tl_bench_csv(bench);
    holds(csv, "name,file,id,group,title,unit,value,beyond,words,trouble,verdict,limit,best\r\n");
    holds(csv, "\"FET source follower, 9 V\",designs/design-1.yaml,supply_current_a,supply and "
               "bias,supply current,A,0.00061,,,,pass,below 2 mA,yes\r\n");
    holds(csv,
          "stability,stability,stability,,,,\"rings at 10 nF, 1 Mohm\",,marginal,stable,no\r\n");
    assert_int_equal(count_of(csv, "\r\n"), 1 + 2 * bench->line_count);
    free(csv);
    fixture_free(bench);
}

static void an_empty_bench_is_no_crash(void** state) {
    (void)state;
    tl_bench bench = {0};
    char* text = tl_bench_text(&bench, NULL, false);
    holds(text, "0 designs");
    free(text);
    char* csv = tl_bench_csv(&bench);
    free(csv);
    json_decref(tl_bench_json(&bench, NULL));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_design_has_a_card),
        cmocka_unit_test(what_does_not_pass_says_why),
        cmocka_unit_test(a_reason_is_not_told_twice_running),
        cmocka_unit_test(three_designs_stand_side_by_side),
        cmocka_unit_test(many_designs_are_split_into_blocks),
        cmocka_unit_test(designs_of_one_name_are_told_apart),
        cmocka_unit_test(corners_show_the_worst_and_what_it_breaks),
        cmocka_unit_test(nothing_reaches_a_terminal_raw),
        cmocka_unit_test(names_as_long_as_they_like_do_no_harm),
        cmocka_unit_test(json_has_every_figure),
        cmocka_unit_test(csv_has_a_row_a_figure_and_design),
        cmocka_unit_test(an_empty_bench_is_no_crash),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

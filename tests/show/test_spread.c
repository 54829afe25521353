// SPDX-License-Identifier: GPL-3.0-or-later
// What many trials came to, as text, JSON and CSV: which number stands where, and what is said.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "show/spread.h"
#include "spread_fixture.h"
#include "toneload/show.h"

static const char hostile[] = "\033[31m%s%n `touch ran` $(touch ran)\r\n\xff =1+1,\"x\"";

static void holds(const char* text, const char* words) {
    if (!strstr(text, words))
        fail_msg("no '%s' in:\n%s", words, text);
}

static void holds_not(const char* text, const char* words) {
    if (strstr(text, words))
        fail_msg("'%s' in:\n%s", words, text);
}

/// The first line that starts with these words, runs of blanks being one; free it.
static char* line_of(const char* text, const char* start) {
    for (const char* at = text; *at;) {
        tl_text line = {0};
        for (at += strspn(at, " "); *at && *at != '\n'; ++at)
            if (*at != ' ' || at[1] != ' ')
                tl_text_add_bytes(&line, at, 1);
        at += *at == '\n';
        if (strncmp(tl_text_get(&line), start, strlen(start)) == 0)
            return tl_text_take(&line);
        tl_text_free(&line);
    }
    fail_msg("no line '%s' in:\n%s", start, text);
    return NULL;
}

static void line_is(const char* text, const char* start, const char* expected) {
    char* line = line_of(text, start);
    assert_string_equal(line, expected);
    free(line);
}

/// No line is wider than a terminal has room for, and none ends in a blank.
static void check_lines(const char* text) {
    for (const char* at = text; *at;) {
        size_t size = strcspn(at, "\n");
        char* line = tl_printf("%.*s", (int)size, at);
        if (tl_text_columns(line) > 110 || (size && line[size - 1] == ' '))
            fail_msg("%zu columns: '%s'", tl_text_columns(line), line);
        free(line);
        at += size + (at[size] == '\n');
    }
}

/// A figure whose numbers tell where they came from.
static void mark_figure(tl_spread* spread, size_t amp, size_t kind, double first, double step) {
    tl_spread_figure* figure = &spread->figures[amp * TL_SPREAD_FIGURES + kind];
    figure->nominal = first;
    for (int i = 0; i < TL_PERCENTILES; ++i)
        figure->percentile[i] = first + (i + 1) * step;
    figure->mean = first + 8 * step;
    figure->deviation = first + 9 * step;
    figure->low = first + 10 * step;
    figure->high = first + 11 * step;
    figure->least = first + 12 * step;
    figure->most = first + 13 * step;
}

static char* title_of(size_t kind, const char* unit) {
    return tl_printf("%s%s", tl_spread_word(kind), unit);
}

static void numbers_stand_in_their_columns(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.worst_case = true;
    tl_spread* spread = spread_new(wish);
    mark_figure(spread, 0, TL_SPREAD_PEAK_HZ, 3000, 100);
    mark_figure(spread, 0, TL_SPREAD_PRESENCE_DB, -0.1, -0.1);
    mark_figure(spread, 0, TL_SPREAD_Q, 1, 0.5);
    mark_figure(spread, 0, TL_SPREAD_RMS_DB, 0, 0.25);
    mark_figure(spread, 0, TL_SPREAD_POLE_HZ, 80, 10);
    spread->figures[TL_SPREAD_PEAK_HZ].none = 13;
    char* text = tl_spread_text(spread, false);
    char* start = title_of(TL_SPREAD_PEAK_HZ, " (kHz)");
    char* expected =
        tl_printf("%s 3.000 3.100 3.200 3.300 3.400 3.500 3.600 3.700 3.2 %% 4.200 4.300", start);
    line_is(text, start, expected);
    free(start);
    free(expected);
    start = title_of(TL_SPREAD_PRESENCE_DB, " (dB)");
    expected = tl_printf("%s -0.10 -0.20 -0.30 -0.40 -0.50 -0.60 -0.70 -0.80 -1.30 -1.40", start);
    line_is(text, start, expected);
    free(start);
    free(expected);
    start = title_of(TL_SPREAD_Q, "");
    expected = tl_printf("%s 1.00 1.50 2.00 2.50 3.00 3.50 4.00 4.50 7.00 7.50", start);
    line_is(text, start, expected);
    free(start);
    free(expected);
    start = title_of(TL_SPREAD_RMS_DB, " (dB)"); // no sign: it has none
    expected = tl_printf("%s 0.00 0.25 0.50 0.75 1.00 1.25 1.50 1.75 3.00 3.25", start);
    line_is(text, start, expected);
    free(start);
    free(expected);
    start = title_of(TL_SPREAD_POLE_HZ, " (Hz)");
    expected = tl_printf("%s 80 90 100 110 120 130 140 150 200 210", start);
    line_is(text, start, expected);
    free(start);
    free(expected);
    holds(text, "all combinations of them (16)");
    check_lines(text);
    free(text);
    tl_spread_free(spread);
}

static void a_head_tells_what_ran(void** state) {
    (void)state;
    tl_spread* spread = spread_new(spread_usual);
    spread->seed = UINT64_MAX;
    char* text = tl_spread_text(spread, false);
    holds(text, "Lantern Street covers band, left board\n400 trials, seed 18446744073709551615, "
                "4 values drawn\n\nFigures of 400 trials");
    holds_not(text, "stopped");
    holds_not(text, "no answer");
    holds_not(text, "Corners");
    holds_not(text, "corners");
    holds_not(text, "names no direct");
    check_lines(text);
    free(text);
    spread->direct_assumed = true;
    spread->done = 312;
    for (size_t i = 0; i < 5; ++i)
        spread_fail(spread, 10 * i + 7, "the solver gave up\n  and says why");
    text = tl_spread_text(spread, false);
    holds(text, "It was stopped after 312 of 400 trials");
    holds(text, "5 trials have no answer; the other trials stand.\n"
                "  trial 7: the solver gave up\n  trial 17: the solver gave up\n"
                "  trial 27: the solver gave up\n  and 2 more\n");
    holds(text, "Figures of 307 trials");
    holds(text, "6 m of standard-coax stand in");
    free(text);
    text = tl_spread_text(spread, true);
    holds(text, "  trial 47: the solver gave up\n");
    holds_not(text, "more\n");
    free(text);
    tl_spread_free(spread);
}

static void what_is_not_there_is_said(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.load_ohm = 26e3; // a load that leaves no peak
    tl_spread* spread = spread_new(wish);
    char* text = tl_spread_text(spread, true);
    char* start = title_of(TL_SPREAD_PEAK_HZ, " (Hz)");
    char* expected = tl_printf("%s none - - - - - - - 100 %%", start);
    line_is(text, start, expected);
    free(start);
    free(expected);
    start = title_of(TL_SPREAD_PEAK_HZ, " none in any trial");
    line_is(text, start, start);
    free(start);
    holds_not(text, "nan");
    holds_not(text, "inf");
    check_lines(text);
    free(text);
    tl_spread_free(spread);

    wish = spread_usual;
    wish.tolerance = 0;
    spread = spread_new(wish);
    text = tl_spread_text(spread, true);
    holds(text, "  does not vary\n");
    holds(text, "No value stands out");
    holds_not(text, "Measuring");
    holds_not(text, "nan");
    free(text);
    tl_spread_free(spread);
}

static void a_spread_of_nothing_is_told(void** state) {
    (void)state;
    tl_spread* spread = spread_new(spread_usual);
    spread->done = 1;
    spread_fail(spread, 0, "broken");
    char* text = tl_spread_text(spread, false);
    holds(text, "1 trial has no answer");
    holds(text, "No trial has an answer");
    holds_not(text, "To the ear");
    holds(text, "Where the tolerances come from");
    free(text);
    tl_spread_free(spread);

    spread_wish wish = spread_usual;
    wish.values = 2; // the fixture draws two; then nobody
    spread = spread_new(wish);
    for (size_t i = 0; i < 2; ++i) {
        tl_spread_value* value = &spread->values[i];
        free(value->path);
        free(value->about);
        free(value->shown);
        free(value->followed);
        free(value->origin);
    }
    spread->value_count = 0;
    text = tl_spread_text(spread, false);
    holds(text, "No value has a tolerance: every trial is the rig as written.");
    holds_not(text, "Which values");
    holds_not(text, "tolerances come from");
    free(text);
    json_decref(tl_spread_json(spread));
    tl_spread_free(spread);

    wish = spread_usual;
    wish.trials = 1;
    spread = spread_new(wish);
    text = tl_spread_text(spread, false);
    holds(text, "1 trial, seed 1");
    holds(text, "Figures of 1 trial (");
    holds(text, "Under 100 trials");
    holds_not(text, "nan");
    free(text);
    tl_spread_free(spread);
}

static void the_ear_is_told_of_shares(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.amps = 2;
    tl_spread* spread = spread_new(wish);
    static const size_t heard[4] = {8, 40, 350, 2};
    memcpy(spread->heard[0], heard, sizeof heard);
    spread->nominal_heard[0] = TL_BORDERLINE;
    char* text = tl_spread_text(spread, false);
    holds(text, "not audible");
    holds(text, "under 0.5");
    holds(text, "0.5 to 1");
    holds(text, "1 to 3");
    holds(text, "3 and more");
    line_is(text, "dry", "dry 2.0 % 10 % 88 % 0.5 % borderline");
    holds(text, " at dry");
    holds(text, " at wet 1");
    check_lines(text);
    free(text);
    tl_spread_free(spread);
}

/// Effects with known shares on one figure; the other chief figures hardly know the values.
static void mark_effects(tl_spread* spread) {
    for (size_t kind = 0; kind < TL_SPREAD_FIGURES; ++kind)
        for (size_t i = 0; i < spread->value_count; ++i)
            spread->figures[kind].effects[i] = (tl_spread_effect){0, 0.01, 0.0001};
    tl_spread_effect* effects = spread->figures[TL_SPREAD_PEAK_HZ].effects;
    effects[0] = (tl_spread_effect){-2, -0.5, 0.25};
    effects[1] = (tl_spread_effect){-13, -0.8, 0.64};
    effects[2] = (tl_spread_effect){(double)NAN, 0.3, 0.09};
    effects[3] = (tl_spread_effect){1, 0.08, 0.0064};
}

static void values_are_ranked(void** state) {
    (void)state;
    tl_spread* spread = spread_new(spread_usual);
    mark_effects(spread);
    spread->figures[TL_SPREAD_PEAK_HZ].deviation = 82;
    char* text = tl_spread_text(spread, false);
    const char* from = strstr(text, "Which values it varies by");
    assert_non_null(from);
    char* expected = title_of(TL_SPREAD_PEAK_HZ, " deviation 82 Hz");
    line_is(from, expected, expected);
    free(expected);
    line_is(from, "chain[0]",
            "chain[0].capacitance standard-coax 110 pF/m +-8 % -13 Hz -104 Hz -0.80 64 %");
    line_is(from, "guitar.pickup.ind",
            "guitar.pickup.inductance single-coil 2.5 H +-10 % -2.0 Hz -20 Hz -0.50 25 %");
    line_is(from, "guitar.vol", "guitar.volume.pot 250 kohm +-20 % uniform - - +0.30 9.0 %");
    line_is(from, "1 other", "1 other 0.6 %");
    assert_true(strstr(from, "chain[0]") < strstr(from, "guitar.pickup.ind"));
    assert_true(strstr(from, "guitar.pickup.ind") < strstr(from, "guitar.vol"));
    expected = tl_printf("Measuring chain[0].capacitance (standard-coax) explains 64 %% of what "
                         "the %s varies by.",
                         tl_spread_word(TL_SPREAD_PEAK_HZ));
    holds(text, expected);
    free(expected);
    assert_true(strstr(from, tl_spread_word(TL_SPREAD_WORST_DB)) > strstr(from, "Where the"));
    free(text);
    text = tl_spread_text(spread, true);
    expected = title_of(TL_SPREAD_WORST_DB, " deviation");
    free(line_of(text, expected));
    free(expected);
    free(text);
    spread->done = 120; // chance makes shares up to 7.5 %, but those from 5 % on are listed
    spread->figures[TL_SPREAD_PEAK_HZ].effects[2].variance_share = 0.049;
    spread->figures[TL_SPREAD_PEAK_HZ].effects[3].variance_share = 0.051;
    text = tl_spread_text(spread, false);
    from = strstr(text, "Which values it varies by");
    free(line_of(from, "guitar.pickup.resistance"));
    line_is(from, "1 other", "1 other 4.9 %");
    free(text);
    spread->done = 20; // 9 / 20: three sigma of what chance makes
    text = tl_spread_text(spread, false);
    holds(text, "A share of variance of up to 45 % can be chance");
    holds(text, "Measuring chain[0]");
    spread->figures[TL_SPREAD_PEAK_HZ].effects[1].variance_share = 0.44;
    spread->figures[TL_SPREAD_PEAK_HZ].effects[0].variance_share = 0.1;
    free(text);
    text = tl_spread_text(spread, false);
    holds(text, "No value stands out");
    free(text);
    tl_spread_free(spread);
}

static void choices_stand_before_and_after(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.choices = true;
    tl_spread* spread = spread_new(wish);
    mark_figure(spread, 0, TL_SPREAD_PEAK_HZ, 3000, 100);
    double* after = spread->choices[0].percentile[TL_SPREAD_PEAK_HZ];
    for (int i = 0; i < TL_PERCENTILES; ++i)
        after[i] = 3500 + 50 * i;
    static const size_t heard[4] = {40, 40, 300, 20};
    memcpy(spread->heard[0], heard, sizeof heard);
    static const double share[4] = {0.5, 0.25, 0.2, 0.05};
    memcpy(spread->choices[0].heard[0], share, sizeof share);
    spread->choices[1].trials = 0;
    char* text = tl_spread_text(spread, false);
    const char* from = strstr(text, "Picking the lower third of chain[0].capacitance");
    assert_non_null(from);
    char* start = title_of(TL_SPREAD_PEAK_HZ, " (kHz)");
    char* expected = tl_printf("%s 3.200 3.400 3.600 3.550 3.650 3.750 50 %%", start);
    line_is(from, start, expected);
    free(start);
    free(expected);
    line_is(from, "before 10", "before 10 % 10 % 75 % 5.0 %");
    line_is(from, "after 50 %", "after 50 % 25 % 20 % 5.0 %");
    holds(from, "to 50 % of their span");
    holds(from, "the median by +250 Hz");
    holds(from, "75 % of the rigs are not audible");
    holds(from, "where it was 20 %.");
    holds(from, "No trial is one that it would pick.");
    spread->choices[0].heard[0][TL_NOT_AUDIBLE] = 0.1;
    spread->choices[0].heard[0][TL_BORDERLINE] = 0.1;
    free(text);
    text = tl_spread_text(spread, false);
    holds(text, "20 % of the rigs are not audible");
    holds(text, "as before.");
    check_lines(text);
    free(text);
    tl_spread_free(spread);
}

static void corners_say_where_they_are(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.worst_case = true;
    tl_spread* spread = spread_new(wish);
    tl_spread_figure* figure = &spread->figures[TL_SPREAD_PEAK_HZ];
    for (int i = 0; i < 4; ++i) {
        figure->least_at[i] = i == 1 ? -1 : 1;
        figure->most_at[i] = i == 2 ? 1 : -1;
    }
    figure->corner_none = 3;
    spread->all_corners = false;
    char* text = tl_spread_text(spread, false);
    char* flat = tl_copy(text); // words may be parted anywhere
    for (char* at = flat; (at = strchr(at, '\n'));)
        *at = ' ';
    holds(flat, "that the slopes point at (16).");
    char* expected = tl_printf("No %s in 3.", tl_spread_word(TL_SPREAD_PEAK_HZ));
    holds(flat, expected);
    free(flat);
    free(expected);
    holds_not(text, ", least: ");
    free(text);
    text = tl_spread_text(spread, true);
    expected = title_of(TL_SPREAD_PEAK_HZ, ", least: guitar.pickup.inductance high, "
                                           "chain[0].capacitance low, guitar.volume.pot high,");
    holds(text, expected);
    free(expected);
    expected = title_of(TL_SPREAD_PEAK_HZ, ", most: guitar.pickup.inductance low, "
                                           "chain[0].capacitance low, guitar.volume.pot high,");
    holds(text, expected);
    free(expected);
    free(text);
    tl_spread_free(spread);
}

static void tolerances_have_sources(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.values = 12;
    tl_spread* spread = spread_new(wish);
    spread_say(&spread->values[3].origin, "");
    char* text = tl_spread_text(spread, false);
    const char* from = strstr(text, "Where the tolerances come from\n");
    assert_non_null(from);
    line_is(from, "guitar.pickup.ind", "guitar.pickup.inductance 2.5 H +-10 % common practice");
    line_is(from, "guitar.vol",
            "guitar.volume.pot 250 kohm +-20 % uniform parts/pot.yaml: maker's sheet");
    line_is(from, "guitar.pickup.res", "guitar.pickup.resistance 6 kohm +-5 % no source");
    holds(from, "rig.yaml:7; moves along:");
    holds(from, "direct[0].capacitance\n");
    holds(from, "].chain[12].input.capacitance"); // the end of a long path is what tells it
    check_lines(text);
    free(text);
    tl_spread_free(spread);
}

static void words_from_outside_are_inert(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.amps = 2;
    wish.choices = true;
    tl_spread* spread = spread_new(wish);
    spread_say(&spread->rig, hostile);
    spread_say(&spread->amps[0], hostile);
    spread_say(&spread->values[0].path, hostile);
    spread_say(&spread->values[0].about, hostile);
    spread_say(&spread->values[0].shown, hostile);
    spread_say(&spread->values[0].origin, hostile);
    spread_say(&spread->values[0].followed, hostile);
    spread_say(&spread->choices[0].words, hostile);
    spread_say(&spread->choices[0].about, hostile);
    spread_fail(spread, 3, hostile);
    char* text = tl_spread_text(spread, true);
    for (const char* at = text; *at; ++at)
        assert_true(*at == '\n' || (unsigned char)*at >= 0x20);
    holds(text, "\\x1b[31m%s%n `touch ran`");
    holds_not(text, "\xff");
    free(text);
    text = tl_spread_csv(spread);
    holds_not(text, "\033");
    free(text);
    json_t* json = tl_spread_json(spread);
    assert_non_null(strstr(json_string_value(json_object_get(json, "rig")), "`touch ran`"));
    text = tl_json_text(json);
    holds_not(text, "\033");
    free(text);
    tl_spread_free(spread);
}

static json_t* at(json_t* json, const char* key) {
    json_t* found = json_object_get(json, key);
    if (!found)
        fail_msg("no '%s'", key);
    return found;
}

static double number(json_t* json, const char* key) {
    json_t* found = at(json, key);
    if (!json_is_number(found))
        fail_msg("'%s' is no number", key);
    return json_number_value(found);
}

static void near(double value, double expected) {
    if (!(fabs(value - expected) <= 1e-9 * fabs(expected) + 1e-12))
        fail_msg("%.12g is not %.12g", value, expected);
}

static void json_has_the_names_of_the_design(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.worst_case = true;
    tl_spread* spread = spread_new(wish);
    mark_figure(spread, 0, TL_SPREAD_PEAK_HZ, 3000, 100);
    tl_spread_figure* figure = &spread->figures[TL_SPREAD_PEAK_HZ];
    figure->none = 100;
    mark_effects(spread);
    spread->done = 401;
    spread->trials = 500;
    spread_fail(spread, 7, "broken");
    json_t* json = tl_spread_json(spread);
    assert_string_equal(json_string_value(at(json, "command")), "spread");
    assert_string_equal(json_string_value(at(json, "rig")), spread->rig);
    near(number(json, "trials"), 500);
    near(number(json, "done"), 401);
    near(number(json, "seed"), 1);
    near(number(json, "reference_hz"), 200);
    near(number(json, "failed"), 1);
    json_t* failure = json_array_get(at(json, "failures"), 0);
    near(number(failure, "trial"), 7);
    assert_string_equal(json_string_value(at(failure, "why")), "broken");
    json_t* metric = at(at(json, "metrics"), tl_spread_figure_at(TL_SPREAD_PEAK_HZ)->name);
    static const char* const keys[] = {"nominal", "p01",  "p05",   "p25",  "p50",
                                       "p75",     "p95",  "p99",   "mean", "deviation",
                                       "low",     "high", "least", "most"};
    for (size_t i = 0; i < sizeof keys / sizeof *keys; ++i)
        near(number(metric, keys[i]), 3000 + 100 * (double)i);
    near(number(metric, "none_share"), 0.25);
    assert_int_equal(json_array_size(at(metric, "bars")), TL_SPREAD_BARS);
    near((double)json_integer_value(json_array_get(at(metric, "bars"), 20)),
         (double)figure->bars[20]);
    assert_int_equal(json_integer_value(at(at(metric, "least_at"), "guitar.volume.pot")),
                     figure->least_at[2]);
    assert_int_equal(json_integer_value(at(at(metric, "most_at"), "guitar.volume.pot")),
                     -figure->least_at[2]);
    near(number(at(json, "worst_case"), "corners"), 16);
    json_t* effect = json_array_get(at(json, "sensitivity"), 1); // peak, second value
    assert_string_equal(json_string_value(at(effect, "metric")),
                        tl_spread_figure_at(TL_SPREAD_PEAK_HZ)->name);
    assert_string_equal(json_string_value(at(effect, "path")), "chain[0].capacitance");
    near(number(effect, "slope"), -13);
    near(number(effect, "correlation"), -0.8);
    near(number(effect, "variance_share"), 0.64);
    assert_true(json_is_null(at(json_array_get(at(json, "sensitivity"), 2), "slope"))); // NAN
    json_t* value = json_array_get(at(json, "values"), 2);
    assert_string_equal(json_string_value(at(value, "path")), "guitar.volume.pot");
    assert_string_equal(json_string_value(at(value, "distribution")), "uniform");
    near(number(value, "nominal"), 250e3);
    near(number(value, "tolerance"), 0.2);
    value = json_array_get(at(json, "values"), 1);
    assert_string_equal(json_string_value(at(value, "distribution")), "normal");
    assert_string_equal(json_string_value(at(value, "origin")), "rig.yaml:7");
    assert_string_equal(json_string_value(at(value, "followed")), "direct[0].capacitance");
    assert_string_equal(json_string_value(at(value, "about")), "standard-coax");
    assert_null(json_object_get(json, "amps"));
    json_decref(json);
    tl_spread_free(spread);
}

static void json_has_ears_and_curves(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.amps = 2;
    wish.choices = true;
    tl_spread* spread = spread_new(wish);
    static const size_t heard[4] = {8, 40, 350, 2};
    memcpy(spread->heard[1], heard, sizeof heard);
    spread->nominal_heard[1] = TL_PLAIN;
    spread->levels[1].db[TL_P95][5] = 1.25;
    spread->differences[1].db[TL_P05][6] = (double)NAN;
    spread->nominal_difference_db[1][7] = -0.5;
    spread->choices[1].percentile[TL_SPREAD_FIGURES + TL_SPREAD_Q][TL_P75] = 1.75;
    spread->choices[1].deviation[TL_SPREAD_FIGURES + TL_SPREAD_Q] = 0.125;
    spread->choices[1].heard[1][TL_AUDIBLE] = 0.625;
    json_t* json = tl_spread_json(spread);
    json_t* amps = at(json, "amps");
    assert_int_equal(json_array_size(amps), 2);
    static const char* const shared[] = {"amp", "metrics", "sensitivity", "heard", "curves"};
    for (size_t i = 0; i < 5; ++i) // the first amp stands at the top too
        assert_true(json_equal(at(json, shared[i]), at(json_array_get(amps, 0), shared[i])));
    json_t* second = json_array_get(amps, 1);
    assert_string_equal(json_string_value(at(second, "amp")), "wet 1");
    near(number(at(second, "heard"), "not_audible"), 0.02);
    near(number(at(second, "heard"), "borderline"), 0.1);
    near(number(at(second, "heard"), "audible"), 0.875);
    near(number(at(second, "heard"), "plain"), 0.005);
    assert_string_equal(json_string_value(at(at(second, "heard"), "nominal")), "plain");
    json_t* curves = at(second, "curves");
    assert_int_equal(json_array_size(at(curves, "hz")), SPREAD_POINTS);
    near(json_number_value(json_array_get(at(at(curves, "level"), "p95"), 5)), 1.25);
    assert_true(json_is_null(json_array_get(at(at(curves, "difference"), "p05"), 6)));
    near(json_number_value(json_array_get(at(at(curves, "difference"), "nominal"), 7)), -0.5);
    json_t* choice = json_array_get(at(json, "choices"), 1);
    assert_string_equal(json_string_value(at(choice, "words")), "chain[0].capacitance=upper third");
    near(number(choice, "trials"), (double)spread->choices[1].trials);
    json_t* picked = json_array_get(at(choice, "amps"), 1);
    json_t* metric = at(at(picked, "metrics"), tl_spread_figure_at(TL_SPREAD_Q)->name);
    near(number(metric, "p75"), 1.75);
    near(number(metric, "deviation"), 0.125);
    near(number(at(picked, "heard"), "audible"), 0.625);
    metric = at(at(json, "metrics"), tl_spread_figure_at(TL_SPREAD_Q)->name);
    assert_true(json_is_null(at(metric, "least"))); // nobody asked for corners
    assert_null(json_object_get(metric, "least_at"));
    assert_true(json_is_null(at(json, "worst_case")));
    json_decref(json);
    tl_spread_free(spread);
}

static void a_long_seed_is_kept(void** state) {
    (void)state;
    tl_spread* spread = spread_new(spread_usual);
    static const struct {
        uint64_t seed;
        const char* shown;
    } seeds[] = {{0, "\"seed\": 0,"},
                 {9007199254740991u, "\"seed\": 9007199254740991,"},
                 {9007199254740992u, "\"seed\": \"9007199254740992\","},
                 {UINT64_MAX, "\"seed\": \"18446744073709551615\","}};
    for (size_t i = 0; i < sizeof seeds / sizeof *seeds; ++i) {
        spread->seed = seeds[i].seed;
        char* text = tl_json_text(tl_spread_json(spread));
        holds(text, seeds[i].shown);
        free(text);
    }
    tl_spread_free(spread);
}

static void csv_has_a_row_a_figure(void** state) {
    (void)state;
    spread_wish wish = spread_usual;
    wish.amps = 2;
    tl_spread* spread = spread_new(wish);
    mark_figure(spread, 1, TL_SPREAD_PEAK_HZ, 3000, 100);
    spread->figures[TL_SPREAD_FIGURES + TL_SPREAD_PEAK_HZ].none = 100;
    spread->figures[TL_SPREAD_FIGURES + TL_SPREAD_PEAK_HZ].percentile[TL_P99] = (double)NAN;
    char* text = tl_spread_csv(spread);
    holds(text, "amp,metric,unit,nominal,p01,p05,p25,p50,p75,p95,p99,mean,deviation,low,high,"
                "none_share\r\n");
    char* expected = tl_printf(
        "\r\nwet 1,%s,Hz,3000,3100,3200,3300,3400,3500,3600,,3800,3900,4000,4100,0.25\r\n",
        tl_spread_figure_at(TL_SPREAD_PEAK_HZ)->name);
    holds(text, expected);
    free(expected);
    size_t rows = 0;
    for (const char* row = strstr(text, "\r\n"); row; row = strstr(row + 1, "\r\n"))
        ++rows;
    assert_int_equal(rows, 1 + 2 * TL_SPREAD_FIGURES);
    free(text);
    spread->worst_case = true;
    text = tl_spread_csv(spread);
    holds(text, "none_share,least,most\r\n");
    holds(text, ",4100,0.25,4200,4300\r\n");
    free(text);
    tl_spread_free(spread);
}

static void shares_and_changes_are_short(void** state) {
    (void)state;
    static const struct {
        double share;
        const char* shown;
    } shares[] = {{0, "0 %"},        {1, "100 %"},      {0.0004, "<0.1 %"},
                  {0.0006, "0.1 %"}, {0.0994, "9.9 %"}, {0.0996, "10 %"},
                  {0.994, "99 %"},   {0.9951, ">99 %"}, {(double)NAN, "-"}};
    for (size_t i = 0; i < sizeof shares / sizeof *shares; ++i) {
        char* shown = tl_spread_share(shares[i].share);
        assert_string_equal(shown, shares[i].shown);
        free(shown);
    }
    static const struct {
        size_t kind;
        double change;
        const char* shown;
    } changes[] = {{TL_SPREAD_PEAK_HZ, -999.6, "-1.00 kHz"}, {TL_SPREAD_PEAK_HZ, 999.4, "+999 Hz"},
                   {TL_SPREAD_PEAK_HZ, 9.94, "+9.9 Hz"},     {TL_SPREAD_PEAK_HZ, -0.04, "0.0 Hz"},
                   {TL_SPREAD_Q, 0.00994, "+0.0099"},        {TL_SPREAD_Q, -0.0996, "-0.10"},
                   {TL_SPREAD_LEVEL_DB, 0.05, "+0.050 dB"},  {TL_SPREAD_Q, (double)NAN, "-"}};
    for (size_t i = 0; i < sizeof changes / sizeof *changes; ++i) {
        char* shown = tl_spread_change(changes[i].kind, changes[i].change);
        assert_string_equal(shown, changes[i].shown);
        free(shown);
    }
    char* cut = tl_spread_tail("chain[3].\xc3\xbcn\xc3\xaf.value", 10);
    assert_string_equal(cut, "..n\xc3\xaf.value"); // ten columns at most, whole letters
    free(cut);
    cut = tl_spread_front("\xc3\xbcn\xc3\xaf is long", 5);
    assert_string_equal(cut, "\xc3\xbcn\xc3\xaf..");
    free(cut);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_stand_in_their_columns),
        cmocka_unit_test(a_head_tells_what_ran),
        cmocka_unit_test(what_is_not_there_is_said),
        cmocka_unit_test(a_spread_of_nothing_is_told),
        cmocka_unit_test(the_ear_is_told_of_shares),
        cmocka_unit_test(values_are_ranked),
        cmocka_unit_test(choices_stand_before_and_after),
        cmocka_unit_test(corners_say_where_they_are),
        cmocka_unit_test(tolerances_have_sources),
        cmocka_unit_test(words_from_outside_are_inert),
        cmocka_unit_test(json_has_the_names_of_the_design),
        cmocka_unit_test(json_has_ears_and_curves),
        cmocka_unit_test(a_long_seed_is_kept),
        cmocka_unit_test(csv_has_a_row_a_figure),
        cmocka_unit_test(shares_and_changes_are_short),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

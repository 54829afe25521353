// SPDX-License-Identifier: GPL-3.0-or-later
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "closed_form.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void check(json_t* json, const char* expected) {
    char* text = tl_json_text(json);
    assert_string_equal(text, expected);
    free(text);
}

static void numbers_have_ten_digits_and_come_back(void** state) {
    (void)state;
    check(tl_json_number(3214.567891), "3214.567891\n");
    check(tl_json_number(3214.5678912345), "3214.567891\n");
    check(tl_json_number(0.1), "0.1\n");
    check(tl_json_number(1.0 / 3), "0.3333333333\n");
    check(tl_json_number(200), "200.0\n");
    check(tl_json_number(-1.5e-13), "-1.5e-13\n");
    check(tl_json_number(NAN), "null\n");
    check(tl_json_number(INFINITY), "null\n");
    check(tl_json_number(-INFINITY), "null\n");
    for (double number = 1.23456789e-20; number < 1e20; number *= 7.654321) {
        char* text = tl_json_text(tl_json_number(number));
        double back = strtod(text, NULL);
        assert_true(fabs(back / number - 1) <= 5e-10);
        char* again = tl_json_text(tl_json_number(back));
        assert_string_equal(again, text);
        free(text);
        free(again);
    }
}

static void words_are_exact_where_json_can_hold_them(void** state) {
    (void)state;
    check(tl_json_words("B\xc3\xbchne \"x\" \\ \n\x1b"),
          "\"B\\u00FChne \\\"x\\\" \\\\ \\n\\u001B\"\n");
    check(tl_json_words("a\xff"
                        "b"),
          "\"a\\\\xffb\"\n");
    check(tl_json_words("\xc2\x9b"), "\"\\u009B\"\n"); // a control that terminals obey
    check(tl_json_words(NULL), "null\n");
}

static void every_command_opens_alike(void** state) {
    (void)state;
    check(tl_json_open("response", "left board"),
          "{\n  \"toneload\": \"" TL_VERSION "\",\n  \"command\": \"response\",\n"
          "  \"rig\": \"left board\"\n}\n");
}

static void responses_have_their_fields_in_order(void** state) {
    (void)state;
    tl_response* response = low_pass(3000, 2.5, 1);
    assert_non_null(response);
    tl_metrics metrics = {200, -1.25, 3214.567891, 6.5, 3300, 2.5, NAN, NAN, false, NAN};
    json_t* json = tl_json_response("rig", NULL, response, &metrics, 21, 3e-12, 0);
    check(json, "{\n  \"name\": \"rig\",\n  \"amp\": null,\n  \"reference_hz\": 200.0,\n"
                "  \"reference_db\": -1.25,\n  \"peak_hz\": 3214.567891,\n  \"peak_db\": 6.5,\n"
                "  \"pole_hz\": 3300.0,\n  \"q\": 2.5,\n  \"bandwidth_q\": null,\n"
                "  \"cutoff_hz\": null,\n  \"solves\": 21,\n  \"residual\": 3e-12\n}\n");
    tl_response_free(response);
}

static void points_run_from_20_hz_to_20_khz(void** state) {
    (void)state;
    tl_response* response = low_pass(3000, 2.5, 2);
    tl_metrics metrics = tl_response_metrics(response, 200);
    json_t* json = tl_json_response("rig", "left amp", response, &metrics, 41, 0, 31);
    json_t* points = json_object_get(json, "points");
    assert_int_equal(json_array_size(points), 31);
    for (size_t i = 0; i < 31; ++i) {
        json_t* point = json_array_get(points, i);
        double hz = json_real_value(json_object_get(point, "hz"));
        double ratio = hz / 3000;
        double _Complex h = 2 / (1 + I * ratio / 2.5 - ratio * ratio);
        double pi = 4 * atan(1);
        assert_true(fabs(hz / (20 * pow(10, 3.0 * (double)i / 30)) - 1) < 1e-9);
        double db = json_real_value(json_object_get(point, "db"));
        double deg = json_real_value(json_object_get(point, "deg"));
        assert_true(fabs(db - 20 * log10(cabs(h))) < 1e-6);
        assert_true(fabs(deg - carg(h) * 180 / pi) < 1e-5);
    }
    assert_string_equal(json_string_value(json_object_get(json, "amp")), "left amp");
    json_decref(json);
    tl_response_free(response);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_have_ten_digits_and_come_back),
        cmocka_unit_test(words_are_exact_where_json_can_hold_them),
        cmocka_unit_test(every_command_opens_alike),
        cmocka_unit_test(responses_have_their_fields_in_order),
        cmocka_unit_test(points_run_from_20_hz_to_20_khz),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

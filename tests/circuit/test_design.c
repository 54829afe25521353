// SPDX-License-Identifier: GPL-3.0-or-later
// Design files: what is read, and where errors point.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "circuit/design.h"

#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char* scratch;
static char* file; // the design
static tl_error* error;

static void write_file(const char* name, const char* text) {
    char* path = tl_printf("%s/%s", scratch, name);
    if (tl_file_write(path, text, strlen(text), NULL) != TL_OK)
        abort();
    free(path);
}

static int set_up(void** state) {
    (void)state;
    error = tl_error_new();
    scratch = tl_printf("/tmp/tl-test-design-%d", (int)getpid());
    file = tl_printf("%s/design.yaml", scratch);
    if (mkdir(scratch, 0700) != 0)
        return -1;
    write_file("good.cir", ".model jn njf(vto=-1.5)\n.subckt Follower IN out vcc gnd\n"
                           "j1 vcc in out jn\nr1 out gnd 4.7k\n.ends\n"
                           ".subckt split in out vcc vee mid\nr1 in out 1k\nr2 vcc vee 1k\n"
                           "r3 mid 0 1k\n.ends\n"
                           ".subckt island in out vcc\nr1 in out 1k\nr2 out vcc 1k\n.ends\n");
    write_file("bad.cir", ".subckt f in out vcc gnd\n.control\n.ends\n");
    return 0;
}

static int tear_down(void** state) {
    (void)state;
    char* command = tl_printf("rm -rf -- '%s'", scratch);
    int status = system(command);
    free(command);
    free(scratch);
    free(file);
    tl_error_free(error);
    return status;
}

static tl_design* read_design(const char* text) {
    write_file("design.yaml", text);
    tl_design* design = NULL;
    tl_status status = tl_design_read(file, &design, error);
    assert_true(status == TL_OK ? design != NULL : status == TL_BAD_INPUT && !design);
    return design;
}

static tl_design* read_good(const char* text) {
    tl_design* design = read_design(text);
    if (!design)
        fail_msg("%s", tl_error_text(error));
    return design;
}

/// `where` is "line:column: error: words".
static void refused(const char* text, const char* where) {
    tl_design* design = read_design(text);
    if (design)
        fail_msg("accepted: %s", text);
    char* start = tl_printf("%s:%s", file, where);
    if (strncmp(tl_error_text(error), start, strlen(start)) != 0)
        fail_msg("%s\nis not %s", tl_error_text(error), start);
    free(start);
}

#define CIRCUIT "circuit: good.cir\nsubcircuit: follower\n"
#define PINS "pins: {in: in, out: OUT, supply: vcc, ground: gnd}\n"
#define SPLIT                                                                                      \
    "circuit: good.cir\nsubcircuit: split\n"                                                       \
    "pins: {in: in, out: out, supply: vcc, negative: vee, bias: mid}\n"

static void a_whole_design(void** state) {
    (void)state;
    tl_design* design = read_good("design: Follower, 9 V\n" CIRCUIT PINS
                                  "supply: 9 V\ntolerances: {R1: 5 %, j1.vto: 30 %}\n"
                                  "source: own values\nabout: one line\n");
    assert_string_equal(tl_design_name(design), "Follower, 9 V");
    assert_int_equal(design->in, 0);
    assert_int_equal(design->out, 1);
    assert_int_equal(design->supply, 2);
    assert_int_equal(design->ground, 3);
    assert_int_equal(design->negative, TL_NO_PIN);
    assert_int_equal(design->bias, TL_NO_PIN);
    assert_true(design->supply_v == 9);
    assert_int_equal(design->tolerance_count, 2);
    assert_string_equal(design->tolerances[0].path, "R1");
    assert_true(fabs(design->tolerances[1].share - 0.3) < 1e-12);
    tl_design* clone = tl_design_clone(design);
    double value = 0;
    assert_true(tl_netlist_set(clone->netlist, "r1", 1));
    assert_true(tl_netlist_get(design->netlist, "r1", &value) && value == 4700);
    assert_string_equal(tl_design_name(clone), "Follower, 9 V");
    assert_string_equal(clone->tolerances[1].path, "j1.vto");
    tl_design_free(clone);
    assert_non_null(strstr(tl_netlist_card(design->netlist, 0).place.in->name, "/good.cir"));
    tl_design_free(design);
    tl_design_free(NULL);
}

static void two_supplies_and_a_bias(void** state) {
    (void)state;
    tl_design* design =
        read_good(SPLIT "supply: {positive: 9 V, negative: -4500 mV}\nbias: -0.5 V\n");
    assert_string_equal(tl_design_name(design), "design.yaml");
    assert_int_equal(design->negative, 3);
    assert_int_equal(design->bias, 4);
    assert_int_equal(design->ground, TL_NO_PIN);
    assert_true(design->supply_v == 9 && design->negative_v == -4.5 && design->bias_v == -0.5);
    tl_design_free(design);
    design = read_good(CIRCUIT PINS "supply: {positive: 9 V}\n");
    tl_design_free(design);
}

static void an_absolute_path(void** state) {
    (void)state;
    char* text =
        tl_printf("circuit: %s/good.cir\nsubcircuit: FOLLOWER\n" PINS "supply: 4.5 V\n", scratch);
    tl_design* design = read_good(text);
    assert_true(design->supply_v == 4.5);
    free(text);
    tl_design_free(design);
}

/// A host program may run in a country that writes 4,5. The locale is made on the spot, since few
/// machines have one installed; without the C library's sources for it nothing is tested.
static void a_host_with_decimal_commas_changes_nothing(void** state) {
    (void)state;
    char* command =
        tl_printf("localedef -i de_DE -f UTF-8 %s/comma >%s/made 2>&1", scratch, scratch);
    int made = system(command);
    free(command);
    setenv("LOCPATH", scratch, 1);
    if (made != 0 || !setlocale(LC_ALL, "comma"))
        skip();
    tl_design* design = read_good(CIRCUIT PINS "supply: 4.5 V\n");
    double value = 0;
    assert_true(tl_netlist_get(design->netlist, "j1.vto", &value) && value == -1.5);
    assert_true(design->supply_v == 4.5);
    assert_string_equal(localeconv()->decimal_point, ","); // the host keeps its own
    setlocale(LC_ALL, "C");
    unsetenv("LOCPATH");
    tl_design_free(design);
}

static void pins_that_do_not_fit(void** state) {
    (void)state;
    refused(CIRCUIT "supply: 9 V\n", "1:1: error: a design needs 'pins'");
    refused(CIRCUIT "pins: {in: in, out: outt, supply: vcc, ground: gnd}\nsupply: 9 V\n",
            "3:21: error: the subcircuit has no port 'outt'; did you mean 'out'?");
    refused(CIRCUIT "pins: {in: in, out: out, suply: vcc, ground: gnd}\nsupply: 9 V\n",
            "3:26: error: unknown 'suply'; did you mean 'supply'?");
    refused(CIRCUIT "pins: {in: in, out: in, supply: vcc, ground: gnd}\nsupply: 9 V\n",
            "3:7: error: the port 'in' is named by two pins");
    refused(CIRCUIT "pins: {in: in, out: out, supply: vcc}\nsupply: 9 V\n",
            "3:7: error: no pin is given for the port 'gnd'");
    refused(CIRCUIT "pins: {in: in, out: out, ground: gnd}\nsupply: 9 V\n",
            "3:7: error: the pins need 'supply'");
    refused(CIRCUIT "pins: {in: [in], out: out, supply: vcc, ground: gnd}\nsupply: 9 V\n",
            "3:12: ");
    refused(CIRCUIT "pins: {in: in, in: out, supply: vcc, ground: gnd}\nsupply: 9 V\n", "3:");
    refused("circuit: good.cir\nsubcircuit: island\n"
            "pins: {in: in, out: out, supply: vcc}\nsupply: 9 V\n",
            "3:7: error: no pin is given for ground, and no element reaches node 0");
}

static void supplies_that_do_not_fit(void** state) {
    (void)state;
    refused(CIRCUIT PINS, "1:1: error: a design needs 'supply'");
    refused(CIRCUIT PINS "supply: 9\n", "4:9: error: '9': a bare number");
    refused(CIRCUIT PINS "supply: 9 mV\n", "4:9: error: 9 mV is not plausible");
    refused(CIRCUIT PINS "supply: -9 V\n", "4:9: error: -9 V is not plausible");
    refused(CIRCUIT PINS "supply: {positive: 9 V, negative: -9 V}\n",
            "4:35: error: a negative supply, but no pin takes it");
    refused(CIRCUIT PINS "supply: {negative: -9 V}\n", "4:9: error: a supply needs 'positive'");
    refused(CIRCUIT PINS "supply: {plus: 9 V}\n", "4:10: error: unknown 'plus'");
    refused(CIRCUIT PINS "supply: [9 V]\n", "4:9: ");
    refused(SPLIT "supply: 9 V\nbias: 1 V\n", "4:9: error: there is a pin for a negative supply");
    refused(SPLIT "supply: {positive: 9 V}\nbias: 1 V\n",
            "4:9: error: there is a pin for a negative supply");
    refused(SPLIT "supply: {positive: 9 V, negative: 9 V}\nbias: 1 V\n",
            "4:35: error: 9 V is not plausible");
    refused(SPLIT "supply: {positive: 9 V, negative: -9 V}\n",
            "3:7: error: there is a pin for a bias voltage");
    refused(SPLIT "supply: {positive: 9 V, negative: -9 V}\nbias: 10 V\n",
            "5:7: error: 10 V is not plausible here: expected -9 V to 9 V");
    refused(CIRCUIT PINS "supply: 9 V\nbias: 4.5 V\n",
            "5:7: error: a bias voltage, but no pin takes it");
}

static void circuits_that_do_not_fit(void** state) {
    (void)state;
    refused("subcircuit: follower\n" PINS "supply: 9 V\n", "1:1: error: a design needs 'circuit'");
    refused("circuit: good.cir\n" PINS "supply: 9 V\n", "1:1: error: a design needs 'subcircuit'");
    refused("circuit: none.cir\nsubcircuit: follower\n" PINS "supply: 9 V\n", "1:10: error: ");
    refused("circuit: .\nsubcircuit: follower\n" PINS "supply: 9 V\n", "1:10: error: ");
    refused("circuit: good.cir\nsubcircuit: folower\n" PINS "supply: 9 V\n",
            "2:13: error: the circuit file has no subcircuit 'folower'; did you mean 'Follower'?");
    refused(CIRCUIT PINS "supply: 9 V\ntolerance: {}\n",
            "5:1: error: unknown 'tolerance'; did you mean 'tolerances'?");
    refused("design: \"a\\tb\"\n" CIRCUIT PINS "supply: 9 V\n", "1:9: error: control characters");
    assert_null(read_design("circuit: bad.cir\nsubcircuit: f\n" PINS "supply: 9 V\n"));
    char* start = tl_printf("%s/bad.cir:2:1: error: '.control'", scratch);
    assert_int_equal(strncmp(tl_error_text(error), start, strlen(start)), 0);
    free(start);
    tl_design* design = NULL;
    assert_int_equal(tl_design_read("/nonexistent/design.yaml", &design, error), TL_BAD_INPUT);
    assert_null(design);
}

static void tolerances_that_do_not_fit(void** state) {
    (void)state;
    refused(CIRCUIT PINS "supply: 9 V\ntolerances: {r2: 5 %}\n",
            "5:14: error: the circuit has no value 'r2'; did you mean 'r1'?");
    refused(CIRCUIT PINS "supply: 9 V\ntolerances: {j1.vt: 5 %}\n",
            "5:14: error: the circuit has no value 'j1.vt'; did you mean 'j1.vto'?");
    refused(CIRCUIT PINS "supply: 9 V\ntolerances: {r1: 5}\n", "5:18: error: '5': ");
    refused(CIRCUIT PINS "supply: 9 V\ntolerances: {r1: 120 %}\n",
            "5:18: error: a tolerance lies between");
    refused(CIRCUIT PINS "supply: 9 V\ntolerances: {r1: -5 %}\n",
            "5:18: error: a tolerance lies between");
    refused(CIRCUIT PINS "supply: 9 V\ntolerances: {r1: 5 %, R1: 5 %}\n",
            "5:23: error: this tolerance is given twice");
    refused(CIRCUIT PINS "supply: 9 V\ntolerances: [r1]\n", "5:13: ");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_whole_design),
        cmocka_unit_test(two_supplies_and_a_bias),
        cmocka_unit_test(an_absolute_path),
        cmocka_unit_test(a_host_with_decimal_commas_changes_nothing),
        cmocka_unit_test(pins_that_do_not_fit),
        cmocka_unit_test(supplies_that_do_not_fit),
        cmocka_unit_test(circuits_that_do_not_fit),
        cmocka_unit_test(tolerances_that_do_not_fit),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}

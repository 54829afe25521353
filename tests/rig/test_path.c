// SPDX-License-Identifier: GPL-3.0-or-later
// Paths to values, what is said of those that lead nowhere, and clones that stand alone.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"
#include "parts/kinds.h"
#include "rig/path.h"
#include "rig_text.h"

#include <cmocka.h>
#include <math.h>

static tl_library* library;
static tl_error* error;
static tl_rig* rig;

static const char text[] =
    "rig: all of it\n"
    "guitar:\n"
    "  pickups:\n"
    "  - pickup: single-coil\n"
    "    name: neck\n"
    "    volume: {like: pot-250k-audio, position: 90 %}\n"
    "  - pickup: humbucker-medium\n"
    "  wiring: parallel\n"
    "  volume: {like: pot-250k-audio, position: 100 %}\n"
    "  tone: {like: pot-250k-audio, capacitor: 22 nF, position: 80 %}\n"
    "chain:\n"
    "- cable: standard-coax\n"
    "  length: 6 m\n"
    "- pedal: booster\n"
    "  name: drive\n"
    "  engaged: no\n"
    "- pot: {like: pot-250k-audio, position: 70 %, tuner-out: {chain: [{cable: patch-coax,"
    " length: 1 m}], end: {resistance: 1 Mohm}}}\n"
    "  name: swell\n"
    "- loop:\n"
    "    name: dirt\n"
    "    engaged: yes\n"
    "    chain:\n"
    "    - pedal: fuzz-low-input\n"
    "      name: fuzz one\n"
    "      engaged: yes\n"
    "- split:\n"
    "  - name: dry\n"
    "    chain:\n"
    "    - cable: standard-coax\n"
    "      length: 3 m\n"
    "    - buffer: op-amp-follower\n"
    "      name: far end\n"
    "    amp: tube-input\n"
    "  - name: wet\n"
    "    amp: {resistance: 2 Mohm}\n"
    "  - name: tuner\n"
    "    chain: [{cable: patch-coax, length: 2 m}]\n"
    "    end: {resistance: 3 Mohm}\n"
    "direct:\n"
    "- cable: standard-coax\n"
    "  length: 5 m\n";

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    if (tl_library_open(NULL, &library, error) != TL_OK)
        return 1;
    rig = rig_of(library, text, error);
    if (!rig)
        print_error("%s\n", tl_error_text(error));
    return !rig;
}

static int stop(void** state) {
    (void)state;
    tl_rig_free(rig);
    tl_library_free(library);
    tl_error_free(error);
    return 0;
}

static tl_target find_in(tl_rig* in, const char* path) {
    tl_input* input = tl_input_new("--vary", path, strlen(path));
    tl_target target = {0};
    const tl_status status = tl_rig_find(in, path, input, &target, error);
    tl_input_free(input);
    if (status != TL_OK)
        fail_msg("%s", tl_error_text(error));
    return target;
}

static double value_in(tl_rig* in, const char* path) {
    const tl_target target = find_in(in, path);
    assert_true(target.field >= 0);
    const tl_value* value = &(*target.part)->values[target.field];
    return value->given ? value->number : NAN;
}

static void every_value_has_a_path(void** state) {
    (void)state;
    static const struct {
        const char* path;
        double value;
    } rows[] = {
        {"guitar.pickups[0].pickup.inductance", 2.4},
        {"guitar.pickups[1].pickup.inductance", 4.7},
        {"guitar.pickups[neck].pickup.eddy.fraction", 0.35},
        {"guitar.pickups[neck].inductance", 2.4},
        {"guitar.pickups[0].volume.position", 0.9},
        {"guitar.wiring", 0},
        {"guitar.volume.position", 1},
        {"guitar.volume.pot", 250e3},
        {"guitar.tone.capacitor", 22e-9},
        {"chain[0].length", 6},
        {"chain[0].cable.length", 6},
        {"chain[0].capacitance", 100e-12},
        {"chain[0].cable.capacitance", 100e-12},
        {"chain[1].engaged", 0},
        {"chain[drive].engaged", 0},
        {"chain[drive].pedal.input.resistance", 1e6},
        {"chain[drive].input.resistance", 1e6},
        {"chain[2].position", 0.7},
        {"chain[swell].pot.position", 0.7},
        {"chain[swell].pot", 250e3},
        {"chain[swell].pot.pot", 250e3},
        {"chain[2].tuner-out.end.resistance", 1e6},
        {"chain[2].tuner-out.chain[0].length", 1},
        {"chain[3].engaged", 1},
        {"chain[dirt].engaged", 1},
        {"chain[dirt].loop.engaged", 1},
        {"chain[3].chain[0].input.resistance", 10e3},
        {"chain[dirt].loop.chain[0].input.resistance", 10e3},
        {"chain[dirt].chain[fuzz one].engaged", 1},
        {"chain[fuzz one].engaged", 1}, // found in the loop
        {"chain[4].split[dry].amp.resistance", 1e6},
        {"chain[4].split[0].amp.grid", 105.3e-12},
        {"chain[4].split[dry].chain[0].length", 3},
        {"chain[far end].output.resistance", 100}, // found in the branch
        {"chain[4].split[wet].amp.resistance", 2e6},
        {"chain[4].split[tuner].end.resistance", 3e6},
        {"chain[4].split[2].chain[0].cable.length", 2},
        {"direct[0].length", 5},
        {"direct[0].cable.capacitance", 100e-12},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const double value = value_in(rig, rows[i].path);
        if (!(fabs(value - rows[i].value) <= 1e-12 * rows[i].value))
            fail_msg("%s: %.17g, not %.17g", rows[i].path, value, rows[i].value);
    }
}

static void whole_parts_have_paths(void** state) {
    (void)state;
    static const struct {
        const char* path;
        const tl_part_kind* kind;
    } rows[] = {{"chain[0].cable", &tl_kind_cable},
                {"chain[drive].pedal", &tl_kind_pedal},
                {"chain[4].split[dry].amp", &tl_kind_amp},
                {"chain[4].split[tuner].end", &tl_kind_end},
                {"guitar.volume", &tl_kind_volume},
                {"guitar.tone", &tl_kind_tone},
                {"guitar.pickups[0].pickup", &tl_kind_pickup},
                {"direct[0].cable", &tl_kind_cable}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const tl_target target = find_in(rig, rows[i].path);
        assert_int_equal(target.field, -1);
        assert_ptr_equal((*target.part)->kind, rows[i].kind);
    }
}

typedef struct {
    size_t count;
} walk;

// What the rig itself calls a part is a path to it.
static void visit(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    walk* w = context;
    ++w->count;
    const tl_target target = find_in(rig, path);
    assert_ptr_equal(*target.part, part);
}

static void visit_pot(void* context, tl_part* part, const tl_item* item, const char* path) {
    // `pot` is a pot's value as well as its kind, and a path's last word names the value; a loop
    // is followed by its chain or its state.
    if (part->kind != &tl_kind_loop)
        visit(context, part, item, path);
}

static void the_rigs_own_paths_lead_back(void** state) {
    (void)state;
    walk w = {0};
    tl_rig_each_part(rig, visit_pot, &w);
    assert_true(w.count == 19);
}

// Refused with a caret at the column.
static void lost(const char* path, size_t column, const char* words) {
    tl_input* input = tl_input_new("--vary", path, strlen(path));
    tl_target target = {0};
    const tl_status status = tl_rig_find(rig, path, input, &target, error);
    tl_input_free(input);
    if (status == TL_OK)
        fail_msg("'%s' led somewhere", path);
    assert_int_equal(status, TL_BAD_INPUT);
    char* head = tl_printf("--vary:1:%zu: error: ", column);
    char* tail = tl_printf("\n  %s\n  %*s^", path, (int)column - 1, "");
    if (!strstr(tl_error_text(error), head) || !strstr(tl_error_text(error), tail) ||
        !strstr(tl_error_text(error), words))
        fail_msg("expected '%s' at %zu, found: %s", words, column, tl_error_text(error));
    free(head);
    free(tail);
}

static void lost_paths_say_where(void** state) {
    (void)state;
    lost("", 1, "there is no '' here");
    lost("chian[0].length", 1, "did you mean 'chain'?");
    lost("chain", 6, "expected [number] or [name]");
    lost("chain.length", 6, "expected [number] or [name]");
    lost("chain[", 6, "expected [number] or [name]");
    lost("chain[]", 6, "expected [number] or [name]");
    lost("chain[0", 6, "expected [number] or [name]");
    lost("chain[7].length", 6, "go from 0 to 4");
    lost("chain[-1].length", 6, "there is no '-1' here");
    lost("chain[99999999999999999999].length", 6, "there is no '99999999999999999999' here");
    lost("chain[driv].engaged", 6, "did you mean 'drive'?");
    lost("chain[fuzz].engaged", 6, "there is no 'fuzz' here");
    lost("chain[0]", 9, "the name of a value");
    lost("chain[0].", 10, "there is no '' here");
    lost("chain[0].lenght", 10, "did you mean 'length'?");
    lost("chain[0].cable.lenght", 16, "did you mean 'length'?");
    lost("chain[0].pedal", 10, "there is no 'pedal' here");
    lost("chain[0].length.x", 10, "there is no 'length.x' here");
    lost("chain[0]cable", 9, "'.' and the name of a value");
    lost("chain[0].cable[1]", 15, "'.' and the name of a value");
    lost("chain[dirt].loop", 17, "'.chain[..]' or '.engaged'");
    lost("chain[4].length", 10, "known are split");
    lost("chain[4].split[dri].amp", 15, "did you mean 'dry'?");
    lost("chain[4].split[9].amp", 15, "there is no '9' here");
    lost("chain[4].split[dry]", 20, "'.chain[..]', '.amp' or '.end'");
    lost("chain[4].split[dry].end.resistance", 24, "a branch that ends in a resistance");
    lost("chain[4].split[tuner].amp", 26, "a branch that has an amp");
    lost("chain[4].split[dry].apm", 21, "did you mean 'amp'?");
    lost("amp.resistance", 4, "a rig with an amp of its own");
    lost("guitar", 7, "'.pickup', '.volume', '.tone'");
    lost("guitar.pickup.inductance", 8, "did you mean 'pickups'?");
    lost("guitar.source", 14, "a guitar with an active source");
    lost("guitar.pickups[5].pickup", 15, "there is no '5' here");
    lost("guitar.pickups[1].volume.position", 25, "a pickup with a volume of its own");
    lost("guitar.pickups[1].inductence", 19, "there is no 'inductence' here");
    lost("guitar.volum.position", 8, "did you mean 'volume'?");
    lost("guitar.volume.positoin", 15, "did you mean 'position'?");
    lost("direct[1].length", 7, "go from 0 to 0");
    lost("direct[drive].engaged", 7, "there is no 'drive' here");
}

// Sets a value from YAML and checks the whole; the error is what either says.
static tl_status set(tl_rig* in, const char* path, const char* value) {
    const tl_target target = find_in(in, path);
    tl_input* input = tl_input_new("--vary", value, strlen(value));
    tl_yaml* tree = NULL;
    tl_status status = tl_yaml_read(input, &tree, error);
    if (status == TL_OK)
        status = tl_rig_set(in, &target, tree, error);
    if (status == TL_OK)
        status = tl_rig_check(in, error);
    tl_yaml_free(tree);
    tl_input_free(input);
    return status;
}

static void values_are_set(void** state) {
    (void)state;
    tl_rig* clone = tl_rig_clone(rig);
    assert_int_equal(set(clone, "chain[0].length", "3 m"), TL_OK);
    assert_true(value_in(clone, "chain[0].length") == 3);
    assert_int_equal(set(clone, "chain[drive].engaged", "yes"), TL_OK);
    assert_true(value_in(clone, "chain[drive].engaged") == 1);
    assert_int_equal(set(clone, "guitar.wiring", "series"), TL_OK);
    assert_true(value_in(clone, "guitar.wiring") == 1);
    assert_int_equal(set(clone, "chain[4].split[dry].amp.resistance", "500 kohm"), TL_OK);
    assert_true(value_in(clone, "chain[4].split[dry].amp.resistance") == 500e3);
    tl_rig_free(clone);
}

// A whole part keeps what stands beside it, unless its values say otherwise.
static void whole_parts_keep_their_use(void** state) {
    (void)state;
    tl_rig* clone = tl_rig_clone(rig);
    assert_int_equal(set(clone, "chain[0].cable", "coiled-lead"), TL_OK);
    assert_true(fabs(value_in(clone, "chain[0].capacitance") - 400e-12) < 1e-20);
    assert_true(value_in(clone, "chain[0].length") == 6);
    assert_int_equal(set(clone, "chain[0].cable", "{capacitance: 50 pF/m, length: 2 m}"), TL_OK);
    assert_true(value_in(clone, "chain[0].length") == 2);
    assert_true(isnan(value_in(clone, "chain[0].resistance"))); // not kept: it was the lead's own
    assert_int_equal(set(clone, "chain[drive].pedal", "wah-loading"), TL_OK);
    assert_true(value_in(clone, "chain[drive].engaged") == 0);
    assert_int_equal(set(clone, "guitar.volume", "pot-500k-linear"), TL_OK);
    assert_true(value_in(clone, "guitar.volume.position") == 1);
    assert_int_equal(set(clone, "guitar.tone", "pot-500k-linear"), TL_OK);
    assert_true(fabs(value_in(clone, "guitar.tone.capacitor") - 22e-9) < 1e-20);
    assert_int_equal(set(clone, "chain[4].split[wet].amp", "{like: tube-input}"), TL_OK);
    tl_rig_free(clone);
}

static void wrong_values_are_refused(void** state) {
    (void)state;
    static const struct {
        const char* path;
        const char* value;
        const char* words;
    } rows[] = {
        {"chain[0].length", "3", "--vary:1:1: error: length: '3': a bare number"},
        {"chain[0].length", "-3 m", "length cannot be negative"},
        {"chain[0].length", "{a: 1}", "length: expected a single value"},
        {"chain[0].cable", "coiled-led", "did you mean 'coiled-lead'?"},
        {"chain[drive].engaged", "maybe", "expected yes or no"},
        {"guitar.volume.position", "0 %", "no signal"},
        {"guitar.volume.position", "120 %", "is not plausible"},
        {"guitar.wiring", "both", "unknown wiring 'both'"},
        {"chain[4].split[wet].amp.stopper", "68 kohm", "give both or neither"},
        {"chain[dirt].loop.engaged", "[yes]", "expected a single value"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        tl_rig* clone = tl_rig_clone(rig);
        assert_int_equal(set(clone, rows[i].path, rows[i].value), TL_BAD_INPUT);
        if (!strstr(tl_error_text(error), rows[i].words))
            fail_msg("no '%s' in: %s", rows[i].words, tl_error_text(error));
        tl_rig_free(clone);
    }
}

// A clone changes alone, and outlives other clones.
static void clones_stand_alone(void** state) {
    (void)state;
    tl_rig* one = tl_rig_clone(rig);
    tl_rig* two = tl_rig_clone(one);
    assert_int_equal(set(one, "chain[0].cable", "coiled-lead"), TL_OK);
    assert_int_equal(set(one, "chain[fuzz one].engaged", "no"), TL_OK);
    assert_int_equal(set(one, "guitar.pickups[0].pickup.inductance", "9 H"), TL_OK);
    assert_int_equal(set(one, "direct[0].length", "1 m"), TL_OK);
    assert_int_equal(set(one, "chain[4].split[tuner].end.resistance", "10 kohm"), TL_OK);
    assert_int_equal(set(one, "chain[2].tuner-out.end.resistance", "10 kohm"), TL_OK);
    tl_rig* const others[] = {rig, two};
    tl_rig_free(one);
    for (size_t i = 0; i < 2; i++) {
        assert_true(fabs(value_in(others[i], "chain[0].capacitance") - 100e-12) < 1e-20);
        assert_true(value_in(others[i], "chain[fuzz one].engaged") == 1);
        assert_true(value_in(others[i], "guitar.pickups[0].pickup.inductance") == 2.4);
        assert_true(value_in(others[i], "direct[0].length") == 5);
        assert_true(value_in(others[i], "chain[4].split[tuner].end.resistance") == 3e6);
        assert_true(value_in(others[i], "chain[2].tuner-out.end.resistance") == 1e6);
    }
    assert_string_equal(tl_rig_title(two), "all of it");
    assert_string_equal(tl_rig_path(two), tl_rig_path(rig));
    tl_rig_free(two);
}

// One pickup, one amp: the short paths.
static void short_paths(void** state) {
    (void)state;
    tl_rig* plain = rig_of(library,
                           "guitar: {pickup: single-coil}\n"
                           "chain: [{cable: standard-coax, length: 6 m}]\n"
                           "amp: solid-state-input\n",
                           error);
    assert_true(value_in(plain, "guitar.pickup.inductance") == 2.4);
    assert_true(value_in(plain, "amp.resistance") == 1e6);
    assert_int_equal(find_in(plain, "amp").field, -1);
    assert_int_equal(find_in(plain, "guitar.pickup").field, -1);
    assert_true(value_in(plain, "direct[0].length") == 6); // not in the file, but there
    assert_int_equal(set(plain, "amp", "tube-input"), TL_OK);
    assert_true(fabs(value_in(plain, "amp.grid") - 105.3e-12) < 1e-20);
    assert_true(isnan(value_in(plain, "amp.capacitance")));
    assert_int_equal(set(plain, "guitar.pickup", "humbucker-high"), TL_OK);
    assert_true(value_in(plain, "guitar.pickup.inductance") == 7.8);
    tl_rig_free(plain);
    plain = rig_of(library,
                   "guitar: {source: wireless-receiver}\n"
                   "chain: [{cable: standard-coax, length: 6 m}]\namp: tube-input\n",
                   error);
    assert_true(value_in(plain, "guitar.source.output.resistance") == 1000);
    tl_rig_free(plain);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_value_has_a_path),
        cmocka_unit_test(whole_parts_have_paths),
        cmocka_unit_test(the_rigs_own_paths_lead_back),
        cmocka_unit_test(lost_paths_say_where),
        cmocka_unit_test(values_are_set),
        cmocka_unit_test(whole_parts_keep_their_use),
        cmocka_unit_test(wrong_values_are_refused),
        cmocka_unit_test(clones_stand_alone),
        cmocka_unit_test(short_paths),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Parts that follow others: who leads whom, in clones and after changes too, and what is refused.

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

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return tl_library_open(NULL, &library, error) != TL_OK;
}

static int stop(void** state) {
    (void)state;
    tl_library_free(library);
    tl_error_free(error);
    return 0;
}

// A rig of pickups, three cables, a loop and a direct; each %s a line's `follows`, or nothing.
static char* rig_text(const char* pickup, const char* first, const char* second, const char* loop,
                      const char* direct) {
    return tl_printf(
        "guitar:\n"
        "  pickups:\n"
        "  - {pickup: single-coil, name: neck}\n"
        "  - {pickup: single-coil, name: bridge%s}\n"
        "  wiring: parallel\n"
        "  volume: {like: pot-250k-audio, position: 100 %%}\n"
        "  tone: {like: pot-250k-audio, capacitor: 22 nF, position: 100 %%}\n"
        "chain:\n"
        "- {cable: standard-coax, length: 6 m, name: lead%s}\n"
        "- {cable: patch-coax, length: 20 cm%s}\n"
        "- pot: {like: pot-25k-audio, position: 100 %%}\n"
        "- loop: {name: dirt, engaged: no, chain: [{cable: patch-coax, length: 1 m%s}]}\n"
        "- {buffer: line-driver, name: driver}\n"
        "- split:\n"
        "  - {name: left, amp: tube-input}\n"
        "  - {name: right, amp: {like: tube-input, follows: 'chain[5].split[left].amp'}}\n"
        "direct:\n"
        "- {cable: standard-coax, length: 6 m%s}\n",
        pickup, first, second, loop, direct);
}

static tl_part* part_at(tl_rig* rig, const char* path) {
    tl_input* input = tl_input_new("path", path, strlen(path));
    tl_target target = {0};
    if (tl_rig_find(rig, path, input, &target, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_input_free(input);
    return *target.part;
}

static tl_rig* sound_rig(void) {
    char* text = rig_text(", follows: neck", "", ", follows: lead", ", follows: 'chain[1]'",
                          ", follows: 'chain[lead].cable'");
    tl_rig* rig = rig_of(library, text, error);
    if (!rig)
        fail_msg("%s", tl_error_text(error));
    free(text);
    return rig;
}

static void check_leaders(tl_rig* rig) {
    static const struct {
        const char* follower;
        const char* leader;
    } rows[] = {
        {"guitar.pickups[bridge].pickup", "guitar.pickups[neck].pickup"},
        {"chain[1].cable", "chain[0].cable"},
        {"chain[dirt].chain[0].cable", "chain[0].cable"}, // by way of chain[1]
        {"direct[0].cable", "chain[0].cable"},
        {"chain[5].split[right].amp", "chain[5].split[left].amp"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_ptr_equal(tl_rig_leader(rig, part_at(rig, rows[i].follower)),
                         part_at(rig, rows[i].leader));
    static const char* const leaders[] = {"guitar.pickups[neck].pickup", "guitar.volume",
                                          "chain[0].cable", "chain[driver].buffer"};
    for (size_t i = 0; i < sizeof leaders / sizeof *leaders; i++)
        assert_null(tl_rig_leader(rig, part_at(rig, leaders[i])));
}

static void who_leads_whom(void** state) {
    (void)state;
    tl_rig* rig = sound_rig();
    check_leaders(rig);
    assert_string_equal(part_at(rig, "chain[1].cable")->follows, "lead");
    assert_int_equal(part_at(rig, "chain[1].cable")->follows_place.line, 10);
    tl_rig* clone = tl_rig_clone(rig);
    check_leaders(clone); // its own parts, not the original's
    tl_rig* second = tl_rig_clone(clone);
    tl_rig_free(clone);
    check_leaders(second);
    assert_ptr_not_equal(tl_rig_leader(second, part_at(second, "direct[0].cable")),
                         part_at(rig, "chain[0].cable"));
    tl_rig_free(second);
    tl_rig_free(rig);
}

// Sets a value from YAML and checks the whole.
static tl_status set(tl_rig* rig, const char* path, const char* value) {
    tl_input* input = tl_input_new("--vary", value, strlen(value));
    tl_target target = {0};
    tl_yaml* tree = NULL;
    tl_status status = tl_rig_find(rig, path, input, &target, error);
    if (status == TL_OK)
        status = tl_yaml_read(input, &tree, error);
    if (status == TL_OK)
        status = tl_rig_set(rig, &target, tree, error);
    if (status == TL_OK)
        status = tl_rig_check(rig, error);
    tl_yaml_free(tree);
    tl_input_free(input);
    return status;
}

// A part put in another's place follows what that did, and is followed as that was.
static void parts_that_are_exchanged(void** state) {
    (void)state;
    tl_rig* rig = sound_rig();
    tl_rig* clone = tl_rig_clone(rig);
    assert_int_equal(set(clone, "chain[0].cable", "coiled-lead"), TL_OK);
    assert_int_equal(set(clone, "chain[1].cable", "{capacitance: 90 pF/m +-2 %}"), TL_OK);
    check_leaders(clone);
    assert_string_equal(part_at(clone, "chain[0].cable")->library, "coiled-lead");
    assert_true(tl_part_value(part_at(clone, "chain[1].cable"), "capacitance")->tolerance.given);
    assert_int_equal(set(clone, "chain[1].capacitance", "90 pF/m"), TL_OK);
    assert_false(tl_part_value(part_at(clone, "chain[1].cable"), "capacitance")->tolerance.given);
    assert_int_equal(set(clone, "guitar.tone.pot", "250 kohm +-5 % uniform"), TL_OK);
    const tl_value* pot = tl_part_value(part_at(clone, "guitar.tone"), "pot");
    assert_true(pot->number == 250e3 && fabs(pot->tolerance.share - 0.05) < 1e-12);
    assert_int_equal(pot->tolerance.distribution, TL_UNIFORM);
    assert_int_equal(set(clone, "chain[0].cable", "{like: patch-coax, follows: dirt}"),
                     TL_BAD_INPUT);
    tl_rig_free(clone);
    tl_rig_free(rig);
}

static void refused(char* text, const char* place, const char* words) {
    tl_rig* rig = rig_of(library, text, error);
    if (rig)
        fail_msg("taken:\n%s", text);
    char* where = tl_printf(".yaml:%s: error: ", place);
    if (!strstr(tl_error_text(error), where) || !strstr(tl_error_text(error), words))
        fail_msg("no '%s%s' in: %s", where, words, tl_error_text(error));
    free(where);
    free(text);
}

static void wrong_leaders_are_refused(void** state) {
    (void)state;
    static const struct {
        const char* follows; // of chain[1]
        const char* place;
        const char* words;
    } rows[] = {
        {"laed", "10:47", "there is no 'laed' here; did you mean 'lead'?"},
        {"nekc", "10:47", "did you mean 'neck'?"},
        {"nothing at all", "10:47", "there is no 'nothing at all' here"},
        {"'chain[1]'", "10:47", "chain[1].cable follows itself"},
        {"'chain[7]'", "10:53", "this chain's items go from 0 to 5"},
        {"'chain[laed]'", "10:53", "did you mean 'lead'?"},
        {"'guitar.pickups[nekc]'", "10:62", "did you mean 'neck'?"},
        {"'chain[0].length'", "10:48", "expected a part, not one of its values"},
        {"'guitar.wiring'", "10:48", "expected a part, not one of its values"},
        {"'chain[0'", "10:53", "expected [number] or [name]"},
        {"'chain[5]'", "10:56", "'.' and the name of a value"},
        {"amp", "10:50", "a rig with an amp of its own"},
        {"driver", "10:47", "a cable cannot follow a buffer (chain[4].buffer)"},
        {"dirt", "10:47", "a cable cannot follow a loop (chain[3].loop)"},
        {"guitar.volume", "10:47", "a cable cannot follow a volume control (guitar.volume)"},
        {"[lead]", "10:47", "follows: expected a single value"},
        {"lead, follows: lead", "10:53", "'follows' stands here a second time"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char* second = tl_printf(", follows: %s", rows[i].follows);
        // A quoted word stands at its quote, what is inside it one further on.
        refused(rig_text("", "", second, "", ""), rows[i].place, rows[i].words);
        free(second);
    }
    refused(rig_text(", follows: lead", "", "", "", ""), "4:50",
            "a pickup cannot follow a cable (chain[0].cable)");
    refused(rig_text("", "", ", folows: lead", "", ""), "10:38", "did you mean 'follows'?");
    refused(tl_printf("%s", "guitar: {pickup: single-coil}\nchain:\n"
                            "- {cable: {like: patch-coax, follows: b}, length: 1 m, follows: b}\n"
                            "- {cable: patch-coax, length: 1 m, name: b}\namp: tube-input\n"),
            "3:65", "'follows' is given twice");
    refused(tl_printf("%s",
                      "guitar: {pickup: single-coil}\nchain:\n"
                      "- loop: {name: a, engaged: no, follows: b, chain: [{contact: relay}]}\n"
                      "- loop: {name: b, engaged: no, chain: [{contact: relay}]}\n"
                      "amp: tube-input\n"),
            "3:41", "chain[0].loop has no values that could move together");
}

static void circles_are_refused(void** state) {
    (void)state;
    refused(rig_text("", ", follows: 'chain[1]'", ", follows: lead", "", ""), "9:60",
            "a circle: chain[0].cable follows chain[1].cable follows chain[0].cable: one of");
    // Of three, with a fourth part that leads into it.
    refused(rig_text("", ", follows: 'direct[0]'", ", follows: lead", ", follows: lead",
                     ", follows: 'chain[dirt].chain[0]'"),
            "9:60",
            "a circle: chain[0].cable follows direct[0].cable follows "
            "chain[3].chain[0].cable follows chain[0].cable: one of them must lead");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(who_leads_whom),
        cmocka_unit_test(parts_that_are_exchanged),
        cmocka_unit_test(wrong_leaders_are_refused),
        cmocka_unit_test(circles_are_refused),
    };
    return cmocka_run_group_tests(tests, start, stop);
}

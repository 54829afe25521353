// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/dress_words.h"

#include "base/quantity.h"
#include "base/text.h"
#include "parts/run.h"

/// Adds a value of a run in words, when it is there.
static void add_value(tl_text* words, const tl_part* run, const char* before, const char* field) {
    int index = tl_part_field(run->kind, field);
    if (!run->values[index].given)
        return;
    tl_text_add(words, before);
    tl_quantity_add(words, run->kind->fields[index].unit, run->values[index].number);
}

char* tl_dress_source_words(const tl_run* run) {
    tl_text words = {0};
    if (run->other)
        return tl_copy(run->other);
    add_value(&words, run->part, "", "voltage");
    add_value(&words, run->part, ", ", "frequency");
    add_value(&words, run->part, ", ", "current");
    add_value(&words, run->part, "", "ripple.voltage");
    add_value(&words, run->part, " at ", "ripple.frequency");
    add_value(&words, run->part, words.size ? ", " : "", "pulse.current");
    add_value(&words, run->part, " at ", "pulse.frequency");
    return tl_text_take(&words);
}

static void add_shield(tl_text* words, const tl_part* run, const tl_part* cable) {
    double shield_mm = 1e3 * tl_run_shield_m(run, cable);
    if (!tl_part_has(run, "shield.coverage"))
        tl_text_addf(words, "%sthe shield covers %.3g %% (from memory: a usual braid)",
                     words->size ? "; " : "", 100 * TL_RUN_COVERAGE);
    if (tl_part_has(run, "shield.diameter"))
        return;
    const char* because = tl_part_has(cable, "build.diameter")
                              ? "the cable's insulation and a braid"
                          : tl_part_has(run, "jacket") ? "80 % of 'jacket', from memory"
                                                       : "from memory: instrument leads";
    tl_text_addf(words, "%sthe shield is %.3g mm thick (%s)", words->size ? "; " : "", shield_mm,
                 because);
}

char* tl_dress_taken_words(const tl_run* run, const tl_part* cable) {
    const tl_part* part = run->part;
    tl_text words = {0};
    if (!tl_part_has(part, "copper"))
        tl_text_addf(&words,
                     "the other lead's %s is %.3g mm thick (%.0f %% of 'diameter', from "
                     "memory)",
                     run->other ? "shield" : "copper", 1e3 * tl_run_copper_m(part),
                     100 * (run->other ? TL_RUN_SHIELD_SHARE : TL_RUN_COPPER_SHARE));
    add_shield(&words, part, cable);
    double pair_m = tl_part_number(part, "pair", 0);
    if (pair_m > tl_part_number(part, "diameter", 0))
        tl_text_addf(&words,
                     "%sgo and return are two leads %.4g mm apart, since 'pair' is more "
                     "than 'diameter'",
                     words.size ? "; " : "", 1e3 * pair_m);
    double return_m = tl_part_number(part, "return", 0);
    if (return_m > tl_run_shield_m(part, cable) / 2)
        tl_text_addf(&words,
                     "%sthe audio lead's return runs outside of its shield, %.4g mm off "
                     "the core",
                     words.size ? "; " : "", 1e3 * return_m);
    return tl_text_take(&words);
}

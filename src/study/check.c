// SPDX-License-Identifier: GPL-3.0-or-later
// A rig as understood, without solving it: every value with its origin, and what looks wrong.
#include "study/listing.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "rig/rig.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// What looks wrong is common practice, all of it: lines a builder would look at twice.
static const double MORE_FARAD = 150e-12;   // than direct, on the pickup: about 1.5 m of lead
static const double LIGHT_LOAD_OHM = 470e3; // what a passive guitar should at least see
static const double LOW_INPUT_OHM = 50e3;   // a pedal that may want the pickup itself
static const double BAD_CONTACT_OHM = 10;   // a good joint has milliohms
static const double BAD_LEAKAGE_OHM = 20e6; // less than this loads a pickup
static const double WEAK_CORNER_HZ = 30e3;  // an output into its lead should reach past hearing

/// A stretch of the line that one source drives, until the next stage that drives on.
typedef struct {
    double farad;
    double ohm;       ///< of the source; 0 for the guitar
    double input_ohm; ///< of the stage that drives it
    char* driver;     ///< path of what drives it
    bool passive;     ///< driven by pickups
} stretch;

typedef struct {
    tl_inspection* found;
    stretch* stretches;
    size_t count;
} survey;

static void survey_branch(survey* s, const tl_branch* branch, const char* path, size_t on);

static size_t begin_stretch(survey* s, const char* driver, double ohm, bool passive) {
    s->stretches = tl_grow(s->stretches, s->count + 1, sizeof *s->stretches);
    s->stretches[s->count] = (stretch){.ohm = ohm, .driver = tl_copy(driver), .passive = passive};
    return s->count++;
}

static char* words_for(double number, tl_unit unit) {
    tl_text words = {0};
    tl_quantity_add(&words, unit, number);
    return tl_text_take(&words);
}

/// Remarks about a load that hangs on the line at a stretch.
static void judge_load(survey* s, const char* path, const char* name, double ohm, size_t on) {
    if (!s->stretches[on].passive || ohm >= LIGHT_LOAD_OHM)
        return;
    char* words = words_for(ohm, TL_UNIT_OHM);
    tl_listing_remark(s->found, "%s%s%s%s: %s hangs on the pickup and dulls it", path,
                      name ? " (" : "", name ? name : "", name ? ")" : "", words);
    free(words);
}

static void judge_contact(survey* s, const tl_part* contact, const char* path) {
    double ohm = tl_part_number(contact, "resistance", 0);
    double leakage_ohm = tl_part_number(contact, "leakage", INFINITY);
    if (ohm > BAD_CONTACT_OHM) {
        char* words = words_for(ohm, TL_UNIT_OHM);
        tl_listing_remark(s->found, "%s: %s is a poor joint: little to the tone, but about to fail",
                          path, words);
        free(words);
    }
    if (leakage_ohm < BAD_LEAKAGE_OHM) {
        char* words = words_for(leakage_ohm, TL_UNIT_OHM);
        tl_listing_remark(s->found, "%s: %s to ground is a leak", path, words);
        free(words);
    }
}

/// A pedal or buffer: what it hangs on the line before it; a new stretch when it drives on.
static size_t survey_stage(survey* s, const tl_part* part, const char* path, const char* name,
                           size_t on) {
    bool drives = tl_part_drives(part);
    double input_ohm = tl_part_number(part, "input.resistance", INFINITY);
    bool loads =
        drives || (part->kind == &tl_kind_pedal && tl_part_chosen(part, "bypass", "loaded-bypass"));
    if (loads)
        judge_load(s, path, name, input_ohm, on);
    bool engaged = part->kind == &tl_kind_pedal && tl_part_chosen(part, "engaged", "yes");
    if (engaged && input_ohm < LOW_INPUT_OHM && !s->stretches[on].passive)
        tl_listing_remark(
            s->found,
            "%s%s%s%s: an input this low is often meant to see the pickup itself, but "
            "%s stands before it (common practice with some fuzzes)",
            path, name ? " (" : "", name ? name : "", name ? ")" : "", s->stretches[on].driver);
    if (!drives)
        return on;
    char* driver = name ? tl_printf("%s (%s)", path, name) : tl_copy(path);
    size_t next = begin_stretch(s, driver, tl_part_number(part, "output.resistance", 0), false);
    free(driver);
    s->stretches[next].input_ohm = input_ohm;
    return next;
}

static size_t survey_chain(survey* s, const tl_chain* chain, const char* path, size_t on);

static size_t survey_item(survey* s, const tl_item* item, const char* path, size_t on) {
    for (size_t i = 0; i < item->branch_count; ++i) {
        char* at = item->part ? tl_printf("%s.tuner-out", path)
                              : tl_printf("%s.split[%s]", path, item->branches[i].name);
        survey_branch(s, &item->branches[i], at, on);
        free(at);
    }
    if (!item->part)
        return on;
    if (item->part->kind == &tl_kind_cable) {
        s->stretches[on].farad += tl_cable_capacitance_farad(item->part);
        s->found->cable_farad += tl_cable_capacitance_farad(item->part);
        s->found->cable_m += tl_part_number(item->part, "length", 0);
    } else if (item->part->kind == &tl_kind_contact) {
        judge_contact(s, item->part, path);
    } else if (item->part->kind == &tl_kind_pot) {
        judge_load(s, path, item->name, tl_part_number(item->part, "pot", 0), on);
    } else if (tl_item_is_loop(item)) {
        char* at = tl_printf("%s.chain", path);
        if (tl_part_chosen(item->part, "engaged", "yes"))
            on = survey_chain(s, &item->loop, at, on);
        free(at);
    } else {
        on = survey_stage(s, item->part, path, item->name, on);
    }
    return on;
}

static size_t survey_chain(survey* s, const tl_chain* chain, const char* path, size_t on) {
    for (size_t i = 0; i < chain->count; ++i) {
        char* at = tl_printf("%s[%zu]", path, i);
        on = survey_item(s, &chain->items[i], at, on);
        free(at);
    }
    return on;
}

static void survey_branch(survey* s, const tl_branch* branch, const char* path, size_t on) {
    char* chain = *path ? tl_printf("%s.chain", path) : tl_copy("chain");
    size_t last = survey_chain(s, &branch->chain, chain, on);
    free(chain);
    const char* dot = *path ? "." : "";
    char* amp = tl_printf("%s%samp", path, dot);
    char* end = tl_printf("%s%send", path, dot);
    if (branch->amp)
        judge_load(s, amp, NULL, tl_part_number(branch->amp, "resistance", 0), last);
    if (branch->end)
        judge_load(s, end, NULL, tl_part_number(branch->end, "resistance", 0), last);
    free(amp);
    free(end);
}

/// A stage whose output and the lead behind it roll the top off by themselves.
static void judge_outputs(survey* s) {
    for (size_t i = 1; i < s->count; ++i) {
        const stretch* one = &s->stretches[i];
        double corner_hz = 1 / (2 * 3.14159265358979323846 * one->ohm * one->farad);
        if (!(corner_hz < WEAK_CORNER_HZ))
            continue;
        char* ohm = words_for(one->ohm, TL_UNIT_OHM);
        tl_listing_remark(s->found,
                          "%s: its %s into the %.4g pF of lead behind it is 3 dB down at %.3g kHz",
                          one->driver, ohm, 1e12 * one->farad, corner_hz / 1000);
        free(ohm);
    }
}

static void judge_first_stretch(survey* s) {
    const stretch* first = &s->stretches[0];
    s->found->first_cable_farad = first->farad;
    if (!first->passive || first->farad <= s->found->direct_cable_farad + MORE_FARAD)
        return;
    tl_listing_remark(
        s->found,
        "the pickup drives %.4g pF of lead up to %s, but %.4g pF when plugged straight in: the "
        "top end will be duller%s",
        1e12 * first->farad, s->count > 1 ? s->stretches[1].driver : "the amp",
        1e12 * s->found->direct_cable_farad,
        s->count > 1 && s->stretches[1].input_ohm < LOW_INPUT_OHM
            ? "; a buffer before it would keep it, but is not what such an input is meant to see"
            : "; a buffer nearer to the guitar would keep it");
}

/// Capacitance of the leads a chain puts in the path.
static double chain_farad(const tl_chain* chain) {
    double farad = 0;
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        if (item->part && item->part->kind == &tl_kind_cable)
            farad += tl_cable_capacitance_farad(item->part);
        else if (tl_item_is_loop(item) && tl_part_chosen(item->part, "engaged", "yes"))
            farad += chain_farad(&item->loop);
    }
    return farad;
}

/// Listing a rig's parts.
typedef struct {
    tl_rig* rig;
    tl_inspection* found;
    tl_status status;
    tl_error* error;
} listing;

static void list_part(void* context, tl_part* part, const tl_item* item, const char* path) {
    listing* l = context;
    tl_text about = {0};
    tl_text_add(&about, part->kind->name);
    if (part->library)
        tl_text_addf(&about, " %s", part->library);
    if (item && item->name)
        tl_text_addf(&about, ", '%s'", item->name);
    if (part->kind == &tl_kind_pedal && tl_part_chosen(part, "engaged", "no"))
        tl_text_add(&about, ", off");
    if (part->kind == &tl_kind_loop && tl_part_chosen(part, "engaged", "no"))
        tl_text_add(&about, ", off: its leads and pedals are out of the path");
    if (part->follows)
        tl_text_addf(&about, ", follows %s", part->follows);
    size_t first = l->found->count;
    tl_listing_part(l->found, part, path, tl_text_get(&about));
    if (l->status == TL_OK)
        l->status = tl_listing_tolerances(l->found, first, l->rig->library, l->rig, part, l->error);
    tl_text_free(&about);
}

/// How the leads lie; these values have no tolerances.
static void list_runs(tl_inspection* found, const tl_rig* rig) {
    for (size_t i = 0; i < rig->run_count; ++i) {
        const tl_run* run = &rig->runs[i];
        char* path = tl_printf("dressing[%zu]", i);
        char* about = run->other
                          ? tl_printf("run '%s' of %s and %s", run->name, run->lead, run->other)
                          : tl_printf("run '%s' of %s", run->name, run->lead);
        tl_listing_part(found, run->part, path, about);
        free(about);
        free(path);
    }
}

/// The values of power and board stand beside the sound's: none of them is drawn at random.
static void list_beside(void* context, tl_part* part, const char* name, const char* path) {
    listing* l = context;
    tl_text about = {0};
    tl_text_add(&about, part->kind->name);
    if (part->library)
        tl_text_addf(&about, " %s", part->library);
    if (name)
        tl_text_addf(&about, ", '%s'", name);
    tl_listing_part(l->found, part, path, tl_text_get(&about));
    tl_text_free(&about);
}

/// Those of measuring have the tolerances that they state; a dummy's parts are no pickup's.
static void list_measured(void* context, tl_part* part, const char* name, const char* path) {
    listing* l = context;
    size_t first = l->found->count;
    list_beside(context, part, name, path);
    tl_listing_stated(l->found, first, part);
}

/// What looks wrong, and how much lead there is.
static void survey_rig(tl_inspection* found, const tl_rig* rig) {
    survey s = {.found = found};
    found->direct_cable_farad = chain_farad(&rig->direct);
    begin_stretch(&s, "the guitar", 0, rig->guitar.source == NULL);
    survey_branch(&s, &rig->main, "", 0);
    judge_first_stretch(&s);
    judge_outputs(&s);
    if (!rig->has_direct)
        tl_listing_remark(found, "no 'direct' in the file: the rig is held against 6 m of the "
                                 "library's standard-coax");
    for (size_t i = 0; i < s.count; ++i)
        free(s.stretches[i].driver);
    free(s.stretches);
}

static tl_status study_check(tl_rig* rig, tl_inspection** inspection, tl_error* error) {
    tl_inspection* made = tl_new(1, sizeof *made);
    listing l = {rig, made, TL_OK, error};
    tl_rig_each_part(rig, list_part, &l);
    list_runs(made, rig);
    if (rig->power)
        tl_power_each_part(rig->power, list_beside, &l);
    if (rig->board)
        tl_pedalboard_each_part(rig->board, list_beside, &l);
    if (rig->measure)
        tl_measure_each_part(rig->measure, list_measured, &l);
    if (l.status == TL_OK)
        survey_rig(made, rig);
    if (l.status != TL_OK) {
        tl_inspection_free(made);
        made = NULL;
    }
    *inspection = made;
    return l.status;
}

tl_status tl_study_check(tl_rig* rig, tl_inspection** inspection, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status result = study_check(rig, inspection, error);
    tl_locale_restore(locale);
    return result;
}

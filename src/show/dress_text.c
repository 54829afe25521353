// SPDX-License-Identifier: GPL-3.0-or-later
// What leads pick up and what joints are good for, for people.
#include "toneload/show.h"

#include "base/text.h"
#include "show/dress.h"
#include "show/wrap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const char* tl_dress_verdict_words(tl_dress_verdict verdict) {
    static const char* const words[] = {"buried", "near", "above"};
    return words[verdict];
}

static void add_paragraph(tl_text* text, const char* words) {
    tl_wrap_words(text, words, 0, 0);
}

static void add_point(tl_text* text, const char* words) {
    tl_text_add(text, "- ");
    tl_wrap_words(text, words, 2, 2);
}

static void number_cell(tl_table* table, double number, const char* format, const char* none) {
    char* shown = isfinite(number) ? tl_printf(format, number) : tl_copy(none);
    tl_table_number(table, number, shown);
    free(shown);
}

static void value_cell(tl_table* table, double value, const char* unit) {
    char* shown = tl_show_value(value, unit, "-");
    tl_table_number(table, value, shown);
    free(shown);
}

/// Levels far under the floor are told no closer than that.
static void floor_cell(tl_table* table, double db) {
    number_cell(table, db < -99 ? -INFINITY : db, "%+.1f dB", "< -99 dB");
}

static void add_table(tl_text* text, tl_table* table) {
    char* shown = tl_table_text(table);
    tl_text_addf(text, "\n%s\n", shown);
    free(shown);
    tl_table_free(table);
}

// ---- the runs

static void add_lie(tl_table* table, const tl_dress_run* run) {
    tl_table_row(table);
    tl_table_words(table, run->name);
    tl_table_words(table, run->lead);
    char* other = tl_printf("%s: %s", run->beside, run->source);
    tl_table_words(table, other);
    free(other);
    number_cell(table, 100 * run->length_m, "%.4g cm", "");
    number_cell(table, 1e3 * run->spacing_m, "%.3g mm", "");
    number_cell(table, run->angle_deg, "%.3g deg", "");
    number_cell(table, 1e3 * run->height_m, "%.3g mm", "free");
}

static tl_table* lies_table(const tl_dress* dress) {
    static const char* const heads[][2] = {{"run", "name"},
                                           {"lead", "lead"},
                                           {"beside it", "source"},
                                           {"for", "length_m"},
                                           {"spacing", "spacing"},
                                           {"angle", "angle_deg"},
                                           {"over\nground", "height_m"}};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i][0], heads[i][1]);
    for (size_t i = 0; i < dress->run_count; ++i)
        add_lie(table, &dress->runs[i]);
    return table;
}

static void add_levels(tl_table* table, const tl_dress* dress, const tl_dress_run* run,
                       size_t amp) {
    const tl_dress_amp* at = &run->amps[amp];
    tl_table_row(table);
    tl_table_words(table, run->name);
    if (dress->amp_count > 1)
        tl_table_words(table, dress->amps[amp]);
    value_cell(table, at->as_is.a_weighted_v, "V");
    number_cell(table, 20 * log10(at->as_is.a_weighted_v), "%.1f", "-");
    floor_cell(table, at->as_is.floor_db);
    tl_table_words(table, tl_dress_verdict_words(at->as_is.verdict));
    number_cell(table, 100 * at->as_is.electric, "%.0f %%", "-");
    value_cell(table, run->impedance_ohm, "ohm");
    floor_cell(table, at->crossing.floor_db);
    floor_cell(table, at->buffered.floor_db);
}

static tl_table* levels_table(const tl_dress* dress) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "run", "name");
    if (dress->amp_count > 1)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "level at\nthe amp", "a_weighted_v");
    tl_table_column(table, "\ndBV", "dbv");
    tl_table_column(table, "against\nthe noise", "floor_db");
    tl_table_column(table, "\nverdict", "verdict");
    tl_table_column(table, "electric\nshare", "electric");
    tl_table_column(table, "the core\nsees, 1 kHz", "impedance");
    tl_table_column(table, "crossing\n90 deg", "crossing");
    tl_table_column(table, "behind\na buffer", "buffered");
    for (size_t i = 0; i < dress->run_count; ++i)
        for (size_t amp = 0; dress->runs[i].amps && amp < dress->amp_count; ++amp)
            add_levels(table, dress, &dress->runs[i], amp);
    return table;
}

/// The amp at which a run stands out most.
static size_t worst_amp(const tl_dress* dress, const tl_dress_run* run) {
    size_t worst = 0;
    for (size_t i = 1; i < dress->amp_count; ++i)
        if (run->amps[i].as_is.floor_db > run->amps[worst].as_is.floor_db)
            worst = i;
    return worst;
}

/// "3.1 dB above the noise", "4.0 dB under it".
static char* distance_words(double floor_db) {
    if (floor_db < -99)
        return tl_copy("more than 99 dB under the noise");
    return tl_printf("%.1f dB %s the noise", fabs(floor_db), floor_db > 0 ? "above" : "under");
}

/// What would bury a run that is not.
static void add_cure(tl_text* text, const tl_dress* dress, const tl_dress_run* run) {
    size_t amp = worst_amp(dress, run);
    const tl_dress_amp* at = &run->amps[amp];
    char* where = distance_words(at->as_is.floor_db);
    char* buffered = distance_words(at->buffered.floor_db);
    tl_text words = {0};
    tl_text_addf(&words, "%s: %s%s%s. To bury it (%g dB under): ", run->name, where,
                 dress->amp_count > 1 ? " at amp " : "",
                 dress->amp_count > 1 ? dress->amps[amp] : "", TL_DRESS_MARGIN_DB);
    if (isnan(at->enough_m))
        tl_text_addf(&words, "no spacing up to %g m is enough; ", TL_DRESS_FAR_M);
    else
        tl_text_addf(&words, "%.0f mm from centre to centre; ", ceil(1e3 * at->enough_m));
    if (isnan(at->enough_deg))
        tl_text_add(&words, "no angle is enough; ");
    else
        tl_text_addf(&words, "%san angle of %.0f deg; ", isnan(at->enough_m) ? "but " : "or ",
                     ceil(at->enough_deg));
    tl_text_addf(&words, "with a buffer in front of its lead it is %s.", buffered);
    add_point(text, tl_text_get(&words));
    tl_text_free(&words);
    free(where);
    free(buffered);
}

static bool is_buried(const tl_dress* dress, const tl_dress_run* run) {
    return run->amps[worst_amp(dress, run)].as_is.verdict == TL_DRESS_BURIED;
}

/// Those that need nothing, in one sentence.
static void add_buried(tl_text* text, const tl_dress* dress) {
    tl_text words = {0};
    size_t count = 0;
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        if (run->amps && is_buried(dress, run))
            tl_text_addf(&words, "%s%s", count++ ? ", " : "Buried as they lie: ", run->name);
    }
    tl_text_add(&words, ". Nothing is gained by moving them.");
    if (count)
        add_point(text, tl_text_get(&words));
    tl_text_free(&words);
}

static void add_unheard(tl_text* text, const tl_dress* dress, const tl_dress_run* run) {
    double volt = run->amps[worst_amp(dress, run)].as_is.above_v;
    char* shown = tl_show_value(volt, "V", "");
    char* hz = tl_show_hz(run->unheard_hz, "");
    tl_text words = {0};
    if (volt > 0)
        tl_text_addf(&words, "%s: %s arrive at the amp between 20 and 100 kHz, above hearing.",
                     run->name, shown);
    if (run->unheard_hz > 0)
        tl_text_addf(&words, "%s%s%s lies above hearing and above the 100 kHz that are solved.",
                     volt > 0 ? " " : run->name, volt > 0 ? "" : ": ", hz);
    // Mains that rise so high are no news.
    if (words.size && strcmp(run->beside, "mains") != 0)
        add_point(text, tl_text_get(&words));
    tl_text_free(&words);
    free(hz);
    free(shown);
}

static void add_together(tl_text* text, const tl_dress* dress) {
    for (size_t amp = 0; amp < dress->amp_count; ++amp) {
        const tl_dress_level* sum = &dress->together[amp];
        char* volt = tl_show_value(sum->a_weighted_v, "V", "nothing");
        char* where = distance_words(sum->floor_db);
        double rise_db = 10 * log10(1 + pow(10, sum->floor_db / 10));
        char* words =
            tl_printf("All runs together%s%s: %s, %s; with them the noise is up by %.1f dB.",
                      dress->amp_count > 1 ? " at amp " : "",
                      dress->amp_count > 1 ? dress->amps[amp] : "", volt, where, rise_db);
        add_point(text, words);
        free(words);
        free(where);
        free(volt);
    }
}

static void add_floor(tl_text* text, const tl_dress* dress) {
    tl_text words = {0};
    tl_text_add(&words, "What the leads pick up, as it arrives at the amp, A-weighted. The rig's "
                        "own noise there, in the state it is written in:");
    for (size_t amp = 0; amp < dress->amp_count; ++amp) {
        char* volt = tl_show_value(dress->floor_v[amp], "V", "none");
        tl_text_addf(&words, "%s %s (%.1f dBV)%s%s", amp ? "," : "", volt,
                     20 * log10(dress->floor_v[amp]), dress->amp_count > 1 ? " at amp " : "",
                     dress->amp_count > 1 ? dress->amps[amp] : "");
        free(volt);
    }
    tl_text_add(&words,
                ". The last two columns are the same run, against the noise, when the leads "
                "cross and when a buffer drives the lead.");
    add_paragraph(text, tl_text_get(&words));
    tl_text_free(&words);
}

static void add_runs(tl_text* text, const tl_dress* dress) {
    size_t measured = 0;
    size_t offending = 0;
    for (size_t i = 0; i < dress->run_count; ++i)
        measured += dress->runs[i].amps != NULL;
    add_table(text, lies_table(dress));
    if (measured) {
        add_floor(text, dress);
        add_table(text, levels_table(dress));
    }
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        if (run->amps && !is_buried(dress, run)) {
            add_cure(text, dress, run);
            ++offending;
        }
    }
    add_buried(text, dress);
    for (size_t i = 0; i < dress->run_count; ++i)
        if (dress->runs[i].amps)
            add_unheard(text, dress, &dress->runs[i]);
    for (size_t i = 0; i < dress->run_count; ++i)
        if (!dress->runs[i].in_path) {
            char* words = tl_printf("%s: its lead is out of the path as the rig is written, so "
                                    "nothing comes of it.",
                                    dress->runs[i].name);
            add_point(text, words);
            free(words);
        }
    if (measured)
        add_together(text, dress);
}

// ---- leads of the rig beside each other

static void add_leak(tl_table* table, const tl_dress* dress, const tl_dress_run* run, size_t amp) {
    const tl_dress_leak* leak = &run->leaks[amp];
    char* hz = tl_show_hz(leak->leak_hz, "");
    tl_table_row(table);
    tl_table_words(table, run->name);
    if (dress->amp_count > 1)
        tl_table_words(table, dress->amps[amp]);
    value_cell(table, run->farad, "F");
    number_cell(table, isnan(leak->leak_hz) ? NAN : leak->leak_db, "%.1f dB", "< -120 dB");
    tl_table_words(table, hz);
    double worst_db = leak->hearing.worst_db;
    number_cell(table, fabs(worst_db) < 0.005 ? 0 : worst_db, "%.2f dB", "");
    tl_table_words(table, leak->unstable ? "HOWLS" : tl_verdict_words(leak->hearing.verdict));
    free(hz);
}

static void add_leaks(tl_text* text, const tl_dress* dress) {
    tl_table* table = tl_table_new();
    size_t count = 0;
    tl_table_column(table, "audio beside audio", "name");
    if (dress->amp_count > 1)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "between\nthe cores", "farad");
    tl_table_column(table, "at most it adds\nto the signal", "leak_db");
    tl_table_column(table, "\nat", "leak_hz");
    tl_table_column(table, "changes\nthe tone by", "worst_db");
    tl_table_column(table, "\nto the ear", "verdict");
    for (size_t i = 0; i < dress->run_count; ++i)
        for (size_t amp = 0; dress->runs[i].leaks && amp < dress->amp_count; ++amp, ++count)
            add_leak(table, dress, &dress->runs[i], amp);
    if (count)
        add_table(text, table);
    else
        tl_table_free(table);
}

// ---- what is assumed

static bool has_beside(const tl_dress* dress, const char* beside) {
    for (size_t i = 0; i < dress->run_count; ++i)
        if (strcmp(dress->runs[i].beside, beside) == 0)
            return true;
    return false;
}

static void add_assumptions(tl_text* text, const tl_dress* dress) {
    bool blank = text->size > 1 && text->data[text->size - 2] == '\n';
    tl_text_addf(text, "%sAssumed\n", blank ? "" : "\n");
    for (size_t i = 0; i < TL_DRESS_ASSUMPTIONS; ++i) {
        const tl_dress_assumption* one = &tl_dress_assumptions[i];
        if (!one->beside || has_beside(dress, one->beside))
            add_point(text, one->words);
    }
    char* words = tl_printf("\"A buffer\" is the library's %s. Verdicts: under the noise by %g dB "
                            "or more is buried, since a tone can be heard in noise that is a "
                            "little louder (common practice); less is near; more than the noise is "
                            "above.",
                            dress->buffer, TL_DRESS_MARGIN_DB);
    add_point(text, words);
    free(words);
}

// ---- joints

static tl_table* joints_table(const tl_dress_joints* joints) {
    static const char* const heads[][2] = {{"joints in the path", "name"},
                                           {"how\nmany", "count"},
                                           {"each in\nseries", "ohm"},
                                           {"each to\nground", "leakage"},
                                           {"opens in\n1000 h, each", "openings"},
                                           {"in a gig\nof 3 h, all", "a_gig"}};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        tl_table_column(table, heads[i][0], heads[i][1]);
    for (size_t i = 0; i < joints->kind_count; ++i) {
        const tl_dress_joint* kind = &joints->kinds[i];
        tl_table_row(table);
        tl_table_words(table, kind->name);
        number_cell(table, (double)kind->count, "%.0f", "");
        value_cell(table, kind->ohm, "ohm");
        value_cell(table, kind->leakage_ohm, "ohm");
        number_cell(table, kind->openings, "%.3g", "not said");
        number_cell(table, kind->a_gig, "%.2g", "");
    }
    return table;
}

static void add_joint_tone(tl_text* text, const tl_dress* dress) {
    const tl_dress_joints* joints = &dress->joints;
    char* series = tl_show_value(joints->series_ohm, "ohm", "");
    char* leakage = tl_show_value(joints->leakage_ohm, "ohm", "none");
    tl_text words = {0};
    tl_text_addf(&words,
                 "Tone: %s in series%s%s change it by %.2f dB at most (%s), solved with "
                 "and without all joints.",
                 series, isfinite(joints->leakage_ohm) ? " and leaks that come to " : "",
                 isfinite(joints->leakage_ohm) ? leakage : "", fabs(joints->hearing.worst_db),
                 tl_verdict_words(joints->hearing.verdict));
    add_point(text, tl_text_get(&words));
    tl_text_free(&words);
    free(leakage);
    free(series);
}

/// What a joint is to a supply's return: ohms in a wire that carries milliamperes.
static void add_joint_supply(tl_text* text, const tl_dress_joints* joints) {
    char* worst = tl_show_value(joints->worst_ohm, "ohm", "");
    char* moved = tl_show_value(joints->worst_ohm * 1e-2, "V", "");
    char* words = tl_printf(
        "Supplies: in the DC lead of a pedal a joint like the worst here (%s) moves the pedal's "
        "ground by %s when it draws 10 mA more. Alone on an isolated output nobody hears that; "
        "on a return that pedals share it is added to the signal ('toneload power' solves that).",
        worst, moved);
    add_point(text, words);
    free(words);
    free(moved);
    free(worst);
}

static void add_joint_failures(tl_text* text, const tl_dress_joints* joints) {
    if (joints->worst == joints->kind_count) {
        add_point(text, "Reliability: no joint states its 'openings' (in 1000 hours of use).");
        return;
    }
    const tl_dress_joint* worst = &joints->kinds[joints->worst];
    const tl_dress_joint* best = &joints->kinds[joints->best];
    char* words = tl_printf(
        "Reliability: %s of %zu joint%s has to hold. In a gig of %g h %.2g openings are to "
        "be expected, and the chance of a gig without any is %.1f %% (Poisson).",
        joints->count > 1 ? "every one" : "the one", joints->count, joints->count > 1 ? "s" : "",
        TL_DRESS_GIG_H, joints->openings_a_gig, 100 * joints->quiet_gig);
    add_point(text, words);
    free(words);
    if (joints->mended_gig <= joints->quiet_gig)
        return;
    double share = 100 * worst->a_gig / joints->openings_a_gig;
    words = worst->count == 1
                ? tl_printf("One of them, %s, makes %.0f %% of that. As good as %s it would leave "
                            "%.1f %%.",
                            worst->name, share, best->name, 100 * joints->mended_gig)
                : tl_printf("The %zu %s make %.0f %% of that. As good as %s they would leave "
                            "%.1f %%.",
                            worst->count, worst->name, share, best->name, 100 * joints->mended_gig);
    add_point(text, words);
    free(words);
}

static void add_joints(tl_text* text, const tl_dress* dress) {
    const tl_dress_joints* joints = &dress->joints;
    if (!joints->count) {
        tl_text_add(text, "\nNo joints ('contact') in the rig file's path.\n");
        return;
    }
    add_table(text, joints_table(joints));
    add_joint_tone(text, dress);
    add_joint_supply(text, joints);
    add_joint_failures(text, joints);
}

char* tl_dress_text(const tl_dress* dress) {
    tl_text text = {0};
    tl_text_add_safe(&text, dress->rig);
    tl_text_add(&text, "\n");
    if (dress->run_count) {
        add_runs(&text, dress);
        add_leaks(&text, dress);
        add_assumptions(&text, dress);
    } else {
        tl_text_add(&text, "\n");
        add_paragraph(&text,
                      "The rig file says nothing of how its leads lie: 'dressing: [{name: wall "
                      "lead, lead: chain[0], beside: mains, ..}]' does.");
    }
    add_joints(&text, dress);
    char* cautions = tl_cautions_text(TL_DRESS_CAUTIONS);
    tl_text_addf(&text, "\n%s", cautions);
    free(cautions);
    return tl_text_take(&text);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Ground loops in words, and what all of a plan is reckoned with.
#include "show/cells.h"
#include "show/power.h"
#include "show/wrap.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const tl_power_loop* tl_power_loop_of(const tl_power_plan* plan, const char* kind) {
    for (size_t i = 0; i < plan->loop_count; ++i)
        if (strcmp(plan->loops[i].kind, kind) == 0)
            return &plan->loops[i];
    return NULL;
}

size_t tl_power_worst_amp(const tl_power_plan* plan) {
    size_t worst = 0;
    double worst_ratio = 0;
    for (size_t i = 0; i < plan->loop_count; ++i)
        for (size_t amp = 0; amp < plan->amp_count; ++amp) {
            double ratio = plan->loops[i].amps[amp].a_weighted_v / plan->noise_v[amp];
            if (ratio > worst_ratio) {
                worst_ratio = ratio;
                worst = amp;
            }
        }
    return worst;
}

static double dbv(double volts) {
    return 20 * log10(volts);
}

/// The name of a third of an octave: 800 Hz for the one about 794.3 Hz (IEC 61260's rounded
/// values).
static char* band_name(double hz) {
    static const double names[] = {1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10};
    if (isnan(hz))
        return tl_copy("");
    double decade = pow(10, floor(log10(hz) + 0.01));
    double name = 10;
    for (size_t i = 0; i < sizeof names / sizeof *names; ++i)
        if (fabs(log(hz / decade / names[i])) < fabs(log(hz / decade / name)))
            name = names[i];
    name *= decade;
    return name < 999 ? tl_printf("%.4g Hz", name) : tl_printf("%.4g kHz", name / 1000);
}

/// What it means. A tone hides in noise that is as strong in its band of the ear (the critical
/// ratio; from memory), for which thirds of an octave stand here; 6 dB over it is plain.
static const char* verdict_of(double clear_db) {
    return !(clear_db > -10) ? "nobody will hear it"
           : clear_db < 0    ? "it hides in the hiss"
           : clear_db < 6    ? "it can be heard in pauses"
                             : "it is plainly heard in every pause";
}

/// "12.3 dB over the noise" or "31.0 dB under the noise".
static void add_against(tl_text* text, const tl_power_hum* hum) {
    tl_text_addf(text, "%.1f dB %s the rig's own noise", fabs(hum->floor_db),
                 hum->floor_db >= 0 ? "over" : "under");
}

/// How it stands out where it is clearest, and what that means.
static void add_meaning(tl_text* text, const tl_power_hum* hum) {
    char* hz = band_name(hum->clear_hz);
    if (isnan(hum->clear_db))
        tl_text_add(text, "nobody will hear it.");
    else
        tl_text_addf(text, "around %s, where they are clearest, %.0f dB %s it: %s.", hz,
                     fabs(hum->clear_db), hum->clear_db >= 0 ? "over" : "under",
                     verdict_of(hum->clear_db));
    free(hz);
}

char* tl_power_loop_words(const tl_power_plan* plan) {
    size_t amp = tl_power_worst_amp(plan);
    const tl_power_loop* now = tl_power_loop_of(plan, "assigned");
    const tl_power_loop* other = tl_power_loop_of(plan, now->sharing ? "isolated" : "shared");
    const tl_power_hum* at = &now->amps[amp];
    tl_text text = {0};
    if (!(at->a_weighted_v > 0)) {
        tl_text_add(&text, "As assigned, the pulses put nothing on the sound.");
    } else {
        tl_text_addf(&text, "As assigned, the pulses come to %.1f dBV at the amp (A-weighted), ",
                     dbv(at->a_weighted_v));
        add_against(&text, at);
        tl_text_add(&text, "; ");
        add_meaning(&text, at);
    }
    if (!other && !(at->a_weighted_v > 0))
        tl_text_add(&text, " There is no loop: no other pedal in the signal's path is fed.");
    if (!other)
        return tl_text_take(&text);
    const tl_power_hum* than = &other->amps[amp];
    tl_text_addf(&text, " With %s ",
                 now->sharing ? "every output isolated" : "all on one shared return");
    if (!(than->a_weighted_v > 0)) {
        tl_text_add(&text, "they would put nothing on it.");
        return tl_text_take(&text);
    }
    double change_db = dbv(than->a_weighted_v / at->a_weighted_v);
    if (isfinite(change_db))
        tl_text_addf(&text, "they would be %.1f dB %s, ", fabs(change_db),
                     change_db < 0 ? "weaker" : "stronger");
    else
        tl_text_add(&text, "they would be ");
    add_against(&text, than);
    tl_text_add(&text, "; ");
    add_meaning(&text, than);
    return tl_text_take(&text);
}

tl_table* tl_power_loops_table(const tl_power_plan* plan) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "how the returns are wired", "wiring");
    if (plan->amp_count > 1)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "share with\nanother", "sharing");
    tl_table_column(table, "pulses at the amp,\nA-weighted", "a_weighted_v");
    tl_table_column(table, "\nunweighted", "total_v");
    tl_table_column(table, "against the\nrig's noise", "floor_db");
    tl_table_column(table, "clearest\naround", "clear_hz");
    tl_table_column(table, "there over\nthe noise", "clear_db");
    for (size_t i = 0; i < plan->loop_count; ++i)
        for (size_t amp = 0; amp < plan->amp_count; ++amp) {
            const tl_power_hum* hum = &plan->loops[i].amps[amp];
            bool any = hum->a_weighted_v > 0;
            tl_table_row(table);
            tl_table_words(table, plan->loops[i].words);
            if (plan->amp_count > 1)
                tl_table_words(table, plan->amps[amp]);
            tl_table_take_number(table, (double)plan->loops[i].sharing,
                                 plan->loops[i].sharing ? tl_printf("%zu", plan->loops[i].sharing)
                                                        : tl_copy("none"));
            tl_table_take_number(table, hum->a_weighted_v,
                                 any ? tl_printf("%.1f dBV", dbv(hum->a_weighted_v))
                                     : tl_copy("nothing"));
            tl_table_take_number(table, hum->total_v,
                                 any ? tl_printf("%.1f dBV", dbv(hum->total_v))
                                     : tl_copy("nothing"));
            tl_table_take_number(table, hum->floor_db,
                                 isfinite(hum->floor_db) ? tl_printf("%+.1f dB", hum->floor_db)
                                                         : tl_copy(""));
            tl_table_take_number(table, hum->clear_hz, band_name(hum->clear_hz));
            tl_table_take_number(table, hum->clear_db,
                                 isfinite(hum->clear_db) ? tl_printf("%+.0f dB", hum->clear_db)
                                                         : tl_copy(""));
        }
    return table;
}

bool tl_power_leaves_out(const tl_power_pedal* pedal) {
    return pedal->pulses ? !pedal->in_path || pedal->output == TL_POWER_NONE : pedal->digital;
}

/// "'a' and 'b'" of those that are left out of the loops, with or without a pulse; or NULL.
static char* left_out(const tl_power_plan* plan, bool pulses) {
    tl_text names = {0};
    size_t all = 0;
    size_t count = 0;
    for (size_t i = 0; i < plan->pedal_count; ++i)
        all += tl_power_leaves_out(&plan->pedals[i]) && plan->pedals[i].pulses == pulses;
    for (size_t i = 0; i < plan->pedal_count; ++i)
        if (tl_power_leaves_out(&plan->pedals[i]) && plan->pedals[i].pulses == pulses) {
            tl_text_addf(&names, "%s'%s'",
                         count == 0         ? ""
                         : count + 1 == all ? " and "
                                            : ", ",
                         plan->pedals[i].name);
            ++count;
        }
    return all ? tl_text_take(&names) : NULL;
}

void tl_power_add_left_out(tl_text* text, const tl_power_plan* plan) {
    char* beside = left_out(plan, true);
    char* silent = left_out(plan, false);
    char* words = tl_printf(
        "%s%s%s%s%s%s", beside || silent ? "Not in it:" : "", beside ? " pulses of " : "",
        beside ? beside : "", beside ? ", which the signal does not pass or nothing feeds" : "",
        silent ? (beside ? "; and digital " : " digital ") : "", silent ? silent : "");
    if (*words) {
        char* all = tl_printf("%s%s.", words, silent ? ", of which no 'pulse' is stated" : "");
        tl_text_take_paragraph(text, all);
    }
    free(words);
    free(beside);
    free(silent);
}

void tl_power_add_no_loops(tl_text* text, const tl_power_plan* plan) {
    char* words =
        plan->loop_trouble
            ? tl_printf("They could not be solved: %s.", plan->loop_trouble)
            : tl_copy(plan->pulsed ? "Nothing is reckoned: the signal passes nothing that pulses."
                                   : "Nothing is reckoned: no 'pulse' is stated. Digital pedals "
                                     "and switchers usually have one.");
    tl_text_take_paragraph(text, words);
    tl_power_add_left_out(text, plan);
}

void tl_power_add_loops(tl_text* text, const tl_power_plan* plan) {
    tl_text_add(text, "\nGround loops: what the pulsed loads put on the sound\n");
    if (!plan->loop_count) {
        tl_power_add_no_loops(text, plan);
        return;
    }
    tl_table* table = tl_power_loops_table(plan);
    tl_text_take_table(text, table);
    char* words = tl_power_loop_words(plan);
    tl_text_add(text, "\n");
    tl_text_take_paragraph(text, words);
    tl_power_add_left_out(text, plan);
}

static void add_term(tl_text* text, char* words) {
    tl_wrap_point(text, words);
    free(words);
}

static void add_loop_terms(tl_text* text, const tl_power_plan* plan) {
    const tl_power_loop_terms* terms = &plan->terms;
    add_term(text, tl_printf("Ground loops: each DC lead runs back to its supply by itself (%.3g "
                             "uH/m, from memory). The shield is %.4g %% of an audio lead's "
                             "resistance (%s); its joints are as good as the core's.",
                             1e6 * terms->lead_henry_per_m, 100 * terms->shield_share,
                             terms->shield_assumed ? "assumed: from memory" : "as stated"));
    add_term(text,
             tl_printf("Between any two isolated outputs lie %.4g pF (%s). Pulses are square; "
                       "harmonics to 20 kHz count. Loops that are off are left out, and what "
                       "a pedal lets through from its supply to its sound.",
                       1e12 * terms->stray_farad,
                       terms->stray_assumed ? "assumed: from memory, 50 pF to 1 nF" : "as stated"));
    if (!isnan(terms->shield_ohm_per_m))
        add_term(text, tl_printf("Audio leads that state no resistance are taken at %.3g mohm/m "
                                 "(from memory).",
                                 1e3 * terms->shield_ohm_per_m));
}

void tl_power_add_terms(tl_text* text, const tl_power_plan* plan) {
    tl_text_add(text, "\nThe rules, and what is assumed\n");
    add_term(text, tl_printf("No output and no supply gives more than %.4g %% of its limit (%s). "
                             "Volts and polarity are equal. No digital pedal shares a return with "
                             "a high-gain one, and nothing with a pedal of positive ground.",
                             100 * (1 - plan->headroom),
                             plan->headroom_assumed ? "headroom of 20 %: common practice"
                                                    : "headroom as stated"));
    add_term(text, tl_printf("Of all assignments that keep to this, by exact optimisation: fewest "
                             "pedals that share a return, then fewest outputs that a start may "
                             "overload, then each pedal on no stronger output than need be, then "
                             "the file's order%s.",
                             plan->settled ? ""
                                           : " (the last two not to the end, on a board "
                                             "this large)"));
    add_term(text,
             tl_copy("A start: the largest inrush on top of the others' steady draw should "
                     "stay within the output's 'peak', or its limit when none is stated. Over "
                     "it is a warning, since most supplies ride through tens of ms."));
    add_term(text, tl_printf("DC leads: copper at 20 C, both conductors and %s%s.",
                             !plan->terms.joints_stated   ? "no joints (none named: 0 ohm)"
                             : plan->terms.joints_missing ? "four joints where they are named "
                                                            "(else 0 ohm)"
                                                          : "four joints",
                             plan->terms.lead_assumed
                                 ? "; where the rig names none, 24 AWG, 50 cm (from memory)"
                                 : ""));
    double factor = plan->supplies[0].power_factor;
    add_term(text, tl_printf("Mains amperes are at a power factor of %.2g (%s). Steady draw; no "
                             "supply's own idling is in it.",
                             factor,
                             plan->supplies[0].power_factor_assumed ? "assumed: from memory"
                                                                    : "as its part states"));
    if (plan->loop_count)
        add_loop_terms(text, plan);
}

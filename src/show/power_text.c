// SPDX-License-Identifier: GPL-3.0-or-later
// A power plan for people: the verdict first, then who is plugged in where, then the rest.
#include "show/cells.h"
#include "show/power.h"
#include "show/wrap.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

char* tl_power_ma(double ampere) {
    double ma = 1e3 * ampere;
    return ma < 9.995 ? tl_printf("%.3g mA", ma) : tl_printf("%.0f mA", ma);
}

char* tl_power_output_words(const tl_power_output* output) {
    char* limit = tl_power_ma(output->limit_a);
    char* words = *output->choices ? tl_printf("%s, %s", output->choices, limit)
                                   : tl_printf("%.6g V, %s", output->volts_v, limit);
    free(limit);
    return words;
}

static size_t count_used(const tl_power_plan* plan) {
    size_t used = 0;
    for (size_t i = 0; i < plan->output_count; ++i)
        used += plan->outputs[i].pedals > 0;
    return used;
}

char* tl_power_verdict(const tl_power_plan* plan) {
    char* head = tl_power_headline(plan);
    size_t devices = 0;
    for (size_t i = 0; i < plan->pedal_count; ++i)
        devices += !plan->pedals[i].in_chain;
    const char* what = plan->pedal_count == 1 ? (devices ? "device" : "pedal")
                       : devices              ? "pedals and devices"
                                              : "pedals";
    char* words = plan->feasible
                      ? tl_printf("%s. %zu %s on %zu of %zu outputs, %.4g %% of every limit kept "
                                  "free.",
                                  head, plan->pedal_count, what, count_used(plan),
                                  plan->output_count, 100 * plan->headroom)
                      : tl_printf("%s%s %s", head,
                                  tl_power_count(plan, TL_POWER_ERROR)
                                      ? "; that is proven."
                                      : ", and no assignment keeps them; that is proven.",
                                  plan->conflict);
    free(head);
    return words;
}

static void add_changes(tl_text* text, const tl_power_plan* plan) {
    if (plan->feasible)
        return;
    tl_text_add(text, "\nWhat would do: the smallest change of each kind, each tried by solving "
                      "the changed board\n");
    for (size_t i = 0; i < plan->change_count; ++i)
        tl_wrap_point(text, plan->changes[i].words);
    if (!plan->change_count)
        tl_text_add(text, "- none: no single change of any kind does\n");
}

static const char* output_name(const tl_power_plan* plan, size_t pedal) {
    size_t output = plan->pedals[pedal].output;
    return output == TL_POWER_NONE ? "none" : plan->outputs[output].name;
}

const char* tl_power_polarity(const tl_power_plan* plan) {
    for (size_t i = 1; i < plan->pedal_count; ++i)
        if (strcmp(plan->pedals[i].polarity, plan->pedals[0].polarity) != 0)
            return NULL;
    return plan->pedals[0].polarity;
}

static void add_pedal(tl_table* table, const tl_power_plan* plan, size_t i) {
    const tl_power_pedal* pedal = &plan->pedals[i];
    bool surge = pedal->inrush_a > pedal->current_a;
    tl_table_row(table);
    tl_table_words(table, pedal->name);
    tl_table_take_words(table,
                        tl_printf("%s%s", output_name(plan, i), pedal->given ? " (given)" : ""));
    tl_table_take_number(table, pedal->volts_v, tl_printf("%.6g V", pedal->volts_v));
    if (!tl_power_polarity(plan))
        tl_table_words(table, pedal->polarity);
    tl_table_take_number(table, pedal->current_a, tl_power_ma(pedal->current_a));
    tl_table_take_number(table, pedal->inrush_a,
                         surge ? tl_power_ma(pedal->inrush_a) : tl_copy(""));
    tl_table_take_number(table, pedal->lead_ohm, tl_show_value(pedal->lead_ohm, "ohm", ""));
    tl_table_take_number(table, pedal->arrives_v,
                         isnan(pedal->arrives_v) ? tl_copy("")
                                                 : tl_printf("%.2f V", pedal->arrives_v));
    tl_table_take_number(table, pedal->starts_v,
                         surge && !isnan(pedal->starts_v) ? tl_printf("%.2f V", pedal->starts_v)
                                                          : tl_copy(""));
}

tl_table* tl_power_pedals_table(const tl_power_plan* plan) {
    tl_table* table = tl_table_new();
    const char* polarity = tl_power_polarity(plan);
    tl_table_column(table, "\npedal or device", "pedal");
    tl_table_column(table, "\noutput", "output");
    tl_table_column(table, "\nneeds", "voltage_v");
    if (!polarity)
        tl_table_column(table, "\npolarity", "polarity");
    tl_table_column(table, "\ndraws", "current_a");
    tl_table_column(table, "\nstarts with", "inrush_a");
    tl_table_column(table, plan->terms.joints_stated ? "lead\nand joints" : "\nlead", "lead_ohm");
    tl_table_column(table, "arrives\nsteady", "arrives_v");
    tl_table_column(table, "\nat start", "starts_v");
    for (size_t i = 0; i < plan->pedal_count; ++i)
        add_pedal(table, plan, i);
    return table;
}

static void add_pedals(tl_text* text, const tl_power_plan* plan) {
    const char* polarity = tl_power_polarity(plan);
    tl_text_add(text, "\n");
    tl_text_take_table(text, tl_power_pedals_table(plan));
    if (polarity)
        tl_text_addf(text, "%s %s.\n", plan->pedal_count > 1 ? "All are" : "It is", polarity);
}

/// Whose return it is.
static char* return_words(const tl_power_plan* plan, const tl_power_output* output) {
    size_t hanging = tl_power_hanging(plan, output->group);
    if (hanging > 1)
        return tl_printf("shared by %zu", hanging);
    return tl_copy(output->isolated ? "its own" : "its own so far");
}

tl_table* tl_power_outputs_table(const tl_power_plan* plan) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "\noutput in use", "output");
    tl_table_column(table, "\ngives", "gives");
    tl_table_column(table, "\nasked for", "load_a");
    tl_table_column(table, "\nthat is", "share");
    tl_table_column(table, "gives for\na moment", "peak_a");
    tl_table_column(table, "most asked\nat a start", "surge_a");
    tl_table_column(table, "\nreturn", "return");
    for (size_t i = 0; i < plan->output_count; ++i) {
        const tl_power_output* output = &plan->outputs[i];
        if (!output->pedals)
            continue;
        tl_table_row(table);
        tl_table_words(table, output->name);
        tl_table_take_words(
            table, *output->choices
                       ? tl_printf("%.0f mA, set to %.6g V", 1e3 * output->limit_a, output->volts_v)
                       : tl_power_output_words(output));
        tl_table_take_number(table, output->load_a, tl_power_ma(output->load_a));
        tl_table_take_number(table, output->load_a / output->limit_a,
                             tl_printf("%.0f %%", 100 * output->load_a / output->limit_a));
        tl_table_take_number(table, output->peak_a, tl_power_ma(output->peak_a));
        tl_table_take_number(table, output->surge_a,
                             output->surge_a > output->load_a ? tl_power_ma(output->surge_a)
                                                              : tl_copy(""));
        tl_table_take_words(table, return_words(plan, output));
    }
    return table;
}

void tl_power_add_spare(tl_text* text, const tl_power_plan* plan) {
    tl_text words = {0};
    size_t count = 0;
    for (size_t i = 0; i < plan->output_count; ++i) {
        const tl_power_output* output = &plan->outputs[i];
        if (output->pedals)
            continue;
        char* about = tl_power_output_words(output);
        tl_text_addf(&words, "%s%s (%s%s)", count++ ? ", " : "Spare: ", output->name, about,
                     output->isolated ? "" : ", shared return");
        free(about);
    }
    tl_text_add(&words, count ? "." : "No output is spare.");
    tl_wrap_words(text, tl_text_get(&words), 0, 0);
    tl_text_free(&words);
}

static void add_findings(tl_text* text, const tl_power_plan* plan) {
    static const char* const heads[] = {"ERROR   ", "warning ", "note    "};
    size_t errors = tl_power_count(plan, TL_POWER_ERROR);
    if (!plan->finding_count)
        return;
    tl_text_addf(text, "\nWhat to know%s\n", errors ? ": do not plug it in like this" : "");
    for (size_t i = 0; i < plan->finding_count; ++i) {
        tl_text_add(text, heads[plan->findings[i].gravity]);
        tl_wrap_words(text, plan->findings[i].words, 8, 8);
    }
}

static const char* takes_words(tl_mains takes) {
    static const char* const words[] = {"not said", "yes", "with its selector set", "NO"};
    return words[takes];
}

tl_table* tl_power_supplies_table(const tl_power_plan* plan) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "supply", "supply");
    tl_table_column(table, "kind", "kind");
    tl_table_column(table, "gives now", "load_w");
    tl_table_column(table, "of", "limit_w");
    tl_table_column(table, "efficiency", "efficiency");
    tl_table_column(table, "from the mains", "mains_w");
    tl_table_column(table, "heat in it", "heat_w");
    for (size_t i = 0; i < plan->supply_count; ++i) {
        const tl_power_supply* supply = &plan->supplies[i];
        tl_table_row(table);
        tl_table_words(table, supply->name);
        tl_table_words(table, supply->make);
        tl_table_take_number(table, supply->load_w, tl_printf("%.2f W", supply->load_w));
        tl_table_take_number(table, supply->limit_w,
                             isnan(supply->limit_w) ? tl_copy("not said")
                                                    : tl_printf("%.4g W", supply->limit_w));
        tl_table_take_number(table, supply->efficiency,
                             tl_printf("%.0f %%%s", 100 * supply->efficiency,
                                       supply->efficiency_assumed ? " (assumed)" : ""));
        tl_table_take_number(table, supply->mains_w, tl_printf("%.2f W", supply->mains_w));
        tl_table_take_number(table, supply->heat_w, tl_printf("%.2f W", supply->heat_w));
    }
    return table;
}

tl_table* tl_power_mains_table(const tl_power_plan* plan) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "plugged into", "mains");
    tl_table_column(table, "draws", "mains_w");
    tl_table_column(table, "that is", "current_a");
    for (size_t i = 0; i < plan->supply_count; ++i) {
        char* head = tl_printf("'%s' takes it", plan->supplies[i].name);
        tl_table_column(table, head, head);
        free(head);
    }
    for (size_t i = 0; i < plan->mains_count; ++i) {
        const tl_power_mains* mains = &plan->mains[i];
        tl_table_row(table);
        tl_table_take_words(table, tl_printf("%.4g V %.4g Hz%s", mains->volts_v, mains->hz,
                                             mains->tour ? " (tour)" : ""));
        tl_table_take_number(table, mains->mains_w, tl_printf("%.1f W", mains->mains_w));
        tl_table_take_number(table, mains->current_a, tl_show_value(mains->current_a, "A", ""));
        for (size_t j = 0; j < plan->supply_count; ++j)
            tl_table_words(table, takes_words(mains->takes[j]));
    }
    return table;
}

tl_table* tl_power_faults_table(const tl_power_plan* plan) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "gone", "gone");
    tl_table_column(table, "dead with it", "dead");
    tl_table_column(table, "the signal", "signal");
    for (size_t i = 0; i < plan->fault_count; ++i) {
        const tl_power_fault* fault = &plan->faults[i];
        tl_table_row(table);
        bool output = strcmp(fault->kind, "output") == 0;
        tl_table_take_words(table, output ? tl_copy(fault->name)
                                   : strcmp(fault->kind, "supply") == 0
                                       ? tl_printf("all of '%s'", fault->name)
                                       : tl_printf("a short on %s", fault->name));
        tl_text dead = {0};
        for (size_t j = 0; j < fault->dead_count; ++j)
            tl_text_addf(&dead, "%s%s", j ? ", " : "", plan->pedals[fault->dead[j]].name);
        bool all = fault->dead_count == plan->pedal_count && plan->pedal_count > 3;
        tl_table_words(table, all ? "everything" : tl_text_get(&dead));
        tl_text_free(&dead);
        tl_table_words(table, fault->words);
    }
    return table;
}

char* tl_power_text(const tl_power_plan* plan) {
    tl_text text = {0};
    tl_text_add_safe(&text, plan->rig);
    tl_text_add(&text, "\n\n");
    char* verdict = tl_power_verdict(plan);
    tl_text_take_paragraph(&text, verdict);
    add_changes(&text, plan);
    add_pedals(&text, plan);
    tl_text_add(&text, "\n");
    tl_text_take_table(&text, tl_power_outputs_table(plan));
    tl_power_add_spare(&text, plan);
    add_findings(&text, plan);
    tl_text_add(&text, "\nMains and heat\n");
    tl_text_take_table(&text, tl_power_supplies_table(plan));
    if (plan->mains_count) {
        tl_text_add(&text, "\n");
        tl_text_take_table(&text, tl_power_mains_table(plan));
    }
    tl_text_add(&text, "\nIf one thing fails, in the state the rig is written in\n");
    tl_text_take_table(&text, tl_power_faults_table(plan));
    tl_power_add_loops(&text, plan);
    tl_power_add_terms(&text, plan);
    char* cautions = tl_cautions_text(TL_POWER_CAUTIONS);
    tl_text_addf(&text, "\n%s", cautions);
    free(cautions);
    return tl_text_take(&text);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What to look at and when, where a fault is likeliest, and what to carry as spares.
#include "show/cells.h"
#include "show/power.h"
#include "show/report.h"

#include <math.h>
#include <string.h>

/// A thing to look at. Common practice, all of it.
typedef struct {
    const char* when;
    const char* what;
} chore;

static const chore chores[] = {
    {"Before each gig",
     "Play one chord through every pedal, on and off. Pull gently at each plug and "
     "listen: what crackles is changed now, not on stage."},
    {"Before each gig",
     "Feel whether every pedal still sits firmly, and whether no lead hangs where a "
     "foot can catch it."},
    {"Every three months",
     "Unplug and replug every patch lead once, which wipes the contacts. Wipe "
     "dark plugs with a dry cloth."},
    {"Every three months", "Take batteries out of pedals that run from the supply; change those of "
                           "pedals that do not."},
    {"Once a year",
     "Measure every lead against the figures it was delivered with: what has moved by "
     "more than its limits is changed."},
    {"Once a year",
     "Tighten jack nuts and plug caps. Look for leads that are stiff, flattened or bare "
     "where they leave their plugs."},
    {"Once a year",
     "Measure every output of the supply with its pedal plugged in, and compare with "
     "the power plan."},
};
enum { CHORES = sizeof chores / sizeof *chores };

static void add_chores(tl_text* page, const tl_report* report) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "when", "when");
    tl_table_column(table, "what", "what");
    for (size_t i = 0; i < CHORES; ++i) {
        if (!report->power && strstr(chores[i].what, "power plan"))
            continue;
        tl_table_row(table);
        tl_table_words(table, chores[i].when);
        tl_table_words(table, chores[i].what);
    }
    tl_report_add_table(page, table, "What to check and when (common practice)");
}

// ---- where a fault is likeliest

static void add_joints(tl_text* page, const tl_dress_joints* joints) {
    if (!joints->count)
        return;
    if (joints->worst == joints->kind_count) {
        tl_html_say(page,
                    "<li>It crackles or cuts out: one of the @n joints that the signal passes, "
                    "or a lead where it enters its plug.</li>\n",
                    joints->count);
        return;
    }
    const tl_dress_joint* worst = &joints->kinds[joints->worst];
    tl_html_say(
        page,
        "<li>It crackles or cuts out: most likely @s \xe2\x80\x9c@s\xe2\x80\x9d@s@s (@p of all "
        "openings that "
        "are to be expected come from there)",
        worst->count > 1 ? "one of the joints" : "the one joint", worst->name,
        worst->count > 1 || !*worst->where ? "" : ", ", worst->count > 1 ? "" : worst->where,
        round(100 * worst->a_gig / joints->openings_a_gig) / 100);
    if (joints->mended_gig > joints->quiet_gig + 0.0005)
        tl_html_say(page,
                    ". Mended, as good as @s, it lifts the chance of a gig without a crackle from "
                    "@p to @p",
                    joints->kinds[joints->best].name, round(1000 * joints->quiet_gig) / 1000,
                    round(1000 * joints->mended_gig) / 1000);
    tl_text_add(page, ".</li>\n");
}

/// Leads that hum, and what would help, in section 5.
static void add_hum(tl_text* page, const tl_dress* dress) {
    size_t count = 0;
    for (size_t i = 0; i < dress->run_count; ++i) {
        const tl_dress_run* run = &dress->runs[i];
        bool loud = false;
        for (size_t amp = 0; run->amps && amp < dress->amp_count; ++amp)
            loud = loud || run->amps[amp].as_is.verdict == TL_DRESS_ABOVE;
        if (!loud)
            continue;
        tl_text_add(page, count++ ? ", " : "<li>It hums or whines: first the run ");
        tl_html_say(page, "\xe2\x80\x9c@s\xe2\x80\x9d", run->name);
    }
    if (count)
        tl_html_say(page, ", which <a href=\"#leads\">section 5</a> tells how to move. Never lift "
                          "a mains earth against "
                          "it.</li>\n");
}

/// Remarks on the values that will show as faults: worn contacts and leaks.
static void add_remarks(tl_text* page, const tl_inspection* found) {
    for (size_t i = 0; i < found->remark_count; ++i)
        if (strstr(found->remarks[i], "joint") || strstr(found->remarks[i], "leak"))
            tl_html_say(page, "<li>@s.</li>\n", found->remarks[i]);
}

static void add_unfed(tl_text* page, const tl_power_plan* plan) {
    if (plan && plan->unstated_count)
        tl_html_say(page,
                    "<li>Of @s the file says no supply: if they run on batteries, a pedal that "
                    "gets quiet, dull or harsh wants a new one.</li>\n",
                    plan->unstated);
}

static tl_table* silence_table(const tl_power_plan* plan) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "what is dead", "dead");
    tl_table_column(table, "look at", "gone");
    tl_table_column(table, "meanwhile, the signal", "signal");
    for (size_t i = 0; i < plan->fault_count; ++i) {
        const tl_power_fault* fault = &plan->faults[i];
        tl_text dead = {0};
        for (size_t j = 0; j < fault->dead_count; ++j)
            tl_text_addf(&dead, "%s%s", j ? ", " : "", plan->pedals[fault->dead[j]].name);
        bool all = fault->dead_count == plan->pedal_count && plan->pedal_count > 3;
        bool output = strcmp(fault->kind, "output") == 0;
        bool supply = strcmp(fault->kind, "supply") == 0;
        tl_table_row(table);
        tl_table_words(table, all ? "everything" : dead.size ? tl_text_get(&dead) : "nothing");
        tl_table_take_words(
            table, output ? tl_printf("output %s and its lead", fault->name)
                   : supply
                       ? tl_printf("the supply '%s' and its mains lead", fault->name)
                       : tl_printf("a short on %s: unplug its pedals one by one", fault->name));
        tl_table_words(table, fault->words);
        tl_text_free(&dead);
    }
    return table;
}

static void add_faults(tl_text* page, const tl_report* report) {
    tl_html_say(page, "<h3>Where a fault is likeliest</h3>\n<ul>\n");
    add_joints(page, &report->dress->joints);
    add_hum(page, report->dress);
    add_remarks(page, report->found);
    add_unfed(page, report->power);
    tl_html_say(page,
                "<li>Nothing at all comes out: go from the guitar to the amp with one good "
                "lead, plugging it past one pedal after the other. Where sound comes back, the "
                "last one passed, or its lead, is at fault.</li>\n</ul>\n");
    if (report->power)
        tl_report_add_table(page, silence_table(report->power),
                            "If something goes dead, in the state the rig is written in");
}

// ---- spares

static void add_spares(tl_text* page, const tl_report* report) {
    const tl_dress_joints* joints = &report->dress->joints;
    tl_html_say(page,
                "<h3>Spares to carry</h3>\n<ul>\n"
                "<li>One lead as long as the longest, and one patch lead of each kind.</li>\n");
    if (joints->count && joints->worst < joints->kind_count) {
        const tl_dress_joint* worst = &joints->kinds[joints->worst];
        bool one = worst->count == 1 && *worst->where;
        tl_html_say(
            page, "<li>Plugs for @s \xe2\x80\x9c@s\xe2\x80\x9d@s@s@s: they open most often.</li>\n",
            worst->count > 1 ? "the joints" : "the joint", worst->name, one ? " (" : "",
            one ? worst->where : "", one ? ")" : "");
    }
    if (report->power)
        tl_html_say(page, "<li>One DC lead with the plug that most pedals take@s.</li>\n",
                    tl_power_polarity(report->power) ? "" : ", and one of the other polarity");
    tl_html_say(page, "<li>A fresh battery for whatever runs on one.</li>\n"
                      "<li>Fuses, and all else on the mains side of a supply, are for a licensed "
                      "person, of the value that stands on the supply.</li>\n</ul>\n");
}

void tl_report_add_service(tl_text* page, const tl_report* report) {
    add_chores(page, report);
    add_faults(page, report);
    add_spares(page, report);
}

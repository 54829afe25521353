// SPDX-License-Identifier: GPL-3.0-or-later
// Power, and what leads pick up: what `power` and `dress` say, as part of the page.
#include "show/dress.h"
#include "show/power.h"
#include "show/report.h"

#include <stdlib.h>

static void add_changes(tl_text* page, const tl_power_plan* plan) {
    if (plan->feasible)
        return;
    tl_html_say(page, "<h3>What would do</h3>\n<p>The smallest change of each kind, each tried by "
                      "solving the changed board.</p>\n<ul>\n");
    for (size_t i = 0; i < plan->change_count; ++i)
        tl_html_say(page, "<li>@s</li>\n", plan->changes[i].words);
    if (!plan->change_count)
        tl_html_say(page, "<li>No single change of any kind does.</li>\n");
    tl_text_add(page, "</ul>\n");
}

static void add_findings(tl_text* page, const tl_power_plan* plan) {
    static const char* const classes[] = {"mend", "mind", "fine"};
    if (!plan->finding_count)
        return;
    tl_html_say(page, "<h3>What to know</h3>\n<ul class=\"findings\">\n");
    for (size_t i = 0; i < plan->finding_count; ++i)
        tl_html_say(page, "<li><span class=\"mark @s\">@s</span> @s</li>\n",
                    classes[plan->findings[i].gravity],
                    tl_power_gravity_word(plan->findings[i].gravity), plan->findings[i].words);
    tl_text_add(page, "</ul>\n");
}

static void add_assignment(tl_text* page, const tl_power_plan* plan) {
    const char* polarity = tl_power_polarity(plan);
    tl_text spare = {0};
    tl_report_add_table(page, tl_power_pedals_table(plan), "Which pedal goes on which output");
    if (polarity)
        tl_html_say(page, "<p>@s @s.</p>\n", plan->pedal_count > 1 ? "All are" : "It is", polarity);
    tl_report_add_table(page, tl_power_outputs_table(plan), "What each output has to give");
    tl_power_add_spare(&spare, plan);
    tl_report_add_prose(page, tl_text_take(&spare));
}

static void add_loops(tl_text* page, const tl_power_plan* plan) {
    tl_text words = {0};
    tl_html_say(page, "<h3>Ground loops</h3>\n");
    if (plan->loop_count) {
        tl_report_add_paragraph(page, tl_power_loop_words(plan));
        tl_report_add_table(page, tl_power_loops_table(plan),
                            "What the pulsed loads put on the sound");
        tl_power_add_left_out(&words, plan);
    } else {
        tl_power_add_no_loops(&words, plan);
    }
    tl_text_add(&words, "");
    tl_report_add_prose(page, tl_text_take(&words));
}

void tl_report_add_power(tl_text* page, const tl_report* report) {
    const tl_power_plan* plan = report->power;
    if (!plan) {
        tl_html_say(page, "<p>The rig's file says nothing of its power.</p>\n");
        return;
    }
    tl_report_add_paragraph(page, tl_power_verdict(plan));
    add_changes(page, plan);
    add_assignment(page, plan);
    add_findings(page, plan);
    tl_html_say(page, "<h3>Mains and heat</h3>\n");
    tl_report_add_table(page, tl_power_supplies_table(plan),
                        "What each supply gives, and its heat");
    if (plan->mains_count)
        tl_report_add_table(page, tl_power_mains_table(plan), "Which mains it can be plugged into");
    add_loops(page, plan);
    tl_html_say(page, "<h3>The rules, and what is assumed</h3>\n<div class=\"small\">\n");
    tl_text terms = {0};
    tl_power_add_terms(&terms, plan);
    char* text = tl_text_take(&terms);
    const char* points = text; // its heading stands above
    while (*points && *points != '-')
        ++points;
    tl_html_add_prose(page, points);
    free(text);
    tl_text_add(page, "</div>\n");
}

static void add_joints(tl_text* page, const tl_dress* dress) {
    tl_text points = {0};
    tl_html_say(page, "<h3>Joints</h3>\n");
    if (!dress->joints.count) {
        tl_html_say(page, "<p>The rig's file names no plug joints (\xe2\x80\x9c"
                          "contact\xe2\x80\x9d) in the "
                          "signal's path.</p>\n");
        return;
    }
    tl_report_add_table(page, tl_dress_joints_table(&dress->joints),
                        "The joints that the signal passes");
    for (size_t i = 0; i < dress->joints.kind_count; ++i)
        if (dress->joints.kinds[i].count == 1 && *dress->joints.kinds[i].where)
            tl_html_say(page, "<p>The one \xe2\x80\x9c@s\xe2\x80\x9d is that of @s.</p>\n",
                        dress->joints.kinds[i].name, dress->joints.kinds[i].where);
    tl_dress_add_joint_points(&points, dress);
    tl_report_add_prose(page, tl_text_take(&points));
}

static void add_runs(tl_text* page, const tl_dress* dress) {
    tl_text words = {0};
    tl_report_add_table(page, tl_dress_lies_table(dress), "Which lead runs beside what");
    if (tl_dress_measured(dress)) {
        tl_dress_add_floor(&words, dress);
        tl_report_add_prose(page, tl_text_take(&words));
        tl_report_add_table(page, tl_dress_levels_table(dress),
                            "What arrives of it at the amp, against the rig's own noise");
    }
    tl_dress_add_points(&words, dress);
    tl_text_add(&words, "");
    tl_report_add_prose(page, tl_text_take(&words));
    if (tl_dress_leaking(dress)) {
        tl_report_add_table(page, tl_dress_leaks_table(dress),
                            "Leads of the rig beside each other");
        tl_dress_add_leak_points(&words, dress);
        tl_report_add_prose(page, tl_text_take(&words));
    }
}

void tl_report_add_leads(tl_text* page, const tl_report* report) {
    const tl_dress* dress = report->dress;
    if (dress->run_count)
        add_runs(page, dress);
    else
        tl_html_say(page,
                    "<p>The rig's file says nothing of how its leads lie beside others.</p>\n");
    add_joints(page, dress);
    if (!dress->run_count)
        return;
    tl_text assumed = {0};
    tl_html_say(page, "<h3>What is assumed of the leads</h3>\n<div class=\"small\">\n");
    tl_dress_add_assumptions(&assumed, dress);
    tl_report_add_prose(page, tl_text_take(&assumed));
    tl_text_add(page, "</div>\n");
}

// SPDX-License-Identifier: GPL-3.0-or-later
// The board to build: its drawing, what to cut, what it takes, and how it is held.
#include "show/build.h"
#include "show/build_bill.h"
#include "show/report.h"

#include <stdlib.h>

// Room for the drawing on a sheet of A4 or Letter that lies on its side, heading and caption left.
static const double room_width_m = 0.246, room_height_m = 0.145;

static void add_none(tl_text* page) {
    tl_html_say(page,
                "<p>The rig's file says nothing of a board and where things stand on it.</p>\n");
}

void tl_report_add_drawing(tl_text* page, const tl_report* report) {
    const tl_build* build = report->build;
    if (!build) {
        add_none(page);
        return;
    }
    const tl_drawing_options options = {.prefix = "board-",
                                        .room_width_m = room_width_m,
                                        .room_height_m = room_height_m,
                                        .no_cut_list = true};
    char* svg = NULL;
    tl_error* trouble = tl_error_new();
    if (tl_build_drawing(build, &options, &svg, trouble) == TL_OK)
        tl_text_addf(
            page,
            "<figure class=\"board\"><div class=\"wide\" role=\"region\" tabindex=\"0\" "
            "aria-label=\"The board from above\">\n%s</div>\n<figcaption>The board from "
            "above, as the player stands before it. The numbers are those of the cut list. "
            "Printed at 100 %% it is to scale.</figcaption></figure>\n",
            svg);
    else
        tl_html_say(page, "<p>It could not be drawn: @s.</p>\n", tl_error_text(trouble));
    free(svg);
    tl_error_free(trouble);
}

static void add_findings(tl_text* page, const tl_build* build) {
    static const char* const classes[] = {"mend", "mind", "fine"};
    if (!build->finding_count) {
        tl_html_say(page, "<p>Nothing stands in the way.</p>\n");
        return;
    }
    tl_html_say(page, "<h3>What to know before it is built</h3>\n<ul class=\"findings\">\n");
    for (size_t i = 0; i < build->finding_count; ++i)
        tl_html_say(page, "<li><span class=\"mark @s\">@s</span> @s</li>\n",
                    classes[build->findings[i].gravity],
                    tl_build_gravity_word(build->findings[i].gravity), build->findings[i].words);
    tl_text_add(page, "</ul>\n");
}

void tl_report_add_cut_list(tl_text* page, const tl_report* report) {
    const tl_build* build = report->build;
    if (!build) {
        add_none(page);
        return;
    }
    tl_report_add_paragraph(page, tl_build_headline(build));
    for (int dc = 0; dc < 2; ++dc) {
        tl_table* table = tl_build_leads_table(build, dc);
        if (table)
            tl_report_add_table(page, table, dc ? "DC leads to cut" : "Audio leads to cut");
    }
    tl_text words = {0};
    tl_build_add_totals(&words, build);
    tl_build_add_terms(&words);
    tl_report_add_prose(page, tl_text_take(&words));
    add_findings(page, build);
}

void tl_report_add_bill(tl_text* page, const tl_report* report) {
    const tl_build* build = report->build;
    if (!build) {
        add_none(page);
        return;
    }
    if (build->hold_count) {
        char* about = tl_build_holds_words(build);
        tl_report_add_table(page, tl_build_holds_table(build), about);
        free(about);
    } else {
        tl_html_say(page, "<p>The rig's file says nothing of how things are held.</p>\n");
    }
    if (build->line_count) {
        tl_text notes = {0};
        tl_report_add_table(page, tl_build_bill_table(build), "What it takes, and what to buy");
        tl_build_add_bill_notes(&notes, build);
        tl_text_add(&notes, "");
        tl_report_add_prose(page, tl_text_take(&notes));
    }
    if (build->reel_count)
        tl_report_add_table(page, tl_build_reels_table(build), "Which lead is cut off which piece");
    if (!build->assumed_count)
        return;
    tl_html_say(page, "<h3>What the board is reckoned with</h3>\n<ul class=\"small\">\n");
    for (size_t i = 0; i < build->assumed_count; ++i)
        tl_html_say(page, "<li>@s</li>\n", build->assumed[i]);
    tl_text_add(page, "</ul>\n");
}

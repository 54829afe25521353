// SPDX-License-Identifier: GPL-3.0-or-later
// The bench card as part of the page: what a meter must read, with room to write.
#include "show/meter.h"
#include "show/report.h"

#include <stdlib.h>

static void add_steps(tl_text* page, const tl_meter_card* card) {
    const char* words = NULL;
    tl_html_say(page, "<p class=\"fill\"><span>Board, serial no.: <i></i></span> <span>Date: "
                      "<i></i></span> <span>Measured by: <i></i></span> <span>Meters: "
                      "<i></i></span></p>\n"
                      "<h3>Order of work</h3>\n<ol class=\"steps\">\n");
    for (size_t i = 0; (words = tl_meter_step(card, i)); ++i)
        tl_html_say(page, "<li>@s</li>\n", words);
    tl_text_add(page, "</ol>\n");
}

static void add_leads(tl_text* page, const tl_meter_card* card) {
    tl_text words = {0};
    if (!card->lead_count)
        return;
    tl_html_say(page, "<h3>Leads, by themselves</h3>\n");
    tl_report_add_table(page, tl_meter_leads_table(card),
                        "Capacitance and insulation with the far end open, resistance with it "
                        "shorted");
    tl_html_say(page, "<p class=\"small\">A usual meter cannot tell less than 0.1 to 0.2 ohm: of a "
                      "lead that passes, it says no more than \xe2\x80\x9c"
                      "closed\xe2\x80\x9d.</p>\n");
    tl_meter_add_worn(&words, card);
    tl_report_add_prose(page, tl_text_take(&words));
    tl_report_add_table(page, tl_meter_continuity_table(card), "Continuity, plug to plug");
    tl_meter_add_crossed(&words, card);
    tl_text_add(&words, "");
    tl_report_add_prose(page, tl_text_take(&words));
}

static void add_supplies(tl_text* page, const tl_meter_card* card) {
    tl_text words = {0};
    tl_html_say(page, "<h3>DC, at the plug of each pedal</h3>\n");
    if (card->supply_count)
        tl_report_add_table(page, tl_meter_supplies_table(card), "Volts at each DC plug");
    tl_meter_add_supply_words(&words, card);
    tl_text_add(&words, "");
    tl_report_add_prose(page, tl_text_take(&words));
}

static void add_levels(tl_text* page, const tl_meter_card* card) {
    const char* note = NULL;
    tl_html_say(page, "<h3>Level of the whole</h3>\n");
    tl_report_add_paragraph(page, tl_meter_setup_words(card));
    for (size_t i = 0; i < card->state_count; ++i) {
        char* state = tl_meter_state_words(card, &card->states[i]);
        char* about = tl_printf("In dB against the generator's open output: %s", state);
        tl_report_add_table(page, tl_meter_levels_table(card, &card->states[i]), about);
        free(about);
        free(state);
    }
    tl_report_add_paragraph(page, tl_meter_limit_words(card));
    for (size_t i = 0; (note = tl_meter_note(card, i)); ++i)
        tl_html_say(page, "<p>@s</p>\n", note);
}

void tl_report_add_card(tl_text* page, const tl_report* report) {
    const tl_meter_card* card = report->card;
    if (!card) {
        tl_html_say(page, "<p>No card could be made of this rig: @s.</p>\n", report->no_card);
        return;
    }
    add_steps(page, card);
    add_leads(page, card);
    add_supplies(page, card);
    add_levels(page, card);
    if (card->assumed_count) {
        tl_html_say(page, "<h3>What the card takes where the rig does not say</h3>\n"
                          "<ul class=\"small\">\n");
        for (size_t i = 0; i < card->assumed_count; ++i)
            tl_html_say(page, "<li>@s</li>\n", card->assumed[i]);
        tl_text_add(page, "</ul>\n");
    }
    tl_html_say(page, "<p class=\"fill end\"><span>All within limits: yes / no.</span> "
                      "<span>Exceptions: <i></i></span> <span>Signed: <i></i></span> <span>Checked "
                      "by: <i></i></span></p>\n");
}

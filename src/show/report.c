// SPDX-License-Identifier: GPL-3.0-or-later
// A report as one page that needs nothing but itself: no network, no script, no other file.
#include "show/report.h"

#include "base/locale.h"

#include <stdlib.h>

/// A section of the page.
typedef struct {
    const char* id;
    const char* title;
    void (*add)(tl_text* page, const tl_report* report);
} section;

static const section sections[] = {
    {"tone", "What it is held against, and what is delivered", tl_report_add_start},
    {"states", "With pedals on and off", tl_report_add_states},
    {"noise", "What hisses", tl_report_add_noise},
    {"power", "Power", tl_report_add_power},
    {"leads", "What the leads pick up", tl_report_add_leads},
    {"board", "The board to scale", tl_report_add_drawing},
    {"cuts", "What to cut", tl_report_add_cut_list},
    {"bill", "How it is held, and what it takes", tl_report_add_bill},
    {"card", "What the meter must read", tl_report_add_card},
    {"service", "Looking after it", tl_report_add_service},
    {"cautions", "Cautions", tl_report_add_cautions},
    {"sources", "For the file: where every value comes from", tl_report_add_sources},
};
enum { SECTIONS = sizeof sections / sizeof *sections };

/// A page is HTML and well-formed XML at once. Its policy forbids everything that is not in it.
static void open_page(tl_text* page, const char* title, tl_paper paper) {
    static const char* const sizes[] = {"", "@page{size:A4}\n@page board{size:A4 landscape}\n",
                                        "@page{size:letter}\n@page board{size:letter landscape}\n"};
    tl_text_add(page, "<!DOCTYPE html>\n<html lang=\"en\" xmlns=\"http://www.w3.org/1999/xhtml\">\n"
                      "<head>\n<meta charset=\"utf-8\"/>\n"
                      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                      "style-src 'unsafe-inline'; img-src data:\"/>\n"
                      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
                      "<title>");
    tl_html_add(page, title);
    tl_text_add(page, ": report</title>\n<link rel=\"icon\" href=\"data:,\"/>\n<style>\n");
    tl_text_add(page, tl_html_style);
    tl_text_add(page, tl_report_style);
    tl_text_add(page, sizes[paper]);
    tl_text_add(page, "</style>\n</head>\n<body>\n<main>\n");
}

static void add_contents(tl_text* page) {
    tl_text_add(page,
                "<nav aria-labelledby=\"contents\">\n<h2 id=\"contents\">Contents</h2>\n<ol>\n");
    for (size_t i = 0; i < SECTIONS; ++i)
        tl_html_say(page, "<li><a href=\"#@s\">@s</a></li>\n", sections[i].id, sections[i].title);
    tl_text_add(page, "</ol>\n</nav>\n");
}

/// What tells one copy from another. The day is left to be written in: the same rig gives the same
/// page on any day.
static void add_cover(tl_text* page, const tl_report* report) {
    tl_html_say(page,
                "<p class=\"cover\">Rig file: @s. Computed by toneload @s.</p>\n"
                "<p class=\"fill\"><span>Built by: <i></i></span> <span>Date: <i></i></span> "
                "<span>Serial no.: <i></i></span></p>\n",
                report->file, tl_version());
}

char* tl_report_page(const tl_report* report, tl_paper paper) {
    tl_locale locale = tl_locale_plain();
    tl_text page = {0};
    open_page(&page, report->rig, paper);
    tl_text_add(&page, "<h1>");
    tl_html_add(&page, report->rig);
    tl_text_add(&page, "</h1>\n<p class=\"rig\">What this rig does to the guitar, how it is built, "
                       "and how to look after it</p>\n");
    add_cover(&page, report);
    tl_report_add_glance(&page, report);
    add_contents(&page);
    for (size_t i = 0; i < SECTIONS; ++i) {
        bool sheet = sections[i].add == tl_report_add_drawing && report->build; // one of its own
        tl_html_say(&page, "<section id=\"@s\" class=\"@s\">\n<h2>@n. @s</h2>\n", sections[i].id,
                    sheet ? "sheet" : "flow", i + 1, sections[i].title);
        tl_text words = {0};
        tl_text_add(&words, "");
        sections[i].add(&words, report);
        if (sections[i].add == tl_report_add_sources) // it tells the paths of the rig's file
            tl_text_add(&page, tl_text_get(&words));
        else
            tl_report_add_named(&page, report, tl_text_get(&words));
        tl_text_free(&words);
        tl_text_add(&page, "</section>\n");
    }
    tl_text_add(&page, "</main>\n</body>\n</html>\n");
    tl_locale_restore(locale);
    return tl_text_take(&page);
}

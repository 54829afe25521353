// SPDX-License-Identifier: GPL-3.0-or-later
// Where every value comes from, and the cautions: the end of a report.
#include "show/report.h"

#include <stdlib.h>
#include <string.h>

static size_t count_marked(const tl_inspection* found, const char* mark) {
    size_t count = 0;
    for (size_t i = 0; i < found->count; ++i)
        count += strstr(found->rows[i].origin, mark) != NULL;
    return count;
}

/// A value with its tolerance: "100 pF/m +-8 %", in brackets when it is the library's for values
/// of its kind.
static char* value_words(const tl_listing* row) {
    if (!row->distribution)
        return tl_copy(row->value);
    bool uniform = strcmp(row->distribution, "uniform") == 0;
    return tl_printf(row->tolerance_by_default ? "%s (\xc2\xb1%.4g %%%s)" : "%s \xc2\xb1%.4g %%%s",
                     row->value, 100 * row->tolerance, uniform ? " uniform" : "");
}

static bool begins_part(const tl_inspection* found, size_t i) {
    const tl_listing* row = &found->rows[i];
    return !i || strcmp(row->part, row[-1].part) != 0 || strcmp(row->about, row[-1].about) != 0;
}

/// One row group a part: its heading, then its values.
static void add_values(tl_text* page, const tl_inspection* found) {
    static const char caption[] = "Every value, by part";
    tl_html_say(
        page,
        "<div class=\"wide sources\" role=\"region\" tabindex=\"0\" aria-label=\"@s\">"
        "<table class=\"long\"><caption>@s</caption>\n<thead><tr><th scope=\"col\">value of</th>"
        "<th scope=\"col\">value</th><th scope=\"col\">where it comes from</th></tr></thead>\n",
        caption, caption);
    for (size_t i = 0; i < found->count; ++i) {
        const tl_listing* row = &found->rows[i];
        if (begins_part(found, i))
            tl_html_say(page,
                        "@s<tbody>\n<tr><th class=\"part\" colspan=\"3\" scope=\"rowgroup\">@s: "
                        "@s</th></tr>\n",
                        i ? "</tbody>\n" : "", row->part, row->about);
        char* value = value_words(row);
        tl_html_say(page, "<tr><th scope=\"row\">@s</th><td>@s</td><td>@s</td></tr>\n", row->field,
                    value, row->origin);
        free(value);
    }
    tl_text_add(page, found->count ? "</tbody></table></div>\n" : "</table></div>\n");
}

void tl_report_add_sources(tl_text* page, const tl_report* report) {
    const tl_inspection* found = report->found;
    tl_html_say(
        page,
        "<p>This report rests on @n values. @n of them are marked \xe2\x80\x9c"
        "from memory\xe2\x80\x9d: plausible for such a part, and no more; @n are common practice. "
        "Where such a value matters, measure it and put it into the rig's file. Tolerances in "
        "brackets are the library's, for values that state none.</p>\n",
        found->count, count_marked(found, "from memory"), count_marked(found, "common practice"));
    double residual = 0;
    for (size_t i = 0; i < report->answer->count; ++i)
        if (report->answer->solved[i].residual > residual)
            residual = report->answer->solved[i].residual;
    char* met = tl_printf("%.0e", residual);
    tl_html_say(
        page,
        "<p>The tone was solved with ngspice at @n frequencies; frequencies held out of the "
        "fits were met to @s. Strings, fingers, amp and loudspeaker are not in it.</p>\n",
        report->answer->solves, met);
    free(met);
    if (found->remark_count) {
        tl_html_say(page, "<p>What looks unusual in the file (rules of thumb, common "
                          "practice):</p>\n<ul>\n");
        for (size_t i = 0; i < found->remark_count; ++i)
            tl_html_say(page, "<li>@s</li>\n", found->remarks[i]);
        tl_text_add(page, "</ul>\n");
    }
    add_values(page, found);
}

void tl_report_add_cautions(tl_text* page, const tl_report* report) {
    (void)report;
    char* text = tl_cautions_text(TL_CAUTIONS_ALL);
    const char* points = strchr(text, '\n'); // its heading stands above
    tl_html_add_prose(page, points ? points + 1 : text);
    free(text);
}

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

static const char library_mark[] = "library part ";

/// The library part that a value is of, up to a colon; NULL: the value is not the library's.
static const char* library_part(const tl_listing* row) {
    const char* at = strstr(row->origin, library_mark);
    return at ? at + strlen(library_mark) : NULL;
}

static size_t name_size(const char* part) {
    return strcspn(part, ":");
}

/// Length of the kind's name, with which `about` begins.
static size_t kind_size(const tl_listing* row) {
    return strcspn(row->about, " ,:");
}

/// Whether two values are of one library part.
static bool share_part(const tl_listing* a, const tl_listing* b) {
    const char* one = library_part(a);
    const char* two = library_part(b);
    return one && two && name_size(one) == name_size(two) &&
           strncmp(one, two, name_size(one)) == 0 && kind_size(a) == kind_size(b) &&
           strncmp(a->about, b->about, kind_size(a)) == 0;
}

/// Whether a value of a library part stands in an earlier row already.
static bool is_said(const tl_inspection* found, size_t first, size_t which) {
    const tl_listing* row = &found->rows[which];
    for (size_t i = first; i < which; ++i)
        if (share_part(&found->rows[i], row) && strcmp(found->rows[i].field, row->field) == 0 &&
            strcmp(found->rows[i].value, row->value) == 0)
            return true;
    return false;
}

static void add_value(tl_text* page, const tl_listing* row, const char* field, const char* origin) {
    char* value = value_words(row);
    tl_html_say(page, "<tr><th scope=\"row\">@s</th><td>@s</td><td>@s</td></tr>\n", field, value,
                origin);
    free(value);
}

static void open_table(tl_text* page, const char* caption, const char* first, const char* last) {
    tl_html_say(page,
                "<div class=\"wide sources\" role=\"region\" tabindex=\"0\" "
                "aria-label=\"@s\"><table class=\"long\"><caption>@s</caption>\n<thead><tr>"
                "<th scope=\"col\">@s</th><th scope=\"col\">value</th>"
                "<th scope=\"col\">@s</th></tr></thead>\n",
                caption, caption, first, last);
}

static void close_table(tl_text* page) {
    tl_text_add(page, "</table></div>\n");
}

/// A library part: who is one, then its values, each once.
static void add_part(tl_text* page, const tl_inspection* found, size_t first) {
    const tl_listing* row = &found->rows[first];
    char* name = tl_printf("%.*s %.*s", (int)kind_size(row), row->about,
                           (int)name_size(library_part(row)), library_part(row));
    tl_html_say(page,
                "<tbody>\n<tr><th class=\"part\" colspan=\"3\" scope=\"rowgroup\">@s: ", name);
    const char* last = "";
    for (size_t i = first; i < found->count; ++i)
        if (share_part(row, &found->rows[i]) && strcmp(last, found->rows[i].part) != 0) {
            tl_html_say(page, "@s@s", *last ? ", " : "", found->rows[i].part);
            last = found->rows[i].part;
        }
    tl_text_add(page, "</th></tr>\n");
    for (size_t i = first; i < found->count; ++i) {
        const char* part = library_part(&found->rows[i]);
        if (!share_part(row, &found->rows[i]) || is_said(found, first, i))
            continue;
        const char* source = part + name_size(part);
        add_value(page, &found->rows[i], found->rows[i].field, source + strspn(source, ": "));
    }
    tl_text_add(page, "</tbody>\n");
    free(name);
}

/// What the paths below are called on the board.
static void add_bridge(tl_text* page, const tl_report* report) {
    if (!report->where_count)
        return;
    tl_html_say(page, "<p>The rig\xe2\x80\x99s file numbers what is in the chain. On the board and "
                      "the cut list that is:</p>\n<ul class=\"bridge\">\n");
    for (size_t i = 0; i < report->where_count; ++i)
        tl_html_say(page, "<li>@s: @s</li>\n", report->wheres[i].path, report->wheres[i].words);
    tl_text_add(page, "</ul>\n");
}

static bool begins_part(const tl_inspection* found, size_t which) {
    for (size_t i = 0; i < which; ++i)
        if (share_part(&found->rows[i], &found->rows[which]))
            return false;
    return library_part(&found->rows[which]) != NULL;
}

/// First what the rig's file says itself, then the library's parts, each once however many there
/// are of it.
static void add_values(tl_text* page, const tl_inspection* found) {
    open_table(page, "What the rig's file says itself, and what follows from it", "value of",
               "where");
    tl_text_add(page, "<tbody>\n");
    for (size_t i = 0; i < found->count; ++i)
        if (!library_part(&found->rows[i])) {
            char* field = tl_printf("%s %s", found->rows[i].part, found->rows[i].field);
            add_value(page, &found->rows[i], field, found->rows[i].origin);
            free(field);
        }
    tl_text_add(page, "</tbody>");
    close_table(page);
    open_table(page, "What parts of the library say, and where the library has it from", "value of",
               "source");
    for (size_t i = 0; i < found->count; ++i)
        if (begins_part(found, i))
            add_part(page, found, i);
    close_table(page);
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
    add_bridge(page, report);
    add_values(page, found);
}

void tl_report_add_cautions(tl_text* page, const tl_report* report) {
    (void)report;
    char* text = tl_cautions_text(TL_CAUTIONS_ALL);
    const char* points = strchr(text, '\n'); // its heading stands above
    tl_html_add_prose(page, points ? points + 1 : text);
    free(text);
}

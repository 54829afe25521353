// SPDX-License-Identifier: GPL-3.0-or-later
// What the sections of a report have in common.
#include "show/report.h"

#include "show/noise.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void tl_report_add_mark(tl_text* page, tl_report_mark mark) {
    static const char* const marks[] = {"<span class=\"mark fine\">fine</span>",
                                        "<span class=\"mark mind\">mind this</span>",
                                        "<span class=\"mark mend\">to mend</span>"};
    tl_text_add(page, marks[mark]);
}

void tl_report_add_table(tl_text* page, tl_table* table, const char* about) {
    tl_html_add_table(page, table, about);
    tl_table_free(table);
}

void tl_report_add_prose(tl_text* page, char* text) {
    tl_html_add_prose(page, text);
    free(text);
}

void tl_report_add_paragraph(tl_text* page, char* words) {
    tl_text_add(page, "<p>");
    tl_html_add(page, words);
    tl_text_add(page, "</p>\n");
    free(words);
}

char* tl_report_written_words(const tl_report* report) {
    return *report->written ? tl_printf("as its file has it, with %s on", report->written)
                            : tl_copy("as its file has it, with everything off");
}

size_t tl_report_worst_amp(const tl_answer* answer) {
    size_t worst = 0;
    for (size_t i = 2; i + 1 < answer->count; i += 2)
        if (tl_hearing_size(&answer->solved[i].hearing) >
            tl_hearing_size(&answer->solved[worst].hearing))
            worst = i;
    return worst;
}

const char* tl_report_region(double hz) {
    return hz < 120    ? "the lowest notes"
           : hz < 300  ? "the bass"
           : hz < 800  ? "the low mids"
           : hz < 2000 ? "the mids"
           : hz < 5000 ? "the high mids"
                       : "the top end";
}

double tl_report_hiss_db(const tl_noise* noise, size_t* amp) {
    double most_db = -INFINITY;
    *amp = 0;
    for (size_t i = 0; i < noise->amp_count; ++i) {
        double db = tl_noise_more_db(noise, i);
        if (db > most_db) {
            most_db = db;
            *amp = i;
        }
    }
    return most_db;
}

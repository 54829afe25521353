// SPDX-License-Identifier: GPL-3.0-or-later
// What the sections of a report have in common.
#include "show/report.h"

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

void tl_report_cell(tl_table* table, char* words) {
    tl_table_words(table, words);
    free(words);
}

void tl_report_number(tl_table* table, double number, char* shown) {
    tl_table_number(table, number, shown);
    free(shown);
}

char* tl_report_state_words(const char* scene, char* const* pedals, const bool* engaged,
                            size_t count) {
    tl_text words = {0};
    bool any = false;
    if (scene)
        tl_text_addf(&words, "%s: ", scene);
    for (size_t i = 0; i < count; ++i)
        if (engaged[i]) {
            tl_text_addf(&words, "%s%s", any ? " + " : "", pedals[i]);
            any = true;
        }
    tl_text_add(&words, any ? "" : "all off");
    return tl_text_take(&words);
}

char* tl_report_written_words(const tl_report* report) {
    return *report->written ? tl_printf("as its file has it, with %s on", report->written)
                            : tl_copy("as its file has it, with everything off");
}

double tl_report_heard(const tl_hearing* hearing) {
    return fmax(fabs(hearing->worst_db), hearing->peak_shift_steps); // fmax() passes NAN over
}

size_t tl_report_worst_amp(const tl_answer* answer) {
    size_t worst = 0;
    for (size_t i = 2; i + 1 < answer->count; i += 2)
        if (tl_report_heard(&answer->solved[i].hearing) >
            tl_report_heard(&answer->solved[worst].hearing))
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

double tl_report_below_db(const tl_noise_at* at) {
    return 20 * log10(at->signal_v / at->a_weighted_v);
}

double tl_report_hiss_db(const tl_noise* noise, size_t* amp) {
    double most_db = -INFINITY;
    *amp = 0;
    for (size_t i = 0; i < noise->amp_count; ++i) {
        double db = tl_report_below_db(&noise->direct[i]) - tl_report_below_db(&noise->rig[i]);
        if (db > most_db) {
            most_db = db;
            *amp = i;
        }
    }
    return most_db;
}

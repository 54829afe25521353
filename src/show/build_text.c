// SPDX-License-Identifier: GPL-3.0-or-later
// A board to build for people: the cut list first, then what does not fit, then what was assumed.
#include "show/build.h"
#include "show/build_bill.h"
#include "show/cells.h"
#include "show/wrap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_dc(const tl_build_lead* lead) {
    return strcmp(lead->kind, "dc") == 0;
}

tl_build_totals tl_build_sum(const tl_build* build) {
    tl_build_totals totals = {0};
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        if (is_dc(lead)) {
            ++totals.dc;
            totals.dc_cut_m += isnan(lead->cut_m) ? 0 : lead->cut_m;
        } else if (lead->on_board) {
            ++totals.patches;
            totals.patch_m += lead->length_m;
            totals.patch_cut_m += lead->cut_m;
            totals.patch_farad += lead->farad;
        } else {
            ++totals.others;
            totals.others_cut_m += lead->cut_m;
        }
    }
    return totals;
}

size_t tl_build_count(const tl_build* build, tl_build_gravity gravity) {
    size_t count = 0;
    for (size_t i = 0; i < build->finding_count; ++i)
        count += build->findings[i].gravity == gravity;
    return count;
}

/// "184 mm"; "4.2 m" from 2 m on; "" when there is none.
static char* length_words(double metres) {
    return isnan(metres) ? tl_copy("")
           : metres < 2  ? tl_printf("%.0f mm", 1e3 * metres)
                         : tl_printf("%.4g m", metres);
}

static void add_length(tl_table* table, double metres) {
    tl_table_take_number(table, metres, length_words(metres));
}

static const char* plug_word(const tl_build_end* end) {
    return *end->plug ? end->plug : "its own";
}

char* tl_build_headline(const tl_build* build) {
    size_t errors = tl_build_count(build, TL_BUILD_ERROR);
    size_t warnings = tl_build_count(build, TL_BUILD_WARNING);
    return errors ? tl_printf(
                        "It does not fit yet: %zu error%s below. Board %.4g x %.4g cm, %zu leads.",
                        errors, errors == 1 ? "" : "s", 100 * build->width_m, 100 * build->depth_m,
                        build->lead_count)
                  : tl_printf("It fits%s. Board %.4g x %.4g cm, %zu things on it, %zu leads.",
                              warnings ? ", with something to look at below" : "",
                              100 * build->width_m, 100 * build->depth_m, build->box_count,
                              build->lead_count);
}

tl_table* tl_build_leads_table(const tl_build* build, bool dc) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "\nno.", "number");
    tl_table_column(table, "\nfrom", "from");
    tl_table_column(table, "\nto", "to");
    tl_table_column(table, "\ntype", "type");
    tl_table_column(table, "\nplugs", "plugs");
    tl_table_column(table, "\nroute", "route_m");
    tl_table_column(table, "\nslack", "slack_m");
    tl_table_column(table, "\nfinished", "length_m");
    tl_table_column(table, "\ncut", "cut_m");
    size_t count = 0;
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        if (is_dc(lead) != dc)
            continue;
        ++count;
        tl_table_row(table);
        tl_table_take_number(table, (double)lead->number, tl_printf("%zu", lead->number));
        tl_table_words(table, lead->from.name);
        tl_table_words(table, lead->to.name);
        tl_table_words(table, *lead->type ? lead->type : "its own");
        bool alike = strcmp(lead->from.plug, lead->to.plug) == 0;
        tl_table_take_words(
            table, lead->from.joined ? tl_printf("joined, %s", plug_word(&lead->to))
                   : alike           ? tl_printf("2 %s", plug_word(&lead->from))
                           : tl_printf("%s, %s", plug_word(&lead->from), plug_word(&lead->to)));
        add_length(table, lead->route_m);
        add_length(table, lead->slack_m);
        add_length(table, lead->length_m);
        add_length(table, lead->cut_m);
    }
    if (count)
        return table;
    tl_table_free(table);
    return NULL;
}

/// The cut list of one kind of lead.
static void add_leads(tl_text* text, const tl_build* build, bool dc) {
    tl_table* table = tl_build_leads_table(build, dc);
    if (!table)
        return;
    tl_text_addf(text, "\n%s\n", dc ? "DC leads" : "Audio leads");
    tl_text_take_table(text, table);
}

void tl_build_add_totals(tl_text* text, const tl_build* build) {
    tl_build_totals totals = tl_build_sum(build);
    tl_text words = {0};
    if (totals.patches) {
        char* farad = tl_show_value(totals.patch_farad, "F", "");
        tl_text_addf(&words, "%zu patch lead%s, %.2f m finished (%s), %.2f m to cut",
                     totals.patches, totals.patches == 1 ? "" : "s", totals.patch_m, farad,
                     totals.patch_cut_m);
        free(farad);
    }
    if (totals.others)
        tl_text_addf(&words, "%s%zu lead%s off the board, %.2f m to cut", words.size ? "; " : "",
                     totals.others, totals.others == 1 ? "" : "s", totals.others_cut_m);
    if (totals.dc)
        tl_text_addf(&words, "%s%zu DC lead%s, %.2f m to cut", words.size ? "; " : "", totals.dc,
                     totals.dc == 1 ? "" : "s", totals.dc_cut_m);
    if (words.size) {
        tl_text_add(&words, ".");
        tl_text_add(text, "\n");
        tl_wrap_words(text, tl_text_get(&words), 0, 0);
    }
    tl_text_free(&words);
    if (build->no_dc) {
        char* why = tl_printf("No DC leads: %s.", build->no_dc);
        tl_text_take_paragraph(text, why);
    }
}

void tl_build_add_terms(tl_text* text) {
    tl_wrap_words(
        text,
        "The route is along the middle of the lead from where it leaves one plug to where "
        "it leaves the other, bends counted as arcs; finished is that and the slack; cut "
        "is finished and what ends inside the plugs.",
        0, 0);
}

void tl_build_add_findings(tl_text* text, const tl_build* build, tl_build_gravity least) {
    static const char* const heads[] = {"ERROR   ", "warning ", "note    "};
    size_t count = 0;
    while (count < build->finding_count && build->findings[count].gravity <= least)
        ++count;
    if (!count)
        return;
    tl_text_addf(text, "\nWhat to know%s\n",
                 tl_build_count(build, TL_BUILD_ERROR) ? ": do not cut it like this" : "");
    for (size_t i = 0; i < count; ++i) {
        tl_text_add(text, heads[build->findings[i].gravity]);
        tl_wrap_words(text, build->findings[i].words, 8, 8);
    }
}

static void add_assumed(tl_text* text, const tl_build* build) {
    tl_text_add(text, "\nReckoned with\n");
    for (size_t i = 0; i < build->assumed_count; ++i)
        tl_wrap_point(text, build->assumed[i]);
}

char* tl_build_text(const tl_build* build) {
    tl_text text = {0};
    tl_text_add_safe(&text, build->rig);
    tl_text_add(&text, "\n\n");
    char* verdict = tl_build_headline(build);
    tl_text_take_paragraph(&text, verdict);
    add_leads(&text, build, false);
    add_leads(&text, build, true);
    tl_build_add_totals(&text, build);
    tl_build_add_terms(&text);
    tl_build_add_findings(&text, build, TL_BUILD_NOTE);
    tl_build_add_holds(&text, build);
    tl_build_add_bill(&text, build);
    add_assumed(&text, build);
    char* cautions = tl_cautions_text(TL_BUILD_CAUTIONS);
    tl_text_addf(&text, "\n%s", cautions);
    free(cautions);
    return tl_text_take(&text);
}

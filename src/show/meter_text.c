// SPDX-License-Identifier: GPL-3.0-or-later
// A bench card for people: to print, carry to the bench and write on.
#include "show/cells.h"
#include "show/meter.h"
#include "show/wrap.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char box[] = "______";
static const char small_box[] = "_____"; ///< of a table with three of them
static const char tick[] = "[ ]";

static void add_read(tl_table* table) {
    tl_table_words(table, box);
}

static void add_head(tl_text* text, const tl_meter_card* card) {
    tl_text_add_safe(text, card->rig);
    tl_text_add(text, "\nBench card: what the meter must read\n\n"
                      "Board, serial no. ______________________________   Date ________________\n"
                      "Measured by ____________________________________   Meters ______________"
                      "________________\n\nOrder of work\n");
    const char* words = NULL;
    for (size_t i = 0; (words = tl_meter_step(card, i)); ++i) {
        tl_text_addf(text, "%s %2zu ", tick, i + 1);
        tl_wrap_words(text, words, 7, 7);
    }
}

// ---- leads

/// Picofarads: a patch lead's tenths, a long lead's whole ones.
static char* pf_words(double farad) {
    double pf = 1e12 * farad;
    return isnan(farad) ? tl_copy("") : tl_printf(pf < 99.95 ? "%.1f" : "%.0f", pf);
}

/// "8.55 to 9.45". Takes its words over.
static char* range_words(char* low, const char* between, char* high) {
    char* words = tl_printf("%s%s%s", low, between, high);
    free(low);
    free(high);
    return words;
}

static bool any_plugs(const tl_meter_card* card) {
    for (size_t i = 0; i < card->lead_count; ++i)
        if (*card->leads[i].plugs[0] || *card->leads[i].plugs[1])
            return true;
    return false;
}

static char* metres_words(double m) {
    return m < 0.9995 ? tl_printf("%.3g cm", 100 * m) : tl_printf("%.4g m", m);
}

static void add_lead(tl_table* table, const tl_meter_lead* lead) {
    bool audio = strcmp(lead->kind, "audio") == 0;
    tl_table_row(table);
    tl_table_take_number(table, (double)lead->number, tl_printf("%zu", lead->number));
    tl_table_words(table, lead->from);
    tl_table_words(table, lead->to);
    tl_table_take_number(table, lead->length_m, metres_words(lead->length_m));
    tl_table_take_number(table, lead->farad.expected, pf_words(lead->farad.expected));
    tl_table_take_words(
        table, audio ? range_words(pf_words(lead->farad.low), "-", pf_words(lead->farad.high))
                     : tl_copy(""));
    tl_table_words(table, audio ? small_box : "");
    tl_table_take_number(table, lead->ohm.high, tl_printf("%.2f", lead->ohm.high));
    tl_table_words(table, small_box);
    tl_table_take_number(table, lead->least_insulation_ohm,
                         tl_printf("%.3g", 1e-6 * lead->least_insulation_ohm));
    tl_table_words(table, small_box);
}

tl_table* tl_meter_leads_table(const tl_meter_card* card) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "\nno.", "number");
    tl_table_column(table, "\nfrom", "from");
    tl_table_column(table, "\nto", "to");
    tl_table_column(table, "\nlength", "length_m");
    tl_table_column(table, "\npF", "farad");
    tl_table_column(table, "\nlimits", "limits");
    tl_table_column(table, "\nread", "read");
    tl_table_column(table, "ohm,\nat most", "ohm");
    tl_table_column(table, "\nread", "read");
    tl_table_column(table, "Mohm,\nleast", "insulation");
    tl_table_column(table, "\nread", "read");
    for (size_t i = 0; i < card->lead_count; ++i)
        add_lead(table, &card->leads[i]);
    return table;
}

void tl_meter_add_worn(tl_text* text, const tl_meter_card* card) {
    for (size_t i = 0; i < card->lead_count; ++i) {
        const tl_meter_lead* lead = &card->leads[i];
        if (lead->worn_ohm > 0)
            tl_text_take_paragraph(
                text, tl_printf("The ohm limit of lead %zu holds a worn joint (%s, %.3g "
                                "ohm) that the rig file states. Mend it: the lead then "
                                "reads %.2f ohm at most.",
                                lead->number, lead->worn, lead->worn_ohm, lead->mended_ohm));
    }
}

static void add_leads(tl_text* text, const tl_meter_card* card) {
    if (!card->lead_count)
        return;
    tl_text_add(text, "\nLeads, by themselves: capacitance and insulation with the far end open, "
                      "ohm with it shorted\n\n");
    tl_text_take_table(text, tl_meter_leads_table(card));
    tl_wrap_words(text,
                  "A usual meter cannot tell less than 0.1 to 0.2 ohm: of a lead that passes, it "
                  "says no more than 'closed'.",
                  0, 0);
    tl_meter_add_worn(text, card);
}

/// "tip - tip [ ]  sleeve - sleeve [ ]".
static char* closed_words(const tl_meter_lead* lead) {
    int other = lead->crossed;
    return tl_printf("%s - %s %s  %s - %s %s", lead->contacts[0], lead->far_contacts[other], tick,
                     lead->contacts[1], lead->far_contacts[!other], tick);
}

static char* open_words(const tl_meter_lead* lead) {
    return tl_printf("%s - %s %s", lead->contacts[0], lead->contacts[1], tick);
}

/// "2 flat", "straight, flat".
static char* plug_words(const tl_meter_lead* lead) {
    const char* const* plugs = (const char* const*)lead->plugs;
    return strcmp(plugs[0], plugs[1]) == 0 && *plugs[0]
               ? tl_printf("2 %s", plugs[0])
               : tl_printf("%s%s%s", plugs[0], *plugs[0] && *plugs[1] ? ", " : "", plugs[1]);
}

tl_table* tl_meter_continuity_table(const tl_meter_card* card) {
    bool plugs = any_plugs(card);
    tl_table* table = tl_table_new();
    tl_table_column(table, "no.", "number");
    if (plugs)
        tl_table_column(table, "plugs", "plugs");
    else
        tl_table_column(table, "from", "from");
    if (!plugs)
        tl_table_column(table, "to", "to");
    tl_table_column(table, "closed", "closed");
    tl_table_column(table, "open", "open");
    for (size_t i = 0; i < card->lead_count; ++i) {
        const tl_meter_lead* lead = &card->leads[i];
        tl_table_row(table);
        tl_table_take_number(table, (double)lead->number, tl_printf("%zu", lead->number));
        if (plugs)
            tl_table_take_words(table, plug_words(lead));
        else
            tl_table_words(table, lead->from);
        if (!plugs)
            tl_table_words(table, lead->to);
        tl_table_take_words(table, closed_words(lead));
        tl_table_take_words(table, open_words(lead));
    }
    return table;
}

void tl_meter_add_crossed(tl_text* text, const tl_meter_card* card) {
    for (size_t i = 0; i < card->lead_count; ++i)
        if (card->leads[i].crossed)
            tl_text_take_paragraph(
                text, tl_printf("Lead %zu turns the polarity over, and has to: mark it.",
                                card->leads[i].number));
}

static void add_continuity(tl_text* text, const tl_meter_card* card) {
    if (!card->lead_count)
        return;
    tl_text_add(text, "\nContinuity, plug to plug\n\n");
    tl_text_take_table(text, tl_meter_continuity_table(card));
    tl_meter_add_crossed(text, card);
}

// ---- DC

static char* volts_words(double volts_v) {
    return tl_printf("%.2f", volts_v);
}

/// Whether the probes go the same way everywhere, and a sentence says it for all.
static bool common_probes(const tl_meter_card* card) {
    const tl_meter_supply* first = card->supplies;
    for (size_t i = 0; i < card->supply_count; ++i) {
        const tl_meter_supply* at = &card->supplies[i];
        if (strcmp(at->polarity, first->polarity) != 0 || strcmp(at->polarity, "ac") == 0 ||
            strcmp(at->probes[0], first->probes[0]) != 0)
            return false;
    }
    return true;
}

static void add_supply(tl_table* table, const tl_meter_card* card, const tl_meter_supply* at,
                       bool common) {
    tl_table_row(table);
    tl_table_take_number(table, (double)card->leads[at->lead].number,
                         tl_printf("%zu", card->leads[at->lead].number));
    tl_table_words(table, at->pedal);
    if (common)
        tl_table_words(table, at->output);
    else
        tl_table_take_words(table, strcmp(at->polarity, "ac") == 0
                                       ? tl_copy("AC range")
                                       : tl_printf("%s, %s", at->probes[0], at->probes[1]));
    tl_table_take_words(
        table, range_words(volts_words(at->open_v.low), " to ", volts_words(at->open_v.high)));
    add_read(table);
    tl_table_take_number(table, 1e3 * at->current_a, tl_printf("%.3g", 1e3 * at->current_a));
    tl_table_take_words(
        table, range_words(volts_words(at->loaded_v.low), " to ", volts_words(at->loaded_v.high)));
    add_read(table);
    tl_table_take_number(table, 1e3 * at->ripple_v,
                         isnan(at->ripple_v) ? tl_copy("") : tl_printf("%.3g", 1e3 * at->ripple_v));
    tl_table_words(table, isnan(at->ripple_v) ? "" : box);
}

tl_table* tl_meter_supplies_table(const tl_meter_card* card) {
    bool common = common_probes(card);
    tl_table* table = tl_table_new();
    tl_table_column(table, "\nno.", "number");
    tl_table_column(table, "\npedal", "pedal");
    if (common)
        tl_table_column(table, "\noutput", "output");
    else
        tl_table_column(table, "probes:\nred, black", "probes");
    tl_table_column(table, "V, nothing\non it", "open");
    tl_table_column(table, "\nread", "read");
    tl_table_column(table, "draws\nmA", "ma");
    tl_table_column(table, "V, pedal\non", "loaded");
    tl_table_column(table, "\nread", "read");
    tl_table_column(table, "AC mV,\nmost", "ripple");
    tl_table_column(table, "\nread", "read");
    for (size_t i = 0; i < card->supply_count; ++i)
        add_supply(table, card, &card->supplies[i], common);
    return table;
}

void tl_meter_add_supply_words(tl_text* text, const tl_meter_card* card) {
    if (card->supply_count && common_probes(card))
        tl_text_take_paragraph(
            text, tl_printf("Red probe on the %s, black on the %s, at every plug (%s): "
                            "the reading is positive.",
                            card->supplies[0].probes[0], card->supplies[0].probes[1],
                            card->supplies[0].polarity));
    if (card->no_dc)
        tl_text_take_paragraph(
            text,
            tl_printf("%s: %s.", card->supply_count ? "Not all" : "Nothing to read", card->no_dc));
}

static void add_supplies(tl_text* text, const tl_meter_card* card) {
    tl_text_add(text, "\nDC, at the plug of each pedal\n\n");
    if (card->supply_count)
        tl_text_take_table(text, tl_meter_supplies_table(card));
    tl_meter_add_supply_words(text, card);
}

// ---- levels

static char* mv_words(const tl_meter_card* card, double db) {
    double mv = 1e3 * card->level_v * pow(10, db / 20);
    return mv < 9.995   ? tl_printf("%.2f", mv)
           : mv < 99.95 ? tl_printf("%.1f", mv)
                        : tl_printf("%.0f", mv);
}

static char* db_words(double db) {
    return tl_printf("%+.2f", fabs(db) < 0.005 ? 0 : db);
}

static char* dial_words(double hz) {
    return hz < 999.5 ? tl_printf("%.4g Hz", hz) : tl_printf("%.4g kHz", hz / 1e3);
}

char* tl_meter_state_words(const tl_meter_card* card, const tl_meter_state* state) {
    tl_text words = {0};
    tl_text_addf(&words, "%s%s%s", card->end_count > 1 ? card->ends[state->end] : "",
                 card->end_count > 1 ? ", " : "", state->name);
    if (state->written && card->pedal_count)
        tl_text_add(&words, " (as the rig is written)");
    for (size_t i = 0; i < state->same_count; ++i)
        tl_text_addf(&words, "%s%s%s", i ? ", " : "; the same within 0.02 dB: ", state->same[i],
                     i == state->same_written ? " (as the rig is written)" : "");
    return tl_text_take(&words);
}

tl_table* tl_meter_levels_table(const tl_meter_card* card, const tl_meter_state* state) {
    char* head = mv_words(card, 0);
    char* reads = tl_printf("mV of\n%s", head);
    tl_table* table = tl_table_new();
    tl_table_column(table, "\nfrequency", "frequency_hz");
    tl_table_column(table, "\ndB", "db");
    tl_table_column(table, "\nfrom", "low");
    tl_table_column(table, "\nto", "high");
    tl_table_column(table, reads, "mv");
    tl_table_column(table, "\nfrom", "low");
    tl_table_column(table, "\nto", "high");
    tl_table_column(table, "\nread", "read");
    for (size_t i = 0; i < card->hz_count; ++i) {
        const tl_meter_limits* db = &state->db[i];
        tl_table_row(table);
        tl_table_take_number(table, card->hz[i], dial_words(card->hz[i]));
        tl_table_take_number(table, db->expected, db_words(db->expected));
        tl_table_take_number(table, db->low, db_words(db->low));
        tl_table_take_number(table, db->high, db_words(db->high));
        tl_table_take_number(table, db->expected, mv_words(card, db->expected));
        tl_table_take_number(table, db->low, mv_words(card, db->low));
        tl_table_take_number(table, db->high, mv_words(card, db->high));
        add_read(table);
    }
    free(head);
    free(reads);
    return table;
}

static void add_state(tl_text* text, const tl_meter_card* card, const tl_meter_state* state) {
    char* words = tl_meter_state_words(card, state);
    tl_text_add(text, "\n");
    tl_wrap_words(text, words, 0, 2);
    tl_text_add(text, "\n");
    free(words);
    tl_text_take_table(text, tl_meter_levels_table(card, state));
}

static void add_levels(tl_text* text, const tl_meter_card* card) {
    tl_text_add(text, "\nLevel of the whole, in dB against the generator's open output\n");
    tl_text_take_paragraph(text, tl_meter_setup_words(card));
    for (size_t i = 0; i < card->state_count; ++i)
        add_state(text, card, &card->states[i]);
    tl_text_add(text, "\n");
    tl_text_take_paragraph(text, tl_meter_limit_words(card));
    const char* note = NULL;
    for (size_t i = 0; (note = tl_meter_note(card, i)); ++i)
        tl_wrap_words(text, note, 0, 0);
}

static void add_assumed(tl_text* text, const tl_meter_card* card) {
    tl_text_add(text, "\nWhat is taken where the rig does not say\n");
    for (size_t i = 0; i < card->assumed_count; ++i)
        tl_wrap_point(text, card->assumed[i]);
}

char* tl_meter_text(const tl_meter_card* card) {
    tl_text text = {0};
    add_head(&text, card);
    add_leads(&text, card);
    add_continuity(&text, card);
    add_supplies(&text, card);
    add_levels(&text, card);
    add_assumed(&text, card);
    tl_text_add(&text, "\n");
    char* cautions = tl_cautions_text(TL_METER_CAUTIONS);
    tl_text_add(&text, cautions);
    free(cautions);
    tl_text_add(&text,
                "\nAll within limits: yes / no   Exceptions __________________________________"
                "___________________\nSigned ______________________________   Checked by "
                "______________________________\n");
    return tl_text_take(&text);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A bench card as data: JSON, CSV of all of it, and the form of one state for 'toneload accept'.
#include "base/text.h"
#include "show/json.h"
#include "show/meter.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// {expected, low, high, read: null}: a reading and the place for it.
static json_t* reading_json(const tl_meter_limits* limits) {
    json_t* json = json_object();
    tl_json_put_number(json, "expected", limits->expected);
    tl_json_put_number(json, "low", limits->low);
    tl_json_put_number(json, "high", limits->high);
    tl_json_put(json, "read", json_null());
    return json;
}

/// One pair of contacts and what the meter must say of it.
static json_t* pair_json(const char* near, const char* far, const char* must) {
    json_t* json = json_object();
    tl_json_put_words(json, "from", near);
    tl_json_put_words(json, "to", far);
    tl_json_put_words(json, "must_be", must);
    tl_json_put(json, "read", json_null());
    return json;
}

static json_t* continuity_json(const tl_meter_lead* lead) {
    json_t* list = json_array();
    int other = lead->crossed;
    json_array_append_new(list, pair_json(lead->contacts[0], lead->far_contacts[other], "closed"));
    json_array_append_new(list, pair_json(lead->contacts[1], lead->far_contacts[!other], "closed"));
    json_array_append_new(list, pair_json(lead->contacts[0], lead->contacts[1], "open"));
    return list;
}

static json_t* lead_json(const tl_meter_lead* lead) {
    json_t* json = json_object();
    tl_json_put(json, "number", json_integer((json_int_t)lead->number));
    tl_json_put_words(json, "kind", lead->kind);
    tl_json_put_words(json, "path", *lead->path ? lead->path : NULL);
    tl_json_put_words(json, "type", *lead->type ? lead->type : NULL);
    tl_json_put_words(json, "from", lead->from);
    tl_json_put_words(json, "to", lead->to);
    json_t* plugs = json_array();
    for (int i = 0; i < 2; ++i)
        json_array_append_new(plugs, tl_json_words(*lead->plugs[i] ? lead->plugs[i] : NULL));
    tl_json_put(json, "plugs", plugs);
    tl_json_put_number(json, "length_m", lead->length_m);
    tl_json_put_number(json, "length_off_m", lead->length_off_m);
    tl_json_put(json, "capacitance_farad",
                isnan(lead->farad.expected) ? json_null() : reading_json(&lead->farad));
    tl_json_put_number(json, "plug_farad", lead->plugs_stated ? lead->plug_farad : NAN);
    tl_json_put(json, "loop_ohm", reading_json(&lead->ohm));
    tl_json_put_number(json, "joint_ohm", lead->joint_ohm);
    tl_json_put_number(json, "worn_ohm", lead->worn_ohm);
    tl_json_put_words(json, "worn", lead->worn_ohm > 0 ? lead->worn : NULL);
    tl_json_put_number(json, "mended_ohm", lead->worn_ohm > 0 ? lead->mended_ohm : NAN);
    tl_meter_limits insulation = {NAN, lead->least_insulation_ohm, NAN};
    tl_json_put(json, "insulation_ohm", reading_json(&insulation));
    tl_json_put(json, "leaky", json_boolean(lead->leaky));
    tl_json_put(json, "turns_polarity", json_boolean(lead->crossed));
    tl_json_put(json, "continuity", continuity_json(lead));
    return json;
}

static json_t* supply_json(const tl_meter_card* card, const tl_meter_supply* at) {
    json_t* json = json_object();
    tl_json_put(json, "lead", json_integer((json_int_t)card->leads[at->lead].number));
    tl_json_put_words(json, "pedal", at->pedal);
    tl_json_put_words(json, "output", at->output);
    tl_json_put_words(json, "polarity", at->polarity);
    tl_json_put_words(json, "red", at->probes[0]);
    tl_json_put_words(json, "black", at->probes[1]);
    tl_json_put_number(json, "current_a", at->current_a);
    tl_json_put(json, "open_v", reading_json(&at->open_v));
    tl_json_put(json, "loaded_v", reading_json(&at->loaded_v));
    tl_meter_limits ripple = {NAN, NAN, at->ripple_v};
    tl_json_put(json, "ripple_v", isnan(at->ripple_v) ? json_null() : reading_json(&ripple));
    return json;
}

static json_t* state_json(const tl_meter_card* card, const tl_meter_state* state) {
    json_t* json = json_object();
    tl_json_put_words(json, "amp", card->ends[state->end]);
    tl_json_put_words(json, "state", state->name);
    json_t* engaged = json_array();
    for (size_t i = 0; i < state->on_count; ++i)
        json_array_append_new(engaged, tl_json_words(state->on[i]));
    tl_json_put(json, "engaged", engaged);
    tl_json_put(json, "written", json_boolean(state->written));
    json_t* same = json_array();
    for (size_t i = 0; i < state->same_count; ++i)
        json_array_append_new(same, tl_json_words(state->same[i]));
    tl_json_put(json, "same", same);
    tl_json_put(json, "same_written",
                state->same_written < state->same_count
                    ? tl_json_words(state->same[state->same_written])
                    : json_null());
    json_t* levels = json_array();
    for (size_t i = 0; i < card->hz_count; ++i) {
        json_t* row = reading_json(&state->db[i]);
        tl_json_put_number(row, "hz", card->hz[i]);
        json_array_append_new(levels, row);
    }
    tl_json_put(json, "levels_db", levels);
    return json;
}

static json_t* setup_json(const tl_meter_card* card) {
    json_t* json = json_object();
    tl_json_put_words(json, "dummy", card->dummy);
    tl_json_put_number(json, "generator_ohm", card->generator_ohm);
    tl_json_put_number(json, "level_v", card->level_v);
    tl_json_put_number(json, "meter_ohm", card->meter_ohm);
    tl_json_put_number(json, "meter_farad", card->meter_farad);
    tl_json_put_number(json, "uncertainty_db", card->uncertainty_db);
    tl_json_put_words(json, "amp", card->amp ? "connected" : "off");
    tl_json_put(json, "controls", json_boolean(card->controls));
    return json;
}

static json_t* limits_json(const tl_meter_card* card) {
    json_t* json = json_object();
    tl_json_put_number(json, "coverage", card->coverage);
    tl_json_put(json, "readings", json_integer((json_int_t)card->level_count));
    tl_json_put(json, "trials", json_integer((json_int_t)card->trials));
    tl_json_put(json, "seed", json_integer((json_int_t)card->seed));
    tl_json_put(json, "solved", json_integer((json_int_t)card->solved));
    tl_json_put_number(json, "short_db", card->short_db);
    char* words = tl_meter_limit_words(card);
    tl_json_put_words(json, "words", words);
    free(words);
    return json;
}

static json_t* words_json(const tl_meter_card* card,
                          const char* (*at)(const tl_meter_card* card, size_t index)) {
    json_t* list = json_array();
    const char* words = NULL;
    for (size_t i = 0; (words = at(card, i)); ++i)
        json_array_append_new(list, tl_json_words(words));
    return list;
}

json_t* tl_meter_json(const tl_meter_card* card) {
    json_t* json = tl_json_open("card", card->rig);
    json_t* leads = json_array();
    for (size_t i = 0; i < card->lead_count; ++i)
        json_array_append_new(leads, lead_json(&card->leads[i]));
    tl_json_put(json, "leads", leads);
    json_t* supplies = json_array();
    for (size_t i = 0; i < card->supply_count; ++i)
        json_array_append_new(supplies, supply_json(card, &card->supplies[i]));
    tl_json_put(json, "dc", supplies);
    tl_json_put_words(json, "no_dc", card->no_dc);
    tl_json_put(json, "measured", setup_json(card));
    json_t* states = json_array();
    for (size_t i = 0; i < card->state_count; ++i)
        json_array_append_new(states, state_json(card, &card->states[i]));
    tl_json_put(json, "states", states);
    tl_json_put(json, "limits", limits_json(card));
    tl_json_put(json, "order", words_json(card, tl_meter_step));
    tl_json_put(json, "notes", words_json(card, tl_meter_note));
    json_t* assumed = json_array();
    for (size_t i = 0; i < card->assumed_count; ++i)
        json_array_append_new(assumed, tl_json_words(card->assumed[i]));
    tl_json_put(json, "assumed", assumed);
    tl_json_put(json, "serial", json_null());
    tl_json_put(json, "date", json_null());
    tl_json_put(json, "measured_by", json_null());
    tl_json_put(json, "cautions", tl_cautions_json(TL_METER_CAUTIONS));
    return json;
}

// ---- CSV

/// A row of the whole card. What does not apply is empty, and so is what is read.
typedef struct {
    const char* what;
    const char* unit;
    size_t lead; ///< number; 0: none
    const char* from;
    const char* to;
    const char* amp;
    const char* state;
    double hz;
    tl_meter_limits limits;
} csv_row;

static void add_row(tl_table* table, const csv_row* row) {
    tl_table_row(table);
    tl_table_words(table, row->what);
    tl_table_number(table, row->lead ? (double)row->lead : NAN, "");
    tl_table_words(table, row->from ? row->from : "");
    tl_table_words(table, row->to ? row->to : "");
    tl_table_words(table, row->amp ? row->amp : "");
    tl_table_words(table, row->state ? row->state : "");
    tl_table_number(table, row->hz, "");
    tl_table_words(table, row->unit);
    tl_table_number(table, row->limits.expected, "");
    tl_table_number(table, row->limits.low, "");
    tl_table_number(table, row->limits.high, "");
    tl_table_words(table, "");
}

static void add_lead_rows(tl_table* table, const tl_meter_lead* lead) {
    csv_row row = {.lead = lead->number, .from = lead->from, .to = lead->to, .hz = NAN};
    row.what = "capacitance";
    row.unit = "F";
    row.limits = lead->farad;
    if (!isnan(lead->farad.expected))
        add_row(table, &row);
    row.what = "loop resistance";
    row.unit = "ohm";
    row.limits = lead->ohm;
    add_row(table, &row);
    row.what = "insulation";
    row.limits = (tl_meter_limits){NAN, lead->least_insulation_ohm, NAN};
    add_row(table, &row);
    row.unit = "";
    row.limits = (tl_meter_limits){NAN, NAN, NAN};
    for (int i = 0; i < 3; ++i) {
        int other = i < 2 && lead->crossed ? !i : i;
        char* what =
            i < 2 ? tl_printf("closed: %s - %s", lead->contacts[i], lead->far_contacts[other])
                  : tl_printf("open: %s - %s", lead->contacts[0], lead->contacts[1]);
        row.what = what;
        add_row(table, &row);
        free(what);
    }
}

static void add_supply_rows(tl_table* table, const tl_meter_card* card, const tl_meter_supply* at) {
    csv_row row = {.lead = card->leads[at->lead].number,
                   .from = at->output,
                   .to = at->pedal,
                   .unit = "V",
                   .hz = NAN};
    row.what = "volts, nothing on it";
    row.limits = at->open_v;
    add_row(table, &row);
    row.what = "volts, pedal on";
    row.limits = at->loaded_v;
    add_row(table, &row);
    row.what = "ripple";
    row.limits = (tl_meter_limits){NAN, NAN, at->ripple_v};
    if (!isnan(at->ripple_v))
        add_row(table, &row);
}

char* tl_meter_csv(const tl_meter_card* card) {
    static const char* const fields[] = {"what",         "lead", "from",     "to",  "amp",  "state",
                                         "frequency_hz", "unit", "expected", "low", "high", "read"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < card->lead_count; ++i)
        add_lead_rows(table, &card->leads[i]);
    for (size_t i = 0; i < card->supply_count; ++i)
        add_supply_rows(table, card, &card->supplies[i]);
    for (size_t i = 0; i < card->state_count; ++i)
        for (size_t j = 0; j < card->hz_count; ++j) {
            const tl_meter_state* state = &card->states[i];
            csv_row row = {.what = "level",
                           .unit = "dB",
                           .amp = card->ends[state->end],
                           .state = state->name,
                           .hz = card->hz[j],
                           .limits = state->db[j]};
            add_row(table, &row);
        }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

char* tl_meter_form_csv(const tl_meter_card* card) {
    static const char* const fields[] = {"frequency_hz", "gain_db", "expected_db", "low_db",
                                         "high_db",      "amp",     "state"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    const tl_meter_state* state = &card->states[0];
    for (size_t i = 0; i < card->hz_count; ++i) {
        tl_table_row(table);
        tl_table_number(table, card->hz[i], "");
        tl_table_words(table, "");
        tl_table_number(table, state->db[i].expected, "");
        tl_table_number(table, state->db[i].low, "");
        tl_table_number(table, state->db[i].high, "");
        tl_table_words(table, card->ends[state->end]);
        tl_table_words(table, state->name);
    }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

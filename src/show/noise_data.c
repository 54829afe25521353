// SPDX-License-Identifier: GPL-3.0-or-later
// What hisses in a rig, as JSON and CSV.
#include "show/json.h"
#include "show/noise.h"
#include "toneload/show.h"

static json_t* parts_json(const tl_noise_at* at) {
    json_t* list = json_array();
    for (size_t i = 0; i < at->part_count; ++i) {
        const tl_noise_part* part = &at->parts[i];
        json_t* row = json_object();
        tl_json_put_words(row, "name", part->name);
        tl_json_put_words(row, "path", part->path);
        tl_json_put_words(row, "where", part->where);
        tl_json_put_number(row, "power_share", part->share);
        tl_json_put_number(row, "a_weighted_power_share", part->a_share);
        json_array_append_new(list, row);
    }
    return list;
}

static void put_levels(json_t* json, double total_v, double a_weighted_v, double signal_v) {
    tl_json_put_number(json, "total_v", total_v);
    tl_json_put_number(json, "a_weighted_v", a_weighted_v);
    tl_json_put_number(json, "signal_v", signal_v);
    tl_json_put_number(json, "below_db", tl_noise_below_db(signal_v, total_v));
    tl_json_put_number(json, "a_weighted_below_db", tl_noise_below_db(signal_v, a_weighted_v));
}

/// The density from 20 Hz to 20 kHz, ten points a decade or all.
static json_t* density_json(const tl_noise_at* at) {
    json_t* list = json_array();
    for (size_t i = 0; i < at->count; ++i) {
        if (at->hz[i] < TL_NOISE_LOW_HZ * 0.999 || at->hz[i] > TL_NOISE_HIGH_HZ * 1.001)
            continue;
        json_t* point = json_object();
        tl_json_put_number(point, "hz", at->hz[i]);
        tl_json_put_number(point, "v_rthz", at->v_rthz[i]);
        json_array_append_new(list, point);
    }
    return list;
}

static json_t* at_json(const char* name, const tl_noise_at* at) {
    json_t* json = json_object();
    tl_json_put(json, "name", json_string(name));
    tl_json_put_words(json, "amp", at->amp);
    put_levels(json, at->total_v, at->a_weighted_v, at->signal_v);
    tl_json_put(json, "parts", parts_json(at));
    tl_json_put(json, "density", density_json(at));
    return json;
}

static json_t* state_json(const tl_noise* noise, const tl_noise_state* state) {
    json_t* json = json_object();
    json_t* engaged = json_array();
    for (size_t i = 0; i < noise->pedal_count; ++i)
        if (state->engaged[i])
            json_array_append_new(engaged, tl_json_words(noise->pedals[i]));
    if (state->name)
        tl_json_put_words(json, "scene", state->name);
    tl_json_put(json, "engaged", engaged);
    json_t* amps = json_array();
    for (size_t i = 0; i < noise->amp_count; ++i) {
        const tl_noise_state_amp* amp = &state->amps[i];
        json_t* row = json_object();
        tl_json_put_words(row, "amp", noise->rig[i].amp);
        put_levels(row, amp->total_v, amp->a_weighted_v, amp->signal_v);
        tl_json_put_words(row, "loudest", amp->loudest);
        tl_json_put_number(row, "loudest_a_weighted_power_share", amp->loudest_a_share);
        json_array_append_new(amps, row);
    }
    tl_json_put(json, "amps", amps);
    return json;
}

/// The first amp's figures stand at the top, all amps' under `amps`.
json_t* tl_noise_json(const tl_noise* noise, const char* title) {
    json_t* json = tl_json_open("noise", title);
    tl_json_put_number(json, "playing_v", noise->playing_v);
    tl_json_put_number(json, "reference_hz", noise->reference_hz);
    tl_json_put_number(json, "total_v", noise->rig[0].total_v);
    tl_json_put_number(json, "a_weighted_v", noise->rig[0].a_weighted_v);
    tl_json_put(json, "parts", parts_json(&noise->rig[0]));
    json_t* amps = json_array();
    for (size_t i = 0; i < noise->amp_count; ++i) {
        json_array_append_new(amps, at_json("rig", &noise->rig[i]));
        json_array_append_new(amps, at_json("direct", &noise->direct[i]));
    }
    tl_json_put(json, "amps", amps);
    json_t* silent = json_array();
    for (size_t i = 0; i < noise->silent_count; ++i)
        json_array_append_new(silent, tl_json_words(noise->silent[i]));
    tl_json_put(json, "states_no_noise", silent);
    json_t* states = json_array();
    for (size_t i = 0; i < noise->state_count; ++i)
        json_array_append_new(states, state_json(noise, &noise->states[i]));
    tl_json_put(json, "states", states);
    json_t* ranking = json_array();
    for (size_t i = 0; i < noise->state_count; ++i)
        json_array_append_new(ranking, json_integer((json_int_t)noise->ranking[i]));
    tl_json_put(json, "ranking", ranking);
    return json;
}

char* tl_noise_csv(const tl_noise* noise, const tl_noise_options* options) {
    tl_table* table =
        tl_noise_states_table(noise, options, noise->ranking, noise->state_count, true);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

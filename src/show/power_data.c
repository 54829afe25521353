// SPDX-License-Identifier: GPL-3.0-or-later
// A power plan as JSON and CSV.
#include "show/json.h"
#include "show/power.h"
#include "toneload/show.h"

#include <math.h>
#include <stdlib.h>

static const char* output_name(const tl_power_plan* plan, size_t output) {
    return output == TL_POWER_NONE ? NULL : plan->outputs[output].name;
}

static json_t* names_json(const tl_power_plan* plan, const size_t* pedals, size_t count) {
    json_t* list = json_array();
    for (size_t i = 0; i < count; ++i)
        json_array_append_new(list, tl_json_words(plan->pedals[pedals[i]].name));
    return list;
}

static json_t* assignment_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->pedal_count; ++i) {
        const tl_power_pedal* pedal = &plan->pedals[i];
        json_t* row = json_object();
        tl_json_put_words(row, "pedal", pedal->name);
        tl_json_put_words(row, "output", output_name(plan, pedal->output));
        tl_json_put(row, "given", json_boolean(pedal->given));
        tl_json_put_number(row, "voltage_v", pedal->volts_v);
        tl_json_put_words(row, "polarity", pedal->polarity);
        tl_json_put_number(row, "current_a", pedal->current_a);
        tl_json_put_number(row, "inrush_a", pedal->inrush_a);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* drops_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->pedal_count; ++i) {
        const tl_power_pedal* pedal = &plan->pedals[i];
        json_t* row = json_object();
        tl_json_put_words(row, "pedal", pedal->name);
        tl_json_put_number(row, "lead_m", pedal->lead_m);
        tl_json_put_number(row, "lead_ohm", pedal->lead_ohm);
        tl_json_put_number(row, "arrives_v", pedal->arrives_v);
        tl_json_put_number(row, "starts_v", pedal->starts_v);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* outputs_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->output_count; ++i) {
        const tl_power_output* output = &plan->outputs[i];
        json_t* row = json_object();
        tl_json_put_words(row, "output", output->name);
        tl_json_put_number(row, "voltage_v", output->volts_v);
        tl_json_put_words(row, "polarity", output->polarity);
        tl_json_put(row, "isolated", json_boolean(output->isolated));
        tl_json_put(row, "return", json_integer((json_int_t)output->group));
        tl_json_put_number(row, "limit_a", output->limit_a);
        tl_json_put_number(row, "peak_a", output->peak_a);
        tl_json_put_number(row, "load_a", output->load_a);
        tl_json_put_number(row, "surge_a", output->surge_a);
        tl_json_put(row, "pedals", json_integer((json_int_t)output->pedals));
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* spare_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->output_count; ++i)
        if (!plan->outputs[i].pedals)
            json_array_append_new(list, tl_json_words(plan->outputs[i].name));
    return list;
}

static json_t* supplies_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->supply_count; ++i) {
        const tl_power_supply* supply = &plan->supplies[i];
        json_t* row = json_object();
        tl_json_put_words(row, "supply", supply->name);
        tl_json_put_words(row, "kind", supply->make);
        tl_json_put_number(row, "load_w", supply->load_w);
        tl_json_put_number(row, "limit_w", supply->limit_w);
        tl_json_put_number(row, "efficiency", supply->efficiency);
        tl_json_put(row, "efficiency_assumed", json_boolean(supply->efficiency_assumed));
        tl_json_put_number(row, "power_factor", supply->power_factor);
        tl_json_put(row, "power_factor_assumed", json_boolean(supply->power_factor_assumed));
        tl_json_put_number(row, "mains_w", supply->mains_w);
        tl_json_put_number(row, "heat_w", supply->heat_w);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* mains_json(const tl_power_plan* plan) {
    static const char* const takes[] = {"unstated", "yes", "selector", "no"};
    json_t* list = json_array();
    for (size_t i = 0; i < plan->mains_count; ++i) {
        const tl_power_mains* mains = &plan->mains[i];
        json_t* row = json_object();
        tl_json_put_number(row, "voltage_v", mains->volts_v);
        tl_json_put_number(row, "frequency_hz", mains->hz);
        tl_json_put(row, "tour", json_boolean(mains->tour));
        tl_json_put_number(row, "power_w", mains->mains_w);
        tl_json_put_number(row, "current_a", mains->current_a);
        json_t* by = json_object();
        for (size_t j = 0; j < plan->supply_count; ++j)
            tl_json_put_words(by, plan->supplies[j].name, takes[mains->takes[j]]);
        tl_json_put(row, "takes", by);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* findings_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->finding_count; ++i) {
        const tl_power_finding* finding = &plan->findings[i];
        json_t* row = json_object();
        tl_json_put_words(row, "verdict", tl_power_gravity_word(finding->gravity));
        tl_json_put_words(row, "kind", finding->kind);
        tl_json_put_words(row, "pedal",
                          finding->pedal == TL_POWER_NONE ? NULL
                                                          : plan->pedals[finding->pedal].name);
        tl_json_put_words(row, "output", output_name(plan, finding->output));
        tl_json_put_words(row, "words", finding->words);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* conflict_json(const tl_power_plan* plan) {
    if (!plan->conflict)
        return json_null();
    json_t* json = json_object();
    tl_json_put_words(json, "words", plan->conflict);
    tl_json_put(json, "pedals",
                names_json(plan, plan->conflict_pedals, plan->conflict_pedal_count));
    return json;
}

static json_t* changes_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->change_count; ++i) {
        const tl_power_change* change = &plan->changes[i];
        json_t* row = json_object();
        tl_json_put_words(row, "kind", change->kind);
        tl_json_put_words(row, "words", change->words);
        tl_json_put_words(row, "output", output_name(plan, change->output));
        tl_json_put_words(row, "supply",
                          change->supply == TL_POWER_NONE ? NULL
                                                          : plan->supplies[change->supply].name);
        tl_json_put(row, "pedals", names_json(plan, change->pedals, change->pedal_count));
        tl_json_put_number(row, "headroom", change->headroom);
        tl_json_put_number(row, "voltage_v", change->volts_v);
        tl_json_put_number(row, "current_a", change->current_a);
        tl_json_put_number(row, "power_w", change->power_w);
        tl_json_put_number(row, "buy_a", change->buy_a);
        tl_json_put_number(row, "peak_a", change->peak_a);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* faults_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->fault_count; ++i) {
        const tl_power_fault* fault = &plan->faults[i];
        json_t* row = json_object();
        tl_json_put_words(row, "kind", fault->kind);
        tl_json_put_words(row, "name", fault->name);
        tl_json_put(row, "dead", names_json(plan, fault->dead, fault->dead_count));
        tl_json_put(row, "blocking", names_json(plan, fault->blocking, fault->blocking_count));
        tl_json_put(row, "stuck", names_json(plan, fault->stuck, fault->stuck_count));
        tl_json_put(row, "unknown", names_json(plan, fault->unknown, fault->unknown_count));
        json_t* amps = json_array();
        for (size_t j = 0; j < fault->amp_count; ++j)
            json_array_append_new(amps, tl_json_words(plan->amps[fault->amps[j]]));
        tl_json_put(row, "silent", amps);
        tl_json_put(row, "steps_off", json_boolean(fault->blocking_count && fault->steps_off));
        tl_json_put_words(row, "words", fault->words);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* hum_json(const tl_power_plan* plan, size_t amp, const tl_power_hum* hum) {
    json_t* json = json_object();
    tl_json_put_words(json, "amp", plan->amps[amp]);
    tl_json_put_number(json, "a_weighted_v", hum->a_weighted_v);
    tl_json_put_number(json, "total_v", hum->total_v);
    tl_json_put_number(json, "noise_a_weighted_v", plan->noise_v[amp]);
    tl_json_put_number(json, "floor_db", hum->floor_db);
    tl_json_put_number(json, "clear_db", hum->clear_db);
    tl_json_put_number(json, "clear_hz", hum->clear_hz);
    json_t* lines = json_array();
    for (size_t i = 0; i < hum->count; ++i) {
        json_t* line = json_object();
        tl_json_put_number(line, "hz", hum->hz[i]);
        tl_json_put_number(line, "v", hum->level_v[i]);
        json_array_append_new(lines, line);
    }
    tl_json_put(json, "harmonics", lines);
    return json;
}

static json_t* loops_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->loop_count; ++i) {
        const tl_power_loop* loop = &plan->loops[i];
        json_t* row = json_object();
        tl_json_put_words(row, "wiring", loop->kind);
        tl_json_put(row, "sharing", json_integer((json_int_t)loop->sharing));
        json_t* amps = json_array();
        for (size_t amp = 0; amp < plan->amp_count; ++amp)
            json_array_append_new(amps, hum_json(plan, amp, &loop->amps[amp]));
        tl_json_put(row, "amps", amps);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* assumptions_json(const tl_power_plan* plan) {
    json_t* json = json_object();
    tl_json_put_number(json, "shield_share", plan->terms.shield_share);
    tl_json_put_number(json, "stray_farad", plan->terms.stray_farad);
    tl_json_put_number(json, "lead_henry_per_m", plan->terms.lead_henry_per_m);
    tl_json_put(json, "headroom_assumed", json_boolean(plan->headroom_assumed));
    tl_json_put(json, "lead_assumed", json_boolean(plan->terms.lead_assumed));
    tl_json_put(json, "shield_share_assumed", json_boolean(plan->terms.shield_assumed));
    tl_json_put(json, "stray_assumed", json_boolean(plan->terms.stray_assumed));
    return json;
}

static json_t* not_in_loops_json(const tl_power_plan* plan) {
    json_t* list = json_array();
    for (size_t i = 0; i < plan->pedal_count; ++i)
        if (tl_power_leaves_out(&plan->pedals[i]))
            json_array_append_new(list, tl_json_words(plan->pedals[i].name));
    return list;
}

json_t* tl_power_json(const tl_power_plan* plan) {
    json_t* json = tl_json_open("power", plan->rig);
    char* head = tl_power_headline(plan);
    tl_json_put_words(json, "verdict", head);
    free(head);
    tl_json_put(json, "feasible", json_boolean(plan->feasible));
    tl_json_put(json, "ready", json_boolean(tl_power_is_ready(plan)));
    tl_json_put(json, "unstated", json_integer((json_int_t)plan->unstated_count));
    tl_json_put(json, "settled", json_boolean(plan->settled));
    tl_json_put_number(json, "headroom", plan->headroom);
    tl_json_put(json, "assignment", assignment_json(plan));
    tl_json_put(json, "drops", drops_json(plan));
    tl_json_put(json, "outputs", outputs_json(plan));
    tl_json_put(json, "spare", spare_json(plan));
    tl_json_put(json, "supplies", supplies_json(plan));
    tl_json_put(json, "mains", mains_json(plan));
    tl_json_put(json, "findings", findings_json(plan));
    tl_json_put(json, "conflict", conflict_json(plan));
    tl_json_put(json, "changes", changes_json(plan));
    tl_json_put(json, "faults", faults_json(plan));
    tl_json_put(json, "loops", loops_json(plan));
    char* words = plan->loop_count ? tl_power_loop_words(plan) : NULL;
    tl_json_put_words(json, "loop_words", words);
    tl_json_put_words(json, "loop_trouble", plan->loop_trouble);
    tl_json_put(json, "not_in_loops", not_in_loops_json(plan));
    free(words);
    tl_json_put(json, "assumptions", assumptions_json(plan));
    tl_json_put(json, "cautions", tl_cautions_json(TL_POWER_CAUTIONS));
    return json;
}

char* tl_power_csv(const tl_power_plan* plan) {
    static const char* const fields[] = {"pedal",     "output",    "given",    "voltage_v",
                                         "polarity",  "current_a", "inrush_a", "lead_ohm",
                                         "arrives_v", "starts_v"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < plan->pedal_count; ++i) {
        const tl_power_pedal* pedal = &plan->pedals[i];
        const char* output = output_name(plan, pedal->output);
        tl_table_row(table);
        tl_table_words(table, pedal->name);
        tl_table_words(table, output ? output : "");
        tl_table_words(table, pedal->given ? "yes" : "no");
        tl_table_number(table, pedal->volts_v, "");
        tl_table_words(table, pedal->polarity);
        tl_table_number(table, pedal->current_a, "");
        tl_table_number(table, pedal->inrush_a, "");
        tl_table_number(table, pedal->lead_ohm, "");
        tl_table_number(table, pedal->arrives_v, "");
        tl_table_number(table, pedal->starts_v, "");
    }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

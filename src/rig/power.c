// SPDX-License-Identifier: GPL-3.0-or-later
// From a YAML tree to supplies, outputs and what the pedals draw.
#include "rig/power.h"

#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "parts/value.h"
#include "rig/path.h"
#include "rig/read.h"
#include "rig/rig.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_SUPPLIES = 16, MOST_OUTPUTS = 100, MOST_CONSUMERS = 64, MOST_MAINS = 16 };

/// What reading one `power` carries along.
typedef struct {
    tl_rig* rig;
    tl_power* power;
    size_t outputs; ///< of all supplies so far
    tl_error* error;
} reading;

static void lead_free(tl_dc_lead* lead) {
    tl_part_free(lead->wire);
    tl_part_free(lead->joint);
}

static void supply_free(tl_supply* supply) {
    for (size_t i = 0; i < supply->output_count; ++i) {
        free(supply->outputs[i].name);
        tl_part_free(supply->outputs[i].part);
    }
    free(supply->outputs);
    free(supply->name);
    tl_part_free(supply->part);
}

void tl_power_free(tl_power* power) {
    if (!power)
        return;
    tl_part_free(power->settings);
    tl_part_free(power->mains);
    for (size_t i = 0; i < power->tour_count; ++i)
        tl_part_free(power->tour[i]);
    free(power->tour);
    lead_free(&power->lead);
    for (size_t i = 0; i < power->supply_count; ++i)
        supply_free(&power->supplies[i]);
    free(power->supplies);
    for (size_t i = 0; i < power->consumer_count; ++i) {
        free(power->consumers[i].name);
        tl_part_free(power->consumers[i].part);
        lead_free(&power->consumers[i].lead);
    }
    free(power->consumers);
    free(power);
}

/// Names of supplies and outputs may be numbers too ("1").
static tl_status read_name(const reading* r, const tl_yaml* parent, const char* what, char** name) {
    const tl_yaml* node = tl_yaml_get(parent, "name");
    if (!node)
        return tl_error_at(r->error, &parent->place, "%s needs a 'name'", what);
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a name", r->error);
    if (status != TL_OK)
        return status;
    size_t digits = strspn(node->text, "0123456789");
    bool number = digits && digits <= 3 && !node->text[digits];
    if (!number && !tl_name_is_good(node->text))
        return tl_error_at(r->error, &node->place,
                           "'%s' cannot be a name: use letters, digits, blank, '-' and '_', at "
                           "most 48",
                           node->text);
    *name = tl_copy(node->text);
    return TL_OK;
}

/// A lead's wire and, by its library name or values, the joint at its plugs.
static tl_status read_lead(const reading* r, const tl_yaml* node, tl_dc_lead* lead) {
    static const char* const others[] = {"joint", NULL};
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "a DC lead", r->error);
    if (status == TL_OK)
        status = tl_part_read_apart(r->rig->library, &tl_kind_dc_lead, node, others, &lead->wire,
                                    r->error);
    const tl_yaml* joint = status == TL_OK ? tl_yaml_get(node, "joint") : NULL;
    return joint ? tl_part_read_apart(r->rig->library, &tl_kind_contact, joint, NULL, &lead->joint,
                                      r->error)
                 : status;
}

/// `selectable`: the voltages an output can be set to.
static tl_status read_selectable(const reading* r, const tl_yaml* node, tl_output_plug* output) {
    const tl_field* field =
        &tl_kind_output.fields[(size_t)tl_part_field(&tl_kind_output, "voltage")];
    tl_status status = tl_yaml_expect(node, TL_YAML_LIST, "selectable", r->error);
    if (status != TL_OK)
        return status;
    if (node->count < 1 || node->count > TL_OUTPUT_VOLTS)
        return tl_error_at(r->error, &node->place, "expected 1 to %d voltages, as [9 V, 12 V]",
                           TL_OUTPUT_VOLTS);
    for (size_t i = 0; i < node->count; ++i) {
        tl_value value = {0};
        status = tl_value_read(tl_library_units(r->rig->library), field, node->items[i], false,
                               &value, r->error);
        if (status != TL_OK)
            return status;
        output->volts_v[output->volt_count++] = value.number;
    }
    return TL_OK;
}

static tl_status read_volts(const reading* r, const tl_yaml* node, tl_output_plug* output) {
    const tl_yaml* selectable = tl_yaml_get(node, "selectable");
    bool fixed = tl_part_has(output->part, "voltage");
    if (fixed == (selectable != NULL))
        return tl_error_at(r->error, fixed ? &selectable->place : &node->place,
                           "an output has either 'voltage' or 'selectable: [9 V, 12 V]'");
    if (selectable)
        return read_selectable(r, selectable, output);
    output->volts_v[0] = tl_part_number(output->part, "voltage", 0);
    output->volt_count = 1;
    return TL_OK;
}

static tl_status read_output(reading* r, const tl_yaml* node, tl_supply* supply) {
    static const char* const others[] = {"name", "selectable", NULL};
    if (++r->outputs > MOST_OUTPUTS)
        return tl_error_at(r->error, &node->place, "more than %d outputs", MOST_OUTPUTS);
    tl_output_plug* output = &supply->outputs[supply->output_count++];
    output->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "an output", r->error);
    if (status == TL_OK)
        status = read_name(r, node, "an output", &output->name);
    if (status == TL_OK)
        status = tl_part_read_apart(r->rig->library, &tl_kind_output, node, others, &output->part,
                                    r->error);
    for (size_t i = 0; status == TL_OK && i + 1 < supply->output_count; ++i)
        if (strcmp(supply->outputs[i].name, output->name) == 0)
            status = tl_error_at(r->error, &node->place, "a second output of the name '%s' in '%s'",
                                 output->name, supply->name);
    return status == TL_OK ? read_volts(r, node, output) : status;
}

static tl_status read_supply(reading* r, const tl_yaml* node) {
    static const char* const others[] = {"name", "outputs", NULL};
    tl_power* power = r->power;
    tl_supply* supply = &power->supplies[power->supply_count++];
    supply->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "a supply", r->error);
    if (status == TL_OK)
        status = read_name(r, node, "a supply", &supply->name);
    if (status == TL_OK)
        status = tl_part_read_apart(r->rig->library, &tl_kind_supply, node, others, &supply->part,
                                    r->error);
    for (size_t i = 0; status == TL_OK && i + 1 < power->supply_count; ++i)
        if (strcmp(power->supplies[i].name, supply->name) == 0)
            status = tl_error_at(r->error, &node->place, "a second supply of the name '%s'",
                                 supply->name);
    if (status != TL_OK)
        return status;
    const tl_yaml* outputs = tl_yaml_get(node, "outputs");
    if (!outputs)
        return tl_error_at(r->error, &node->place, "a supply needs 'outputs'");
    status = tl_yaml_expect(outputs, TL_YAML_LIST, "outputs", r->error);
    if (status == TL_OK && !outputs->count)
        status = tl_error_at(r->error, &outputs->place, "a supply without outputs feeds nothing");
    if (status != TL_OK)
        return status;
    supply->outputs = tl_new(outputs->count, sizeof *supply->outputs);
    for (size_t i = 0; status == TL_OK && i < outputs->count; ++i)
        status = read_output(r, outputs->items[i], supply);
    return status;
}

/// The item of a chain, its loops and branches that a part is of, or NULL.
static const tl_item* find_item(const tl_chain* chain, const tl_part* part) {
    const tl_item* found = NULL;
    for (size_t i = 0; !found && i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        found = item->part == part ? item : find_item(&item->loop, part);
        for (size_t j = 0; !found && j < item->branch_count; ++j)
            found = find_item(&item->branches[j].chain, part);
    }
    return found;
}

static bool may_draw(const tl_part* part) {
    return part->kind == &tl_kind_pedal || part->kind == &tl_kind_buffer;
}

/// The pedal or buffer that is named, by its name or a path such as chain[4].
static tl_status find_pedal(const reading* r, const tl_yaml* node, tl_consumer* consumer) {
    tl_part* part = NULL;
    if (tl_rig_find_part(r->rig, node->text, &node->place, &part, NULL) == TL_OK && may_draw(part))
        consumer->item = find_item(&r->rig->main.chain, part);
    return consumer->item
               ? TL_OK
               : tl_rig_no_such_item(r->rig, node, may_draw, "pedal or buffer", r->error);
}

static tl_status check_consumer_name(const reading* r, const tl_yaml* node,
                                     const tl_consumer* consumer) {
    for (const tl_consumer* other = r->power->consumers; other != consumer; ++other)
        if (strcmp(other->name, consumer->name) == 0 ||
            (other->item && other->item == consumer->item))
            return tl_error_at(r->error, &node->place, "'%s' stands twice among the 'pedals'",
                               consumer->name);
    return TL_OK;
}

/// Who draws: `pedal` names one of the chain, `device` anything else.
static tl_status read_who(const reading* r, const tl_yaml* node, tl_consumer* consumer) {
    const tl_yaml* pedal = tl_yaml_get(node, "pedal");
    const tl_yaml* device = tl_yaml_get(node, "device");
    if (!pedal == !device)
        return tl_error_at(r->error, pedal ? &device->place : &node->place,
                           "expected 'pedal', which names one of the chain, or 'device'");
    const tl_yaml* who = pedal ? pedal : device;
    tl_status status = pedal ? tl_yaml_expect(who, TL_YAML_SCALAR, "a name", r->error)
                             : tl_yaml_name(who, &consumer->name, r->error);
    if (status == TL_OK && pedal)
        status = find_pedal(r, who, consumer);
    if (status != TL_OK)
        return status;
    if (pedal)
        consumer->name = tl_copy(who->text);
    return check_consumer_name(r, who, consumer);
}

/// Says that there is no such output, with the nearest name.
static tl_status no_such_output(const reading* r, const tl_yaml* node) {
    const char* names[MOST_OUTPUTS] = {NULL};
    char* made[MOST_OUTPUTS] = {NULL};
    size_t count = 0;
    for (size_t i = 0; i < r->power->supply_count; ++i)
        for (size_t j = 0; j < r->power->supplies[i].output_count; ++j) {
            made[count] = tl_printf("%s/%s", r->power->supplies[i].name,
                                    r->power->supplies[i].outputs[j].name);
            names[count] = made[count];
            ++count;
        }
    tl_text hint = {0};
    tl_name_hint(&hint, node->text, names, count);
    tl_status status =
        tl_error_at(r->error, &node->place, "no output '%s': expected SUPPLY/OUTPUT%s", node->text,
                    tl_text_get(&hint));
    tl_text_free(&hint);
    for (size_t i = 0; i < count; ++i)
        free(made[i]);
    return status;
}

/// `output: brick/1`: where it is plugged in.
static tl_status read_given(const reading* r, const tl_yaml* node, tl_consumer* consumer) {
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "an output", r->error);
    if (status != TL_OK)
        return status;
    consumer->output_place = node->place;
    for (size_t i = 0; i < r->power->supply_count; ++i) {
        const tl_supply* supply = &r->power->supplies[i];
        size_t size = strlen(supply->name);
        if (strncmp(node->text, supply->name, size) != 0 || node->text[size] != '/')
            continue;
        for (size_t j = 0; j < supply->output_count; ++j)
            if (strcmp(node->text + size + 1, supply->outputs[j].name) == 0) {
                consumer->given = true;
                consumer->supply = i;
                consumer->output = j;
                return TL_OK;
            }
    }
    return no_such_output(r, node);
}

static tl_status read_consumer(const reading* r, const tl_yaml* node) {
    static const char* const others[] = {"pedal", "device", "output", "lead", NULL};
    tl_consumer* consumer = &r->power->consumers[r->power->consumer_count++];
    consumer->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "one of the pedals", r->error);
    if (status == TL_OK)
        status = read_who(r, node, consumer);
    if (status == TL_OK)
        status = tl_part_read_apart(r->rig->library, &tl_kind_draw, node, others, &consumer->part,
                                    r->error);
    const tl_yaml* lead = tl_yaml_get(node, "lead");
    const tl_yaml* output = tl_yaml_get(node, "output");
    if (status == TL_OK && lead)
        status = read_lead(r, lead, &consumer->lead);
    if (status == TL_OK && output)
        status = read_given(r, output, consumer);
    return status;
}

/// One mains; a plain voltage lacks its frequency, on which supplies depend too.
static tl_status read_one_mains(const reading* r, const tl_yaml* node, tl_part** part) {
    if (node->kind == TL_YAML_SCALAR)
        return tl_error_at(r->error, &node->place,
                           "a mains has a voltage and a frequency: write {voltage: 230 V, "
                           "frequency: 50 Hz}");
    return tl_part_read_apart(r->rig->library, &tl_kind_mains, node, NULL, part, r->error);
}

static tl_status read_mains(const reading* r, const tl_yaml* power) {
    const tl_yaml* mains = tl_yaml_get(power, "mains");
    const tl_yaml* tour = tl_yaml_get(power, "tour");
    tl_status status = TL_OK;
    if (mains)
        status = read_one_mains(r, mains, &r->power->mains);
    if (status != TL_OK || !tour)
        return status;
    status = tl_yaml_expect(tour, TL_YAML_LIST, "a tour", r->error);
    if (status == TL_OK && tour->count > MOST_MAINS)
        status = tl_error_at(r->error, &tour->place, "more than %d mains on one tour", MOST_MAINS);
    if (status != TL_OK)
        return status;
    r->power->tour = tl_new(tour->count, sizeof(tl_part*));
    for (size_t i = 0; status == TL_OK && i < tour->count; ++i)
        status = read_one_mains(r, tour->items[i], &r->power->tour[r->power->tour_count++]);
    return status;
}

/// A list that has to be there, with something in it and not too much.
static tl_status need_list(const reading* r, const tl_yaml* power, const char* key, size_t most,
                           const tl_yaml** list) {
    *list = tl_yaml_get(power, key);
    if (!*list)
        return tl_error_at(r->error, &power->place, "'power' needs '%s'", key);
    tl_status status = tl_yaml_expect(*list, TL_YAML_LIST, key, r->error);
    if (status == TL_OK && ((*list)->count < 1 || (*list)->count > most))
        status = tl_error_at(r->error, &(*list)->place, "expected 1 to %zu %s", most, key);
    return status;
}

static tl_status read_lists(reading* r, const tl_yaml* node) {
    const tl_yaml* supplies = NULL;
    const tl_yaml* pedals = NULL;
    tl_status status = need_list(r, node, "supplies", MOST_SUPPLIES, &supplies);
    if (status == TL_OK)
        status = need_list(r, node, "pedals", MOST_CONSUMERS, &pedals);
    if (status != TL_OK)
        return status;
    r->power->supplies = tl_new(supplies->count, sizeof *r->power->supplies);
    for (size_t i = 0; status == TL_OK && i < supplies->count; ++i)
        status = read_supply(r, supplies->items[i]);
    r->power->consumers = tl_new(pedals->count, sizeof *r->power->consumers);
    for (size_t i = 0; status == TL_OK && i < pedals->count; ++i)
        status = read_consumer(r, pedals->items[i]);
    return status;
}

tl_status tl_power_read(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    static const char* const others[] = {"mains", "tour", "lead", "supplies", "pedals", NULL};
    rig->power = tl_new(1, sizeof *rig->power);
    reading r = {rig, rig->power, 0, error};
    rig->power->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "'power'", error);
    if (status == TL_OK)
        status = tl_part_read_apart(r.rig->library, &tl_kind_power, node, others,
                                    &rig->power->settings, r.error);
    if (status == TL_OK)
        status = read_mains(&r, node);
    const tl_yaml* lead = tl_yaml_get(node, "lead");
    if (status == TL_OK && lead)
        status = read_lead(&r, lead, &rig->power->lead);
    return status == TL_OK ? read_lists(&r, node) : status;
}

/// What a walk over the parts calls, and the path it has come to.
typedef struct {
    void (*visit)(void* context, tl_part* part, const char* name, const char* path);
    void* context;
} walk;

static void visit_part(const walk* w, tl_part* part, const char* name, char* path) {
    if (part)
        w->visit(w->context, part, name, path);
    free(path);
}

static void visit_lead(const walk* w, const tl_dc_lead* lead, const char* name, const char* path) {
    visit_part(w, lead->wire, name, tl_printf("%s.lead", path));
    visit_part(w, lead->joint, name, tl_printf("%s.lead.joint", path));
}

void tl_power_each_part(tl_power* power,
                        void (*visit)(void* context, tl_part* part, const char* name,
                                      const char* path),
                        void* context) {
    walk w = {visit, context};
    visit_part(&w, power->settings, NULL, tl_copy("power"));
    visit_part(&w, power->mains, NULL, tl_copy("power.mains"));
    for (size_t i = 0; i < power->tour_count; ++i)
        visit_part(&w, power->tour[i], NULL, tl_printf("power.tour[%zu]", i));
    visit_lead(&w, &power->lead, NULL, "power");
    for (size_t i = 0; i < power->supply_count; ++i) {
        const tl_supply* supply = &power->supplies[i];
        visit_part(&w, supply->part, supply->name, tl_printf("power.supplies[%zu]", i));
        for (size_t j = 0; j < supply->output_count; ++j)
            visit_part(&w, supply->outputs[j].part, supply->outputs[j].name,
                       tl_printf("power.supplies[%zu].outputs[%zu]", i, j));
    }
    for (size_t i = 0; i < power->consumer_count; ++i) {
        tl_consumer* consumer = &power->consumers[i];
        char* path = tl_printf("power.pedals[%zu]", i);
        visit_part(&w, consumer->part, consumer->name, tl_copy(path));
        visit_lead(&w, &consumer->lead, consumer->name, path);
        free(path);
    }
}

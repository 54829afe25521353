// SPDX-License-Identifier: GPL-3.0-or-later
// What may be wrong with a finished board: every value, lead, joint, pedal and buffer of its rig,
// and how each is put into the circuit.
#include "study/accept_work.h"

#include "base/text.h"
#include "parts/kinds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// How far a value may be wrong: all from memory, wide enough that what lies beyond would be seen.
static const double most_lead_farad = 2e-9; // 20 m of ordinary lead
static const double least_leak_ohm = 5e3;
static const double most_leak_ohm = 20e6;
static const double least_joint_ohm = 300;
static const double most_joint_ohm = 3e6;
static const double least_coupling_farad = 1e-9;

const char* tl_cause_name(tl_cause_kind kind) {
    static const char* const names[TL_CAUSE_KINDS] = {
        "lead", "value", "volume", "tone", "joint", "leak", "missing-buffer", "bypass", "on", "off",
    };
    return names[kind];
}

/// Suspects while they are collected.
typedef struct {
    tl_prospect* prospect;
    bool bench;
} listing;

static tl_suspect* push(tl_prospect* p, tl_suspect suspect) {
    p->suspects = tl_grow_one(p->suspects, p->suspect_count, sizeof *p->suspects);
    p->suspects[p->suspect_count] = suspect;
    return &p->suspects[p->suspect_count++];
}

/// The path of a part as people write it, without an item's kind; what is on the bench in place of
/// guitar and amp is under `measure`.
static char* part_path(const listing* l, const tl_part* part, const tl_item* item,
                       const char* path) {
    if (l->bench && part->kind == &tl_kind_pickup)
        return tl_copy("measure.dummy");
    if (l->bench && part->kind == &tl_kind_source)
        return tl_copy("measure.generator");
    if (l->bench && part->kind == &tl_kind_amp)
        return tl_copy("measure.meter");
    size_t size = strlen(path);
    size_t kind = strlen(part->kind->name) + 1;
    if (item && item->part == part && size > kind && path[size - kind] == '.' &&
        path[size - kind - 1] == ']')
        size -= kind;
    return tl_printf("%.*s", (int)size, path);
}

static char* part_about(const tl_part* part, const tl_item* item) {
    return tl_copy(item && item->name ? item->name : part->library ? part->library : "");
}

/// A part as it is listed.
typedef struct {
    const listing* l;
    tl_part* part;
    const tl_item* item;
    const char* path;
} listed;

/// Adds a number of a part, when it is there and not 0; its range is by ratio.
static tl_suspect* add_number(const listed* at, tl_cause_kind kind, tl_adds adds, const char* field,
                              double low, double high) {
    double stated = tl_part_number(at->part, field, 0);
    if (stated == 0)
        return NULL;
    char* path = part_path(at->l, at->part, at->item, at->path);
    tl_suspect suspect = {.kind = kind, .adds = adds, .part = at->part, .stated = stated};
    suspect.field = (size_t)tl_part_field(at->part->kind, field);
    suspect.unit = at->part->kind->fields[suspect.field].unit;
    suspect.low = low * stated;
    suspect.high = high * stated;
    suspect.factor = 1;
    suspect.path = tl_printf("%s.%s", path, field);
    suspect.about = part_about(at->part, at->item);
    free(path);
    return push(at->l->prospect, suspect);
}

/// A resistance to ground: lower is a leak, higher another part.
static void add_shunt(const listed* at, const char* field) {
    tl_suspect* made = add_number(at, TL_CAUSE_VALUE, TL_ADDS_SIEMENS, field, 1, 20);
    if (made)
        made->low = fmin(least_leak_ohm, made->stated / 2);
}

static void add_shunt_capacitance(const listed* at, const char* field) {
    tl_suspect* made = add_number(at, TL_CAUSE_VALUE, TL_ADDS_FARAD, field, 0.1, 10);
    if (made)
        made->high = fmax(made->high, most_lead_farad);
}

static void add_position(const listed* at, tl_cause_kind kind, double low) {
    tl_suspect* made = add_number(at, kind, TL_ADDS_OTHER, "position", 1, 1);
    if (!made)
        return;
    made->low = low;
    made->high = 1;
    made->linear = true;
}

/// A lead is told by its capacitance, and changed by its length: what else a longer lead has is
/// nothing beside it.
static void add_lead(const listed* at) {
    double farad = tl_cable_capacitance_farad(at->part);
    tl_suspect* made =
        farad > 0 ? add_number(at, TL_CAUSE_LEAD, TL_ADDS_FARAD, "length", 1, 1) : NULL;
    if (!made)
        return;
    made->factor = made->stated / farad;
    made->unit = TL_UNIT_FARAD;
    made->stated = farad;
    made->low = farad / 10;
    made->high = fmax(6 * farad, most_lead_farad);
}

static void add_choice(const listed* at, tl_cause_kind kind, tl_change change, const char* field,
                       size_t choice) {
    char* path = part_path(at->l, at->part, at->item, at->path);
    tl_suspect suspect = {.kind = kind, .change = change, .part = at->part, .choice = choice};
    suspect.field = field ? (size_t)tl_part_field(at->part->kind, field) : 0;
    suspect.path = field ? tl_printf("%s.%s", path, field) : tl_copy(path);
    suspect.about = part_about(at->part, at->item);
    suspect.stated = NAN;
    free(path);
    push(at->l->prospect, suspect);
}

static void add_flip(const listed* at) {
    bool on = tl_part_chosen(at->part, "engaged", "yes");
    add_choice(at, on ? TL_CAUSE_OFF : TL_CAUSE_ON, TL_CHANGE_CHOICE, "engaged", on ? 0 : 1);
}

static void add_output(const listed* at) {
    tl_suspect* made = add_number(at, TL_CAUSE_VALUE, TL_ADDS_OHM, "output.resistance", 0.1, 10);
    if (made)
        made->high = fmax(made->high, most_joint_ohm);
    made = add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "output.coupling", 0.01, 10);
    if (made)
        made->low = fmin(made->low, least_coupling_farad);
}

static void add_input(const listed* at) {
    add_shunt(at, "input.resistance");
    add_shunt_capacitance(at, "input.capacitance");
}

static void add_pedal(const listed* at) {
    const tl_part* pedal = at->part;
    bool on = tl_part_chosen(pedal, "engaged", "yes");
    bool drives = tl_part_drives(pedal);
    if (drives || tl_part_chosen(pedal, "bypass", "loaded-bypass"))
        add_input(at);
    if (drives)
        add_output(at);
    if (on)
        add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "gain", 1.0 / 30, 30);
    int field = tl_part_field(pedal->kind, "bypass");
    const char* const* choices = pedal->kind->fields[field].choices;
    for (size_t i = 0; !on && choices[i]; ++i)
        if (i != (size_t)pedal->values[field].number)
            add_choice(at, TL_CAUSE_BYPASS, TL_CHANGE_CHOICE, "bypass", i);
    add_flip(at);
}

static void add_buffer(const listed* at) {
    add_choice(at, TL_CAUSE_NOBUFFER, TL_CHANGE_REMOVE, NULL, 0);
    if (at->part->design)
        return;
    add_input(at);
    add_output(at);
    add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "gain", 1.0 / 30, 30);
}

static void add_pickup(const listed* at) {
    add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "inductance", 0.3, 3);
    add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "resistance", 0.25, 4);
    add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "eddy.resistance", 0.1, 100);
    add_shunt_capacitance(at, "capacitance");
}

/// A pot whose lower part is all of it hangs on the line as a resistance does.
static void add_pot(const listed* at) {
    add_position(at, TL_CAUSE_VOLUME, 0.02);
    if (tl_part_number(at->part, "position", 1) >= 1)
        add_shunt(at, "pot");
    else
        add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "pot", 0.1, 10);
}

static void add_tone(const listed* at) {
    add_position(at, TL_CAUSE_TONE, 0.01);
    add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "pot", 0.1, 10);
    add_number(at, TL_CAUSE_VALUE, TL_ADDS_OTHER, "capacitor", 0.1, 10);
}

static void add_amp(const listed* at) {
    add_shunt(at, "resistance");
    if (at->part->kind == &tl_kind_amp)
        add_shunt_capacitance(at, "capacitance");
}

static void add_contact(const listed* at) {
    tl_suspect* made = add_number(at, TL_CAUSE_JOINT, TL_ADDS_OHM, "resistance", 1, 1);
    if (!made)
        return;
    made->low = fmax(least_joint_ohm, made->stated);
    made->high = fmax(most_joint_ohm, 100 * made->stated);
}

static void add_loop(const listed* at) {
    add_flip(at);
}

static void visit(void* context, tl_part* part, const tl_item* item, const char* path) {
    static const struct {
        const tl_part_kind* kind;
        void (*add)(const listed* at);
    } kinds[] = {
        {&tl_kind_cable, add_lead},      {&tl_kind_pedal, add_pedal}, {&tl_kind_buffer, add_buffer},
        {&tl_kind_pickup, add_pickup},   {&tl_kind_volume, add_pot},  {&tl_kind_pot, add_pot},
        {&tl_kind_tone, add_tone},       {&tl_kind_amp, add_amp},     {&tl_kind_end, add_amp},
        {&tl_kind_contact, add_contact}, {&tl_kind_loop, add_loop},   {&tl_kind_source, add_output},
    };
    const listed at = {context, part, item, path};
    if (strncmp(path, "direct", 6) == 0)
        return;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; ++i)
        if (part->kind == kinds[i].kind)
            kinds[i].add(&at);
}

// ---- joints and leaks in the gaps beside leads

static size_t find_slot(const tl_slots* slots, const tl_item* item) {
    size_t i = 0;
    while (i < slots->count && slots->slots[i].item != item)
        ++i;
    return i;
}

static const tl_suspect* find_lead(const tl_prospect* p, const tl_part* part) {
    for (size_t i = 0; i < p->suspect_count; ++i)
        if (p->suspects[i].part == part && p->suspects[i].kind == TL_CAUSE_LEAD)
            return &p->suspects[i];
    return NULL;
}

static void add_gap(tl_prospect* p, size_t slot, tl_change change, const char* path) {
    bool joint = change == TL_CHANGE_JOINT;
    push(p, (tl_suspect){.kind = joint ? TL_CAUSE_JOINT : TL_CAUSE_LEAK,
                         .change = change,
                         .adds = joint ? TL_ADDS_OHM : TL_ADDS_SIEMENS,
                         .slot = slot,
                         .path = tl_copy(path),
                         .about = tl_copy(joint ? p->slots.slots[slot].words : ""),
                         .unit = TL_UNIT_OHM,
                         .stated = joint ? 0 : INFINITY,
                         .low = joint ? least_joint_ohm : least_leak_ohm,
                         .high = joint ? most_joint_ohm : most_leak_ohm,
                         .factor = 1});
}

static bool is_contact(const tl_item* item) {
    return item->part && item->part->kind == &tl_kind_contact;
}

/// A leak in a lead, and a bad joint at either end of it where the rig names no contact.
static void add_gaps(tl_prospect* p, const tl_chain* chain, size_t index) {
    const tl_suspect* lead = find_lead(p, chain->items[index].part);
    if (!lead)
        return;
    char* path = tl_printf("%.*s", (int)(strlen(lead->path) - strlen(".length")), lead->path);
    for (int side = -1; side <= 1; side += 2) {
        bool there = side < 0 ? index >= 1 : index + 1 < chain->count;
        size_t slot = there ? find_slot(&p->slots, &chain->items[side < 0 ? index - 1 : index + 1])
                            : p->slots.count;
        if (slot == p->slots.count)
            continue;
        if (side < 0)
            add_gap(p, slot, TL_CHANGE_LEAK, path);
        bool has = side < 0 ? index >= 2 : index + 2 < chain->count;
        if (!has || !is_contact(&chain->items[side < 0 ? index - 2 : index + 2]))
            add_gap(p, slot, TL_CHANGE_JOINT, path);
    }
    free(path);
}

static void walk_chain(tl_prospect* p, const tl_chain* chain) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        if (item->part && item->part->kind == &tl_kind_cable)
            add_gaps(p, chain, i);
        walk_chain(p, &item->loop);
        for (size_t j = 0; j < item->branch_count; ++j)
            walk_chain(p, &item->branches[j].chain);
    }
}

void tl_suspects_list(tl_prospect* prospect, bool bench) {
    listing l = {prospect, bench};
    tl_rig_each_part(prospect->plan.rig, visit, &l);
    tl_leads_list(prospect->plan.rig, &prospect->leads);
    const tl_pedals still = {.rig = prospect->plan.rig, .state_count = 1};
    prospect->slots = tl_slots_open(prospect->plan.rig, &still);
    prospect->gap = tl_part_new(&tl_kind_contact);
    walk_chain(prospect, &prospect->plan.rig->main.chain);
}

void tl_suspects_free(tl_prospect* prospect) {
    for (size_t i = 0; i < prospect->suspect_count; ++i) {
        free(prospect->suspects[i].path);
        free(prospect->suspects[i].about);
    }
    free(prospect->suspects);
    tl_leads_free(&prospect->leads);
    tl_slots_free(&prospect->slots);
    tl_part_free(prospect->gap);
}

// ---- values

double tl_suspect_value(const tl_suspect* suspect, double step) {
    double at = step / (TL_ACCEPT_STEPS - 1);
    return suspect->linear ? suspect->low + at * (suspect->high - suspect->low)
                           : suspect->low * pow(suspect->high / suspect->low, at);
}

double tl_suspect_added(const tl_suspect* suspect, double value) {
    if (suspect->adds == TL_ADDS_SIEMENS)
        return 1 / value - 1 / suspect->stated;
    return suspect->adds == TL_ADDS_OTHER ? value : value - suspect->stated;
}

double tl_suspect_adding(const tl_suspect* suspect, double added) {
    if (suspect->adds == TL_ADDS_SIEMENS)
        return 1 / (added + 1 / suspect->stated);
    return suspect->adds == TL_ADDS_OTHER ? added : added + suspect->stated;
}

// ---- circuits

static tl_item* find_item(tl_chain* chain, const tl_part* part) {
    for (size_t i = 0; i < chain->count; ++i) {
        tl_item* item = &chain->items[i];
        tl_item* found = item->part == part ? item : find_item(&item->loop, part);
        for (size_t j = 0; !found && j < item->branch_count; ++j)
            found = find_item(&item->branches[j].chain, part);
        if (found)
            return found;
    }
    return NULL;
}

/// Puts every drawn value so far off; that of the suspect is off from what is wrong.
static void set_tolerances(const tl_prospect* p, const tl_suspect* suspect, double value,
                           const double* deviations) {
    for (size_t i = 0; i < p->plan.entry_count; ++i) {
        const tl_spread_entry* entry = &p->plan.entries[i];
        bool own = suspect && suspect->change == TL_CHANGE_NUMBER && suspect->part == entry->part &&
                   suspect->field == entry->field;
        double off = deviations ? deviations[entry->value] * p->deviation[entry->value] : 0;
        entry->part->values[entry->field].number =
            (own ? value * suspect->factor : entry->nominal) * (1 + entry->share * off);
    }
}

/// The rig built with a part's value in place of its own.
static tl_circuit* build_with(tl_prospect* p, tl_part* part, size_t field, double number) {
    tl_value old = part->values[field];
    part->values[field].given = true;
    part->values[field].number = number;
    tl_circuit* circuit = tl_circuit_build_rig(p->plan.rig);
    part->values[field] = old;
    return circuit;
}

static bool is_drawn(const tl_prospect* p, const tl_suspect* suspect) {
    for (size_t i = 0; i < p->plan.entry_count; ++i)
        if (p->plan.entries[i].part == suspect->part && p->plan.entries[i].field == suspect->field)
            return true;
    return false;
}

static tl_circuit* build_gap(tl_prospect* p, const tl_suspect* suspect, double value) {
    bool joint = suspect->change == TL_CHANGE_JOINT;
    int leakage = tl_part_field(&tl_kind_contact, "leakage");
    tl_part_set_number(p->gap, "resistance", joint ? value : 0);
    p->gap->values[leakage].given = !joint;
    p->gap->values[leakage].number = joint ? 0 : value;
    tl_slots_put(&p->slots, suspect->slot, p->gap);
    tl_circuit* circuit = tl_circuit_build_rig(p->plan.rig);
    tl_slots_put(&p->slots, suspect->slot, NULL);
    return circuit;
}

tl_circuit* tl_suspect_build(tl_prospect* prospect, const tl_suspect* suspect, double value,
                             const double* deviations) {
    set_tolerances(prospect, suspect, value, deviations);
    if (!suspect)
        return tl_circuit_build_rig(prospect->plan.rig);
    if (suspect->change == TL_CHANGE_CHOICE)
        return build_with(prospect, suspect->part, suspect->field, (double)suspect->choice);
    if (suspect->change == TL_CHANGE_REMOVE) {
        tl_item* item = find_item(&prospect->plan.rig->main.chain, suspect->part);
        item->part = NULL;
        tl_circuit* circuit = tl_circuit_build_rig(prospect->plan.rig);
        item->part = suspect->part;
        return circuit;
    }
    if (suspect->change != TL_CHANGE_NUMBER)
        return build_gap(prospect, suspect, value);
    return is_drawn(prospect, suspect)
               ? tl_circuit_build_rig(prospect->plan.rig)
               : build_with(prospect, suspect->part, suspect->field, value * suspect->factor);
}

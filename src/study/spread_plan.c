// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/spread_plan.h"

#include "base/file.h"
#include "base/random.h"
#include "base/statistics.h"
#include "base/text.h"
#include "rig/follow.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double sigmas = 3; // that a tolerance of a normal distribution is

double tl_spread_offset(double uniform_number, bool uniform) {
    if (uniform)
        return 2 * uniform_number - 1;
    double below = tl_normal_share(-sigmas);
    double offset = tl_normal_quantile(below + uniform_number * (1 - 2 * below)) / sigmas;
    return offset < -1 ? -1 : offset > 1 ? 1 : offset;
}

// ---- what has a tolerance

typedef struct {
    tl_spread_plan* plan;
    bool only_stated;
    char** paths; ///< by entry
    char** about;
    tl_value_tolerance* tolerances;
    size_t found; ///< entries that were ever found
    tl_status status;
    tl_error* error;
} finding;

/// The path of a value: an item's part goes without its kind, as people write it.
static char* value_path(const tl_part* part, const tl_item* item, const char* path,
                        const char* field) {
    size_t size = strlen(path);
    size_t kind = strlen(part->kind->name) + 1;
    if (item && item->part == part && size > kind && path[size - kind] == '.' &&
        path[size - kind - 1] == ']')
        size -= kind;
    return tl_printf("%.*s.%s", (int)size, path, field);
}

static void add_entry(finding* f, tl_part* part, const tl_item* item, const char* path,
                      size_t field, const tl_value_tolerance* tolerance) {
    tl_spread_plan* plan = f->plan;
    size_t at = plan->entry_count++;
    f->found = plan->entry_count;
    plan->entries = tl_grow_one(plan->entries, at, sizeof *plan->entries);
    f->paths = tl_grow_one(f->paths, at, sizeof *f->paths);
    f->about = tl_grow_one(f->about, at, sizeof *f->about);
    f->tolerances = tl_grow_one(f->tolerances, at, sizeof *f->tolerances);
    plan->entries[at] = (tl_spread_entry){part,
                                          field,
                                          part->values[field].number,
                                          tolerance->share,
                                          tolerance->distribution == TL_UNIFORM,
                                          at};
    f->paths[at] = value_path(part, item, path, part->kind->fields[field].name);
    f->about[at] = tl_copy(item && item->name ? item->name : part->library ? part->library : "");
    f->tolerances[at] = *tolerance;
}

/// Tolerances that are stated were held against what the field allows when they were read; a kind's
/// default could not be.
static tl_status check_ends(const finding* f, size_t entry) {
    const tl_spread_entry* e = &f->plan->entries[entry];
    const tl_field* field = &e->part->kind->fields[e->field];
    if (tl_field_allows(field, e->nominal * (1 - e->share)) &&
        tl_field_allows(field, e->nominal * (1 + e->share)))
        return TL_OK;
    return tl_error_set(f->error, TL_BAD_INPUT,
                        "%s: its kind's tolerance of %g %% takes it beyond what is plausible: give "
                        "it one of its own",
                        f->paths[entry], 100 * e->share);
}

static void visit_part(void* context, tl_part* part, const tl_item* item, const char* path) {
    finding* f = context;
    for (size_t i = 0; f->status == TL_OK && i < part->kind->field_count; ++i) {
        const tl_value* value = &part->values[i];
        if (!value->given || part->kind->fields[i].choices || value->number == 0)
            continue;
        tl_value_tolerance tolerance;
        f->status =
            tl_rig_tolerance(f->plan->rig, part, i, f->only_stated, &tolerance, NULL, f->error);
        if (f->status != TL_OK || !tolerance.given || tolerance.share <= 0)
            continue;
        add_entry(f, part, item, path, i, &tolerance);
        f->status = check_ends(f, f->plan->entry_count - 1);
    }
}

static size_t find_entry(const tl_spread_plan* plan, const tl_part* part, size_t field) {
    size_t i = 0;
    while (i < plan->entry_count &&
           (plan->entries[i].part != part || plan->entries[i].field != field))
        ++i;
    return i;
}

/// Lets every entry move with that of the same field of the part its own follows: as far within its
/// own tolerance as the other within its.
static void follow(tl_spread_plan* plan) {
    for (size_t i = 0; i < plan->entry_count; ++i) {
        const tl_part* leader = tl_rig_leader(plan->rig, plan->entries[i].part);
        size_t led = leader ? find_entry(plan, leader, plan->entries[i].field) : plan->entry_count;
        if (led == plan->entry_count)
            continue;
        plan->entries[i].value = led;
        plan->entries[i].uniform = plan->entries[led].uniform;
    }
}

// ---- circuits

static void set_entry(const tl_spread_entry* entry, double offset) {
    entry->part->values[entry->field].number = entry->nominal * (1 + entry->share * offset);
}

static tl_circuit* build_now(const tl_spread_plan* plan) {
    return plan->alone ? tl_circuit_build_rig(plan->rig) : tl_circuit_build(plan->rig);
}

tl_circuit* tl_spread_plan_build(tl_spread_plan* plan, const double* offsets) {
    for (size_t i = 0; i < plan->entry_count; ++i)
        set_entry(&plan->entries[i], offsets[i]);
    return build_now(plan);
}

tl_circuit* tl_spread_plan_draw(tl_spread_plan* plan, uint64_t seed, uint64_t trial) {
    for (size_t i = 0; i < plan->entry_count; ++i) {
        const tl_spread_entry* entry = &plan->entries[i];
        double number = tl_random_uniform(seed, trial, (uint32_t)entry->value);
        set_entry(entry, tl_spread_offset(number, entry->uniform));
    }
    return build_now(plan);
}

tl_circuit* tl_spread_plan_shift(tl_spread_plan* plan, size_t value, double offset) {
    for (size_t i = 0; i < plan->entry_count; ++i)
        set_entry(&plan->entries[i], plan->entries[i].value == value ? offset : 0);
    return build_now(plan);
}

tl_circuit* tl_spread_plan_build_all(tl_spread_plan* plan, double offset) {
    for (size_t i = 0; i < plan->entry_count; ++i)
        set_entry(&plan->entries[i], offset);
    return build_now(plan);
}

/// Notes which elements differ between two circuits; false when their shapes do.
static bool note_differences(const tl_circuit* a, const tl_circuit* b, bool* varied, bool* any) {
    *any = false;
    if (!tl_circuit_same_shape(a, b))
        return false;
    for (size_t i = 0; i < a->element_count; ++i)
        if (a->elements[i].value != b->elements[i].value)
            *any = varied[i] = true;
    return true;
}

/// Cuts every cable as finely as the most demanding of its values within tolerance needs.
static void fix_sections(tl_spread_plan* plan) {
    tl_rig* rigs[3] = {plan->rig};
    for (int i = 1; i < 3; ++i) {
        tl_circuit_free(tl_spread_plan_build_all(plan, i == 1 ? -1 : 1));
        rigs[i] = tl_rig_clone(plan->rig);
    }
    tl_circuit_free(tl_spread_plan_build_all(plan, 0));
    tl_circuit_fix_sections(rigs, 3);
    tl_rig_free(rigs[1]);
    tl_rig_free(rigs[2]);
}

// ---- the values that are drawn

static char* describe_tolerance(const tl_spread_entry* entry) {
    tl_text text = {0};
    tl_quantity_add(&text, entry->part->kind->fields[entry->field].unit, entry->nominal);
    tl_text_addf(&text, " +-%g %%%s", 100 * entry->share, entry->uniform ? " uniform" : "");
    return tl_text_take(&text);
}

static char* describe_origin(const tl_value_tolerance* tolerance) {
    if (tolerance->place.in)
        return tl_printf("%s:%zu", tl_file_name(tolerance->place.in->name), tolerance->place.line);
    return tl_copy(tolerance->source ? tolerance->source : "");
}

static void add_followed(tl_spread_value* value, const char* path) {
    char* joined = tl_printf("%s%s%s", value->followed, *value->followed ? ", " : "", path);
    free(value->followed);
    value->followed = joined;
}

/// Makes drawn values of the entries that move by themselves and change the circuit, and drops all
/// others with what follows them.
static void number_values(finding* f, const bool* matters) {
    tl_spread_plan* plan = f->plan;
    size_t* number = tl_new(plan->entry_count, sizeof *number);
    plan->values = tl_new(plan->entry_count, sizeof *plan->values);
    for (size_t i = 0; i < plan->entry_count; ++i) {
        const tl_spread_entry* entry = &plan->entries[i];
        if (entry->value != i || !matters[i])
            continue;
        number[i] = plan->value_count;
        plan->values[plan->value_count++] =
            (tl_spread_value){.path = tl_copy(f->paths[i]),
                              .about = tl_copy(f->about[i]),
                              .shown = describe_tolerance(entry),
                              .followed = tl_copy(""),
                              .origin = describe_origin(&f->tolerances[i]),
                              .nominal = entry->nominal,
                              .share = entry->share,
                              .uniform = entry->uniform};
    }
    size_t kept = 0;
    for (size_t i = 0; i < plan->entry_count; ++i) {
        tl_spread_entry entry = plan->entries[i];
        if (!matters[entry.value])
            continue;
        if (entry.value != i)
            add_followed(&plan->values[number[entry.value]], f->paths[i]);
        entry.value = number[entry.value];
        plan->entries[kept++] = entry;
    }
    plan->entry_count = kept;
    free(number);
}

static tl_status shape_changes(const finding* f, size_t entry) {
    return tl_error_set(f->error, TL_BAD_INPUT,
                        "%s: within its tolerance it becomes a wire or nothing, which would be "
                        "another circuit; give it '+-0 %%' or a value of its own",
                        f->paths[entry]);
}

/// The nominal circuit, and what each value makes of it by itself.
typedef struct {
    tl_circuit** circuits;
    size_t count;
} variants;

/// Finds which entries change the circuit, and which elements change at all.
static tl_status find_effects(finding* f, bool* matters, bool* varied, variants* v) {
    tl_spread_plan* plan = f->plan;
    v->circuits = tl_new(2 * plan->entry_count + 1, sizeof *v->circuits);
    v->circuits[v->count++] = plan->nominal;
    for (size_t i = 0; i < plan->entry_count; ++i)
        for (int way = -1; plan->entries[i].value == i && way <= 1; way += 2) {
            bool any = false;
            tl_circuit* shifted = tl_spread_plan_shift(plan, i, way);
            if (tl_part_check(plan->entries[i].part, true, f->error) != TL_OK) {
                tl_circuit_free(shifted);
                tl_error_prefix(f->error, "%s, at an end of its tolerance", f->paths[i]);
                return TL_BAD_INPUT;
            }
            v->circuits[v->count++] = shifted;
            if (!note_differences(plan->nominal, shifted, varied, &any))
                return shape_changes(f, i);
            matters[i] = matters[i] || any;
        }
    return TL_OK;
}

static void free_variants(variants* v) {
    for (size_t i = 1; i < v->count; ++i)
        tl_circuit_free(v->circuits[i]);
    free(v->circuits);
}

static tl_status make(finding* f) {
    tl_spread_plan* plan = f->plan;
    tl_rig_each_part(plan->rig, visit_part, f);
    if (f->status != TL_OK)
        return f->status;
    follow(plan);
    fix_sections(plan);
    plan->nominal = tl_spread_plan_build_all(plan, 0);
    bool* matters = tl_new(plan->entry_count + 1, sizeof *matters);
    bool* varied = tl_new(plan->nominal->element_count, sizeof *varied);
    variants v = {0};
    tl_status status = find_effects(f, matters, varied, &v);
    if (status == TL_OK) {
        number_values(f, matters);
        plan->same = tl_circuit_alike(v.circuits, v.count, varied);
        plan->deck = tl_circuit_deck_shared(plan->nominal, varied, plan->same);
        if (!plan->value_count && !plan->alone)
            status = tl_error_set(f->error, TL_BAD_INPUT,
                                  "%s: no value that the sound depends on has a tolerance: write "
                                  "one as in 'resistance: 6 kohm +-10 %%'",
                                  tl_rig_path(plan->rig));
    }
    free_variants(&v);
    free(matters);
    free(varied);
    return status;
}

static tl_status plan_make(tl_rig* rig, bool only_stated, bool alone, tl_spread_plan* plan,
                           tl_error* error) {
    *plan = (tl_spread_plan){.rig = tl_rig_clone(rig), .alone = alone};
    finding f = {.plan = plan, .only_stated = only_stated, .error = error};
    tl_status status = tl_statistics_prepare(error);
    if (status == TL_OK)
        status = make(&f);
    for (size_t i = 0; i < f.found; ++i) {
        free(f.paths[i]);
        free(f.about[i]);
    }
    free(f.paths);
    free(f.about);
    free(f.tolerances);
    if (status != TL_OK)
        tl_spread_plan_free(plan);
    return status;
}

tl_status tl_spread_plan_make(tl_rig* rig, bool only_stated, tl_spread_plan* plan,
                              tl_error* error) {
    return plan_make(rig, only_stated, false, plan, error);
}

tl_status tl_spread_plan_make_alone(tl_rig* rig, tl_spread_plan* plan, tl_error* error) {
    return plan_make(rig, false, true, plan, error);
}

bool tl_spread_plan_fits(const tl_spread_plan* plan, const tl_circuit* circuit) {
    const double rounding = 1e-12; // of sums that may be added up in another order
    if (!tl_circuit_same_shape(plan->nominal, circuit))
        return false;
    for (size_t i = 0; i < circuit->element_count; ++i) {
        double value = circuit->elements[i].value;
        if (plan->same[i] != i &&
            !(fabs(value - circuit->elements[plan->same[i]].value) <= rounding * fabs(value)))
            return false;
    }
    return true;
}

void tl_spread_values_free(tl_spread_value* values, size_t count) {
    for (size_t i = 0; values && i < count; ++i) {
        free(values[i].path);
        free(values[i].about);
        free(values[i].shown);
        free(values[i].followed);
        free(values[i].origin);
    }
    free(values);
}

void tl_spread_plan_free(tl_spread_plan* plan) {
    tl_spread_values_free(plan->values, plan->value_count);
    tl_deck_free(plan->deck);
    tl_circuit_free(plan->nominal);
    free(plan->same);
    free(plan->entries);
    tl_rig_free(plan->rig);
    *plan = (tl_spread_plan){0};
}

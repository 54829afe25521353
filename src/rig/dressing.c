// SPDX-License-Identifier: GPL-3.0-or-later
#include "rig/dressing.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "parts/run.h"
#include "rig/path.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_RUNS = 100 };

static bool is_in(const tl_chain* chain, const tl_part* part) {
    for (size_t i = 0; i < chain->count; ++i)
        if (chain->items[i].part == part || is_in(&chain->items[i].loop, part))
            return true;
    return false;
}

/// Finds a lead by its words: a cable between guitar and amp, which is where signal is picked up.
static tl_status find_lead(tl_rig* rig, const char* words, const tl_place* place, tl_part** lead,
                           tl_error* error) {
    tl_status status = tl_rig_find_part(rig, words, place, lead, error);
    if (status != TL_OK)
        return status;
    if ((*lead)->kind != &tl_kind_cable)
        return tl_error_at(error, place, "'%s' is %s, not a lead: expected a cable of the chain",
                           words, (*lead)->kind->about);
    if (is_in(&rig->direct, *lead))
        return tl_error_at(error, place,
                           "'%s' belongs to 'direct', which the rig is only held against: expected "
                           "a cable of the chain",
                           words);
    return TL_OK;
}

tl_status tl_run_leads(tl_rig* rig, const tl_run* run, tl_part** lead, tl_part** other,
                       tl_error* error) {
    *other = NULL;
    tl_status status = find_lead(rig, run->lead, &run->lead_place, lead, error);
    if (status == TL_OK && run->other)
        status = find_lead(rig, run->other, &run->other_place, other, error);
    return status;
}

/// The words that name a lead.
static tl_status read_lead(const tl_yaml* map, const char* key, char** words, tl_place* place,
                           tl_error* error) {
    const tl_yaml* node = tl_yaml_get(map, key);
    if (!node)
        return TL_OK;
    tl_status status = tl_yaml_expect(node, TL_YAML_SCALAR, "a lead", error);
    if (status == TL_OK && !*node->text)
        status = tl_error_at(error, &node->place,
                             "expected a lead: a cable's name, or a path such as chain[0]");
    if (status != TL_OK)
        return status;
    *words = tl_copy(node->text);
    *place = node->place;
    return TL_OK;
}

static tl_status read_run_name(const tl_rig* rig, const tl_yaml* map, tl_run* run,
                               tl_error* error) {
    const tl_yaml* node = tl_yaml_get(map, "name");
    if (!node)
        return tl_error_at(error, &map->place, "a run needs a 'name', to be told from the others");
    tl_status status = tl_yaml_name(node, &run->name, error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < rig->run_count; ++i)
        if (rig->runs[i].name && strcmp(rig->runs[i].name, node->text) == 0)
            return tl_error_at(error, &node->place, "a second run of the name '%s'", node->text);
    return TL_OK;
}

/// What only both leads together can tell.
static tl_status check_leads(tl_rig* rig, const tl_run* run, tl_error* error) {
    tl_part* lead = NULL;
    tl_part* other = NULL;
    tl_status status = tl_run_leads(rig, run, &lead, &other, error);
    if (status != TL_OK)
        return status;
    if (other == lead)
        return tl_error_at(error, &run->other_place, "a lead beside itself: '%s' is the run's lead",
                           run->other);
    double length_m = tl_part_number(run->part, "length", 0);
    double lead_m = tl_part_number(lead, "length", 0);
    double other_m = other ? tl_part_number(other, "length", 0) : lead_m;
    double least_m = lead_m < other_m ? lead_m : other_m;
    if (length_m > least_m * (1 + 1e-9))
        return tl_error_at(error, &tl_part_value(run->part, "length")->place,
                           "%.4g m beside each other, but the lead is only %.4g m long", length_m,
                           least_m);
    return tl_run_check_lie(run->part, lead, error);
}

static tl_status read_run(tl_rig* rig, const tl_yaml* node, tl_run* run, tl_error* error) {
    static const char* const others[] = {"name", "lead", "other", NULL};
    run->place = node->place;
    tl_status status = tl_yaml_expect(node, TL_YAML_MAP, "a run of leads", error);
    if (status == TL_OK)
        status = read_run_name(rig, node, run, error);
    if (status == TL_OK)
        status = read_lead(node, "lead", &run->lead, &run->lead_place, error);
    if (status == TL_OK)
        status = read_lead(node, "other", &run->other, &run->other_place, error);
    if (status == TL_OK && !run->lead)
        return tl_error_at(error, &node->place,
                           "a run needs its 'lead': a cable's name, or a path such as chain[0]");
    if (status == TL_OK)
        status = tl_part_read(rig->library, &tl_kind_run, node, others, &run->part, error);
    if (status == TL_OK && run->part->follows)
        return tl_error_at(error, &run->part->follows_place, "a run follows nothing");
    if (status == TL_OK)
        status = tl_part_check(run->part, true, error);
    if (status != TL_OK)
        return status;
    bool audio = tl_part_chosen(run->part, "beside", "audio");
    if (audio && !run->other)
        return tl_error_at(error, &node->place,
                           "a run beside audio needs the 'other' lead: a cable's name, or a path");
    if (!audio && run->other)
        return tl_error_at(error, &run->other_place, "'other' goes with a run beside audio");
    return check_leads(rig, run, error);
}

tl_status tl_dressing_read(tl_rig* rig, const tl_yaml* node, tl_error* error) {
    tl_status status = tl_yaml_expect(node, TL_YAML_LIST, "dressing", error);
    if (status != TL_OK)
        return status;
    if (node->count > MOST_RUNS)
        return tl_error_at(error, &node->place, "more than %d runs of leads", MOST_RUNS);
    rig->runs = tl_new(node->count, sizeof *rig->runs);
    for (size_t i = 0; status == TL_OK && i < node->count; ++i) {
        status = read_run(rig, node->items[i], &rig->runs[i], error);
        rig->run_count = i + 1;
    }
    return status;
}

void tl_dressing_free(tl_rig* rig) {
    for (size_t i = 0; i < rig->run_count; ++i) {
        free(rig->runs[i].name);
        free(rig->runs[i].lead);
        free(rig->runs[i].other);
        tl_part_free(rig->runs[i].part);
    }
    free(rig->runs);
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/power_route.h"

#include "base/text.h"
#include "parts/kinds.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

/// Where the walk is: the last ground, and the lead since then.
typedef struct {
    size_t stop;
    const tl_item* first;
    double ohm;
    double metres;
} position;

typedef struct {
    const tl_rig* rig;
    tl_route* route;
    double share;
} walk;

static void walk_branch(walk* w, const tl_branch* branch, const char* name, position at);

static size_t consumer_of(const tl_rig* rig, const tl_item* item) {
    for (size_t i = 0; rig->power && i < rig->power->consumer_count; ++i)
        if (rig->power->consumers[i].item == item)
            return i;
    return SIZE_MAX;
}

static void add_stretch(walk* w, const position* at, size_t to, const tl_item* here) {
    tl_route* route = w->route;
    if (at->stop == SIZE_MAX)
        return; // the guitar's ground floats: it is the first pedal's
    route->stretches =
        tl_grow_one(route->stretches, route->stretch_count, sizeof *route->stretches);
    route->stretches[route->stretch_count++] = (tl_route_stretch){
        at->stop, to, at->first ? at->first : here, fmax(at->ohm, TL_ROUTE_LEAST_OHM), at->metres};
}

/// Comes to a ground: the lead so far is a stretch, and a new one begins.
static void stop_here(walk* w, position* at, size_t consumer, const tl_item* item) {
    tl_route* route = w->route;
    size_t made = route->stop_count;
    add_stretch(w, at, made, item);
    route->stops = tl_grow_one(route->stops, made, sizeof *route->stops);
    route->stops[made] = (tl_route_stop){consumer, at->stop};
    route->stop_count = made + 1;
    *at = (position){.stop = made};
}

/// What a cable's or contact's shield adds to the way.
static void pass_part(walk* w, const tl_part* part, position* at) {
    if (part->kind == &tl_kind_contact) {
        at->ohm += tl_part_number(part, "resistance", 0);
    } else if (part->kind == &tl_kind_cable) {
        double ohm_per_m = tl_cable_per_metre(part).ohm;
        double length_m = tl_part_number(part, "length", 0);
        w->route->assumed = w->route->assumed || ohm_per_m == 0;
        at->ohm += w->share * (ohm_per_m == 0 ? TL_ROUTE_OHM_PER_M : ohm_per_m) * length_m;
        at->metres += length_m;
    }
}

static char* branch_name(const char* outer, const tl_branch* branch) {
    return outer ? tl_printf("%s/%s", outer, branch->name) : tl_copy(branch->name);
}

static void walk_chain(walk* w, const tl_chain* chain, const char* name, position* at) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        size_t consumer = consumer_of(w->rig, item);
        if (tl_item_is_loop(item)) {
            if (tl_part_chosen(item->part, "engaged", "yes"))
                walk_chain(w, &item->loop, name, at);
            continue;
        }
        if (consumer != SIZE_MAX || item->branch_count)
            stop_here(w, at, consumer, item);
        else if (!at->first)
            at->first = item;
        for (size_t j = 0; j < item->branch_count; ++j) {
            char* inner = branch_name(name, &item->branches[j]);
            walk_branch(w, &item->branches[j], inner, *at);
            free(inner);
        }
        if (item->part)
            pass_part(w, item->part, at);
    }
}

static void walk_branch(walk* w, const tl_branch* branch, const char* name, position at) {
    walk_chain(w, &branch->chain, name, &at);
    if (!branch->amp)
        return;
    add_stretch(w, &at, SIZE_MAX, NULL);
    tl_route* route = w->route;
    route->amps = tl_grow_one(route->amps, route->amp_count, sizeof *route->amps);
    route->amps[route->amp_count++] = (tl_route_amp){tl_copy(name ? name : "amp"), at.stop};
}

tl_route tl_route_make(const tl_rig* rig, double share) {
    tl_route route = {0};
    walk w = {rig, &route, share};
    walk_branch(&w, &rig->main, NULL, (position){.stop = SIZE_MAX});
    return route;
}

void tl_route_free(tl_route* route) {
    for (size_t i = 0; i < route->amp_count; ++i)
        free(route->amps[i].name);
    free(route->amps);
    free(route->stops);
    free(route->stretches);
    *route = (tl_route){0};
}

bool tl_route_meets(const tl_route* route, size_t consumer) {
    for (size_t i = 0; i < route->stop_count; ++i)
        if (route->stops[i].consumer == consumer)
            return true;
    return false;
}

bool tl_route_leads(const tl_route* route, size_t amp, size_t consumer) {
    for (size_t stop = route->amps[amp].last; stop != SIZE_MAX; stop = route->stops[stop].before)
        if (route->stops[stop].consumer == consumer)
            return true;
    return false;
}

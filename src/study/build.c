// SPDX-License-Identifier: GPL-3.0-or-later
// A board to be built: its layout as figures.
#include "study/build.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "study/build_bill.h"
#include "study/build_hold.h"
#include "study/power_work.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const char* tl_build_gravity_word(tl_build_gravity gravity) {
    static const char* const words[] = {"error", "warning", "note"};
    return words[gravity];
}

static void list_boxes(tl_build_work* w) {
    tl_build* build = w->build;
    build->boxes = tl_new(w->board->count, sizeof *build->boxes);
    w->boxes = tl_new(w->board->count, sizeof *w->boxes);
    build->total_weight_kg = isnan(build->weight_kg) ? 0 : build->weight_kg;
    for (size_t i = 0; i < w->board->count; ++i) {
        const tl_placed* placed = &w->board->placed[i];
        w->boxes[i] = TL_BUILD_NONE;
        if (!placed->part)
            continue;
        w->boxes[i] = build->box_count;
        tl_build_box* box = &build->boxes[build->box_count++];
        *box = (tl_build_box){.name = tl_copy(placed->name),
                              .kind = placed->kind,
                              .under = placed->under,
                              .left_m = placed->left_m,
                              .front_m = placed->front_m,
                              .width_m = placed->width_m,
                              .depth_m = placed->depth_m,
                              .height_m = tl_part_number(placed->part, "height", NAN),
                              .weight_kg = tl_part_number(placed->part, "weight", NAN),
                              .thin = tl_part_chosen(placed->part, "thin", "yes")};
        build->weightless += isnan(box->weight_kg) ? 1 : 0;
        build->total_weight_kg += isnan(box->weight_kg) ? 0 : box->weight_kg;
    }
}

static tl_build_end make_end(const tl_build_work* w, const tl_layout_end* end) {
    tl_spot_m nowhere = {NAN, NAN};
    tl_build_end made = {.name = tl_copy(end->name),
                         .box = TL_BUILD_NONE,
                         .jack = nowhere,
                         .leaves = nowhere,
                         .plug = tl_copy(end->plug && end->plug->library ? end->plug->library : ""),
                         .low = nowhere,
                         .high = nowhere,
                         .room_m = NAN,
                         .body_m = NAN,
                         .farad = NAN};
    if (end->plug)
        made.farad = tl_part_number(end->plug, "capacitance", NAN);
    if (!end->placed)
        return made;
    made.box = w->boxes[end->box];
    made.side = end->jack.side;
    made.jack = end->jack.spot;
    made.leaves = end->end.spot;
    made.low = end->body.low;
    made.high = end->body.high;
    made.room_m = tl_part_number(end->plug, "room", NAN);
    made.body_m = tl_part_number(end->plug, "body", NAN);
    return made;
}

/// What a lead's make comes to over its length.
static void set_wire(const tl_build_work* w, const tl_layout_lead* from, size_t which,
                     tl_build_lead* lead) {
    if (from->cable) {
        tl_cable_line line = tl_cable_per_metre(from->cable);
        lead->type = tl_copy(from->cable->library ? from->cable->library : "");
        lead->farad = line.farad * lead->length_m;
        lead->loop_ohm = line.ohm * lead->length_m;
        return;
    }
    const tl_power* power = w->rig->power;
    const tl_consumer* consumer = &power->consumers[tl_build_consumer(w, which)];
    const tl_dc_lead* dc = consumer->lead.wire ? &consumer->lead : &power->lead;
    tl_power_lead known = tl_power_lead_of(power, consumer);
    double gauge_m = dc->wire ? tl_part_number(dc->wire, "gauge", 0) : tl_gauge_diameter_m(24);
    lead->type = tl_gauge_words(gauge_m);
    lead->farad = NAN;
    lead->loop_ohm = 2 * known.ohm_per_m * lead->length_m;
}

/// A lead of the board is cut as its rig has it: by its route, or as stated.
static void set_length(const tl_layout_lead* from, tl_build_lead* lead) {
    if (lead->way)
        lead->route_m = from->way.length_m + from->drop_m;
    if (from->cable)
        lead->length_m = tl_part_number(from->cable, "length", 0);
    else if (isnan(lead->length_m))
        lead->length_m = lead->stated_m;
    lead->slack_m = lead->length_m - lead->route_m;
    lead->cut_m = lead->length_m + lead->preparation_m;
}

static void make_lead(tl_build_work* w, size_t which) {
    tl_layout_lead* from = &w->layout.leads[which];
    tl_build_lead* lead = &w->build->leads[which];
    *lead = (tl_build_lead){.number = which + 1,
                            .kind = from->cable ? "audio" : "dc",
                            .on_board = from->on_board,
                            .path = tl_copy(from->path),
                            .from = make_end(w, &from->from),
                            .to = make_end(w, &from->to),
                            .way = from->way.way,
                            .way_count = from->way.way_count,
                            .route_m = NAN,
                            .slack_m = NAN,
                            .drop_m = from->drop_m,
                            .length_m = from->length_m,
                            .stated_m = NAN,
                            .over_edge = from->over_edge,
                            .diameter_m = from->outer_assumed ? NAN : from->outer_m,
                            .bend_m = from->bend_m,
                            .bend_least_m = from->bend_least_m};
    from->way.way = NULL; // it has gone over
    lead->preparation_m = tl_part_number(from->from.plug, "preparation", 0) +
                          tl_part_number(from->to.plug, "preparation", 0);
    if (from->cable && !tl_part_value(from->cable, "length")->layout)
        lead->stated_m = tl_part_number(from->cable, "length", NAN);
    if (!from->cable)
        lead->stated_m = tl_build_stated_dc(w, which);
    lead->from.joined = !from->cable && tl_build_is_joined(w, which);
    set_length(from, lead);
    set_wire(w, from, which, lead);
}

static void list_leads(tl_build_work* w) {
    tl_build* build = w->build;
    build->lead_count = w->layout.count;
    build->leads = tl_new(build->lead_count, sizeof *build->leads);
    for (size_t i = 0; i < build->lead_count; ++i)
        make_lead(w, i);
}

static tl_status make_build(tl_build_work* w, const char* prices, tl_error* error) {
    tl_build* build = w->build;
    const tl_part* part = w->board->part;
    build->rig = tl_copy(tl_rig_title(w->rig));
    build->width_m = tl_part_number(part, "width", 0);
    build->depth_m = tl_part_number(part, "depth", 0);
    build->weight_kg = tl_part_number(part, "weight", NAN);
    tl_status status = tl_layout_make(w->rig, &w->layout, error);
    if (status == TL_OK)
        status = tl_build_add_dc(w, error);
    if (status != TL_OK)
        return status;
    list_boxes(w);
    list_leads(w);
    tl_build_look_at_power(w);
    tl_build_look(w);
    tl_build_assume(w);
    tl_build_hold_all(w);
    tl_hold_assume(w);
    return tl_build_bill(w, prices, error);
}

tl_status tl_study_build(tl_session* session, tl_rig* rig, const tl_build_options* options,
                         tl_build** build, tl_error* error) {
    (void)session;
    *build = NULL;
    if (!rig->board)
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: no 'board' in this rig: expected 'board: {width: 60 cm, depth: 30 "
                            "cm, pedals: [..]}'",
                            tl_rig_path(rig));
    tl_locale locale = tl_locale_plain();
    tl_build_work w = {.rig = rig, .board = rig->board, .build = tl_new(1, sizeof(tl_build))};
    tl_status status = make_build(&w, options ? options->prices : NULL, error);
    tl_layout_free(&w.layout);
    free(w.boxes);
    free(w.consumers);
    free(w.outputs);
    tl_power_plan_free(w.plan);
    if (status == TL_OK)
        *build = w.build;
    else
        tl_build_free(w.build);
    tl_locale_restore(locale);
    return status;
}

static void end_free(tl_build_end* end) {
    free(end->name);
    free(end->plug);
}

void tl_build_free(tl_build* build) {
    if (!build)
        return;
    for (size_t i = 0; i < build->box_count; ++i)
        free(build->boxes[i].name);
    for (size_t i = 0; i < build->lead_count; ++i) {
        tl_build_lead* lead = &build->leads[i];
        end_free(&lead->from);
        end_free(&lead->to);
        free(lead->path);
        free(lead->type);
        free(lead->way);
    }
    for (size_t i = 0; i < build->finding_count; ++i)
        free(build->findings[i].words);
    for (size_t i = 0; i < build->hold_count; ++i)
        free(build->holds[i].fastener);
    tl_bill_clear(build);
    for (size_t i = 0; i < build->assumed_count; ++i)
        free(build->assumed[i]);
    free(build->boxes);
    free(build->leads);
    free(build->findings);
    free(build->holds);
    free(build->assumed);
    free(build->no_dc);
    free(build->rig);
    free(build);
}

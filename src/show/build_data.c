// SPDX-License-Identifier: GPL-3.0-or-later
// A board to build as JSON and CSV.
#include "show/build.h"
#include "show/build_bill.h"
#include "show/json.h"
#include "toneload/show.h"

#include <math.h>

static const char* box_name(const tl_build* build, size_t box) {
    return box == TL_BUILD_NONE ? NULL : build->boxes[box].name;
}

static json_t* lead_number(const tl_build* build, size_t lead) {
    return lead == TL_BUILD_NONE ? json_null()
                                 : json_integer((json_int_t)build->leads[lead].number);
}

static json_t* board_json(const tl_build* build) {
    json_t* board = json_object();
    tl_json_put_number(board, "width_m", build->width_m);
    tl_json_put_number(board, "depth_m", build->depth_m);
    tl_json_put_number(board, "weight_kg", build->weight_kg);
    tl_json_put_number(board, "total_weight_kg", build->total_weight_kg);
    tl_json_put_count(board, "without_weight", build->weightless);
    return board;
}

static json_t* boxes_json(const tl_build* build) {
    json_t* list = json_array();
    for (size_t i = 0; i < build->box_count; ++i) {
        const tl_build_box* box = &build->boxes[i];
        json_t* row = json_object();
        tl_json_put_words(row, "name", box->name);
        tl_json_put_words(row, "kind", box->kind);
        tl_json_put(row, "under", json_boolean(box->under));
        tl_json_put_number(row, "left_m", box->left_m);
        tl_json_put_number(row, "front_m", box->front_m);
        tl_json_put_number(row, "width_m", box->width_m);
        tl_json_put_number(row, "depth_m", box->depth_m);
        tl_json_put_number(row, "height_m", box->height_m);
        tl_json_put_number(row, "weight_kg", box->weight_kg);
        tl_json_put(row, "thin", json_boolean(box->thin));
        json_array_append_new(list, row);
    }
    return list;
}

/// A spot as [x, y]; null off the board.
static json_t* spot_json(const tl_spot_m* spot) {
    if (isnan(spot->x_m))
        return json_null();
    json_t* pair = json_array();
    json_array_append_new(pair, tl_json_number(spot->x_m));
    json_array_append_new(pair, tl_json_number(spot->y_m));
    return pair;
}

static json_t* end_json(const tl_build* build, const tl_build_end* end) {
    json_t* row = json_object();
    tl_json_put_words(row, "name", end->name);
    tl_json_put_words(row, "box", box_name(build, end->box));
    tl_json_put_words(row, "side", end->box == TL_BUILD_NONE ? NULL : tl_side_word(end->side));
    tl_json_put_words(row, "plug", *end->plug ? end->plug : NULL);
    tl_json_put(row, "joined", json_boolean(end->joined));
    tl_json_put(row, "jack_m", spot_json(&end->jack));
    tl_json_put(row, "leaves_m", spot_json(&end->leaves));
    tl_json_put_number(row, "room_m", end->room_m);
    tl_json_put_number(row, "body_m", end->body_m);
    return row;
}

static json_t* lead_json(const tl_build* build, const tl_build_lead* lead) {
    json_t* row = json_object();
    tl_json_put_count(row, "number", lead->number);
    tl_json_put_words(row, "kind", lead->kind);
    tl_json_put(row, "on_board", json_boolean(lead->on_board));
    tl_json_put_words(row, "path", *lead->path ? lead->path : NULL);
    tl_json_put_words(row, "type", *lead->type ? lead->type : NULL);
    tl_json_put(row, "from", end_json(build, &lead->from));
    tl_json_put(row, "to", end_json(build, &lead->to));
    tl_json_put_number(row, "route_m", lead->route_m);
    tl_json_put_number(row, "drop_m", lead->drop_m);
    tl_json_put_number(row, "slack_m", lead->slack_m);
    tl_json_put_number(row, "length_m", lead->length_m);
    tl_json_put_number(row, "preparation_m", lead->preparation_m);
    tl_json_put_number(row, "cut_m", lead->cut_m);
    tl_json_put_number(row, "stated_m", lead->stated_m);
    tl_json_put_number(row, "diameter_m", lead->diameter_m);
    tl_json_put_number(row, "bend_m", lead->bend_m);
    tl_json_put_number(row, "bend_least_m", lead->bend_least_m);
    tl_json_put_number(row, "capacitance_farad", lead->farad);
    tl_json_put_number(row, "loop_ohm", lead->loop_ohm);
    json_t* way = json_array();
    for (size_t i = 0; i < lead->way_count; ++i)
        json_array_append_new(way, spot_json(&lead->way[i]));
    tl_json_put(row, "way_m", way);
    return row;
}

static json_t* totals_json(const tl_build* build) {
    tl_build_totals totals = tl_build_sum(build);
    json_t* row = json_object();
    tl_json_put_count(row, "patch_leads", totals.patches);
    tl_json_put_number(row, "patch_length_m", totals.patch_m);
    tl_json_put_number(row, "patch_cut_m", totals.patch_cut_m);
    tl_json_put_number(row, "patch_capacitance_farad", totals.patch_farad);
    tl_json_put_count(row, "dc_leads", totals.dc);
    tl_json_put_number(row, "dc_cut_m", totals.dc_cut_m);
    tl_json_put_count(row, "leads_off_board", totals.others);
    tl_json_put_number(row, "off_board_cut_m", totals.others_cut_m);
    return row;
}

static json_t* findings_json(const tl_build* build) {
    json_t* list = json_array();
    for (size_t i = 0; i < build->finding_count; ++i) {
        const tl_build_finding* finding = &build->findings[i];
        json_t* row = json_object();
        tl_json_put_words(row, "verdict", tl_build_gravity_word(finding->gravity));
        tl_json_put_words(row, "kind", finding->kind);
        tl_json_put_words(row, "box", box_name(build, finding->box));
        tl_json_put_words(row, "other", box_name(build, finding->other));
        tl_json_put(row, "lead", lead_number(build, finding->lead));
        tl_json_put(row, "other_lead", lead_number(build, finding->other_lead));
        tl_json_put_words(row, "words", finding->words);
        json_array_append_new(list, row);
    }
    return list;
}

json_t* tl_build_json(const tl_build* build) {
    json_t* root = tl_json_open("build", build->rig);
    tl_json_put(root, "ready", json_boolean(tl_build_count(build, TL_BUILD_ERROR) == 0));
    tl_json_put(root, "board", board_json(build));
    tl_json_put(root, "boxes", boxes_json(build));
    json_t* leads = json_array();
    for (size_t i = 0; i < build->lead_count; ++i)
        json_array_append_new(leads, lead_json(build, &build->leads[i]));
    tl_json_put(root, "leads", leads);
    tl_json_put_words(root, "no_dc", build->no_dc);
    tl_json_put(root, "totals", totals_json(build));
    tl_json_put(root, "findings", findings_json(build));
    tl_json_put(root, "fastening", tl_build_holds_json(build));
    tl_json_put(root, "bill", tl_build_bill_json(build));
    json_t* assumed = json_array();
    for (size_t i = 0; i < build->assumed_count; ++i)
        json_array_append_new(assumed, tl_json_words(build->assumed[i]));
    tl_json_put(root, "assumed", assumed);
    tl_json_put(root, "cautions", tl_cautions_json(TL_BUILD_CAUTIONS));
    return root;
}

char* tl_build_csv(const tl_build* build) {
    static const char* const fields[] = {
        "number",   "kind",      "from",          "to",
        "type",     "from_plug", "to_plug",       "route_m",
        "slack_m",  "length_m",  "preparation_m", "cut_m",
        "stated_m", "bend_m",    "bend_least_m",  "capacitance_farad",
        "loop_ohm", "path"};
    tl_table* table = tl_table_new();
    for (size_t i = 0; i < sizeof fields / sizeof *fields; ++i)
        tl_table_column(table, fields[i], fields[i]);
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        tl_table_row(table);
        tl_table_number(table, (double)lead->number, "");
        tl_table_words(table, lead->kind);
        tl_table_words(table, lead->from.name);
        tl_table_words(table, lead->to.name);
        tl_table_words(table, lead->type);
        tl_table_words(table, lead->from.plug);
        tl_table_words(table, lead->to.plug);
        tl_table_number(table, lead->route_m, "");
        tl_table_number(table, lead->slack_m, "");
        tl_table_number(table, lead->length_m, "");
        tl_table_number(table, lead->preparation_m, "");
        tl_table_number(table, lead->cut_m, "");
        tl_table_number(table, lead->stated_m, "");
        tl_table_number(table, isinf(lead->bend_m) ? NAN : lead->bend_m, "");
        tl_table_number(table, lead->bend_least_m, "");
        tl_table_number(table, lead->farad, "");
        tl_table_number(table, lead->loop_ohm, "");
        tl_table_words(table, lead->path);
    }
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

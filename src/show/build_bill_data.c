// SPDX-License-Identifier: GPL-3.0-or-later
// A bill of materials and what holds, as JSON.
#include "show/build_bill.h"
#include "toneload/show.h"

static void put(json_t* to, const char* field, json_t* value) {
    json_object_set_new(to, field, value);
}

static void put_number(json_t* to, const char* field, double number) {
    put(to, field, tl_json_number(number));
}

static void put_words(json_t* to, const char* field, const char* words) {
    put(to, field, tl_json_words(words));
}

static void put_count(json_t* to, const char* field, size_t count) {
    put(to, field, json_integer((json_int_t)count));
}

static json_t* hold_json(const tl_build* build, const tl_build_hold* hold) {
    json_t* row = json_object();
    put_words(row, "box", build->boxes[hold->box].name);
    put_words(row, "fastener", *hold->fastener ? hold->fastener : NULL);
    put_number(row, "area_m2", hold->area_m2);
    put_number(row, "strength_pa", hold->strength_pa);
    put_number(row, "force_n", hold->force_n);
    put_number(row, "weight_kg", build->boxes[hold->box].weight_kg);
    put_number(row, "needed_n", hold->needed_n);
    put_number(row, "factor", hold->factor);
    put_number(row, "least_factor", hold->least_factor);
    put_number(row, "least_area_m2", hold->least_area_m2);
    put(row, "thin", json_boolean(build->boxes[hold->box].thin));
    put_number(row, "pull_n", hold->pull_n);
    put(row, "pull_assumed", json_boolean(hold->pull_assumed));
    put_number(row, "most_area_m2", hold->most_area_m2);
    return row;
}

json_t* tl_build_holds_json(const tl_build* build) {
    json_t* json = json_object();
    put_number(json, "acceleration_g", build->acceleration_g);
    put(json, "acceleration_assumed", json_boolean(build->acceleration_assumed));
    json_t* list = json_array();
    for (size_t i = 0; i < build->hold_count; ++i)
        json_array_append_new(list, hold_json(build, &build->holds[i]));
    put(json, "holds", list);
    return json;
}

static json_t* purchases_json(const tl_build_line* line) {
    json_t* list = json_array();
    for (size_t i = 0; i < line->purchase_count; ++i) {
        const tl_build_purchase* buy = &line->purchases[i];
        json_t* row = json_object();
        put_number(row, "packs", buy->packs);
        put_number(row, "pack", buy->pack);
        put(row, "drum", json_boolean(buy->drum));
        put_number(row, "price", buy->price);
        put_number(row, "total", buy->total);
        put_words(row, "from", *buy->from ? buy->from : NULL);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* lines_json(const tl_build* build) {
    json_t* list = json_array();
    for (size_t i = 0; i < build->line_count; ++i) {
        const tl_build_line* line = &build->lines[i];
        json_t* row = json_object();
        put_words(row, "group", line->group);
        put_words(row, "item", line->item);
        put_number(row, "count", line->count);
        put_number(row, "spare", line->spare);
        put_words(row, "unit", line->unit);
        put_number(row, "waste", line->waste);
        put(row, "work", json_boolean(line->work));
        put(row, "purchases", purchases_json(line));
        put_number(row, "total", line->total);
        put(row, "proven", json_boolean(line->proven));
        put_number(row, "least", line->least);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* reels_json(const tl_build* build) {
    json_t* list = json_array();
    for (size_t i = 0; i < build->reel_count; ++i) {
        const tl_build_reel* reel = &build->reels[i];
        json_t* row = json_object();
        put_words(row, "item", build->lines[reel->line].item);
        put_number(row, "length_m", reel->length_m);
        put_number(row, "left_m", reel->left_m);
        json_t* leads = json_array();
        for (size_t j = 0; j < reel->lead_count; ++j)
            json_array_append_new(leads,
                                  json_integer((json_int_t)build->leads[reel->leads[j]].number));
        put(row, "leads", leads);
        json_array_append_new(list, row);
    }
    return list;
}

json_t* tl_build_bill_json(const tl_build* build) {
    json_t* json = json_object();
    put_words(json, "prices", build->prices);
    put_words(json, "currency", build->currency);
    put_count(json, "decimals", build->decimals);
    put(json, "total", build->prices ? tl_json_number(build->total) : json_null());
    put_count(json, "unpriced", build->unpriced);
    put(json, "lines", lines_json(build));
    put(json, "reels", reels_json(build));
    json_t* unused = json_array();
    for (size_t i = 0; i < build->unused_count; ++i)
        json_array_append_new(unused, tl_json_words(build->unused[i]));
    put(json, "unused", unused);
    return json;
}

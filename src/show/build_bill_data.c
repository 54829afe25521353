// SPDX-License-Identifier: GPL-3.0-or-later
// A bill of materials and what holds, as JSON.
#include "show/build_bill.h"
#include "show/json.h"
#include "toneload/show.h"

static json_t* hold_json(const tl_build* build, const tl_build_hold* hold) {
    json_t* row = json_object();
    tl_json_put_words(row, "box", build->boxes[hold->box].name);
    tl_json_put_words(row, "fastener", *hold->fastener ? hold->fastener : NULL);
    tl_json_put_number(row, "area_m2", hold->area_m2);
    tl_json_put_number(row, "strength_pa", hold->strength_pa);
    tl_json_put_number(row, "force_n", hold->force_n);
    tl_json_put_number(row, "weight_kg", build->boxes[hold->box].weight_kg);
    tl_json_put_number(row, "needed_n", hold->needed_n);
    tl_json_put_number(row, "factor", hold->factor);
    tl_json_put_number(row, "least_factor", hold->least_factor);
    tl_json_put_number(row, "least_area_m2", hold->least_area_m2);
    tl_json_put(row, "thin", json_boolean(build->boxes[hold->box].thin));
    tl_json_put_number(row, "pull_n", hold->pull_n);
    tl_json_put(row, "pull_assumed", json_boolean(hold->pull_assumed));
    tl_json_put_number(row, "most_area_m2", hold->most_area_m2);
    return row;
}

json_t* tl_build_holds_json(const tl_build* build) {
    json_t* json = json_object();
    tl_json_put_number(json, "acceleration_g", build->acceleration_g);
    tl_json_put(json, "acceleration_assumed", json_boolean(build->acceleration_assumed));
    json_t* list = json_array();
    for (size_t i = 0; i < build->hold_count; ++i)
        json_array_append_new(list, hold_json(build, &build->holds[i]));
    tl_json_put(json, "holds", list);
    return json;
}

static json_t* purchases_json(const tl_build_line* line) {
    json_t* list = json_array();
    for (size_t i = 0; i < line->purchase_count; ++i) {
        const tl_build_purchase* buy = &line->purchases[i];
        json_t* row = json_object();
        tl_json_put_number(row, "packs", buy->packs);
        tl_json_put_number(row, "pack", buy->pack);
        tl_json_put(row, "drum", json_boolean(buy->drum));
        tl_json_put_number(row, "price", buy->price);
        tl_json_put_number(row, "total", buy->total);
        tl_json_put_words(row, "from", *buy->from ? buy->from : NULL);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* lines_json(const tl_build* build) {
    json_t* list = json_array();
    for (size_t i = 0; i < build->line_count; ++i) {
        const tl_build_line* line = &build->lines[i];
        json_t* row = json_object();
        tl_json_put_words(row, "group", line->group);
        tl_json_put_words(row, "item", line->item);
        tl_json_put_number(row, "count", line->count);
        tl_json_put_number(row, "spare", line->spare);
        tl_json_put_words(row, "unit", line->unit);
        tl_json_put_number(row, "waste", line->waste);
        tl_json_put(row, "work", json_boolean(line->work));
        tl_json_put(row, "purchases", purchases_json(line));
        tl_json_put_number(row, "total", line->total);
        tl_json_put(row, "proven", json_boolean(line->proven));
        tl_json_put_number(row, "least", line->least);
        json_array_append_new(list, row);
    }
    return list;
}

static json_t* reels_json(const tl_build* build) {
    json_t* list = json_array();
    for (size_t i = 0; i < build->reel_count; ++i) {
        const tl_build_reel* reel = &build->reels[i];
        json_t* row = json_object();
        tl_json_put_words(row, "item", build->lines[reel->line].item);
        tl_json_put_number(row, "length_m", reel->length_m);
        tl_json_put_number(row, "left_m", reel->left_m);
        json_t* leads = json_array();
        for (size_t j = 0; j < reel->lead_count; ++j)
            json_array_append_new(leads,
                                  json_integer((json_int_t)build->leads[reel->leads[j]].number));
        tl_json_put(row, "leads", leads);
        json_array_append_new(list, row);
    }
    return list;
}

json_t* tl_build_bill_json(const tl_build* build) {
    json_t* json = json_object();
    tl_json_put_words(json, "prices", build->prices);
    tl_json_put_words(json, "currency", build->currency);
    tl_json_put_count(json, "decimals", build->decimals);
    tl_json_put(json, "total", build->prices ? tl_json_number(build->total) : json_null());
    tl_json_put_count(json, "unpriced", build->unpriced);
    tl_json_put(json, "lines", lines_json(build));
    tl_json_put(json, "reels", reels_json(build));
    json_t* unused = json_array();
    for (size_t i = 0; i < build->unused_count; ++i)
        json_array_append_new(unused, tl_json_words(build->unused[i]));
    tl_json_put(json, "unused", unused);
    return json;
}

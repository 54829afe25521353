// SPDX-License-Identifier: GPL-3.0-or-later
// What a board takes: leads, plugs, joints, tie mounts, ties and fastener, counted off the build.
#include "study/build_bill.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

size_t tl_bill_mounts(double route_m, double spacing_m) {
    double stretches = ceil(route_m / spacing_m - 1e-9);
    return stretches > 1 ? (size_t)stretches - 1 : 0;
}

/// The line of an item, a new one when there is none yet. Takes over `item` and `alias`.
static size_t line_of(tl_bill_work* c, const char* group, char* item, char* alias, tl_unit unit) {
    tl_build* build = c->build;
    for (size_t i = 0; i < build->line_count; ++i)
        if (strcmp(build->lines[i].item, item) == 0) {
            free(item);
            free(alias);
            return i;
        }
    size_t made = build->line_count++;
    build->lines = tl_grow(build->lines, made + 1, sizeof *build->lines);
    c->items = tl_grow(c->items, made + 1, sizeof *c->items);
    build->lines[made] = (tl_build_line){.group = group,
                                         .item = item,
                                         .unit = unit == TL_UNIT_COUNT   ? ""
                                                 : unit == TL_UNIT_METRE ? "m"
                                                                         : "m2",
                                         .waste = NAN,
                                         .total = NAN,
                                         .least = NAN};
    c->items[made] = (tl_bill_item){alias, unit, 0};
    return made;
}

uint64_t tl_bill_mm(double m) {
    return (uint64_t)ceil(1e3 * m - 1e-6);
}

/// What a make of lead is called: by its type, and when another make has the same, or it has none,
/// by its first lead.
static char* name_make(const tl_bill_work* c, const tl_build_lead* first, bool dc) {
    if (dc)
        return tl_printf("%s DC lead", first->type);
    if (!*first->type)
        return tl_printf("lead %zu", first->number);
    for (const tl_build_lead* lead = c->build->leads; lead != first; ++lead)
        if (strcmp(lead->type, first->type) == 0)
            return tl_printf("%s as lead %zu", first->type, first->number);
    return tl_copy(first->type);
}

static void count_leads(tl_bill_work* c) {
    tl_build* build = c->build;
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_lead* lead = &build->leads[i];
        const tl_build_lead* first = &build->leads[c->terms->leads[i].make];
        c->lead_lines[i] = TL_BUILD_NONE;
        if (isnan(lead->cut_m))
            continue;
        bool dc = strcmp(lead->kind, "dc") == 0;
        char* item = name_make(c, first, dc);
        size_t line = line_of(c, "lead", item, dc ? tl_copy(first->type) : NULL, TL_UNIT_METRE);
        c->items[line].need += tl_bill_mm(lead->cut_m);
        c->lead_lines[i] = line;
    }
}

static void count_plug(tl_bill_work* c, const tl_build_end* end) {
    bool known = *end->plug;
    size_t line =
        line_of(c, "plug", known ? tl_printf("%s plug", end->plug) : tl_copy("other plug"),
                known ? tl_copy(end->plug) : NULL, TL_UNIT_COUNT);
    ++c->items[line].need;
}

/// Where several leads begin at one output: a splitter for as many as hang on its plug.
static void count_splitters(tl_bill_work* c) {
    const tl_build* build = c->build;
    for (size_t i = 0; i < build->lead_count; ++i) {
        const tl_build_end* plug = &build->leads[i].from;
        size_t count = 1;
        for (size_t j = i + 1; j < build->lead_count && !plug->joined; ++j)
            count +=
                build->leads[j].from.joined && strcmp(build->leads[j].from.name, plug->name) == 0;
        if (count < 2)
            continue;
        size_t line =
            line_of(c, "splitter", tl_printf("splitter for %zu", count), NULL, TL_UNIT_COUNT);
        ++c->items[line].need;
    }
}

/// Two conductors at each end of a lead.
static void count_joints(tl_bill_work* c) {
    static const char* const names[] = {"joint, kind not said", "soldered joint", "clamped joint"};
    size_t joints[TL_JOINTS] = {0};
    for (size_t i = 0; i < c->build->lead_count; ++i) {
        joints[c->terms->leads[i].from] += 2;
        joints[c->terms->leads[i].to] += 2;
    }
    for (size_t i = 0; i < TL_JOINTS; ++i) {
        size_t kind = (i + 1) % TL_JOINTS; // those not said come last
        if (!joints[kind])
            continue;
        size_t line = line_of(c, "joint", tl_copy(names[kind]), NULL, TL_UNIT_COUNT);
        c->items[line].need = joints[kind];
        c->build->lines[line].work = true;
    }
}

static void count_mounts(tl_bill_work* c) {
    size_t mounts = 0;
    for (size_t i = 0; i < c->build->lead_count; ++i) {
        const tl_build_lead* lead = &c->build->leads[i];
        if (lead->way_count && !isnan(lead->route_m))
            mounts += tl_bill_mounts(lead->route_m, c->terms->spacing_m);
    }
    if (!mounts)
        return;
    size_t mount = line_of(c, "mount", tl_copy("tie mount"), NULL, TL_UNIT_COUNT);
    size_t tie = line_of(c, "tie", tl_copy("cable tie"), NULL, TL_UNIT_COUNT);
    c->items[mount].need = c->items[tie].need = mounts;
}

static void count_fastener(tl_bill_work* c) {
    for (size_t i = 0; i < c->build->hold_count; ++i) {
        const tl_build_hold* hold = &c->build->holds[i];
        if (isnan(hold->area_m2) || isnan(hold->strength_pa))
            continue;
        char* item = *hold->fastener ? tl_copy(hold->fastener) : tl_copy("other fastener");
        size_t line = line_of(c, "fastener", item, NULL, TL_UNIT_SQUARE_METRE);
        c->items[line].need += (uint64_t)ceil(1e6 * hold->area_m2 - 1e-3);
    }
}

/// A share more, in whole pieces.
static void add_spares(tl_bill_work* c) {
    for (size_t i = 0; i < c->build->line_count; ++i) {
        tl_build_line* line = &c->build->lines[i];
        tl_bill_item* item = &c->items[i];
        bool sheet = item->unit == TL_UNIT_SQUARE_METRE;
        bool none = line->work || strcmp(line->group, "splitter") == 0;
        double share = sheet                         ? c->terms->waste
                       : none                        ? 0
                       : item->unit == TL_UNIT_COUNT ? c->terms->spares
                                                     : 0;
        uint64_t spare = (uint64_t)ceil(share * (double)item->need - 1e-9);
        item->need += spare;
        double scale = item->unit == TL_UNIT_METRE ? 1e3 : sheet ? 1e6 : 1;
        line->count = (double)item->need / scale;
        line->spare = (double)spare / scale;
    }
}

tl_status tl_bill_fill(tl_build* build, const tl_bill_terms* terms, const char* prices,
                       tl_error* error) {
    tl_bill_work c = {build, terms, NULL, tl_new(build->lead_count + 1, sizeof(size_t))};
    count_leads(&c);
    for (size_t i = 0; i < build->lead_count; ++i) {
        if (!build->leads[i].from.joined)
            count_plug(&c, &build->leads[i].from);
        count_plug(&c, &build->leads[i].to);
    }
    count_splitters(&c);
    count_joints(&c);
    count_mounts(&c);
    count_fastener(&c);
    add_spares(&c);
    tl_status status = tl_bill_buy(&c, prices, error);
    for (size_t i = 0; i < build->line_count; ++i)
        free(c.items[i].alias);
    free(c.items);
    free(c.lead_lines);
    return status;
}

void tl_bill_clear(tl_build* build) {
    for (size_t i = 0; i < build->line_count; ++i) {
        tl_build_line* line = &build->lines[i];
        for (size_t j = 0; j < line->purchase_count; ++j)
            free(line->purchases[j].from);
        free(line->purchases);
        free(line->item);
    }
    for (size_t i = 0; i < build->reel_count; ++i)
        free(build->reels[i].leads);
    for (size_t i = 0; i < build->unused_count; ++i)
        free(build->unused[i]);
    free(build->lines);
    free(build->reels);
    free(build->unused);
    free(build->prices);
    free(build->currency);
}

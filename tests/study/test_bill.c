// SPDX-License-Identifier: GPL-3.0-or-later
// What to buy and what to cut off which reel, against every way there is, on small cases; what a
// board by hand takes and costs; what holds.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/random.h"
#include "base/text.h"
#include "study/build_bill.h"
#include "study/build_hold.h"
#include "study/build_stock.h"

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PIECES = 7 };

static uint64_t draw(uint64_t trial, uint64_t* at, uint64_t low, uint64_t high) {
    return low +
           (uint64_t)(tl_random_uniform(7, trial, (uint32_t)(*at)++) * (double)(high - low + 1));
}

// A case with sizes whose prices are not in proportion.
static size_t draw_sizes(uint64_t trial, uint64_t* at, tl_stock_size* sizes) {
    size_t count = draw(trial, at, 1, 3);
    for (size_t i = 0; i < count; i++) {
        uint64_t size = draw(trial, at, 3, 12) * 100;
        sizes[i] = (tl_stock_size){size, size / 4 + draw(trial, at, 0, 200), false};
    }
    if (draw(trial, at, 0, 3) == 0) {
        sizes[count - 1].size = 100;
        sizes[count - 1].price = draw(trial, at, 30, 70);
        sizes[count - 1].drum = true;
    }
    return count;
}

static uint64_t packs_of(const tl_stock_size* size, uint64_t need) {
    return (need + size->size - 1) / size->size;
}

// Every number of packs of each size that could be of use.
static uint64_t cover_by_trying(const tl_stock_size* sizes, size_t count, uint64_t need) {
    uint64_t best = UINT64_MAX;
    uint64_t most[3] = {0};
    for (size_t i = 0; i < count; i++)
        most[i] = packs_of(&sizes[i], need);
    for (uint64_t a = 0; a <= most[0]; a++)
        for (uint64_t b = 0; b <= most[1]; b++)
            for (uint64_t c = 0; c <= most[2]; c++) {
                const uint64_t packs[] = {a, b, c};
                uint64_t price = 0;
                uint64_t amount = 0;
                for (size_t i = 0; i < count; i++) {
                    price += packs[i] * sizes[i].price;
                    amount += packs[i] * sizes[i].size;
                }
                if (amount >= need && price < best)
                    best = price;
            }
    return best;
}

static void packs_cost_least(void** state) {
    (void)state;
    for (uint64_t trial = 0; trial < 300; trial++) {
        tl_stock_size sizes[3];
        uint64_t at = 0;
        const size_t count = draw_sizes(trial, &at, sizes);
        const uint64_t need = draw(trial, &at, 1, 4000);
        tl_stock_plan plan;
        tl_stock_cover(sizes, count, need, &plan);
        assert_true(plan.amount >= need && plan.proven);
        assert_int_equal(plan.price, cover_by_trying(sizes, count, need));
    }
}

static void of_one_price_the_least_is_left_over(void** state) {
    (void)state;
    const tl_stock_size sizes[] = {{300, 10, false}, {200, 10, false}, {500, 20, false}};
    tl_stock_plan plan;
    tl_stock_cover(sizes, 3, 390, &plan);
    assert_true(plan.price == 20 && plan.amount == 400 && plan.packs[1] == 2);
    const uint64_t pieces[] = {190};
    tl_cutting cutting;
    size_t longest = 0;
    assert_int_equal(tl_stock_cut(sizes, 2, pieces, 1, &cutting, &longest, NULL), TL_OK);
    assert_true(cutting.reel_count == 1 && cutting.reels[0].length == 200);
    tl_cutting_clear(&cutting);
}

// Sizes without a common step: more amounts than are looked at. What comes out is enough, and the
// bound below it holds.
static void odd_packs_are_bounded(void** state) {
    (void)state;
    const tl_stock_size sizes[] = {{999983, 700000, false}, {1000003, 690000, false}};
    tl_stock_plan plan;
    tl_stock_cover(sizes, 2, 7500000, &plan);
    assert_true(plan.amount >= 7500000 && plan.least <= plan.price);
    assert_int_equal(plan.price, 8 * 690000);
    assert_false(plan.proven);
}

// What a set of pieces on one reel costs at least; UINT64_MAX: no reel is long enough.
static uint64_t one_reel(const tl_stock_size* sizes, size_t count, uint64_t used) {
    uint64_t best = UINT64_MAX;
    for (size_t i = 0; i < count; i++) {
        const uint64_t packs = sizes[i].drum ? packs_of(&sizes[i], used) : 1;
        if (packs * sizes[i].size >= used && packs * sizes[i].price < best)
            best = packs * sizes[i].price;
    }
    return best;
}

// All partitions of the pieces from `piece` on, put on the reels begun so far or on a new one.
static uint64_t cut_by_trying(const tl_stock_size* sizes, size_t count, const uint64_t* pieces,
                              size_t piece_count, size_t piece, uint64_t* used, size_t reels) {
    if (piece == piece_count) {
        uint64_t price = 0;
        for (size_t r = 0; r < reels; r++) {
            const uint64_t one = one_reel(sizes, count, used[r]);
            if (one == UINT64_MAX)
                return UINT64_MAX;
            price += one;
        }
        return price;
    }
    uint64_t best = UINT64_MAX;
    for (size_t r = 0; r <= reels; r++) {
        used[r] = (r == reels ? 0 : used[r]) + pieces[piece];
        const uint64_t price = cut_by_trying(sizes, count, pieces, piece_count, piece + 1, used,
                                             r == reels ? reels + 1 : reels);
        best = price < best ? price : best;
        used[r] -= pieces[piece];
    }
    return best;
}

// Every piece on a reel that has room for it, sums and prices right.
static void check_cutting(const tl_stock_size* sizes, size_t count, const uint64_t* pieces,
                          size_t piece_count, const tl_cutting* cutting) {
    uint64_t price = 0;
    uint64_t used[PIECES + 1] = {0};
    assert_true(cutting->reel_count <= piece_count);
    for (size_t i = 0; i < piece_count; i++) {
        assert_true(cutting->where[i] < cutting->reel_count);
        used[cutting->where[i]] += pieces[i];
    }
    for (size_t r = 0; r < cutting->reel_count; r++) {
        const tl_stock_reel* reel = &cutting->reels[r];
        const tl_stock_size* sold = &sizes[reel->size];
        assert_true(reel->size < count);
        assert_int_equal(reel->used, used[r]);
        assert_true(reel->used <= reel->length && reel->length % sold->size == 0);
        assert_true(sold->drum || reel->length == sold->size);
        price += reel->length / sold->size * sold->price;
    }
    assert_int_equal(price, cutting->plan.price);
}

static void reels_cost_least(void** state) {
    (void)state;
    size_t hard = 0;
    size_t impossible = 0;
    for (uint64_t trial = 0; trial < 400; trial++) {
        tl_stock_size sizes[3];
        uint64_t pieces[PIECES];
        uint64_t used[PIECES + 1] = {0};
        uint64_t at = 0;
        const size_t count = draw_sizes(trial, &at, sizes);
        const size_t piece_count = draw(trial, &at, 1, PIECES);
        for (size_t i = 0; i < piece_count; i++)
            pieces[i] = draw(trial, &at, 100, 640);
        const uint64_t best = cut_by_trying(sizes, count, pieces, piece_count, 0, used, 0);
        tl_cutting cutting;
        size_t longest = 0;
        assert_int_equal(tl_stock_cut(sizes, count, pieces, piece_count, &cutting, &longest, NULL),
                         TL_OK);
        if (best == UINT64_MAX) {
            assert_true(longest < piece_count);
            assert_null(cutting.where);
            impossible++;
            continue;
        }
        assert_true(longest == SIZE_MAX);
        check_cutting(sizes, count, pieces, piece_count, &cutting);
        assert_int_equal(cutting.plan.price, best);
        assert_true(cutting.plan.proven && cutting.plan.least == best);
        tl_stock_plan cover;
        uint64_t total = 0;
        for (size_t i = 0; i < piece_count; i++)
            total += pieces[i];
        tl_stock_cover(sizes, count, total, &cover);
        hard += cover.price < best;
        tl_cutting_clear(&cutting);
    }
    assert_true(hard > 50 && impossible > 20); // the cases are such that it matters
}

// 40 leads, nowhere near one reel: whether proven or not, all is cut, and the bound is one.
static void many_leads_end_in_time(void** state) {
    (void)state;
    uint64_t pieces[40];
    uint64_t at = 0;
    uint64_t total = 0;
    for (size_t i = 0; i < 40; i++)
        total += pieces[i] = draw(1000, &at, 150, 900);
    const tl_stock_size sizes[] = {
        {3000, 9000, false}, {5000, 14000, false}, {10000, 26000, false}};
    tl_cutting cutting;
    size_t longest = 0;
    assert_int_equal(tl_stock_cut(sizes, 3, pieces, 40, &cutting, &longest, NULL), TL_OK);
    assert_true(longest == SIZE_MAX);
    assert_true(cutting.plan.amount >= total);
    tl_stock_plan cover;
    tl_stock_cover(sizes, 3, total, &cover);
    assert_true(cutting.plan.least >= cover.least && cutting.plan.least <= cutting.plan.price);
    uint64_t used = 0;
    for (size_t r = 0; r < cutting.reel_count; r++) {
        assert_true(cutting.reels[r].used <= cutting.reels[r].length);
        used += cutting.reels[r].used;
    }
    assert_int_equal(used, total);
    tl_cutting_clear(&cutting);
}

// 25 lbf/in2 on 6 in2 is 150 lbf, 667.2332 N (issue 7; computed with 4.4482216152605 N a
// pound-force). At 5 g a pedal of 0.5 kg takes 24.516625 N.
static void force_is_area_times_strength(void** state) {
    (void)state;
    const double inch = 0.0254;
    tl_build_hold hold = {.area_m2 = 6 * inch * inch,
                          .strength_pa = 25 * 4.4482216152605 / (inch * inch),
                          .least_factor = 3,
                          .pull_n = 200};
    tl_hold_work_out(&hold, 0.5, 5);
    assert_true(fabs(hold.force_n - 667.233242289075) < 1e-9);
    assert_true(fabs(hold.needed_n - 24.516625) < 1e-12);
    assert_true(fabs(hold.factor - 667.233242289075 / 24.516625) < 1e-12);
    assert_true(fabs(hold.least_area_m2 * hold.strength_pa - 3 * hold.needed_n) < 1e-9);
    assert_true(fabs(hold.most_area_m2 * hold.strength_pa - 200) < 1e-9);
    tl_hold_work_out(&hold, NAN, 5);
    assert_true(isnan(hold.needed_n) && isnan(hold.factor) && isnan(hold.least_area_m2));
    assert_true(!isnan(hold.force_n));
}

// A board with one box and one hold, judged.
static void judge(tl_build* build, double area_m2, double weight_kg, double pull_n) {
    static tl_build_box box;
    box = (tl_build_box){.name = "drive", .width_m = 0.07, .depth_m = 0.12, .weight_kg = weight_kg};
    *build = (tl_build){.boxes = &box, .box_count = 1, .acceleration_g = 5};
    tl_build_hold hold = {.fastener = "hook-and-loop",
                          .area_m2 = area_m2,
                          .strength_pa = 50e3,
                          .least_factor = 3,
                          .pull_n = pull_n};
    tl_hold_work_out(&hold, weight_kg, 5);
    tl_hold_judge(build, &hold);
}

static void drop_findings(tl_build* build) {
    for (size_t i = 0; i < build->finding_count; i++)
        free(build->findings[i].words);
    free(build->findings);
}

// 0.4 kg at 5 g is 19.6133 N; three times that on 50 kPa is 11.768 cm2.
static void too_little_is_an_error(void** state) {
    (void)state;
    tl_build build;
    judge(&build, 11.8e-4, 0.4, NAN);
    assert_int_equal(build.finding_count, 0);
    judge(&build, 11.7e-4, 0.4, NAN);
    assert_int_equal(build.finding_count, 1);
    assert_int_equal(build.findings[0].gravity, TL_BUILD_ERROR);
    assert_non_null(strstr(build.findings[0].words, "11.8 cm2 would do"));
    drop_findings(&build);
    judge(&build, 11.7e-4, 40, NAN); // needs more than its bottom of 84 cm2
    assert_non_null(strstr(build.findings[0].words, "more than its bottom has"));
    drop_findings(&build);
    judge(&build, 1e-4, NAN, NAN); // no weight: nothing is guessed
    assert_int_equal(build.finding_count, 0);
}

// 50 kPa on 40.1 cm2 is 200.5 N.
static void too_much_for_a_thin_housing_is_a_note(void** state) {
    (void)state;
    tl_build build;
    judge(&build, 40e-4, 0.4, 200);
    assert_int_equal(build.finding_count, 0);
    judge(&build, 40.1e-4, 0.4, 200);
    assert_int_equal(build.finding_count, 1);
    assert_int_equal(build.findings[0].gravity, TL_BUILD_NOTE);
    assert_non_null(strstr(build.findings[0].words, "11.8 to 40 cm2 hold it and still let go"));
    drop_findings(&build);
    judge(&build, 60e-4, 2, 200); // 3 x 98 N and 200 N: no area does both
    assert_non_null(strstr(build.findings[0].words, "no area both holds it and lets go of it"));
    drop_findings(&build);
}

static void mounts_leave_no_longer_stretch(void** state) {
    (void)state;
    assert_int_equal(tl_bill_mounts(0.10, 0.12), 0);
    assert_int_equal(tl_bill_mounts(0.12, 0.12), 0);
    assert_int_equal(tl_bill_mounts(0.121, 0.12), 1);
    assert_int_equal(tl_bill_mounts(0.36, 0.12), 2); // three stretches of just that
    assert_int_equal(tl_bill_mounts(0.37, 0.12), 3);
    assert_int_equal(tl_bill_mounts(0, 0.12), 0);
}

static void coins_round_half_up(void** state) {
    (void)state;
    assert_int_equal(tl_price_coins(12345, 2), 123); // 1.2345
    assert_int_equal(tl_price_coins(12350, 2), 124); // 1.235: half goes up
    assert_int_equal(tl_price_coins(12349, 2), 123);
    assert_int_equal(tl_price_coins(10050, 2), 101); // 1.005, which binary has as 1.00499..
    assert_int_equal(tl_price_coins(5000, 0), 1);
    assert_int_equal(tl_price_coins(4999, 0), 0);
    assert_int_equal(tl_price_coins(12345, 3), 1235);
}

static tl_build_lead a_lead(size_t number, const char* kind, const char* type, double cut_m,
                            const char* from, const char* to) {
    static tl_spot_m way[2];
    return (tl_build_lead){.number = number,
                           .kind = kind,
                           .type = (char*)type,
                           .cut_m = cut_m,
                           .route_m = cut_m - 0.05,
                           .way = way,
                           .way_count = 2,
                           .from = {.plug = (char*)from},
                           .to = {.plug = (char*)to}};
}

enum { LEADS = 5 };

// Four patch leads of two makes, the first two soldered, and a DC lead.
static void make_build(tl_build* build, tl_build_lead* leads, tl_build_hold* holds) {
    leads[0] = a_lead(1, "audio", "patch", 0.3001, "flat", "flat");
    leads[1] = a_lead(2, "audio", "patch", 0.45, "flat", "straight");
    leads[2] = a_lead(3, "audio", "patch", 0.6, "flat", "");
    leads[3] = a_lead(4, "audio", "", 0.2, "flat", "flat");
    leads[4] = a_lead(5, "dc", "22 AWG", 0.5, "barrel", "barrel");
    for (size_t i = 0; i < 2; i++)
        holds[i] = (tl_build_hold){.fastener = "tape", .area_m2 = 40e-4, .strength_pa = 1e5};
    *build = (tl_build){
        .leads = leads, .lead_count = LEADS, .holds = holds, .hold_count = 2, .decimals = 0};
}

static const tl_bill_lead makes[LEADS] = {{0, TL_JOINT_SOLDERED, TL_JOINT_SOLDERED},
                                          {0, TL_JOINT_SOLDERED, TL_JOINT_CLAMPED},
                                          {0, TL_JOINT_UNKNOWN, TL_JOINT_UNKNOWN},
                                          {3, TL_JOINT_CLAMPED, TL_JOINT_CLAMPED},
                                          {4, TL_JOINT_SOLDERED, TL_JOINT_SOLDERED}};

static const tl_bill_terms terms = {
    .spacing_m = 0.12, .spares = 0.1, .waste = 0.1, .reel_m = NAN, .leads = makes};

static const tl_build_line* line_of(const tl_build* build, const char* item) {
    for (size_t i = 0; i < build->line_count; i++)
        if (strcmp(build->lines[i].item, item) == 0)
            return &build->lines[i];
    fail_msg("no line '%s'", item);
    return NULL;
}

static void count_is(const tl_build* build, const char* item, double count, double spare) {
    const tl_build_line* line = line_of(build, item);
    if (fabs(line->count - count) > 1e-12 || fabs(line->spare - spare) > 1e-12)
        fail_msg("%s: %.10g with %.10g to spare", item, line->count, line->spare);
}

static void a_board_is_counted(void** state) {
    (void)state;
    tl_build build;
    tl_build_lead leads[LEADS];
    tl_build_hold holds[2];
    make_build(&build, leads, holds);
    assert_int_equal(tl_bill_fill(&build, &terms, NULL, NULL), TL_OK);
    count_is(&build, "patch", 0.301 + 0.45 + 0.6, 0); // whole millimetres, rounded up
    count_is(&build, "lead 4", 0.2, 0);
    count_is(&build, "22 AWG DC lead", 0.5, 0);
    count_is(&build, "flat plug", 7, 1); // 6 and a tenth, rounded up
    count_is(&build, "straight plug", 2, 1);
    count_is(&build, "other plug", 2, 1);
    count_is(&build, "barrel plug", 3, 1);
    count_is(&build, "soldered joint", 10, 0);
    count_is(&build, "clamped joint", 6, 0);
    count_is(&build, "joint, kind not said", 4, 0);
    // Routes of 250, 400, 550, 150 and 450 mm have 2, 3, 4, 1 and 3 mounts.
    count_is(&build, "tie mount", 15, 2);
    count_is(&build, "cable tie", 15, 2);
    count_is(&build, "tape", 88e-4, 8e-4);
    assert_true(line_of(&build, "soldered joint")->work);
    assert_int_equal(build.reel_count, 3); // no reel is known: a piece a make, nothing left
    for (size_t i = 0; i < build.reel_count; i++)
        assert_true(fabs(build.reels[i].left_m) < 1e-12);
    assert_true(isnan(line_of(&build, "patch")->total) && build.unpriced == 0);
    tl_bill_clear(&build);
}

// On reels of 1 m, 301 + 450 + 600 mm take two, however they are cut; on reels of 500 mm the
// longest fits on none.
static void reels_of_the_rig_are_cut(void** state) {
    (void)state;
    tl_build build;
    tl_build_lead leads[LEADS];
    tl_build_hold holds[2];
    tl_bill_terms with = terms;
    make_build(&build, leads, holds);
    with.reel_m = 1;
    assert_int_equal(tl_bill_fill(&build, &with, NULL, NULL), TL_OK);
    const tl_build_line* patch = line_of(&build, "patch");
    assert_int_equal(patch->purchase_count, 1);
    assert_true(patch->purchases[0].packs == 2 && patch->purchases[0].pack == 1);
    assert_true(patch->proven && fabs(patch->waste - (2 - 1.351)) < 1e-12);
    assert_int_equal(build.reel_count, 4);
    tl_bill_clear(&build);
    make_build(&build, leads, holds);
    with.reel_m = 0.5;
    assert_int_equal(tl_bill_fill(&build, &with, NULL, NULL), TL_OK);
    assert_int_equal(build.finding_count, 1);
    assert_int_equal(build.findings[0].lead, 2);
    assert_int_equal(line_of(&build, "patch")->purchase_count, 0);
    drop_findings(&build);
    tl_bill_clear(&build);
}

// Prices by hand: patch off the drum 2 x 1.805, the other lead on a reel, 7 flat plugs as 5 + 2,
// ties in a bag of 100, 88 cm2 of tape as two sheets of 50.
static void prices_add_up(void** state) {
    (void)state;
    static const char* const file = "currency: EUR\n"
                                    "prices:\n"
                                    "  patch: {per: 1 m, price: 1.805}\n"
                                    "  lead 4: {pack: 3 m, price: 4}\n"
                                    "  flat: [{pack: 5, price: 10.05}, {price: 2.4}]\n"
                                    "  cable tie: {pack: 100, price: 3.333}\n"
                                    "  tape: {pack: 50 cm2, price: 0.125}\n"
                                    "  hammer: 12\n";
    char name[] = "/tmp/toneload-prices-XXXXXX";
    const int made = mkstemp(name);
    assert_true(made >= 0 && write(made, file, strlen(file)) == (ssize_t)strlen(file));
    close(made);
    tl_build build;
    tl_build_lead leads[LEADS];
    tl_build_hold holds[2];
    make_build(&build, leads, holds);
    tl_error* error = tl_error_new();
    if (tl_bill_fill(&build, &terms, name, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    tl_error_free(error);
    unlink(name);
    assert_string_equal(build.currency, "EUR");
    assert_true(line_of(&build, "patch")->total == 3.61);
    assert_true(line_of(&build, "patch")->purchases[0].drum);
    assert_true(line_of(&build, "lead 4")->total == 4);
    assert_int_equal(line_of(&build, "flat plug")->purchase_count, 2);
    assert_true(line_of(&build, "flat plug")->total == 14.85);
    assert_true(line_of(&build, "cable tie")->total == 3.33);
    assert_true(line_of(&build, "tape")->total == 0.25);
    assert_true(build.total == 26.04);   // 3.61 + 4 + 14.85 + 3.33 + 0.25
    assert_int_equal(build.unpriced, 5); // DC lead, three plugs, mounts; joints are work
    assert_int_equal(build.unused_count, 1);
    assert_string_equal(build.unused[0], "hammer");
    tl_bill_clear(&build);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(packs_cost_least),
        cmocka_unit_test(of_one_price_the_least_is_left_over),
        cmocka_unit_test(odd_packs_are_bounded),
        cmocka_unit_test(reels_cost_least),
        cmocka_unit_test(many_leads_end_in_time),
        cmocka_unit_test(force_is_area_times_strength),
        cmocka_unit_test(too_little_is_an_error),
        cmocka_unit_test(too_much_for_a_thin_housing_is_a_note),
        cmocka_unit_test(mounts_leave_no_longer_stretch),
        cmocka_unit_test(coins_round_half_up),
        cmocka_unit_test(a_board_is_counted),
        cmocka_unit_test(reels_of_the_rig_are_cut),
        cmocka_unit_test(prices_add_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

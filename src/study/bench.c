// SPDX-License-Identifier: GPL-3.0-or-later
// Buffer designs on the bench: measured, held to limits, and against each other.
#include "study/bench_card.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "study/bench_limits.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

// ---- the card

static tl_status take_pickups(bench_card* card, tl_library* library, tl_error* error) {
    const char* const* names = NULL;
    size_t count = 0;
    tl_place nowhere = {0};
    tl_status status = tl_library_names(library, &tl_kind_pickup, &names, &count, error);
    card->pickup_names = tl_new(count, sizeof *card->pickup_names);
    card->pickups = tl_new(count, sizeof *card->pickups);
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        status =
            tl_library_part(library, &tl_kind_pickup, names[i], &nowhere, &card->pickups[i], error);
        if (status == TL_OK)
            card->pickup_names[card->pickup_count++] = tl_copy(names[i]);
    }
    size_t pairs = card->pickup_count * TL_BENCH_LEADS;
    card->into_1mohm = tl_new(pairs, sizeof *card->into_1mohm);
    card->into_open = tl_new(pairs, sizeof *card->into_open);
    return status;
}

static tl_status take_leads(bench_card* card, tl_library* library, tl_error* error) {
    tl_place nowhere = {0};
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < TL_BENCH_LEADS; ++i) {
        status = tl_library_part(library, &tl_kind_cable, "standard-coax", &nowhere,
                                 &card->leads[i], error);
        if (status == TL_OK)
            tl_part_set_number(card->leads[i], "length", bench_leads[i].value);
    }
    return status;
}

static void card_clear(bench_card* card) {
    for (size_t i = 0; i < card->pickup_count; ++i) {
        free(card->pickup_names[i]);
        tl_part_free(card->pickups[i]);
    }
    for (size_t i = 0; i < TL_BENCH_LEADS; ++i)
        tl_part_free(card->leads[i]);
    free(card->pickup_names);
    free(card->pickups);
    free(card->into_1mohm);
    free(card->into_open);
}

// ---- limits

static void free_lines(tl_bench_line* lines, size_t count) {
    for (size_t i = 0; i < count; ++i) {
        free(lines[i].id);
        free(lines[i].group);
        free(lines[i].title);
        free(lines[i].unit);
    }
    free(lines);
}

/// Limits may be about any line there can be, those of a rig among them.
static tl_status read_limits(const bench_card* card, tl_library* library, const char* path,
                             tl_limits** limits, tl_error* error) {
    char* usual = tl_printf("%s/limits/default.yaml", tl_library_folder(library));
    bench_card all = {.pickup_names = card->pickup_names, .pickup_count = card->pickup_count};
    bench_make_lines(&all, true);
    const char** ids = tl_new(all.line_count, sizeof *ids);
    for (size_t i = 0; i < all.line_count; ++i)
        ids[i] = all.lines[i].id;
    tl_status status = tl_limits_read(path ? path : usual, ids, all.line_count, limits, error);
    free(ids);
    free_lines(all.lines, all.line_count);
    free(usual);
    return status;
}

/// Gives a figure its grade and counts it.
static void grade_figure(const tl_bench_line* line, tl_bench_figure* figure,
                         tl_bench_design* design) {
    if (figure->trouble) {
        ++design->troubles;
        return;
    }
    figure->grade = line->limit ? tl_limit_grade(line->limit, figure) : TL_GRADE_NONE;
    design->passes += figure->grade == TL_GRADE_PASS;
    design->marginals += figure->grade == TL_GRADE_MARGINAL;
    design->fails += figure->grade == TL_GRADE_FAIL;
}

static void grade_all(tl_bench* bench) {
    for (size_t d = 0; d < bench->count; ++d)
        for (size_t i = 0; i < bench->line_count; ++i) {
            tl_bench_design* design = &bench->designs[d];
            grade_figure(&bench->lines[i], &design->figures[i], design);
            if (design->worst && bench->lines[i].limit && !design->worst[i].trouble)
                design->worst[i].grade = tl_limit_grade(bench->lines[i].limit, &design->worst[i]);
        }
}

// ---- the best of each line

/// The best design of a line; SIZE_MAX when there is only one, or two that are the same in three
/// digits.
static size_t find_best(const tl_bench* bench, size_t line) {
    size_t best = SIZE_MAX;
    double most = -INFINITY;
    double second = -INFINITY;
    size_t measured = 0;
    for (size_t d = 0; d < bench->count; ++d) {
        double value = -bench_badness(&bench->lines[line], &bench->designs[d].figures[line]);
        if (isnan(value))
            continue;
        ++measured;
        if (value > most) {
            second = most;
            most = value;
            best = d;
        } else {
            second = fmax(second, value);
        }
    }
    return measured < 2 || most - second <= 5e-4 * fabs(most) ? SIZE_MAX : best;
}

// ---- all of it

/// Hands what was measured over to the result; the specimen keeps nothing.
static void hand_over(bench_specimen* specimen, tl_bench_design* design) {
    design->figures = specimen->figures;
    specimen->figures = NULL;
    memcpy(design->curves, specimen->curves, sizeof design->curves);
    memset(specimen->curves, 0, sizeof design->curves);
    design->noises = tl_new(TL_BENCH_SOURCES, sizeof *design->noises);
    for (size_t i = 0; i < TL_BENCH_SOURCES; ++i)
        if (specimen->noises[i].source) {
            design->noises[design->noise_count++] = specimen->noises[i];
            specimen->noises[i] = (tl_bench_noise){0};
        }
}

/// What was neither measured nor refused is said to be so.
static void say_missing(const bench_card* card, tl_bench_design* design) {
    for (size_t i = 0; i < card->line_count; ++i) {
        tl_bench_figure* figure = &design->figures[i];
        if (isnan(figure->value) && !figure->words && !figure->trouble)
            figure->trouble = tl_copy("what it follows from could not be measured");
    }
}

static tl_status measure_all(tl_session* session, bench_card* card, tl_design* const* designs,
                             size_t count, const tl_bench_options* options, tl_bench* bench,
                             tl_error* error) {
    bench_specimen** specimens = tl_new(count, sizeof(bench_specimen*));
    for (size_t i = 0; i < count; ++i)
        specimens[i] = bench_specimen_new(card, designs[i], 1, true);
    tl_status status = bench_measure(session, card, specimens, count, error);
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        tl_bench_design* design = &bench->designs[i];
        design->design = designs[i];
        design->name = tl_copy(tl_design_name(designs[i]));
        design->file = tl_copy(designs[i]->path);
        if (options->rig)
            status = bench_in_rig(session, card, options->rig, specimens[i], error);
        if (status == TL_OK && options->corners)
            status = bench_corners(session, card, specimens[i], design, error);
        hand_over(specimens[i], design);
        say_missing(card, design);
    }
    for (size_t i = 0; i < count; ++i)
        bench_specimen_free(card, specimens[i]);
    free(specimens);
    return status;
}

static tl_status make_bench(tl_session* session, bench_card* card, tl_design* const* designs,
                            size_t count, const tl_bench_options* options, tl_bench* bench,
                            tl_error* error) {
    tl_limits* limits = NULL;
    tl_status status = take_pickups(card, session->library, error);
    if (status == TL_OK)
        status = take_leads(card, session->library, error);
    bench_make_lines(card, options->rig != NULL);
    bench->lines = card->lines;
    bench->line_count = card->line_count;
    bench->designs = tl_new(count, sizeof *bench->designs);
    bench->count = count;
    if (status == TL_OK)
        status = read_limits(card, session->library, options->limits, &limits, error);
    if (status == TL_OK)
        status = measure_all(session, card, designs, count, options, bench, error);
    for (size_t i = 0; status == TL_OK && i < bench->line_count; ++i)
        bench->lines[i].limit = tl_limits_find(limits, bench->lines[i].id);
    if (status == TL_OK) {
        bench->limits = tl_limits_take(limits, &bench->limit_count);
        grade_all(bench);
        for (size_t i = 0; i < bench->line_count; ++i)
            bench->lines[i].best = find_best(bench, i);
    }
    tl_limits_free(limits);
    return status;
}

tl_status tl_study_bench(tl_session* session, tl_design* const* designs, size_t count,
                         const tl_bench_options* options, tl_bench** bench, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    bench_card card = {0};
    *bench = tl_new(1, sizeof **bench);
    tl_status status = make_bench(session, &card, designs, count, options, *bench, error);
    card_clear(&card);
    if (status != TL_OK) {
        tl_bench_free(*bench);
        *bench = NULL;
    }
    tl_locale_restore(locale);
    return status;
}

// ---- the end

static void design_clear(tl_bench_design* design, size_t line_count) {
    bench_figures_free(design->figures, line_count);
    bench_figures_free(design->worst, line_count);
    for (size_t i = 0; design->worst_at && i < line_count; ++i)
        free(design->worst_at[i]);
    free(design->worst_at);
    bench_curves_clear(design->curves);
    bench_noises_free(design->noises, design->noise_count);
    free(design->name);
    free(design->file);
}

void tl_bench_free(tl_bench* bench) {
    if (!bench)
        return;
    for (size_t i = 0; i < bench->count; ++i)
        design_clear(&bench->designs[i], bench->line_count);
    free(bench->designs);
    free_lines(bench->lines, bench->line_count);
    for (size_t i = 0; i < bench->limit_count; ++i)
        tl_bench_limit_clear(&bench->limits[i]);
    free(bench->limits);
    free(bench);
}

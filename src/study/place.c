// SPDX-License-Identifier: GPL-3.0-or-later
// Where a buffer does most good: every combination of gaps, in every state of the pedals.
#include "study/session.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"
#include "study/alike.h"
#include "study/pedals.h"
#include "study/slots.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BUFFERS = 4, MOST_CASES = 100000 };

/// What trying the places carries along. A case is a placement in a state.
typedef struct {
    tl_session* session;
    tl_rig* rig; ///< a clone, whose pedals are switched and whose slots are filled
    const tl_place_options* options;
    tl_placing* placing;
    tl_pedals pedals;
    tl_slots slots;
    tl_input* input; ///< the buffer as it was written
    tl_part* buffer;
    size_t placed;  ///< the placement whose slots are filled
    tl_alike alike; ///< cases that come to the same circuit: a buffer in a loop that is off, say
    size_t amp_count;
    double (*direct_db)[TL_BAND_COUNT]; ///< by amp
    tl_answer* direct;
    tl_hearing* hearings; ///< [solve * amp_count + amp]
} trying;

static void fill_slots(const trying* t, size_t placement, tl_part* part) {
    const size_t* gaps = t->placing->placements[placement].gaps;
    for (size_t i = 0; gaps && i < t->placing->buffers; ++i)
        tl_slots_put(&t->slots, gaps[i], part);
}

/// Puts the rig into a case: moves the buffers, steps on the pedals.
static void enter_case(trying* t, size_t index) {
    size_t placement = index / t->placing->state_count;
    if (placement != t->placed) {
        fill_slots(t, t->placed, NULL);
        fill_slots(t, placement, t->buffer);
        t->placed = placement;
    }
    tl_pedals_enter(&t->pedals, index % t->placing->state_count);
}

static tl_circuit* build_case(void* context, size_t index) {
    trying* t = context;
    enter_case(t, index);
    return tl_circuit_build_rig(t->rig);
}

static void blame_case(const trying* t, size_t index, tl_error* error) {
    const tl_placing* placing = t->placing;
    const tl_placement* placement = &placing->placements[index / placing->state_count];
    tl_text where = {0};
    for (size_t i = 0; placement->gaps && i < placing->buffers; ++i)
        tl_text_addf(&where, "%s%s", i ? " and " : "buffer ", placing->gaps[placement->gaps[i]]);
    tl_error_prefix(error, "%s, %s, state %zu", tl_rig_path(t->rig),
                    where.size ? tl_text_get(&where) : "no buffer",
                    index % placing->state_count + 1);
    tl_text_free(&where);
}

// ---- the buffer, the gaps, the states ----

static tl_status read_buffer(trying* t, tl_error* error) {
    const char* text = t->options->buffer;
    t->input = tl_input_new("--buffer", text, strlen(text));
    tl_place start = {t->input, 1, 1};
    if (!tl_text_is_plain(text))
        return tl_error_at(error, &start, "control characters (or broken UTF-8)");
    if (!text[strspn(text, " ")])
        return tl_error_at(error, &start, "expected a buffer: a library part, or its values");
    tl_library* library = tl_session_library(t->session);
    tl_yaml* node = NULL;
    tl_status status = tl_yaml_read_piece(t->input, 0, t->input->size, &node, error);
    if (status == TL_OK)
        status = tl_part_read(library, &tl_kind_buffer, node, NULL, &t->buffer, error);
    if (status == TL_OK)
        status = tl_part_check(t->buffer, true, error);
    tl_yaml_free(node);
    t->placing->buffer = tl_copy(text);
    return status;
}

static void describe_gaps(const trying* t) {
    tl_placing* placing = t->placing;
    placing->gap_count = t->slots.count;
    placing->gaps = tl_new(t->slots.count, sizeof *placing->gaps);
    placing->gap_paths = tl_new(t->slots.count, sizeof *placing->gap_paths);
    for (size_t i = 0; i < t->slots.count; ++i) {
        placing->gaps[i] = tl_copy(t->slots.slots[i].words);
        placing->gap_paths[i] = tl_copy(t->slots.slots[i].path);
    }
}

static void describe_states(const trying* t) {
    tl_placing* placing = t->placing;
    const tl_pedals* pedals = &t->pedals;
    placing->pedal_count = pedals->count;
    placing->state_count = pedals->state_count;
    placing->pedals = tl_new(pedals->count, sizeof *placing->pedals);
    for (size_t i = 0; i < pedals->count; ++i)
        placing->pedals[i] = tl_copy(pedals->names[i]);
    placing->engaged = tl_new(pedals->count * pedals->state_count, sizeof *placing->engaged);
    if (pedals->scenes)
        placing->scenes = tl_new(pedals->state_count, sizeof *placing->scenes);
    for (size_t i = 0; i < pedals->state_count; ++i) {
        if (pedals->scenes)
            placing->scenes[i] = tl_copy(t->rig->scenes[i].name);
        for (size_t j = 0; j < pedals->count; ++j)
            placing->engaged[i * pedals->count + j] = tl_pedals_on(pedals, i, j);
    }
}

/// Ways to choose `some` of `all`; a double, because it only has to be compared with a limit.
static double combinations(size_t all, size_t some) {
    double ways = 1;
    for (size_t i = 0; i < some; ++i)
        ways = ways * (double)(all - i) / (double)(i + 1);
    return round(ways);
}

static tl_status check_size(const trying* t, tl_error* error) {
    const tl_placing* placing = t->placing;
    const char* path = tl_rig_path(t->rig);
    if (placing->gap_count < placing->buffers)
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: it has only %zu gaps for %zu buffers: no two go into one gap",
                            path, placing->gap_count, placing->buffers);
    double places = combinations(placing->gap_count, placing->buffers) + 1;
    if (places * (double)placing->state_count <= MOST_CASES)
        return TL_OK;
    char* hint = placing->pedal_count
                     ? tl_printf("hold pedals with --fix, such as --fix '%s=no'%s",
                                 placing->pedals[0], placing->buffers > 1 ? ", or" : "")
                     : tl_copy("");
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT, "%s: %.0f places in %zu states are more than %d: %s%s%s",
                     path, places, placing->state_count, MOST_CASES, hint, *hint ? " " : "",
                     placing->buffers > 1 ? "place fewer buffers" : "");
    free(hint);
    return status;
}

/// No buffer, then all combinations of gaps, the last moving fastest.
static void list_placements(tl_placing* placing) {
    size_t some = placing->buffers;
    size_t all = placing->gap_count;
    placing->count = (size_t)combinations(all, some) + 1;
    placing->placements = tl_new(placing->count, sizeof *placing->placements);
    size_t gaps[MOST_BUFFERS] = {0, 1, 2, 3};
    placing->placements[0].allowed = true;
    for (size_t i = 1; i < placing->count; ++i) {
        tl_placement* placement = &placing->placements[i];
        placement->allowed = true;
        placement->gaps = tl_new(some, sizeof *placement->gaps);
        memcpy(placement->gaps, gaps, some * sizeof *gaps);
        size_t moved = some; // the last gap that can still move on, with those after it behind it
        while (moved > 0 && gaps[moved - 1] == all - some + moved - 1)
            --moved;
        if (moved == 0)
            break;
        ++gaps[moved - 1];
        for (size_t j = moved; j < some; ++j)
            gaps[j] = gaps[j - 1] + 1;
    }
}

// ---- pedals that need the pickup ----

/// Notes in which states a pedal has the pickup without any buffer, and sets those aside.
static void look_without(const trying* t, tl_sight* sights) {
    tl_placing* placing = t->placing;
    size_t needers = t->slots.needer_count;
    for (size_t i = 0; i < placing->state_count; ++i) {
        tl_pedals_enter(&t->pedals, i);
        tl_slots_look(&t->slots, sights + i * needers);
        for (size_t j = 0; j < needers; ++j) {
            tl_sight sight = sights[i * needers + j];
            placing->pickup_pedals[j].on_count += sight != TL_NEEDER_OFF;
            placing->pickup_pedals[j].cut_count += sight == TL_NEEDER_CUT_OFF;
            placing->set_aside[i] = placing->set_aside[i] || sight == TL_NEEDER_SEES;
        }
        placing->set_aside_count += placing->set_aside[i];
    }
    if (placing->set_aside_count == placing->state_count) {
        memset(placing->set_aside, 0, placing->state_count * sizeof *placing->set_aside);
        placing->set_aside_count = 0;
    }
}

/// The pedal that a buffer in a gap takes the pickup from in some state; `needers`: none.
static size_t taken_by(const trying* t, size_t gap, const tl_sight* sights, tl_sight* now) {
    size_t needers = t->slots.needer_count;
    size_t taken = needers;
    tl_slots_put(&t->slots, gap, t->buffer);
    for (size_t i = 0; i < t->placing->state_count; ++i) {
        tl_pedals_enter(&t->pedals, i);
        tl_slots_look(&t->slots, now);
        for (size_t j = 0; j < taken; ++j)
            if (sights[i * needers + j] == TL_NEEDER_SEES && now[j] == TL_NEEDER_CUT_OFF)
                taken = j;
    }
    tl_slots_put(&t->slots, gap, NULL);
    return taken;
}

/// Finds out which placements leave every pedal that needs it the pickup.
static void allow(const trying* t) {
    tl_placing* placing = t->placing;
    size_t needers = t->slots.needer_count;
    placing->set_aside = tl_new(placing->state_count, sizeof *placing->set_aside);
    placing->pickup_pedal_count = needers;
    placing->pickup_pedals = tl_new(needers, sizeof *placing->pickup_pedals);
    for (size_t i = 0; i < needers; ++i)
        placing->pickup_pedals[i].name = tl_copy(t->slots.needers[i].name);
    if (!needers)
        return;
    tl_sight* sights = tl_new(placing->state_count * needers, sizeof *sights);
    tl_sight* now = tl_new(needers, sizeof *now);
    size_t* taken = tl_new(placing->gap_count, sizeof *taken);
    look_without(t, sights);
    for (size_t i = 0; i < placing->gap_count; ++i)
        taken[i] = taken_by(t, i, sights, now);
    for (size_t i = 1; i < placing->count; ++i) {
        tl_placement* placement = &placing->placements[i];
        placement->takes_from = needers;
        for (size_t j = 0; j < placing->buffers; ++j)
            if (taken[placement->gaps[j]] < placement->takes_from)
                placement->takes_from = taken[placement->gaps[j]];
        placement->allowed = placement->takes_from == needers;
    }
    free(sights);
    free(now);
    free(taken);
}

// ---- solving ----

static void blame_whole(void* context, size_t index, tl_error* error) {
    (void)index;
    const trying* t = context;
    tl_error_prefix(error, "%s", tl_rig_path(t->rig));
}

/// Solves one case together with its direct and keeps the responses.
static tl_status solve_whole(trying* t, size_t index, tl_answer** answer, tl_error* error) {
    enter_case(t, index);
    tl_circuit* circuit = tl_circuit_build(t->rig);
    tl_batch batch = {&circuit, 1, t->options->reference_hz, blame_whole, t};
    tl_status status = tl_batch_solve(t->session, &batch, answer, error);
    tl_circuit_free(circuit);
    return status;
}

static tl_circuit* build(void* context, size_t index) {
    trying* t = context;
    return build_case(t, t->alike.first[index]);
}

static void deliver(void* context, size_t index, tl_answer* answer) {
    trying* t = context;
    for (size_t i = 0; i < t->amp_count; ++i) {
        const tl_solved* rig = &answer->solved[i];
        const tl_solved* direct = &t->direct->solved[2 * i + 1];
        double rig_db[TL_BAND_COUNT];
        tl_response_bands(rig->response, rig_db);
        t->hearings[index * t->amp_count + i] =
            tl_hearing_of_bands(rig_db, &rig->metrics, t->direct_db[i], &direct->metrics);
    }
    tl_answer_free(answer);
}

static void blame(void* context, size_t index, tl_error* error) {
    const trying* t = context;
    blame_case(t, t->alike.first[index], error);
}

/// The directs, which no buffer and no pedal moves; then everything else.
static tl_status solve(trying* t, tl_error* error) {
    tl_status status = solve_whole(t, 0, &t->direct, error);
    if (status != TL_OK)
        return status;
    t->amp_count = t->direct->count / 2;
    t->direct_db = tl_new(t->amp_count, sizeof *t->direct_db);
    for (size_t i = 0; i < t->amp_count; ++i)
        tl_response_bands(t->direct->solved[2 * i + 1].response, t->direct_db[i]);
    t->hearings = tl_new(t->alike.count * t->amp_count, sizeof *t->hearings);
    t->placing->solves = t->alike.count;
    tl_stream stream = {t->alike.count, t->options->reference_hz, build, deliver, blame, t};
    return tl_stream_solve(t->session, &stream, error);
}

// ---- judging ----

static void judge(const trying* t, size_t index) {
    const tl_placing* placing = t->placing;
    tl_placement* placement = &placing->placements[index];
    double squares = 0;
    double count = 0;
    placement->worst_db = 0;
    placement->worst_hz = NAN;
    placement->aside_db = NAN;
    for (size_t i = 0; i < placing->state_count; ++i) {
        size_t solve = t->alike.solve_of[index * placing->state_count + i];
        for (size_t j = 0; j < t->amp_count; ++j) {
            const tl_hearing* heard = &t->hearings[solve * t->amp_count + j];
            if (placing->set_aside[i]) {
                if (!(fabs(heard->worst_db) <= fabs(placement->aside_db)))
                    placement->aside_db = heard->worst_db;
                continue;
            }
            squares += heard->rms_db * heard->rms_db;
            count += 1;
            if (heard->verdict > placement->verdict)
                placement->verdict = heard->verdict;
            if (count > 1 && fabs(heard->worst_db) <= fabs(placement->worst_db))
                continue;
            placement->worst_db = heard->worst_db;
            placement->worst_hz = heard->worst_hz;
            placement->presence_db = heard->presence_db;
            placement->worst_state = i;
            placement->worst_amp = j;
        }
    }
    placement->rms_db = sqrt(squares / count);
}

/// What placements are ranked by. In millionths of a dB: what differs by less is the solver's
/// noise.
typedef struct {
    bool allowed;
    double worst;
    double rms;
    size_t index;
} rank;

static int compare_numbers(double a, double b) {
    return (a > b) - (a < b);
}

static int nearest_first(const void* a, const void* b) {
    const rank* one = a;
    const rank* two = b;
    if (one->allowed != two->allowed)
        return one->allowed ? -1 : 1;
    int order = compare_numbers(one->worst, two->worst);
    order = order ? order : compare_numbers(one->rms, two->rms);
    return order ? order
                 : (one->index < two->index ? -1 : 1); // no buffer goes before a useless one
}

static bool is_nearer(const rank* one, const rank* two) {
    rank a = *one;
    rank b = *two;
    a.allowed = b.allowed = true;
    return nearest_first(&a, &b) < 0;
}

static void rank_placements(tl_placing* placing) {
    rank* ranks = tl_new(placing->count, sizeof *ranks);
    rank best = {0};
    for (size_t i = 0; i < placing->count; ++i) {
        const tl_placement* placement = &placing->placements[i];
        ranks[i] = (rank){placement->allowed, round(1e6 * fabs(placement->worst_db)),
                          round(1e6 * placement->rms_db), i};
        placing->ranked_count += placement->allowed;
        if (i == 0 || is_nearer(&ranks[i], &best))
            best = ranks[i];
    }
    qsort(ranks, placing->count, sizeof *ranks, nearest_first);
    placing->ranking = tl_new(placing->count, sizeof *placing->ranking);
    for (size_t i = 0; i < placing->count; ++i)
        placing->ranking[i] = ranks[i].index;
    placing->best_of_all = best.index;
    placing->cost_db = NAN;
    if (placing->pickup_pedal_count)
        placing->cost_db = fabs(placing->placements[placing->ranking[0]].worst_db) -
                           fabs(placing->placements[best.index].worst_db);
    free(ranks);
}

static tl_status try_all(trying* t, tl_error* error) {
    tl_placing* placing = t->placing;
    list_placements(placing);
    allow(t);
    tl_circuit_fix_sections(&t->rig, 1);
    t->alike = tl_alike_find(t->placing->count * t->placing->state_count, false, build_case, t);
    tl_status status = solve(t, error);
    if (status != TL_OK)
        return status;
    for (size_t i = 0; i < placing->count; ++i)
        judge(t, i);
    rank_placements(placing);
    size_t state = placing->placements[0].worst_state;
    status = solve_whole(t, state, &placing->none, error);
    if (status == TL_OK)
        status = solve_whole(t, placing->ranking[0] * placing->state_count + state, &placing->best,
                             error);
    return status;
}

static void trying_free(trying* t) {
    tl_slots_free(&t->slots);
    tl_pedals_free(&t->pedals);
    tl_rig_free(t->rig);
    tl_part_free(t->buffer);
    tl_input_free(t->input);
    tl_answer_free(t->direct);
    tl_alike_free(&t->alike);
    free(t->direct_db);
    free(t->hearings);
}

static tl_status study_place(tl_session* session, tl_rig* rig, const tl_place_options* options,
                             tl_placing** placing, tl_error* error) {
    *placing = NULL;
    if (options->buffers < 1 || options->buffers > MOST_BUFFERS)
        return tl_error_set(error, TL_BAD_INPUT, "%zu buffers: expected 1 to %d", options->buffers,
                            MOST_BUFFERS);
    trying t = {.session = session, .rig = tl_rig_clone(rig), .options = options};
    t.placing = tl_new(1, sizeof *t.placing);
    t.placing->buffers = options->buffers;
    tl_status status = read_buffer(&t, error);
    if (status == TL_OK)
        status = tl_pedals_read(t.rig, options->fixes, options->fix_count, options->all, &t.pedals,
                                error);
    if (status == TL_OK) {
        t.slots = tl_slots_open(t.rig, &t.pedals);
        describe_gaps(&t);
        describe_states(&t);
        status = check_size(&t, error);
    }
    if (status == TL_OK)
        status = try_all(&t, error);
    trying_free(&t);
    if (status != TL_OK) {
        tl_placing_free(t.placing);
        t.placing = NULL;
    }
    *placing = t.placing;
    return status;
}

tl_status tl_study_place(tl_session* session, tl_rig* rig, const tl_place_options* options,
                         tl_placing** placing, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status status = study_place(session, rig, options, placing, error);
    tl_locale_restore(locale);
    return status;
}

static void free_words(char** words, size_t count) {
    for (size_t i = 0; words && i < count; ++i)
        free(words[i]);
    free(words);
}

void tl_placing_free(tl_placing* placing) {
    if (!placing)
        return;
    free_words(placing->gaps, placing->gap_count);
    free_words(placing->gap_paths, placing->gap_count);
    free_words(placing->pedals, placing->pedal_count);
    free_words(placing->scenes, placing->state_count);
    for (size_t i = 0; placing->placements && i < placing->count; ++i)
        free(placing->placements[i].gaps);
    for (size_t i = 0; i < placing->pickup_pedal_count; ++i)
        free(placing->pickup_pedals[i].name);
    free(placing->buffer);
    free(placing->engaged);
    free(placing->set_aside);
    free(placing->pickup_pedals);
    free(placing->placements);
    free(placing->ranking);
    tl_answer_free(placing->none);
    tl_answer_free(placing->best);
    free(placing);
}

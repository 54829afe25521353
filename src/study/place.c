// SPDX-License-Identifier: GPL-3.0-or-later
// Where a buffer does most good: every gap of the chain, in every state of the pedals.
#include "study/fix.h"
#include "study/session.h"

#include "base/locale.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BUFFERS = 4, MOST_SOLVES = 200000 };

/// Gaps that hold a buffer: gap i lies before item i of the chain.
typedef struct {
    size_t gaps[MOST_BUFFERS];
    size_t count;
} choice;

typedef struct {
    tl_session* session;
    tl_rig* rig;
    const tl_place_options* options;
    tl_part* buffer;
    choice* choices;
    size_t choice_count;
    size_t gap_count;
    size_t
        pickup_gap; ///< buffers in gaps up to this one stand before a pedal that needs the pickup
    bool* held;     ///< by toggle
    size_t states;
    tl_placing* placing;
    double (*direct_db)[TL_BAND_COUNT];
    tl_rig* built; ///< the rig with the buffers of choice `built_choice`
    size_t built_choice;
    tl_toggle_list toggles; ///< of `built`
} placing;

/// A copy of a rig with buffers in some of its gaps.
static tl_rig* with_buffers(const placing* p, const choice* where) {
    tl_rig* rig = tl_rig_clone(p->rig);
    tl_chain* chain = &rig->main.chain;
    for (size_t k = where->count; k-- > 0;) { // from the end, so that gaps keep their numbers
        size_t gap = where->gaps[k];
        chain->items = tl_grow(chain->items, chain->count + 1, sizeof *chain->items);
        memmove(chain->items + gap + 1, chain->items + gap,
                (chain->count - gap) * sizeof *chain->items);
        chain->items[gap] = (tl_item){.part = tl_part_clone(p->buffer)};
        ++chain->count;
    }
    return rig;
}

static void leave_built(placing* p) {
    tl_toggles_free(&p->toggles);
    tl_rig_free(p->built);
    p->built = NULL;
}

/// Puts the pedals that no fix holds into state `state`: one bit each.
static void enter_state(const placing* p, size_t state) {
    size_t bit = 0;
    for (size_t i = 0; i < p->toggles.count; ++i)
        if (!p->held[i])
            tl_toggle_set(&p->toggles.toggles[i], state >> bit++ & 1);
}

static tl_circuit* build(void* context, size_t index) {
    placing* p = context;
    size_t which = index / p->states;
    if (!p->built || p->built_choice != which) {
        leave_built(p);
        p->built = with_buffers(p, &p->choices[which]);
        p->toggles = tl_toggles_list(p->built);
        p->built_choice = which;
    }
    enter_state(p, index % p->states);
    return tl_circuit_build_rig(p->built);
}

/// The pedals that are on in a state.
static char* state_words(const placing* p, size_t state) {
    tl_text words = {0};
    size_t bit = 0;
    tl_toggle_list list = tl_toggles_list(p->rig);
    for (size_t i = 0; i < list.count; ++i) {
        bool on = p->held[i] ? tl_toggle_is_on(&list.toggles[i]) : (state >> bit++ & 1) != 0;
        const char* name = list.toggles[i].name ? list.toggles[i].name : list.toggles[i].path;
        if (on)
            tl_text_addf(&words, "%s%s", words.size ? " + " : "", name);
    }
    if (!words.size)
        tl_text_add(&words, "all off");
    tl_toggles_free(&list);
    return tl_text_take(&words);
}

/// Whether one difference is worse to the ear than another; equal ones by all bands together.
static bool is_worse(const tl_hearing* one, const tl_hearing* other) {
    double a = fabs(one->worst_db);
    double b = fabs(other->worst_db);
    return a != b ? a > b : one->rms_db > other->rms_db;
}

static void deliver(void* context, size_t index, tl_answer* answer) {
    placing* p = context;
    tl_placement* at = &p->placing->placements[index / p->states];
    for (size_t i = 0; i < answer->count; ++i) {
        const tl_solved* direct = &p->placing->direct->solved[2 * i + 1];
        double bands_db[TL_BAND_COUNT];
        tl_response_bands(answer->solved[i].response, bands_db);
        tl_hearing hearing = tl_hearing_of_bands(bands_db, &answer->solved[i].metrics,
                                                 p->direct_db[i], &direct->metrics);
        if (at->amp && !is_worse(&hearing, &at->worst))
            continue;
        at->worst = hearing;
        at->amp = direct->amp;
        free(at->worst_state);
        at->worst_state = state_words(p, index % p->states);
    }
    tl_answer_free(answer);
}

static void blame(void* context, size_t index, tl_error* error) {
    const placing* p = context;
    tl_error_prefix(error, "%s, %s", tl_rig_path(p->rig),
                    p->placing->placements[index / p->states].words);
}

static bool needs_pickup(const tl_part* part) {
    return part && part->kind == &tl_kind_pedal && tl_part_chosen(part, "needs_pickup", "yes");
}

/// A pedal of a chain, or of loops in it, that must see the pickup; NULL when none does.
static const tl_item* find_needy(const tl_chain* chain) {
    for (size_t i = 0; i < chain->count; ++i) {
        if (needs_pickup(chain->items[i].part))
            return &chain->items[i];
        const tl_item* inner = find_needy(&chain->items[i].loop);
        if (inner)
            return inner;
    }
    return NULL;
}

/// Counts the gaps, and finds the last of those before a pedal that must see the pickup.
static void survey_gaps(placing* p) {
    const tl_chain* chain = &p->rig->main.chain;
    bool split = chain->count && tl_item_is_split(&chain->items[chain->count - 1]);
    p->gap_count = chain->count + (split ? 0 : 1);
    p->pickup_gap = SIZE_MAX;
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_chain one = {&chain->items[i], 1, chain->items[i].place};
        const tl_item* needy = find_needy(&one);
        if (!needy)
            continue;
        p->pickup_gap = i;
        free(p->placing->needs_pickup);
        p->placing->needs_pickup = needy->name ? tl_copy(needy->name) : tl_printf("chain[%zu]", i);
    }
}

/// Where a gap is: by the item behind it.
static char* gap_words(const placing* p, size_t gap) {
    const tl_chain* chain = &p->rig->main.chain;
    if (gap == chain->count)
        return tl_copy("before the amp");
    const tl_item* item = &chain->items[gap];
    const char* kind = tl_item_is_split(item) ? "split" : item->part->kind->name;
    return item->name ? tl_printf("before chain[%zu] (%s '%s')", gap, kind, item->name)
                      : tl_printf("before chain[%zu] (%s)", gap, kind);
}

static void describe_choice(const placing* p, const choice* where, tl_placement* at) {
    tl_text words = {0};
    at->allowed = true;
    for (size_t k = 0; k < where->count; ++k) {
        char* gap = gap_words(p, where->gaps[k]);
        tl_text_addf(&words, "%s%s", k ? " and " : "", gap);
        at->allowed = at->allowed && (p->pickup_gap == SIZE_MAX || where->gaps[k] > p->pickup_gap);
        free(gap);
    }
    if (!where->count)
        tl_text_add(&words, "no buffer");
    at->words = tl_text_take(&words);
}

/// All ways to choose so many gaps, after the way of none.
static void list_choices(placing* p) {
    size_t count = p->options->buffer_count;
    choice next = {.count = count};
    for (size_t k = 0; k < count; ++k)
        next.gaps[k] = k;
    p->choices = tl_new(1, sizeof *p->choices);
    p->choice_count = 1;
    bool more = count <= p->gap_count;
    while (more && p->choice_count <= MOST_SOLVES) {
        p->choices = tl_grow(p->choices, p->choice_count + 1, sizeof *p->choices);
        p->choices[p->choice_count++] = next;
        size_t k = count;
        while (k > 0 && next.gaps[k - 1] == p->gap_count - count + k - 1)
            --k;
        more = k > 0;
        if (more)
            ++next.gaps[k - 1];
        for (; more && k < count; ++k)
            next.gaps[k] = next.gaps[k - 1] + 1;
    }
}

static tl_status read_buffer(placing* p, tl_error* error) {
    const char* words = p->options->buffer;
    if (!words)
        return tl_error_set(error, TL_BAD_INPUT,
                            "expected a buffer to place, such as --buffer op-amp-follower");
    if (p->options->buffer_count < 1 || p->options->buffer_count > MOST_BUFFERS)
        return tl_error_set(error, TL_BAD_INPUT, "expected 1 to %d buffers", MOST_BUFFERS);
    tl_input* input = tl_input_new("--buffer", words, strlen(words));
    tl_yaml* tree = NULL;
    tl_status status = tl_yaml_read_piece(input, 0, strlen(words), &tree, error);
    if (status == TL_OK)
        status = tl_part_read(p->rig->library, &tl_kind_buffer, tree, NULL, &p->buffer, error);
    if (status == TL_OK)
        status = tl_part_check(p->buffer, true, error);
    tl_yaml_free(tree);
    tl_input_free(input);
    return status;
}

static tl_status count_states(placing* p, tl_error* error) {
    tl_toggle_list list = tl_toggles_list(p->rig);
    p->held = tl_new(list.count, sizeof *p->held);
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < p->options->fix_count; ++i)
        status = tl_fix_read(&list, p->options->fixes[i], p->held, error);
    size_t moving = 0;
    for (size_t i = 0; i < list.count; ++i)
        moving += !p->held[i];
    tl_toggles_free(&list);
    p->states = moving <= 16 ? (size_t)1 << moving : SIZE_MAX;
    p->placing->state_count = p->states;
    if (status == TL_OK && (moving > 16 || p->states * p->choice_count > MOST_SOLVES))
        status =
            tl_error_set(error, TL_BAD_INPUT,
                         "%s: %zu placements in the states of %zu pedals and loops are more than "
                         "%d: hold some with --fix, such as --fix 'NAME=no'",
                         tl_rig_path(p->rig), p->choice_count, moving, MOST_SOLVES);
    return status;
}

static tl_status solve_direct(placing* p, tl_error* error) {
    tl_circuit* circuit = tl_circuit_build(p->rig);
    tl_batch batch = {&circuit, 1, p->options->reference_hz, blame, p};
    tl_status status = tl_batch_solve(p->session, &batch, &p->placing->direct, error);
    tl_circuit_free(circuit);
    if (status != TL_OK)
        return status;
    size_t amps = p->placing->direct->count / 2;
    p->direct_db = tl_new(amps, sizeof *p->direct_db);
    for (size_t i = 0; i < amps; ++i)
        tl_response_bands(p->placing->direct->solved[2 * i + 1].response, p->direct_db[i]);
    return TL_OK;
}

static int by_hearing(const void* a, const void* b) {
    const tl_placement* one = a;
    const tl_placement* two = b;
    if (is_worse(&one->worst, &two->worst))
        return 1;
    return is_worse(&two->worst, &one->worst) ? -1 : strcmp(one->words, two->words);
}

static tl_status place(placing* p, tl_error* error) {
    tl_status status = read_buffer(p, error);
    if (status != TL_OK)
        return status;
    survey_gaps(p);
    list_choices(p);
    status = count_states(p, error);
    if (status != TL_OK)
        return status;
    p->placing->placements = tl_new(p->choice_count, sizeof *p->placing->placements);
    p->placing->count = p->choice_count;
    for (size_t i = 0; i < p->choice_count; ++i)
        describe_choice(p, &p->choices[i], &p->placing->placements[i]);
    tl_circuit_fix_sections(&p->rig, 1);
    status = solve_direct(p, error);
    tl_stream stream = {
        p->states * p->choice_count, p->options->reference_hz, build, deliver, blame, p};
    if (status == TL_OK)
        status = tl_stream_solve(p->session, &stream, error);
    if (status == TL_OK)
        qsort(p->placing->placements, p->placing->count, sizeof *p->placing->placements,
              by_hearing);
    return status;
}

tl_status tl_study_place(tl_session* session, tl_rig* rig, const tl_place_options* options,
                         tl_placing** result, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    placing p = {.session = session, .rig = tl_rig_clone(rig), .options = options};
    p.placing = tl_new(1, sizeof *p.placing);
    tl_status status = place(&p, error);
    leave_built(&p);
    tl_part_free(p.buffer);
    free(p.choices);
    free(p.held);
    free(p.direct_db);
    tl_rig_free(p.rig);
    if (status != TL_OK) {
        tl_placing_free(p.placing);
        p.placing = NULL;
    }
    *result = p.placing;
    tl_locale_restore(locale);
    return status;
}

void tl_placing_free(tl_placing* placing) {
    if (!placing)
        return;
    for (size_t i = 0; i < placing->count; ++i) {
        free(placing->placements[i].words);
        free(placing->placements[i].worst_state);
    }
    free(placing->placements);
    free(placing->needs_pickup);
    tl_answer_free(placing->direct);
    free(placing);
}

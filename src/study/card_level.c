// SPDX-License-Identifier: GPL-3.0-or-later
// The levels of a bench card: which states are measured, at which frequencies, and what the meter
// should read.
#include "study/card_work.h"

#include "base/names.h"
#include "base/text.h"
#include "parts/kinds.h"
#include "study/engaged.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FREQUENCIES = 10, ALL_STATES_OF = 3 };

// ---- ends and pedals

static tl_status no_such(const tl_card_work* work, const char* what, const char* word,
                         const char* const* names, size_t count, tl_error* error) {
    tl_text hint = {0};
    tl_name_hint(&hint, word, names, count);
    tl_text shown = {0};
    tl_text_add_safe(&shown, word);
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT, "%s: no %s '%s' on the card%s", tl_rig_path(work->rig),
                     what, tl_text_get(&shown), tl_text_get(&hint));
    tl_text_free(&shown);
    tl_text_free(&hint);
    return status;
}

/// Keeps the one end that was asked for.
static tl_status choose_end(tl_card_work* work, tl_error* error) {
    tl_meter_card* card = work->card;
    const char* wanted = work->options->end;
    if (!wanted)
        return TL_OK;
    for (size_t i = 0; i < card->end_count; ++i)
        if (strcmp(card->ends[i], wanted) == 0) {
            char* first = card->ends[0];
            card->ends[0] = card->ends[i];
            card->ends[i] = first;
            while (card->end_count > 1)
                free(card->ends[--card->end_count]);
            return TL_OK;
        }
    return no_such(work, "end", wanted, (const char* const*)card->ends, card->end_count, error);
}

static bool is_inside(const tl_chain* chain, const tl_part* part) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        if (item->part == part || is_inside(&item->loop, part))
            return true;
        for (size_t j = 0; j < item->branch_count; ++j)
            if (is_inside(&item->branches[j].chain, part))
                return true;
    }
    return false;
}

/// Whether a part stands inside a switcher's loop, whose state decides for it.
static bool is_in_loop(const tl_chain* chain, const tl_part* part) {
    for (size_t i = 0; i < chain->count; ++i) {
        const tl_item* item = &chain->items[i];
        if (is_inside(&item->loop, part))
            return true;
        for (size_t j = 0; j < item->branch_count; ++j)
            if (is_in_loop(&item->branches[j].chain, part))
                return true;
    }
    return false;
}

/// With scenes all that have a name move; else all but those inside a loop, which stay as written.
static bool moves(const tl_rig* rig, const tl_toggle* toggle) {
    if (rig->scene_count)
        return toggle->name != NULL;
    return !is_in_loop(&rig->main.chain, toggle->part);
}

static tl_status open_end(tl_card_work* work, size_t index, tl_error* error) {
    tl_card_end* end = &work->ends[index];
    tl_meter_card* card = work->card;
    end->name = card->ends[index];
    tl_status status = tl_measure_rig(work->rig, end->name, &end->rig, error);
    if (status != TL_OK)
        return status;
    tl_circuit_fix_sections(&end->rig, 1);
    end->toggles = tl_toggles_list(end->rig);
    end->moving = tl_new(end->toggles.count + 1, sizeof *end->moving);
    size_t count = 0;
    for (size_t i = 0; i < end->toggles.count; ++i)
        if (moves(end->rig, &end->toggles.toggles[i]))
            end->moving[count++] = i;
    if (index)
        return TL_OK;
    card->pedal_count = count;
    card->pedals = tl_new(count, sizeof *card->pedals);
    for (size_t i = 0; i < count; ++i) {
        const tl_toggle* toggle = &end->toggles.toggles[end->moving[i]];
        card->pedals[i] = tl_copy(toggle->name ? toggle->name : toggle->path);
    }
    return TL_OK;
}

static tl_status open_ends(tl_card_work* work, tl_error* error) {
    tl_meter_card* card = work->card;
    card->end_count = tl_measure_ends(work->rig, &card->ends);
    if (!card->end_count)
        return tl_error_set(error, TL_BAD_INPUT, "%s: no amp, so no end to measure at",
                            tl_rig_path(work->rig));
    tl_status status = choose_end(work, error);
    if (status != TL_OK)
        return status;
    work->ends = tl_new(card->end_count, sizeof *work->ends);
    for (size_t i = 0; status == TL_OK && i < card->end_count; ++i)
        status = open_end(work, i, error);
    return status;
}

// ---- states

void tl_card_enter(const tl_card_work* work, size_t end, const tl_meter_state* state) {
    const tl_card_end* at = &work->ends[end];
    for (size_t i = 0; i < work->card->pedal_count; ++i)
        tl_toggle_set(&at->toggles.toggles[at->moving[i]], state->engaged[i]);
}

/// Notes what is on in the path, those too that never move; the name of a state without one:
/// "drive + delay".
static void note_on(const tl_card_work* work, tl_meter_state* state) {
    const tl_toggle_list* list = &work->ends[0].toggles;
    tl_text words = {0};
    tl_card_enter(work, 0, state);
    state->on = tl_new(list->count + 1, sizeof *state->on);
    for (size_t i = 0; i < list->count; ++i) {
        const tl_toggle* toggle = &list->toggles[i];
        if (!tl_toggle_is_on(toggle) || tl_engaged_left_out(list, i))
            continue;
        state->on[state->on_count++] = tl_copy(toggle->name ? toggle->name : toggle->path);
        tl_text_addf(&words, "%s%s", words.size ? " + " : "", state->on[state->on_count - 1]);
    }
    if (!words.size)
        tl_text_add(&words, list->count ? "all off" : "as it is");
    if (!state->name)
        state->name = tl_text_take(&words);
    tl_text_free(&words);
}

/// Adds a state, unless one like it is there; `name` NULL: by the pedals that are on.
static void add_state(const tl_card_work* work, const char* name, const bool* engaged,
                      bool written) {
    tl_meter_card* card = work->card;
    for (size_t i = 0; !name && i < card->state_count; ++i)
        if (memcmp(card->states[i].engaged, engaged, card->pedal_count * sizeof *engaged) == 0) {
            card->states[i].written = card->states[i].written || written;
            return;
        }
    card->states = tl_grow(card->states, card->state_count + 1, sizeof *card->states);
    tl_meter_state* state = &card->states[card->state_count++];
    *state = (tl_meter_state){.name = tl_copy(name),
                              .engaged = tl_new(card->pedal_count + 1, sizeof *engaged),
                              .written = written};
    for (size_t i = 0; i < card->pedal_count; ++i)
        state->engaged[i] = engaged[i];
    note_on(work, state);
}

/// The scenes a rig names; of few pedals every combination; else all off, each by itself, and the
/// state the rig is written in.
static void list_states(tl_card_work* work) {
    tl_meter_card* card = work->card;
    const tl_card_end* end = &work->ends[0];
    bool* engaged = tl_new(card->pedal_count + 1, sizeof *engaged);
    bool* written = tl_new(card->pedal_count + 1, sizeof *written);
    for (size_t j = 0; j < card->pedal_count; ++j)
        written[j] = tl_toggle_is_on(&end->toggles.toggles[end->moving[j]]);
    size_t count = work->rig->scene_count;
    if (!count && card->pedal_count <= ALL_STATES_OF)
        count = (size_t)1 << card->pedal_count;
    else if (!count)
        count = card->pedal_count + 1;
    for (size_t i = 0; i < count; ++i) {
        const tl_scene* scene = work->rig->scene_count ? &work->rig->scenes[i] : NULL;
        for (size_t j = 0; j < card->pedal_count; ++j)
            engaged[j] = scene                                ? tl_scene_has(scene, card->pedals[j])
                         : card->pedal_count <= ALL_STATES_OF ? (i >> j & 1) != 0
                                                              : i == j + 1;
        add_state(work, scene ? scene->name : NULL, engaged, false);
    }
    add_state(work, NULL, written, true);
    free(engaged);
    free(written);
}

static void state_free(tl_meter_state* state) {
    for (size_t i = 0; i < state->same_count; ++i)
        free(state->same[i]);
    for (size_t i = 0; i < state->on_count; ++i)
        free(state->on[i]);
    free(state->same);
    free(state->on);
    free(state->name);
    free(state->engaged);
    free(state->db);
}

/// Every pedal and loop moves: for a state that the card would not have by itself.
static void move_all(tl_card_work* work) {
    tl_meter_card* card = work->card;
    const tl_toggle_list* list = &work->ends[0].toggles;
    for (size_t i = 0; i < card->pedal_count; ++i)
        free(card->pedals[i]);
    free(card->pedals);
    card->pedal_count = list->count;
    card->pedals = tl_new(list->count + 1, sizeof *card->pedals);
    for (size_t i = 0; i < list->count; ++i)
        card->pedals[i] =
            tl_copy(list->toggles[i].name ? list->toggles[i].name : list->toggles[i].path);
    for (size_t end = 0; end < card->end_count; ++end)
        for (size_t i = 0; i < list->count; ++i)
            work->ends[end].moving[i] = i;
}

/// The state of the card that has the same pedals on; the card's count when it has none.
static size_t find_state(const tl_card_work* work, const char* on) {
    const tl_meter_card* card = work->card;
    size_t found = 0;
    for (bool same = false; found < card->state_count; ++found) {
        tl_card_enter(work, 0, &card->states[found]);
        char* own = tl_engaged_words(&work->ends[0].toggles);
        same = strcmp(own, on) == 0;
        free(own);
        if (same)
            break;
    }
    return found;
}

/// Reads which pedals are to be on, as `accept` reads it; the toggles of the first end are left as
/// they were, `on` holds them as asked for.
static tl_status read_wanted(const tl_card_work* work, const char* wanted, bool* on, char** words,
                             tl_error* error) {
    const tl_toggle_list* list = &work->ends[0].toggles;
    bool* before = tl_new(list->count + 1, sizeof *before);
    for (size_t i = 0; i < list->count; ++i)
        before[i] = tl_toggle_is_on(&list->toggles[i]);
    tl_input* input = tl_input_new("--state", wanted, strlen(wanted));
    tl_place place = {input, 1, 1};
    tl_status status = tl_engaged_read(work->rig, list, wanted, &place, error);
    *words = tl_engaged_words(list);
    for (size_t i = 0; i < list->count; ++i) {
        on[i] = tl_toggle_is_on(&list->toggles[i]);
        tl_toggle_set(&list->toggles[i], before[i]);
    }
    tl_input_free(input);
    free(before);
    return status;
}

/// Keeps the one state that was asked for: by its name on the card, or by the pedals that are on,
/// in a combination that need not be on the card.
static tl_status choose_state(tl_card_work* work, tl_error* error) {
    tl_meter_card* card = work->card;
    const char* wanted = work->options->state;
    if (!wanted)
        return TL_OK;
    card->one_state = true;
    size_t found = 0;
    while (found < card->state_count && strcmp(card->states[found].name, wanted) != 0)
        ++found;
    if (found == card->state_count) {
        bool* on = tl_new(work->ends[0].toggles.count + 1, sizeof *on);
        char* words = NULL;
        tl_status status = read_wanted(work, wanted, on, &words, error);
        found = status == TL_OK ? find_state(work, words) : 0;
        if (status == TL_OK && found == card->state_count) {
            while (card->state_count)
                state_free(&card->states[--card->state_count]);
            move_all(work);
            add_state(work, NULL, on, false);
            found = 0;
        }
        free(words);
        free(on);
        if (status != TL_OK)
            return status;
    }
    tl_meter_state first = card->states[0];
    card->states[0] = card->states[found];
    card->states[found] = first;
    while (card->state_count > 1)
        state_free(&card->states[--card->state_count]);
    return TL_OK;
}

/// Each end has the same states.
static void repeat_states(tl_meter_card* card) {
    size_t count = card->state_count;
    card->states = tl_grow(card->states, count * card->end_count, sizeof *card->states);
    for (size_t end = 1; end < card->end_count; ++end)
        for (size_t i = 0; i < count; ++i) {
            const tl_meter_state* from = &card->states[i];
            tl_meter_state* to = &card->states[card->state_count++];
            *to = (tl_meter_state){.end = end,
                                   .name = tl_copy(from->name),
                                   .engaged = tl_new(card->pedal_count + 1, sizeof(bool)),
                                   .on = tl_new(from->on_count + 1, sizeof(char*)),
                                   .on_count = from->on_count,
                                   .written = from->written};
            memcpy(to->engaged, from->engaged, card->pedal_count * sizeof(bool));
            for (size_t j = 0; j < from->on_count; ++j)
                to->on[j] = tl_copy(from->on[j]);
        }
}

// ---- frequencies

/// Two digits are what a generator's dial can be set to.
static double rounded_hz(double hz) {
    double step = pow(10, floor(log10(hz)) - 1);
    return round(hz / step) * step;
}

/// Ten of them when the rig does not say: the middle, where levels hardly differ; five round the
/// resonance, where all faults show first; and the top.
static void choose_frequencies(tl_card_work* work, const tl_metrics* metrics) {
    static const double round_peak[] = {0.6, 0.8, 1, 1.25, 1.6};
    static const double plain_hz[FREQUENCIES] = {100,  200,  500,  1000, 2000,
                                                 3000, 4000, 5000, 7000, 10000};
    static const double lowest_hz = 1900, highest_hz = 5900; // five round these fit in between
    tl_meter_card* card = work->card;
    bool stated = work->terms.hz != NULL;
    card->hz_count = stated ? work->terms.hz_count : FREQUENCIES;
    card->hz = tl_new(card->hz_count, sizeof *card->hz);
    for (size_t i = 0; i < card->hz_count; ++i)
        card->hz[i] = stated ? work->terms.hz[i] : plain_hz[i];
    if (stated)
        return;
    double peak_hz = isnan(metrics->peak_hz) ? metrics->pole_hz : metrics->peak_hz;
    if (!isnan(peak_hz)) {
        peak_hz = fmin(fmax(peak_hz, lowest_hz), highest_hz);
        for (size_t i = 0; i < 5; ++i)
            card->hz[4 + i] = rounded_hz(round_peak[i] * peak_hz);
    }
    tl_card_assume(card,
                   "Frequencies are not said ('measure: {frequencies: [..]}'): four below, five "
                   "round the resonance of the first state, and 10 kHz.");
}

// ---- levels

void tl_card_read_levels(const tl_card_work* work, size_t end, const tl_answer* answer,
                         double* db) {
    const tl_solved* at = NULL;
    for (size_t i = 0; i < answer->count && !at; ++i)
        if (strcmp(answer->solved[i].amp, work->ends[end].name) == 0)
            at = &answer->solved[i];
    for (size_t i = 0; i < work->card->hz_count; ++i)
        db[i] = at ? tl_response_db(at->response, work->card->hz[i]) : NAN;
}

static void blame(void* context, size_t index, tl_error* error) {
    const tl_card_work* work = context;
    tl_error_prefix(error, "%s, '%s'", tl_rig_path(work->rig), work->card->states[index].name);
}

/// The least and the most that two states may differ by and be one on the meter.
static bool reads_same(const tl_meter_card* card, const tl_meter_state* a,
                       const tl_meter_state* b) {
    for (size_t i = 0; i < card->hz_count; ++i)
        if (!(fabs(a->db[i].expected - b->db[i].expected) <= TL_METER_SAME_DB))
            return false;
    return a->end == b->end;
}

/// Makes one of the states that read the same, named after the first.
static void merge_states(tl_meter_card* card) {
    size_t kept = 0;
    size_t* written = tl_new(card->state_count + 1, sizeof *written);
    for (size_t i = 0; i < card->state_count; ++i) {
        tl_meter_state state = card->states[i];
        size_t at = 0;
        while (at < kept && !reads_same(card, &card->states[at], &state))
            ++at;
        if (at == kept) {
            written[kept] = SIZE_MAX;
            card->states[kept++] = state;
            continue;
        }
        tl_meter_state* first = &card->states[at];
        first->same = tl_grow(first->same, first->same_count + 1, sizeof *first->same);
        if (state.written)
            written[at] = first->same_count;
        first->same[first->same_count++] = tl_copy(state.name);
        state_free(&state);
    }
    card->state_count = kept;
    for (size_t i = 0; i < kept; ++i)
        card->states[i].same_written =
            written[i] < card->states[i].same_count ? written[i] : card->states[i].same_count;
    free(written);
}

static tl_status solve_levels(tl_card_work* work, tl_error* error) {
    tl_meter_card* card = work->card;
    size_t count = card->state_count;
    tl_circuit** circuits = tl_new(count, sizeof(tl_circuit*));
    tl_answer** answers = tl_new(count, sizeof(tl_answer*));
    for (size_t i = 0; i < count; ++i) {
        tl_card_enter(work, card->states[i].end, &card->states[i]);
        circuits[i] = tl_circuit_build_rig(work->ends[card->states[i].end].rig);
    }
    tl_batch batch = {circuits, count, 200, blame, work};
    tl_status status = tl_batch_solve(work->session, &batch, answers, error);
    if (status == TL_OK)
        choose_frequencies(work, &answers[0]->solved[0].metrics);
    double* db = tl_new(card->hz_count + 1, sizeof *db);
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        tl_meter_state* state = &card->states[i];
        tl_card_read_levels(work, state->end, answers[i], db);
        state->db = tl_new(card->hz_count, sizeof *state->db);
        for (size_t j = 0; j < card->hz_count; ++j)
            state->db[j] = (tl_meter_limits){db[j], NAN, NAN};
    }
    free(db);
    for (size_t i = 0; i < count; ++i) {
        tl_circuit_free(circuits[i]);
        tl_answer_free(answers[i]);
    }
    free(circuits);
    free(answers);
    return status;
}

tl_status tl_card_levels(tl_card_work* work, tl_error* error) {
    tl_status status = open_ends(work, error);
    if (status == TL_OK)
        list_states(work);
    if (status == TL_OK)
        status = choose_state(work, error);
    if (status != TL_OK)
        return status;
    repeat_states(work->card);
    status = solve_levels(work, error);
    if (status == TL_OK)
        merge_states(work->card);
    return status;
}

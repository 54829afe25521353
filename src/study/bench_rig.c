// SPDX-License-Identifier: GPL-3.0-or-later
// A design where it will live: in place of every buffer of a rig.
#include "study/bench_card.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "response/weighting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    const tl_design* design; ///< NULL: an ideal buffer
    size_t count;
} replacing;

/// 1 Mohm in, next to nothing out, and nothing else.
static void make_ideal(tl_part* buffer) {
    for (size_t i = 0; i < buffer->kind->field_count; ++i)
        buffer->values[i] = (tl_value){0};
    tl_part_set_number(buffer, "input.resistance", 1e6);
    tl_part_set_number(buffer, "output.resistance", 1);
}

static void replace_buffer(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    replacing* r = context;
    if (part->kind != &tl_kind_buffer || strncmp(path, "direct", 6) == 0)
        return;
    part->design = r->design;
    if (!r->design)
        make_ideal(part);
    ++r->count;
}

/// The amp at which the difference from direct is largest: the verdict's, then the dB's.
static const tl_solved* find_worst(const tl_answer* answer) {
    const tl_solved* worst = &answer->solved[0];
    for (size_t i = 2; i < answer->count; i += 2) {
        const tl_solved* one = &answer->solved[i];
        if (one->hearing.verdict > worst->hearing.verdict ||
            (one->hearing.verdict == worst->hearing.verdict &&
             fabs(one->hearing.worst_db) > fabs(worst->hearing.worst_db)))
            worst = one;
    }
    return worst;
}

static void put_hearing(const bench_card* card, bench_specimen* specimen, const tl_solved* rig) {
    bench_figure_of(card, specimen, "rig_worst_db")->value = rig->hearing.worst_db;
    bench_figure_of(card, specimen, "rig_worst_hz")->value = rig->hearing.worst_hz;
    bench_figure_of(card, specimen, "rig_rms_db")->value = rig->hearing.rms_db;
    tl_bench_figure* peak = bench_figure_of(card, specimen, "rig_peak_hz");
    peak->value = rig->metrics.peak_hz;
    if (isnan(peak->value))
        peak->words = tl_copy("no peak");
    tl_bench_figure* cutoff = bench_figure_of(card, specimen, "rig_cutoff_hz");
    bool beyond = isnan(rig->metrics.cutoff_hz);
    cutoff->value = beyond ? tl_response_high_hz(rig->response) : rig->metrics.cutoff_hz;
    cutoff->beyond = beyond ? 1 : 0;
    bench_figure_of(card, specimen, "rig_verdict")->words =
        tl_copy(tl_verdict_words(rig->hearing.verdict));
}

/// What the design changes at that amp beyond what an ideal buffer would, levels matched.
static void put_change(const bench_card* card, bench_specimen* specimen, const tl_solved* rig,
                       const tl_answer* ideal) {
    for (size_t i = 0; i < ideal->count; i += 2)
        if (strcmp(ideal->solved[i].amp, rig->amp) == 0) {
            const tl_solved* other = &ideal->solved[i];
            bench_figure_of(card, specimen, "rig_change_db")->value =
                tl_hearing_compare(rig->response, &rig->metrics, other->response, &other->metrics)
                    .worst_db;
        }
}

/// Solves the rig with the design and with an ideal buffer in its place.
static tl_status solve_both(tl_session* session, const bench_card* card, tl_rig* rig,
                            bench_specimen* specimen, tl_error* error) {
    tl_answer* answer = NULL;
    tl_answer* ideal = NULL;
    tl_status status = tl_study_response(session, rig, 200, &answer, error);
    if (status == TL_OK) {
        tl_rig* other = tl_rig_clone(rig);
        replacing r = {0};
        tl_rig_each_part(other, replace_buffer, &r);
        status = tl_study_response(session, other, 200, &ideal, error);
        tl_rig_free(other);
    }
    if (status == TL_OK) {
        const tl_solved* worst = find_worst(answer);
        put_hearing(card, specimen, worst);
        put_change(card, specimen, worst, ideal);
    }
    tl_answer_free(answer);
    tl_answer_free(ideal);
    return status;
}

static void put_trouble(const bench_card* card, bench_specimen* specimen, const char* words) {
    for (size_t i = 0; i < card->line_count; ++i)
        if (strncmp(card->lines[i].id, "rig_", 4) == 0 && !specimen->figures[i].trouble)
            specimen->figures[i].trouble = tl_copy(words);
}

// ---- noise

/// What is asked about the noise of a rig: how much of it reaches the first amp.
typedef struct {
    tl_deck* deck;
    unsigned node;
    unsigned source;
    double volts;
    char* refused;
} hiss;

static tl_status ask_hiss(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)job;
    (void)error;
    const hiss* h = context;
    *request = (tl_request){.deck = h->deck,
                            .analysis = TL_NOISE,
                            .per_decade = 100,
                            .low_hz = 10,
                            .high_hz = 100e3,
                            .noise_node = h->node,
                            .noise_source = h->source};
    return TL_OK;
}

static tl_status take_hiss(void* context, size_t job, const tl_reply* reply, tl_request* request,
                           bool* again, tl_error* error) {
    (void)job;
    (void)request;
    *again = false;
    (void)error;
    ((hiss*)context)->volts =
        tl_noise_rms_v(reply->points, reply->hz, bench_real(reply, 0), 20, 20e3, true);
    return TL_OK;
}

static tl_status refuse_hiss(void* context, size_t job, const char* words, tl_request* request,
                             bool* again, tl_error* error) {
    (void)job;
    (void)request;
    *again = false;
    (void)error;
    ((hiss*)context)->refused = tl_copy(words);
    return TL_OK;
}

/// The noise of everything in the rig at its first amp, guitar and pots among it. What pedals and
/// amps state of theirs counts too, without its rise at low frequencies, which the ear is deaf to.
static tl_status put_noise(tl_session* session, const bench_card* card, tl_rig* rig,
                           bench_specimen* specimen, tl_error* error) {
    const tl_circuit_extras extras = {.noise = true};
    tl_circuit* circuit = tl_circuit_build_extended(rig, &extras);
    hiss h = {
        .deck = tl_circuit_deck(circuit, NULL), .node = circuit->outputs[0].node, .volts = NAN};
    for (size_t i = 0; i < circuit->element_count && !h.source; ++i)
        if (circuit->elements[i].kind == 'v')
            h.source = (unsigned)i + 1;
    h.deck->outputs[0] = (tl_probe){'o', 0};
    h.deck->output_count = 1;
    tl_pool_work work = {.context = &h, .ask = ask_hiss, .take = take_hiss, .refuse = refuse_hiss};
    tl_status status = tl_pool_run(session->pool, 1, &work, error);
    tl_bench_figure* figure = bench_figure_of(card, specimen, "rig_noise_a_v");
    free(figure->trouble);
    figure->value = h.volts;
    figure->trouble = h.refused;
    tl_deck_free(h.deck);
    tl_circuit_free(circuit);
    return status;
}

tl_status bench_in_rig(tl_session* session, const bench_card* card, tl_rig* rig,
                       bench_specimen* specimen, tl_error* error) {
    tl_rig* clone = tl_rig_clone(rig);
    replacing r = {.design = specimen->design};
    tl_rig_each_part(clone, replace_buffer, &r);
    tl_status status = TL_OK;
    if (!r.count) {
        status = tl_error_set(error, TL_BAD_INPUT,
                              "%s has no buffer for the designs to stand in for: add one where "
                              "they should be, such as 'buffer: op-amp-follower'",
                              tl_rig_path(rig));
    } else {
        tl_error* refused = tl_error_new();
        if (solve_both(session, card, clone, specimen, refused) != TL_OK)
            put_trouble(card, specimen, tl_error_text(refused));
        tl_error_free(refused);
        status = put_noise(session, card, clone, specimen, error);
    }
    tl_rig_free(clone);
    return status;
}

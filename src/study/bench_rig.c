// SPDX-License-Identifier: GPL-3.0-or-later
// A design where it will live: in place of every buffer of a rig.
#include "study/bench_card.h"

#include "base/text.h"
#include "parts/kinds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    const tl_design* design;
    size_t count;
} replacing;

static void replace_buffer(void* context, tl_part* part, const tl_item* item, const char* path) {
    (void)item;
    replacing* r = context;
    if (part->kind != &tl_kind_buffer || strncmp(path, "direct", 6) == 0)
        return;
    part->design = r->design;
    ++r->count;
}

static tl_bench_figure* figure_of(const bench_card* card, bench_specimen* specimen,
                                  const char* id) {
    size_t line = bench_find_line(card, id);
    return line < card->line_count ? &specimen->figures[line] : &specimen->spare;
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
    figure_of(card, specimen, "rig_worst_db")->value = rig->hearing.worst_db;
    figure_of(card, specimen, "rig_worst_hz")->value = rig->hearing.worst_hz;
    figure_of(card, specimen, "rig_rms_db")->value = rig->hearing.rms_db;
    tl_bench_figure* peak = figure_of(card, specimen, "rig_peak_hz");
    peak->value = rig->metrics.peak_hz;
    if (isnan(peak->value))
        peak->words = tl_copy("no peak");
    tl_bench_figure* cutoff = figure_of(card, specimen, "rig_cutoff_hz");
    bool beyond = isnan(rig->metrics.cutoff_hz);
    cutoff->value = beyond ? tl_response_high_hz(rig->response) : rig->metrics.cutoff_hz;
    cutoff->beyond = beyond ? 1 : 0;
    figure_of(card, specimen, "rig_verdict")->words =
        tl_copy(tl_verdict_words(rig->hearing.verdict));
}

static void put_trouble(const bench_card* card, bench_specimen* specimen, const char* words) {
    for (size_t i = 0; i < card->line_count; ++i)
        if (strncmp(card->lines[i].id, "rig_", 4) == 0)
            specimen->figures[i].trouble = tl_copy(words);
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
        tl_answer* answer = NULL;
        tl_error* refused = tl_error_new();
        if (tl_study_response(session, clone, 200, &answer, refused) == TL_OK)
            put_hearing(card, specimen, find_worst(answer));
        else
            put_trouble(card, specimen, tl_error_text(refused));
        tl_error_free(refused);
        tl_answer_free(answer);
    }
    tl_rig_free(clone);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// A design at the extremes of its parts and of its supply: every combination while there are few;
// beyond that, for each figure, the two corners its slopes point at.
#include "study/bench_card.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Parts of which all combinations are tried.
enum { MOST_PARTS = 10 };
static const double supply_swing = 0.1;

/// One corner: by tolerance -1, 0 or 1, and last the supply.
typedef struct {
    signed char* at;
    tl_design* design;
    bench_specimen* specimen;
} corner;

typedef struct {
    tl_session* session;
    bench_card* card;
    const bench_specimen* nominal;
    size_t axes; ///< tolerances and the supply
    corner* corners;
    size_t count;
} survey;

/// Notes a corner unless it is there already.
static void add_corner(survey* s, const signed char* at) {
    for (size_t i = 0; i < s->count; ++i)
        if (memcmp(s->corners[i].at, at, s->axes) == 0)
            return;
    s->corners = tl_grow(s->corners, s->count + 1, sizeof *s->corners);
    corner* made = &s->corners[s->count++];
    *made = (corner){.at = tl_new(s->axes, 1)};
    memcpy(made->at, at, s->axes);
}

/// Builds the specimen of a corner.
static void make_specimen(survey* s, corner* one) {
    const tl_design* nominal = s->nominal->design;
    one->design = tl_design_clone(nominal);
    for (size_t i = 0; i < nominal->tolerance_count; ++i) {
        const tl_tolerance* tolerance = &nominal->tolerances[i];
        double value = 0;
        if (one->at[i] && tl_netlist_get(nominal->netlist, tolerance->path, &value))
            tl_netlist_set(one->design->netlist, tolerance->path,
                           value * (1 + one->at[i] * tolerance->share));
    }
    one->specimen =
        bench_specimen_new(s->card, one->design, 1 + one->at[s->axes - 1] * supply_swing, false);
}

/// Measures the corners from `first` on.
static tl_status measure_from(survey* s, size_t first, tl_error* error) {
    size_t count = s->count - first;
    bench_specimen** specimens = tl_new(count, sizeof(bench_specimen*));
    for (size_t i = 0; i < count; ++i) {
        make_specimen(s, &s->corners[first + i]);
        specimens[i] = s->corners[first + i].specimen;
    }
    tl_status status = bench_measure(s->session, s->card, specimens, count, error);
    free(specimens);
    return status;
}

/// All combinations of the parts' extremes, each with the supply up and down.
static tl_status survey_all(survey* s, tl_error* error) {
    signed char* at = tl_new(s->axes, 1);
    for (size_t mask = 0; mask < (size_t)1 << s->axes; ++mask) {
        for (size_t i = 0; i < s->axes; ++i)
            at[i] = mask >> i & 1 ? 1 : -1;
        add_corner(s, at);
    }
    free(at);
    return measure_from(s, 0, error);
}

/// The two corners that a figure's slopes point at, one for each way.
static void add_pointed(survey* s, size_t line) {
    signed char* up = tl_new(s->axes, 1);
    signed char* down = tl_new(s->axes, 1);
    for (size_t i = 0; i < s->axes; ++i) {
        double moved = s->corners[i].specimen->figures[line].value;
        up[i] = moved < s->nominal->figures[line].value ? -1 : 1;
        down[i] = (signed char)-up[i];
    }
    tl_better better = s->card->lines[line].better;
    if (better == TL_BETTER_LOW || better == TL_BETTER_NEAR_ZERO)
        add_corner(s, up);
    if (better == TL_BETTER_HIGH || better == TL_BETTER_NEAR_ZERO)
        add_corner(s, down);
    free(up);
    free(down);
}

/// Moves one part at a time for the slopes, then goes where they point.
static tl_status survey_slopes(survey* s, tl_error* error) {
    signed char* at = tl_new(s->axes, 1);
    for (size_t i = 0; i < s->axes; ++i) {
        at[i] = 1;
        add_corner(s, at);
        at[i] = 0;
    }
    free(at);
    tl_status status = measure_from(s, 0, error);
    for (size_t line = 0; status == TL_OK && line < s->card->line_count; ++line)
        if (!isnan(s->nominal->figures[line].value) && !s->card->lines[line].detail)
            add_pointed(s, line);
    return status == TL_OK && s->count > s->axes ? measure_from(s, s->axes, error) : status;
}

/// "r1 +5 %, c1 -10 %, supply -10 %".
static char* corner_words(const survey* s, const corner* one) {
    const tl_design* design = s->nominal->design;
    tl_text text = {0};
    for (size_t i = 0; i < s->axes; ++i) {
        bool supply = i + 1 == s->axes;
        if (!one->at[i])
            continue;
        tl_text_addf(&text, "%s%s %+g %%", text.size ? ", " : "",
                     supply ? "supply" : design->tolerances[i].path,
                     100 * one->at[i] * (supply ? supply_swing : design->tolerances[i].share));
    }
    return tl_text_take(&text);
}

/// Rank of a word among those a figure may have in place of a value: the larger the worse.
static double rank_words(const char* words) {
    static const char* const order[] = {"stable", "rings", "oscillates"};
    for (size_t i = 0; words && i < sizeof order / sizeof *order; ++i)
        if (strncmp(words, order[i], strlen(order[i])) == 0)
            return (double)i;
    return NAN;
}

/// How bad a figure is: larger is worse; what cannot be measured is worst of all, and words have
/// their rank.
static double badness(const tl_bench_line* line, const tl_bench_figure* figure) {
    if (figure->trouble)
        return INFINITY;
    return isnan(figure->value) ? rank_words(figure->words) : bench_badness(line, figure);
}

static void find_worst(const survey* s, size_t line, tl_bench_design* result) {
    const tl_bench_line* about = &s->card->lines[line];
    const tl_bench_figure* worst = &s->nominal->figures[line];
    double most = badness(about, worst);
    const corner* at = NULL;
    for (size_t i = 0; i < s->count && !isnan(most); ++i) {
        const tl_bench_figure* figure = &s->corners[i].specimen->figures[line];
        if (badness(about, figure) > most) {
            most = badness(about, figure);
            worst = figure;
            at = &s->corners[i];
        }
    }
    result->worst[line] = *worst;
    result->worst[line].words = tl_copy(worst->words);
    result->worst[line].trouble = tl_copy(worst->trouble);
    result->worst_at[line] = at ? corner_words(s, at) : tl_copy("nominal");
}

tl_status bench_corners(tl_session* session, bench_card* card, const bench_specimen* nominal,
                        tl_bench_design* result, tl_error* error) {
    size_t parts = nominal->design->tolerance_count;
    survey s = {.session = session, .card = card, .nominal = nominal, .axes = parts + 1};
    result->by_slope = parts > MOST_PARTS;
    tl_status status = result->by_slope ? survey_slopes(&s, error) : survey_all(&s, error);
    result->corner_count = s.count + 1;
    result->worst = tl_new(card->line_count, sizeof *result->worst);
    result->worst_at = tl_new(card->line_count, sizeof *result->worst_at);
    for (size_t line = 0; status == TL_OK && line < card->line_count; ++line)
        find_worst(&s, line, result);
    for (size_t i = 0; i < s.count; ++i) {
        bench_specimen_free(card, s.corners[i].specimen);
        tl_design_free(s.corners[i].design);
        free(s.corners[i].at);
    }
    free(s.corners);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/comparison.h"

#include "cli/answers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Whether two solved responses are the same line-up: no variant moved it.
static bool same_figures(const tl_solved* a, const tl_solved* b) {
    if (strcmp(a->amp, b->amp) != 0)
        return false;
    for (double hz = 20; hz < 20001; hz *= 1.5)
        if (!(fabs(tl_response_db(a->response, hz) - tl_response_db(b->response, hz)) < 1e-6))
            return false;
    return true;
}

/// Whether solved number `index` of variant `at` (a direct) was there in an earlier variant.
static bool seen_before(const tl_comparison* comparison, size_t at, size_t index) {
    const tl_solved* direct = &comparison->variants[at].answer->solved[index];
    size_t from = at > 64 ? at - 64 : 0; // neighbours: a direct that moves, moves in steps
    if (from > 0 && same_figures(direct, &comparison->variants[0].answer->solved[index]))
        return true;
    for (size_t i = from; i < at; ++i) {
        const tl_answer* other = comparison->variants[i].answer;
        if (index < other->count && same_figures(direct, &other->solved[index]))
            return true;
    }
    return false;
}

static bool names_rigs(const comparison_view* l) {
    return l->rigs || !l->asked->vary_count;
}

/// For people the direct's row says so in its first cell; CSV has a column for it.
static void add_columns(const comparison_view* l, tl_table* table) {
    if (names_rigs(l))
        tl_table_column(table, "rig", "rig");
    for (size_t i = 0; i < l->asked->vary_count; ++i)
        tl_table_column(table, l->comparison->variants[0].settings[i].path,
                        l->comparison->variants[0].settings[i].path);
    if (l->asked->csv)
        tl_table_column(table, "line-up", "name");
    if (l->amps || l->asked->csv)
        tl_table_column(table, "amp", "amp");
    if (l->asked->csv) {
        figures_columns(table, l->asked->reference_hz);
        differences_columns(table);
        hearing_columns(table);
    } else {
        short_columns(table);
    }
    tl_table_column(table, "\nrank", "rank");
}

static void add_rank(const comparison_view* l, tl_table* table, size_t index, bool direct) {
    char shown[24];
    snprintf(shown, sizeof shown, "%zu", l->rank[index]);
    if (direct)
        tl_table_words(table, "");
    else
        tl_table_number(table, (double)l->rank[index], shown);
}

static const char* first_word(const tl_solved* solved, bool shared, const char* words) {
    if (strcmp(solved->name, "direct") != 0)
        return words;
    return shared ? "direct" : "  its direct";
}

static void add_row(const comparison_view* l, tl_table* table, const tl_variant* variant,
                    const tl_solved* solved, bool shared) {
    bool direct = strcmp(solved->name, "direct") == 0;
    bool plain = !l->asked->csv;
    size_t cells = 0;
    tl_table_row(table);
    if (names_rigs(l)) {
        const char* words = variant->rig_label;
        tl_table_words(table, plain ? first_word(solved, shared, words) : words);
        ++cells;
    }
    for (size_t i = 0; i < l->asked->vary_count; ++i, ++cells) {
        const char* words = direct && (shared || plain) ? "" : variant->settings[i].value;
        tl_table_words(table, plain && !cells ? first_word(solved, shared, words) : words);
    }
    if (!plain)
        tl_table_words(table, solved->name);
    if (l->amps || !plain)
        tl_table_words(table, solved->amp);
    if (plain) {
        short_cells(table, solved, direct ? NULL : solved + 1);
    } else {
        figures_cells(table, &solved->metrics);
        differences_cells(table, solved, direct ? NULL : solved + 1);
        hearing_cells(table, direct ? NULL : &solved->hearing);
    }
    add_rank(l, table, (size_t)(variant - l->comparison->variants), direct);
}

/// Whether some variant moves its direct: then each has one of its own.
static bool directs_move(const comparison_view* l) {
    const tl_comparison* comparison = l->comparison;
    for (size_t i = 1; i < comparison->count; ++i)
        for (size_t j = 1; j < comparison->variants[i].answer->count; j += 2)
            if (l->rigs || !seen_before(comparison, i, j))
                return true;
    return false;
}

/// Directs that no variant moves stand once, first; the others after the variant they belong to.
static tl_table* comparison_table(const comparison_view* l) {
    tl_table* table = tl_table_new();
    add_columns(l, table);
    const tl_comparison* comparison = l->comparison;
    bool move = directs_move(l);
    const tl_answer* first = comparison->variants[0].answer;
    for (size_t j = 1; !move && j < first->count; j += 2)
        add_row(l, table, &comparison->variants[0], &first->solved[j], true);
    for (size_t i = 0; i < comparison->count; ++i) {
        const tl_variant* variant = &comparison->variants[i];
        for (size_t j = 0; j < variant->answer->count; ++j)
            if (move || j % 2 == 0)
                add_row(l, table, variant, &variant->answer->solved[j], false);
    }
    return table;
}

static size_t count_solves(const tl_comparison* comparison) {
    size_t solves = 0;
    for (size_t i = 0; i < comparison->count; ++i)
        solves += comparison->variants[i].answer->solves;
    return solves;
}

static char* comparison_text(const comparison_view* l) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    tl_table* table = comparison_table(l);
    char* table_text = tl_table_text(table);
    fprintf(to, "%s%s%s\n", l->rigs ? "" : l->title, l->rigs ? "" : "\n\n", table_text);
    fprintf(to,
            "Level is at %g Hz, re each pickup's own 1 V; peak and -3 dB are relative to it. The "
            "columns 'dB at' are rig minus\n"
            "direct, after the amp is turned up to match the level between 200 Hz and 1 kHz.\n"
            "Rank 1 is the closest to direct.\n"
            "%s%s"
            "%zu variant%s, %zu frequencies solved.\n",
            l->asked->reference_hz,
            !l->assumed ? ""
            : l->rigs ? "Direct is 6 m of the library's standard-coax where a file does not say.\n"
                      : "Direct is 6 m of the library's standard-coax: the file does not say.\n",
            verdict_source, l->comparison->count, l->comparison->count == 1 ? "" : "s",
            count_solves(l->comparison));
    for (size_t i = 0; i < l->comparison->count; ++i)
        print_unstable(to, l->comparison->variants[i].name, l->comparison->variants[i].answer);
    fclose(to);
    free(table_text);
    tl_table_free(table);
    return text;
}

static char* comparison_json(const comparison_view* l) {
    json_t* json = tl_json_open(l->command, l->title);
    json_t* list = json_array();
    for (size_t i = 0; i < l->comparison->count; ++i) {
        const tl_variant* variant = &l->comparison->variants[i];
        json_t* set = json_object();
        for (size_t j = 0; j < variant->setting_count; ++j)
            json_object_set_new(set, variant->settings[j].path,
                                json_string(variant->settings[j].value));
        json_t* entry = json_object();
        json_object_set_new(entry, "name", json_string(variant->name));
        json_object_set_new(entry, "set", set);
        json_object_set_new(entry, "responses", answer_json(variant->answer, l->asked->points));
        json_object_set_new(entry, "differences", differences_json(variant->answer));
        json_object_set_new(entry, "hearing", worst_hearing_json(variant->answer));
        json_object_set_new(entry, "rank", json_integer((json_int_t)l->rank[i]));
        json_array_append_new(list, entry);
    }
    json_object_set_new(json, "variants", list);
    return tl_json_text(json);
}

static char* shown(const comparison_view* l) {
    if (l->asked->json)
        return comparison_json(l);
    if (!l->asked->csv)
        return comparison_text(l);
    tl_table* table = comparison_table(l);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

/// Curves of a comparison's plot and the labels they point to.
typedef struct {
    tl_curve* curves;
    char** labels;
    size_t count;
} curve_list;

static void add_curve(curve_list* list, const tl_variant* variant, const tl_solved* solved,
                      const char* who) {
    char* label = NULL;
    bool amps = answer_has_amps(variant->answer);
    bool direct = strcmp(solved->name, "direct") == 0;
    int size = asprintf(&label, "%s%s%s", amps ? solved->amp : "", amps ? ": " : "", who);
    list->curves = realloc(list->curves, (list->count + 1) * sizeof *list->curves);
    list->labels = realloc(list->labels, (list->count + 1) * sizeof *list->labels);
    if (size < 0 || !list->curves || !list->labels)
        abort();
    list->labels[list->count] = label;
    list->curves[list->count++] = (tl_curve){solved->response, &solved->metrics, label, direct,
                                             direct ? NULL : solved[1].response};
}

/// The directs a variant brings that no earlier one had, then its own curves.
static void add_variant_curves(const comparison_view* l, curve_list* list, size_t index,
                               bool move) {
    const tl_variant* variant = &l->comparison->variants[index];
    const tl_answer* answer = variant->answer;
    char* direct = NULL;
    if (asprintf(&direct, "direct%s%s", move ? " of " : "", move ? variant->name : "") < 0)
        abort();
    for (size_t j = 1; j < answer->count; j += 2)
        if (!seen_before(l->comparison, index, j))
            add_curve(list, variant, &answer->solved[j], direct);
    for (size_t j = 0; j < answer->count; j += 2)
        add_curve(list, variant, &answer->solved[j], variant->name);
    free(direct);
}

tl_status comparison_draw(const comparison_view* l, const char* path, tl_error* error) {
    curve_list list = {0};
    bool move = directs_move(l);
    for (size_t i = 0; i < l->comparison->count; ++i)
        add_variant_curves(l, &list, i, move);
    tl_plot plot = {l->title, list.curves, list.count};
    tl_status status = tl_plot_draw(&plot, path, error);
    for (size_t i = 0; i < list.count; ++i)
        free(list.labels[i]);
    free(list.labels);
    free(list.curves);
    return status;
}

typedef struct {
    double size;
    size_t index;
} heard;

static int by_size(const void* a, const void* b) {
    const heard* one = a;
    const heard* two = b;
    if (one->size != two->size)
        return one->size < two->size ? -1 : 1;
    return one->index < two->index ? -1 : 1;
}

/// Ranks variants by closeness to direct: the worst amp of each counts. Free with free().
static size_t* rank_variants(const tl_comparison* comparison) {
    heard* order = calloc(comparison->count, sizeof *order);
    size_t* rank = calloc(comparison->count, sizeof *rank);
    if (!order || !rank)
        abort();
    for (size_t i = 0; i < comparison->count; ++i) {
        const tl_solved* worst = worst_heard(comparison->variants[i].answer);
        order[i] = (heard){tl_hearing_size(&worst->hearing), i};
    }
    qsort(order, comparison->count, sizeof *order, by_size);
    for (size_t i = 0; i < comparison->count; ++i)
        rank[order[i].index] = i + 1;
    free(order);
    return rank;
}

comparison_view comparison_look(const request* asked, const char* command, tl_rig* const* rigs,
                                const tl_comparison* comparison) {
    comparison_view view = {.comparison = comparison,
                            .asked = asked,
                            .command = command,
                            .title =
                                asked->word_count > 1 ? "rigs compared" : tl_rig_title(rigs[0]),
                            .rigs = asked->word_count > 1};
    for (size_t i = 0; i < asked->word_count; ++i)
        view.assumed = view.assumed || !tl_rig_has_direct(rigs[i]);
    for (size_t i = 0; i < comparison->count; ++i)
        view.amps = view.amps || answer_has_amps(comparison->variants[i].answer);
    return view;
}

tl_status comparison_write(const comparison_view* l, tl_error* error) {
    comparison_view ranked = *l;
    ranked.rank = rank_variants(l->comparison);
    char* text = shown(&ranked);
    tl_status status = request_write(l->asked, text, error);
    free(text);
    free(ranked.rank);
    return status;
}

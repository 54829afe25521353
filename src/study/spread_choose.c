// SPDX-License-Identifier: GPL-3.0-or-later
// What choosing among parts buys: the trials that are there already, weighed by how likely the
// choice would take each.
#include "study/spread_work.h"

#include "base/names.h"
#include "base/place.h"
#include "base/text.h"
#include "parts/part.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_OF = 1000 };

typedef enum { RULE_LOW, RULE_MIDDLE, RULE_HIGH, RULE_LOWEST, RULE_HIGHEST, RULE_NEAREST } rule;

/// A choice as it was asked for.
typedef struct {
    size_t value;
    rule rule;
    unsigned of; ///< candidates, of the last three
} choice;

// ---- reading

/// Takes ".KIND" out of "chain[0].cable.capacitance": both are names of one value.
static char* without_kind(const char* path) {
    for (size_t i = 0; i < tl_part_kind_count; ++i) {
        char* kind = tl_printf("].%s.", tl_part_kinds[i]->name);
        const char* found = tl_part_kinds[i]->in_chain ? strstr(path, kind) : NULL;
        size_t size = strlen(kind);
        free(kind);
        if (found)
            return tl_printf("%.*s%s", (int)(found - path) + 1, path, found + size - 1);
    }
    return tl_copy(path);
}

/// Whether one of the paths in a joined list is the word.
static bool is_listed(const char* list, const char* word) {
    size_t size = strlen(word);
    for (const char* at = list; (at = strstr(at, word)); at += size)
        if ((at == list || at[-1] == ' ') && (!at[size] || at[size] == ','))
            return true;
    return false;
}

/// Whether a path says an item by its name: chain[drive].input.resistance.
static bool is_named(const tl_spread_value* value, const char* path) {
    const char* open = strrchr(value->path, '[');
    const char* close = open ? strchr(open, ']') : NULL;
    if (!close || !*value->about)
        return false;
    char* named =
        tl_printf("%.*s[%s%s", (int)(open - value->path), value->path, value->about, close);
    bool same = strcmp(named, path) == 0;
    free(named);
    return same;
}

static tl_status find_value(const tl_spread* spread, const char* words, const tl_place* place,
                            size_t* index, tl_error* error) {
    char* path = without_kind(words);
    size_t found = spread->value_count;
    for (size_t i = 0; i < spread->value_count; ++i) {
        const tl_spread_value* value = &spread->values[i];
        if (strcmp(value->path, path) == 0 || is_listed(value->followed, path) ||
            is_named(value, path))
            found = i;
    }
    *index = found;
    tl_status status = TL_OK;
    if (found == spread->value_count) {
        const char** names = tl_new(spread->value_count + 1, sizeof *names);
        for (size_t i = 0; i < spread->value_count; ++i)
            names[i] = spread->values[i].path;
        tl_text hint = {0};
        tl_name_hint(&hint, path, names, spread->value_count);
        status = tl_error_at(error, place,
                             "no value '%s' is drawn (it has no tolerance, or is not there)%s",
                             path, tl_text_get(&hint));
        tl_text_free(&hint);
        free(names);
    }
    free(path);
    return status;
}

/// Reads "low", "lowest of 5", ...
static bool read_rule(const char* words, choice* read) {
    static const char* const thirds[] = {"low", "middle", "high"};
    static const char* const picks[] = {"lowest of ", "highest of ", "nearest of "};
    for (int i = 0; i < 3; ++i) {
        if (strcmp(words, thirds[i]) == 0) {
            read->rule = (rule)i;
            return true;
        }
        size_t size = strlen(picks[i]);
        if (strncmp(words, picks[i], size) == 0 && words[size] >= '1' && words[size] <= '9' &&
            strlen(words + size) <= 4 && words[size + strspn(words + size, "0123456789")] == '\0') {
            read->rule = (rule)(RULE_LOWEST + i);
            read->of = (unsigned)strtoul(words + size, NULL, 10);
            return read->of >= 2 && read->of <= MOST_OF;
        }
    }
    return false;
}

static tl_status read_at(const tl_spread* spread, const char* words, tl_place place, choice* read,
                         tl_error* error) {
    const char* equals = strrchr(words, '=');
    if (!tl_text_is_plain(words))
        return tl_error_at(error, &place, "control characters (or broken UTF-8)");
    if (!equals || equals == words)
        return tl_error_at(error, &place,
                           "expected PATH=CHOICE, such as 'chain[0].capacitance=lowest of 5'");
    char* path = tl_printf("%.*s", (int)(equals - words), words);
    tl_status status = find_value(spread, path, &place, &read->value, error);
    free(path);
    place.column = (size_t)(equals - words) + 2;
    if (status == TL_OK && !read_rule(equals + 1, read))
        status = tl_error_at(error, &place,
                             "'%s': expected low, middle, high (a third of the batch each), "
                             "lowest of N, highest of N or nearest of N (N from 2 to %d)",
                             equals + 1, MOST_OF);
    return status;
}

static tl_status read_choice(const tl_spread* spread, const char* words, choice* read,
                             tl_error* error) {
    tl_input* input = tl_input_new("--select", words, strlen(words));
    tl_status status = read_at(spread, words, (tl_place){input, 1, 1}, read, error);
    tl_input_free(input);
    return status;
}

tl_status tl_spread_check_choices(const tl_spread* spread, const tl_spread_options* options,
                                  tl_error* error) {
    tl_status status = TL_OK;
    for (size_t i = 0; status == TL_OK && i < options->choice_count; ++i) {
        choice read;
        status = read_choice(spread, options->choices[i], &read, error);
    }
    return status;
}

// ---- weights

/// A trial with what it is ordered by, and its weight; then with a figure and the same weight.
typedef struct {
    size_t trial;
    double key;
    double weight;
} weighed;

static int compare_keys(const void* a, const void* b) {
    const weighed* x = a;
    const weighed* y = b;
    return x->key != y->key ? (x->key > y->key) - (x->key < y->key)
                            : (x->trial > y->trial) - (x->trial < y->trial);
}

static double key_of(rule by, double offset) {
    return by == RULE_HIGHEST || by == RULE_HIGH ? -offset
           : by == RULE_NEAREST                  ? fabs(offset)
                                                 : offset;
}

/// Trials in the order of the choice, each with the chance that it is the first of `of` drawn from
/// all of them: C(n - 1 - rank, of - 1) / C(n, of). Of a third, 1 inside and 0 outside.
static size_t weigh_trials(const tl_spread* spread, const tl_spread_trials* trials,
                           const choice* by, weighed* order) {
    size_t count = 0;
    for (size_t i = 0; i < trials->done; ++i)
        if (tl_spread_has_answer(trials, trials->first + i)) {
            double offset = tl_spread_trial_offset(spread, by->value, trials->first + i);
            order[count++] = (weighed){trials->first + i, key_of(by->rule, offset), 0};
        }
    qsort(order, count, sizeof *order, compare_keys);
    double n = (double)count;
    double chance = by->of / n;
    for (size_t i = 0; i < count; ++i) {
        bool third =
            by->rule == RULE_MIDDLE ? i >= count / 3 && i < count - count / 3 : i < (count + 2) / 3;
        order[i].weight = by->of ? fmax(chance, 0) : third;
        double rank = (double)i;
        chance *= rank + 1 < n ? (n - by->of - rank) / (n - 1 - rank) : 0;
    }
    return count;
}

/// Quantiles of weighed numbers in ascending order: linear between the middles of their weights,
/// which for equal weights is what tl_quantile_sorted() gives.
static void find_quantiles(const weighed* numbers, size_t count, double found[TL_PERCENTILES]) {
    double total = 0;
    for (size_t i = 0; i < count; ++i)
        total += numbers[i].weight;
    double ends = count ? (numbers[0].weight + numbers[count - 1].weight) / 2 : 0;
    for (size_t p = 0; p < TL_PERCENTILES; ++p) {
        double wanted = tl_percentiles[p] / 100 * (total - ends);
        double at = 0;
        size_t i = 0;
        double step = 0;
        for (; i + 1 < count; ++i) {
            step = (numbers[i].weight + numbers[i + 1].weight) / 2;
            if (at + step >= wanted)
                break;
            at += step;
        }
        double inside = i + 1 < count && step > 0 ? (wanted - at) / step : 0;
        double next = i + 1 < count ? numbers[i + 1].key : 0;
        found[p] = !count          ? NAN
                   : i + 1 < count ? numbers[i].key + inside * (next - numbers[i].key)
                                   : numbers[i].key;
    }
}

static double find_deviation(const weighed* numbers, size_t count) {
    double total = 0;
    double sum = 0;
    double squares = 0;
    for (size_t i = 0; i < count; ++i) {
        total += numbers[i].weight;
        sum += numbers[i].weight * numbers[i].key;
    }
    for (size_t i = 0; i < count; ++i)
        squares +=
            numbers[i].weight * (numbers[i].key - sum / total) * (numbers[i].key - sum / total);
    return sqrt(squares / total);
}

// ---- what is left

static void fill_figure(tl_spread_choice* made, const tl_spread_trials* trials, size_t index,
                        const weighed* order, size_t count, weighed* numbers) {
    size_t kept = 0;
    for (size_t i = 0; i < count; ++i) {
        double number = tl_spread_figures_of(trials, order[i].trial,
                                             index / TL_SPREAD_FIGURES)[index % TL_SPREAD_FIGURES];
        if (!isnan(number) && order[i].weight > 0)
            numbers[kept++] = (weighed){order[i].trial, number, order[i].weight};
    }
    qsort(numbers, kept, sizeof *numbers, compare_keys);
    find_quantiles(numbers, kept, made->percentile[index]);
    made->deviation[index] = find_deviation(numbers, kept);
}

static void share_verdicts(tl_spread_choice* made, const tl_spread_trials* trials,
                           const weighed* order, size_t count) {
    double total = 0;
    for (size_t i = 0; i < count; ++i)
        total += order[i].weight;
    for (size_t i = 0; i < count; ++i)
        for (size_t amp = 0; amp < trials->amps; ++amp) {
            const double* figures = tl_spread_figures_of(trials, order[i].trial, amp);
            tl_verdict verdict =
                tl_verdict_of(figures[TL_SPREAD_WORST_DB], figures[TL_SPREAD_STEPS]);
            made->heard[amp][verdict] += order[i].weight / total;
        }
}

static char* describe(const tl_spread* spread, const choice* by) {
    static const char* const words[] = {
        "the lower third of", "the middle third of", "the upper third of",
        "the lowest of",      "the highest of",      "the one nearest to its nominal value of"};
    const char* path = spread->values[by->value].path;
    return by->of ? tl_printf("%s %u by %s", words[by->rule], by->of, path)
                  : tl_printf("%s the batch by %s", words[by->rule], path);
}

tl_status tl_spread_choose(tl_spread* spread, const tl_spread_trials* trials, const char* words,
                           tl_error* error) {
    choice by = {0};
    tl_status status = read_choice(spread, words, &by, error);
    if (status != TL_OK)
        return status;
    weighed* order = tl_new(trials->done + 1, sizeof *order);
    weighed* numbers = tl_new(trials->done + 1, sizeof *numbers);
    size_t count = weigh_trials(spread, trials, &by, order);
    size_t figures = spread->amp_count * TL_SPREAD_FIGURES;
    tl_spread_choice made = {.words = tl_copy(words), .about = describe(spread, &by)};
    made.percentile = tl_new(figures, sizeof *made.percentile);
    made.deviation = tl_new(figures, sizeof *made.deviation);
    made.heard = tl_new(spread->amp_count, sizeof *made.heard);
    for (size_t i = 0; i < count; ++i)
        made.trials += order[i].weight > 0;
    for (size_t i = 0; i < figures; ++i)
        fill_figure(&made, trials, i, order, count, numbers);
    share_verdicts(&made, trials, order, count);
    spread->choices = tl_grow_one(spread->choices, spread->choice_count, sizeof *spread->choices);
    spread->choices[spread->choice_count++] = made;
    free(order);
    free(numbers);
    return TL_OK;
}

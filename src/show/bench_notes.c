// SPDX-License-Identifier: GPL-3.0-or-later
// What stands below the table of a bench: verdicts, what was not measured, noise.
#include "show/bench.h"

#include <stdlib.h>
#include <string.h>

enum { TITLES = 6 }; // listed for one reason

static void add_count(tl_text* text, const char** between, size_t count, const char* words) {
    if (count)
        tl_text_addf(text, "%s%zu %s", *between, count, words);
    if (count)
        *between = ", ";
}

/// "FET source follower: 3 fail, 2 marginal, 20 pass"
static void add_counts(tl_text* text, const tl_bench_view* view, size_t index) {
    const tl_bench_design* design = &view->bench->designs[index];
    const char* between = "";
    tl_text_addf(text, "%s: ", view->names[index]);
    add_count(text, &between, design->fails, design->fails == 1 ? "fails" : "fail");
    add_count(text, &between, design->marginals, "marginal");
    add_count(text, &between, design->passes, design->passes == 1 ? "passes" : "pass");
    add_count(text, &between, design->troubles, "not measured");
    tl_text_add(text, *between ? "\n" : "held to no limit\n");
}

/// One line that does not pass, in a sentence; `*told` is why the one before matters, and the same
/// is not told twice running.
static void add_verdict(tl_text* text, const tl_bench_line* line, const tl_bench_figure* figure,
                        const char** told) {
    char* value = tl_bench_value(line, figure);
    char* note = tl_bench_note(figure);
    const tl_bench_limit* limit = line->limit;
    const char* why = limit ? limit->why : NULL;
    bool again = why && *told && strcmp(why, *told) == 0;
    char* words = tl_printf("%s: %s%s%s%s%s.%s%s", line->title, value, *note ? " " : "", note,
                            limit ? "; limit: " : "", limit ? limit->words : "",
                            why && !again ? " " : "", why && !again ? why : "");
    *told = why;
    tl_text_addf(text, "  %c ", tl_bench_mark(figure));
    tl_wrap_words(text, words, 4, 4);
    free(words);
    free(value);
    free(note);
}

void tl_bench_add_verdicts(tl_text* text, const tl_bench_view* view) {
    const tl_bench* bench = view->bench;
    if (bench->count == 1) {
        tl_text_add(text, "\n");
        add_counts(text, view, 0);
        return;
    }
    tl_text_add(text, "\nWhat fails or is marginal, and why it matters\n");
    for (size_t j = 0; j < bench->count; ++j) {
        tl_text_add(text, "\n");
        add_counts(text, view, j);
        const char* told = NULL;
        for (int grade = TL_GRADE_FAIL; grade >= TL_GRADE_MARGINAL; --grade)
            for (size_t i = 0; i < bench->line_count; ++i)
                if ((int)bench->designs[j].figures[i].grade == grade)
                    add_verdict(text, &bench->lines[i], &bench->designs[j].figures[i], &told);
    }
}

/// The figures that one reason kept from being measured, and the reason.
static void add_trouble(tl_text* text, const tl_bench* bench, const tl_bench_design* design,
                        const char* trouble) {
    tl_text words = {0};
    size_t count = 0;
    for (size_t i = 0; i < bench->line_count; ++i) {
        const char* own = design->figures[i].trouble;
        if (!own || strcmp(own, trouble) != 0)
            continue;
        if (count++ < TITLES)
            tl_text_addf(&words, "%s%s", count > 1 ? ", " : "", bench->lines[i].title);
    }
    if (count > TITLES)
        tl_text_addf(&words, " and %zu more", count - TITLES);
    tl_text_addf(&words, ": %.*s", (int)strcspn(trouble, "\n"), trouble); // no line with a caret
    tl_text_add(text, "  ? ");
    tl_wrap_words(text, tl_text_get(&words), 4, 4);
    tl_text_free(&words);
}

/// Whether an earlier figure of the design has the same reason.
static bool was_told(const tl_bench_design* design, size_t line) {
    for (size_t i = 0; i < line; ++i)
        if (design->figures[i].trouble &&
            strcmp(design->figures[i].trouble, design->figures[line].trouble) == 0)
            return true;
    return false;
}

void tl_bench_add_troubles(tl_text* text, const tl_bench_view* view) {
    const tl_bench* bench = view->bench;
    bool headed = false;
    for (size_t j = 0; j < bench->count; ++j) {
        bool named = bench->count == 1;
        for (size_t i = 0; i < bench->line_count; ++i) {
            const tl_bench_design* design = &bench->designs[j];
            if (!design->figures[i].trouble || was_told(design, i))
                continue;
            if (!headed)
                tl_text_add(text, "\nWhat could not be measured, and why\n");
            if (!named)
                tl_text_addf(text, "\n%s\n", view->names[j]);
            headed = named = true;
            add_trouble(text, bench, design, design->figures[i].trouble);
        }
    }
}

/// The parts of the noise, as shares.
static void add_noise(tl_text* text, const tl_bench_noise* noise, size_t width) {
    tl_text source = {0};
    tl_text_add_safe(&source, noise->source);
    tl_text_add(text, "  ");
    tl_wrap_cell(text, tl_text_get(&source), width, false);
    tl_text_add(text, "  ");
    tl_text words = {0};
    for (size_t i = 0; i < noise->count; ++i) {
        double percent = 100 * noise->parts[i].share;
        tl_text_addf(&words, "%s%s ", i ? ", " : "", noise->parts[i].name);
        if (percent < 0.5)
            tl_text_add(&words, "under 1 %");
        else
            tl_text_addf(&words, "%.0f %%", percent);
    }
    if (!noise->count)
        tl_text_add(&words, "nobody");
    tl_wrap_words(text, tl_text_get(&words), width + 4, width + 4);
    tl_text_free(&words);
    tl_text_free(&source);
}

void tl_bench_add_noises(tl_text* text, const tl_bench_view* view) {
    const tl_bench* bench = view->bench;
    size_t noises = 0;
    for (size_t j = 0; j < bench->count; ++j)
        noises += bench->designs[j].noise_count;
    if (!noises)
        return;
    tl_text_add(text, "\nWho makes the noise at the output, 20 Hz to 20 kHz, by the source\n");
    for (size_t j = 0; j < bench->count; ++j) {
        const tl_bench_design* design = &bench->designs[j];
        size_t width = 0;
        for (size_t i = 0; i < design->noise_count; ++i) {
            size_t columns = tl_text_columns(design->noises[i].source);
            width = columns > width && columns < 30 ? columns : width;
        }
        if (bench->count > 1 && design->noise_count)
            tl_text_addf(text, "\n%s\n", view->names[j]);
        for (size_t i = 0; i < design->noise_count; ++i)
            add_noise(text, &design->noises[i], width);
    }
}

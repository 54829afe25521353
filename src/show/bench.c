// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/bench.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_COLUMNS = 60, VALUE_COLUMNS = 20 };

/// The bytes that the first `columns` columns of a text take.
static size_t bytes_of(const char* words, size_t columns) {
    size_t at = 0;
    for (; words[at]; ++at)
        if (((unsigned char)words[at] & 0xc0) != 0x80 && columns-- == 0)
            break;
    return at;
}

/// Words made safe, and cut when they are long.
static char* short_name(const char* words) {
    tl_text safe = {0};
    tl_text_add_safe(&safe, words && *words ? words : "(no name)");
    if (tl_text_columns(tl_text_get(&safe)) <= NAME_COLUMNS)
        return tl_text_take(&safe);
    char* cut = tl_printf("%.*s..", (int)bytes_of(tl_text_get(&safe), NAME_COLUMNS - 2),
                          tl_text_get(&safe));
    tl_text_free(&safe);
    return cut;
}

/// Whether another design's name is shown in the same way.
static bool is_shared(char* const* names, size_t count, size_t index) {
    for (size_t i = 0; i < count; ++i)
        if (i != index && strcmp(names[i], names[index]) == 0)
            return true;
    return false;
}

tl_bench_view tl_bench_view_of(const tl_bench* bench, bool details) {
    tl_bench_view view = {bench, tl_new(bench->count, sizeof(char*)), details};
    for (size_t i = 0; i < bench->count; ++i)
        view.names[i] = short_name(bench->designs[i].name);
    bool* shared = tl_new(bench->count, sizeof *shared);
    for (size_t i = 0; i < bench->count; ++i)
        shared[i] = is_shared(view.names, bench->count, i);
    for (size_t i = 0; i < bench->count; ++i) {
        if (!shared[i])
            continue;
        char* numbered = tl_printf("(%zu) %s", i + 1, view.names[i]);
        free(view.names[i]);
        view.names[i] = numbered;
    }
    free(shared);
    return view;
}

void tl_bench_view_free(tl_bench_view* view) {
    for (size_t i = 0; i < view->bench->count; ++i)
        free(view->names[i]);
    free(view->names);
    *view = (tl_bench_view){0};
}

bool tl_bench_shows(const tl_bench_view* view, size_t line) {
    return view->details || !view->bench->lines[line].detail;
}

bool tl_bench_opens_group(const tl_bench_view* view, size_t line) {
    for (size_t i = line; i > 0; --i) {
        if (strcmp(view->bench->lines[i - 1].group, view->bench->lines[line].group) != 0)
            return true;
        if (tl_bench_shows(view, i - 1))
            return false;
    }
    return true;
}

/// Where words of a figure that has no value are parted: "oscillates" from "at 10 nF, 10 kohm". All
/// of them when they are short, none when they cannot be parted.
static size_t value_bytes(const char* words) {
    static const char* const partings[] = {" at ", " into ", " with ", ", ", ": ", "; "};
    size_t size = strlen(words);
    if (tl_text_columns(words) <= VALUE_COLUMNS)
        return size;
    size_t first = size;
    for (size_t i = 0; i < sizeof partings / sizeof *partings; ++i) {
        const char* at = strstr(words, partings[i]);
        first = at && (size_t)(at - words) < first ? (size_t)(at - words) : first;
    }
    return first <= bytes_of(words, VALUE_COLUMNS) ? first : 0;
}

/// A plus before what lies above the zero it should be at.
static const char* sign_of(const tl_bench_line* line, const char* shown) {
    bool zero = !strpbrk(shown, "123456789");
    return line->better == TL_BETTER_NEAR_ZERO && *shown != '-' && !zero ? "+" : "";
}

char* tl_bench_value(const tl_bench_line* line, const tl_bench_figure* figure) {
    if (figure->trouble)
        return tl_copy("not measured");
    tl_text text = {0};
    if (!isnan(figure->value)) {
        char* shown = tl_show_value(figure->value, line->unit, "infinite");
        tl_text_addf(&text, "%s%s%s",
                     figure->beyond > 0   ? "over "
                     : figure->beyond < 0 ? "under "
                                          : "",
                     sign_of(line, shown), shown);
        free(shown);
        return tl_text_take(&text);
    }
    char* words = tl_copy(figure->words ? figure->words : "");
    words[value_bytes(words)] = '\0';
    tl_text_add_safe(&text, *words ? words : "-");
    free(words);
    return tl_text_take(&text);
}

char* tl_bench_note(const tl_bench_figure* figure) {
    if (!figure->words || figure->trouble)
        return tl_copy("");
    const char* words = figure->words;
    if (isnan(figure->value)) {
        words += value_bytes(words);
        words += strspn(words, " ,:;");
    }
    return tl_show_safe(words);
}

char tl_bench_mark(const tl_bench_figure* figure) {
    if (figure->trouble)
        return '?';
    if (figure->grade == TL_GRADE_MARGINAL)
        return '~';
    return figure->grade == TL_GRADE_FAIL ? '!' : ' ';
}

char* tl_bench_limit_words(const tl_bench_line* line) {
    return tl_show_safe(line->limit ? line->limit->words : "");
}

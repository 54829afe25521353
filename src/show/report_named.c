// SPDX-License-Identifier: GPL-3.0-or-later
// Who holds the report has the board and its cut list, not the rig's file and the program.
#include "show/report.h"

#include <ctype.h>
#include <string.h>

static bool is_word(char byte) {
    return isalnum((unsigned char)byte) || byte == '_' || byte == '.' || byte == '-';
}

/// Length of a path at the beginning of the text, its part's kind with it ("chain[14].cable"); 0:
/// the text begins with something else, or the path goes on.
static size_t path_size(const tl_report_where* where, const char* text) {
    size_t size = strlen(where->path);
    if (strncmp(text, where->path, size) != 0)
        return 0;
    size_t kind = strlen(where->kind);
    if (text[size] == '.' && strncmp(text + size + 1, where->kind, kind) == 0)
        size += 1 + kind;
    bool ends = text[size] != '[' && (text[size] != '.' || !isalpha((unsigned char)text[size + 1]));
    return ends ? size : 0;
}

/// What commands say of each other, as markup has it, and what stands for it on paper.
static const struct {
    const char* said;
    const char* instead;
} phrases[] = {
    {"see &#39;toneload power&#39;", "see section 4"},
    {"toneload power says what stands in the way", "section 4 says what stands in the way"},
    {" (&#39;toneload power&#39; solves that)", " (section 4, ground loops)"},
    {"&#39;toneload accept&#39; says which cause is the likeliest",
     "what is changed when it reads right is at fault"},
    {"Try other positions in the rig file, and other pedals with --fix.",
     "With other pedals on it is another figure."},
};
enum { PHRASES = sizeof phrases / sizeof *phrases };

/// Adds what stands for the words at the beginning of the text; returns how many bytes those are,
/// 0: they stay as they are.
static size_t add_instead(tl_text* page, const tl_report* report, const char* text, bool begins) {
    for (size_t i = 0; i < PHRASES; ++i) {
        size_t size = strlen(phrases[i].said);
        if (strncmp(text, phrases[i].said, size) != 0)
            continue;
        tl_text_add(page, phrases[i].instead);
        return size;
    }
    for (size_t i = 0; begins && i < report->where_count; ++i) {
        size_t size = path_size(&report->wheres[i], text);
        if (!size)
            continue;
        tl_html_add(page, report->wheres[i].words);
        return size;
    }
    return 0;
}

void tl_report_add_named(tl_text* page, const tl_report* report, const char* markup) {
    const char* done = markup;
    for (const char* at = markup; *at;) {
        tl_text words = {0};
        size_t size = add_instead(&words, report, at, at == markup || !is_word(at[-1]));
        if (size) {
            tl_text_addf(page, "%.*s%s", (int)(at - done), done, tl_text_get(&words));
            done = at + size;
        }
        tl_text_free(&words);
        at += size ? size : 1;
    }
    tl_text_add(page, done);
}

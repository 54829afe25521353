// SPDX-License-Identifier: GPL-3.0-or-later
// What an accepted board may have wrong without being seen, in words.
#include "show/accept.h"
#include "show/wrap.h"

#include <math.h>
#include <string.h>

enum { MOST_NAMED = 6, MOST_LEADS = 40 };

static bool is_seen(const tl_blind* blind) {
    return !isnan(blind->low) || !isnan(blind->high);
}

/// The path of an item, without the field that the kind of the cause tells.
static void add_name(tl_text* words, const tl_blind* blind) {
    static const char* const told[] = {".length", ".engaged", ".bypass"};
    size_t size = strlen(blind->path);
    size_t shown = size;
    for (size_t i = 0; i < sizeof told / sizeof *told; ++i) {
        size_t end = strlen(told[i]);
        if (size > end && strcmp(blind->path + size - end, told[i]) == 0)
            shown = size - end;
    }
    tl_text_addf(words, "%.*s", (int)shown, blind->path);
    if (*blind->about)
        tl_text_addf(words, " (%s)", blind->about);
}

/// Leads that are seen when they are far enough off.
static void add_leads(tl_text* text, const tl_board_check* board) {
    for (size_t i = 0; i < board->blind_count; ++i) {
        const tl_blind* blind = &board->blind[i];
        tl_text words = {0};
        if (blind->kind != TL_CAUSE_LEAD || !is_seen(blind))
            continue;
        tl_text_add(&words, "- the lead ");
        add_name(&words, blind);
        tl_text_addf(&words, ", %s: ", blind->stated_words);
        tl_text_addf(&words, "seen only %s%s%s%s%s", isnan(blind->low) ? "" : "below ",
                     blind->low_words, isnan(blind->low) || isnan(blind->high) ? "" : " or ",
                     isnan(blind->high) ? "" : "above ", blind->high_words);
        tl_text_add(text, "  ");
        tl_wrap_words(text, tl_text_get(&words), 2, 4);
        tl_text_free(&words);
    }
}

/// All of one kind that are not seen in a line, the first few by name; an item once.
static void add_kind(tl_text* text, const tl_board_check* board, tl_cause_kind kind,
                     const char* head) {
    tl_text words = {0};
    const char* last = "";
    size_t count = 0;
    size_t most = kind == TL_CAUSE_LEAD ? MOST_LEADS : MOST_NAMED;
    for (size_t i = 0; i < board->blind_count; ++i) {
        const tl_blind* blind = &board->blind[i];
        if (blind->kind != kind || is_seen(blind) || strcmp(blind->path, last) == 0)
            continue;
        last = blind->path;
        if (count < most) {
            tl_text_addf(&words, "%s", count ? ", " : head);
            add_name(&words, blind);
        }
        ++count;
    }
    if (count > most)
        tl_text_addf(&words, " and %zu more (--json)", count - most);
    if (count) {
        tl_text_add(text, "  ");
        tl_wrap_words(text, tl_text_get(&words), 2, 4);
    }
    tl_text_free(&words);
}

void tl_accept_add_blind(tl_text* text, const tl_board_check* board) {
    static const struct {
        tl_cause_kind kind;
        const char* head;
    } heads[] = {{TL_CAUSE_LEAD, "- leads not seen, whatever their capacitance: "},
                 {TL_CAUSE_NOBUFFER, "- buffers not seen when missing or bridged: "},
                 {TL_CAUSE_ON, "- not seen when on: "},
                 {TL_CAUSE_OFF, "- not seen when off: "},
                 {TL_CAUSE_BYPASS, "- not seen in another bypass: "},
                 {TL_CAUSE_VOLUME, "- volumes not seen, wherever they stand: "},
                 {TL_CAUSE_TONE, "- tones not seen, wherever they stand: "},
                 {TL_CAUSE_JOINT, "- bad joints not seen: "},
                 {TL_CAUSE_LEAK, "- leaks not seen: "},
                 {TL_CAUSE_VALUE, "- values not seen, however wrong: "}};
    if (!board->blind_count)
        return;
    tl_text_add(text, "\nAccepted does not hold for what cannot be seen at these readings:\n");
    add_leads(text, board);
    for (size_t i = 0; i < sizeof heads / sizeof *heads; ++i)
        add_kind(text, board, heads[i].kind, heads[i].head);
}

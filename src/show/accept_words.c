// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/accept.h"

#include <string.h>

const char* const tl_accept_assumed[] = {
    "A good board has every value within its tolerance, drawn as in 'spread' (normal: three "
    "standard deviations, cut off there; or uniform); the meter's uncertainty is three standard "
    "deviations of a reading.",
    "The band holds all readings of 99 % of the good boards, the joint test lets 99 % of them "
    "pass, both found from trials: at most 2 good boards in 100 are rejected.",
    "Causes are tried one value at a time. Before the board is looked at, all of them, and none of "
    "them, are taken to be equally likely, and their values evenly spread in log (positions: "
    "evenly).",
    "Probabilities are by Bayes's rule from tolerances and meter (MacKay, Information Theory, "
    "Inference, and Learning Algorithms, ch. 28; from memory); how wrong a value may be is from "
    "memory, and two things wrong at once are not tried.",
    NULL};

/// What the part is called, and where it is on the cut list.
static void add_about(tl_text* text, const tl_cause* cause) {
    const char* between = *cause->about && *cause->where ? "; " : "";
    if (*cause->about || *cause->where)
        tl_text_addf(text, " (%s%s%s)", cause->about, between, cause->where);
}

/// The path of an item: without the field at its end.
static void add_item(tl_text* text, const tl_cause* cause) {
    const char* end = strrchr(cause->path, '.');
    bool field = cause->kind != TL_CAUSE_JOINT && cause->kind != TL_CAUSE_LEAK &&
                 cause->kind != TL_CAUSE_NOBUFFER && end && !strchr(end, ']');
    tl_text_addf(text, "%.*s", (int)(field ? (size_t)(end - cause->path) : strlen(cause->path)),
                 cause->path);
    add_about(text, cause);
}

static void add_range(tl_text* text, const tl_cause* cause) {
    tl_text_addf(text, "%s (%s)", cause->value_words, cause->range_words);
}

void tl_cause_add(tl_text* text, const tl_cause* cause, bool whole) {
    switch (cause->kind) {
    case TL_CAUSE_LEAD:
        tl_text_add(text, "the lead ");
        add_item(text, cause);
        tl_text_add(text, " has ");
        add_range(text, cause);
        tl_text_addf(text, " instead of %s", cause->stated_words);
        if (whole)
            tl_text_addf(text, ", as %s would", cause->like);
        return;
    case TL_CAUSE_JOINT:
        tl_text_add(text, "a bad joint at ");
        add_item(text, cause);
        tl_text_add(text, ": ");
        add_range(text, cause);
        return;
    case TL_CAUSE_LEAK:
        tl_text_add(text, "a leak to ground at ");
        add_item(text, cause);
        tl_text_add(text, ": ");
        add_range(text, cause);
        return;
    case TL_CAUSE_NOBUFFER:
        tl_text_add(text, "the buffer ");
        add_item(text, cause);
        tl_text_add(text, " is missing or bridged");
        return;
    case TL_CAUSE_BYPASS:
        add_item(text, cause);
        tl_text_addf(text, ", off, is %s instead of %s", cause->value_words, cause->stated_words);
        return;
    case TL_CAUSE_ON:
    case TL_CAUSE_OFF:
        add_item(text, cause);
        tl_text_add(text, cause->kind == TL_CAUSE_ON ? " is on" : " is off");
        return;
    default:
        tl_text_add(text, cause->path);
        add_about(text, cause);
        tl_text_add(text, " is ");
        add_range(text, cause);
        tl_text_addf(text, " instead of %s", cause->stated_words);
    }
}

const char* tl_accept_state_words(tl_state_from from) {
    static const char* const words[] = {"as the rig is written", "as the file says",
                                        "as --state says"};
    return words[from];
}

const char* tl_class_together(const tl_cause_class* class) {
    if (class->count < 2)
        return NULL;
    return class->one_stretch ? "all of them hang on one unbuffered stretch of the line, and no "
                                "measurement at its end tells them apart"
                              : "this measurement cannot tell them apart";
}

const tl_board_check* tl_accept_farthest(const tl_accept* accept) {
    const tl_board_check* farthest = &accept->boards[0];
    for (size_t i = 1; i < accept->count; ++i)
        if (accept->boards[i].statistic / accept->boards[i].limit >
            farthest->statistic / farthest->limit)
            farthest = &accept->boards[i];
    return farthest;
}

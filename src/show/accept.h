// SPDX-License-Identifier: GPL-3.0-or-later
/// @file accept.h Words on finished boards, for text, JSON and plots.
#ifndef TL_SHOW_ACCEPT_H
#define TL_SHOW_ACCEPT_H

#include "base/text.h"
#include "toneload/accept.h"

/// A cause as a sentence without its stop: "the lead chain[0] has 2.12 nF (..) instead of 600 pF";
/// `whole`: also what would have that value.
/// What names were written in it are as the user wrote them: not safe for a terminal.
void tl_cause_add(tl_text* text, const tl_cause* cause, bool whole);
/// Why causes of a class cannot be told apart; NULL for a single one.
const char* tl_class_together(const tl_cause_class* class);
/// Who says which pedals are on.
const char* tl_accept_state_words(tl_state_from from);
/// What is taken and how it is weighed, a sentence each; NULL at the end.
extern const char* const tl_accept_assumed[];
/// Adds what an accepted board may have wrong without being seen.
void tl_accept_add_blind(tl_text* text, const tl_board_check* board);
/// The board that is farthest off.
const tl_board_check* tl_accept_farthest(const tl_accept* accept);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file dress_words.h What a run says of itself, in words; each to be freed with free().
#ifndef TL_STUDY_DRESS_WORDS_H
#define TL_STUDY_DRESS_WORDS_H

#include "rig/rig.h"

/// What moves in the other lead: "230 V, 50 Hz, 500 mA"; beside audio the other lead.
char* tl_dress_source_words(const tl_run* run);

/// What is taken where the run does not say, and what its figures were read as; may be empty.
char* tl_dress_taken_words(const tl_run* run, const tl_part* cable);

#endif

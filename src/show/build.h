// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build.h What the pages of a board to build have in common.
#ifndef TL_SHOW_BUILD_H
#define TL_SHOW_BUILD_H

#include "base/text.h"
#include "toneload/build.h"
#include "toneload/show.h"

/// The cautions of a build.
enum {
    TL_BUILD_CAUTIONS =
        TL_CAUTION_UNPLUG | TL_CAUTION_MAINS | TL_CAUTION_SOLDER | TL_CAUTION_BATTERY
};

/// What all leads come to together, by kind.
typedef struct {
    size_t patches; ///< audio leads between two places on the board
    double patch_m;
    double patch_cut_m;
    double patch_farad;
    size_t dc;
    double dc_cut_m;
    size_t others; ///< audio leads that leave the board
    double others_cut_m;
} tl_build_totals;
tl_build_totals tl_build_sum(const tl_build* build);

size_t tl_build_count(const tl_build* build, tl_build_gravity gravity);

/// Whether it fits, in a sentence or two; free with free().
char* tl_build_headline(const tl_build* build);
/// The cut list of DC or audio leads; NULL when there is none. Free with tl_table_free().
tl_table* tl_build_leads_table(const tl_build* build, bool dc);
/// Adds the findings down to a gravity ("What to know"); nothing when there is none.
void tl_build_add_findings(tl_text* text, const tl_build* build, tl_build_gravity least);
/// Adds what all leads come to, and how lengths are to be read.
void tl_build_add_totals(tl_text* text, const tl_build* build);
void tl_build_add_terms(tl_text* text);

#endif

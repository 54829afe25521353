// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build.h What the pages of a board to build have in common.
#ifndef TL_SHOW_BUILD_H
#define TL_SHOW_BUILD_H

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

#endif

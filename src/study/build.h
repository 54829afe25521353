// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build.h What the steps of a build have in common.
#ifndef TL_STUDY_BUILD_H
#define TL_STUDY_BUILD_H

#include "rig/layout.h"
#include "study/session.h"
#include "toneload/build.h"
#include "toneload/power.h"

/// What one build carries along.
typedef struct {
    tl_rig* rig;
    const tl_pedalboard* board;
    tl_layout layout;
    size_t* boxes;       ///< by place: its box; TL_BUILD_NONE
    size_t first_dc;     ///< among the leads
    size_t* consumers;   ///< by DC lead: who it feeds
    size_t* outputs;     ///< by DC lead: of which output of all
    tl_power_plan* plan; ///< who is plugged in where; NULL: no `power`
    tl_build* build;
} tl_build_work;

/// Adds the DC leads to the layout, by the assignment of the rig's `power`.
tl_status tl_build_add_dc(tl_build_work* w, tl_error* error);
/// Which consumer of `power` a DC lead of the layout feeds, by its index among all leads.
size_t tl_build_consumer(const tl_build_work* w, size_t lead);
/// Whether it hangs on the plug that an earlier lead has in the same output.
bool tl_build_is_joined(const tl_build_work* w, size_t lead);
/// Adds what is wrong with the power, and what hangs on one output together.
void tl_build_look_at_power(tl_build_work* w);
/// The length its lead has in `power`; NAN: nothing is said of it.
double tl_build_stated_dc(const tl_build_work* w, size_t lead);

/// Adds a finding; the words are formatted. Free places are TL_BUILD_NONE.
void tl_build_find(tl_build* build, tl_build_finding about, const char* format, ...)
    TL_PRINTF(3, 4);
/// Looks at all leads and plugs for what does not fit.
void tl_build_look(tl_build_work* w);
/// Adds what was taken where the rig does not say.
void tl_build_assume(tl_build_work* w);
/// Adds one such sentence, and takes it over.
void tl_build_take(tl_build* build, char* words);

/// Fills in the bill of materials, with the prices of a file or (NULL) without.
tl_status tl_build_bill(tl_build_work* w, const char* prices, tl_error* error);

#endif

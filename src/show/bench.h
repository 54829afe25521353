// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bench.h Pieces of what the bench found, as text shows them.
#ifndef TL_SHOW_BENCH_H
#define TL_SHOW_BENCH_H

#include "base/text.h"
#include "show/wrap.h"
#include "toneload/show.h"

#include <stdbool.h>
#include <stddef.h>

/// A bench, and how it is to be shown.
typedef struct {
    const tl_bench* bench;
    char** names; ///< of the designs: safe, short, no two the same
    bool details; ///< lines too that others sum up
} tl_bench_view;

tl_bench_view tl_bench_view_of(const tl_bench* bench, bool details);
void tl_bench_view_free(tl_bench_view* view);

/// Whether a line is among those shown.
bool tl_bench_shows(const tl_bench_view* view, size_t line);
/// Whether a line opens its group, of those shown.
bool tl_bench_opens_group(const tl_bench_view* view, size_t line);

/// What stands in the column of values: "over 4.50 V", "rings", "not measured"; free with free().
char* tl_bench_value(const tl_bench_line* line, const tl_bench_figure* figure);
/// What goes with it and stands elsewhere: "at 10 nF, 10 kohm"; "" for nothing. Free with free().
char* tl_bench_note(const tl_bench_figure* figure);

/// '!' for fail, '~' for marginal, '?' for a figure that could not be measured, else a blank.
char tl_bench_mark(const tl_bench_figure* figure);

/// A line's limit as it was written, made safe, "" when there is none; free with free().
char* tl_bench_limit_words(const tl_bench_line* line);

/// One design: its lines in groups, with limits and verdicts, and why they matter.
void tl_bench_add_card(tl_text* text, const tl_bench_view* view);
/// Designs side by side; `worst` takes the worst of all corners.
void tl_bench_add_table(tl_text* text, const tl_bench_view* view, bool worst);

/// What fails or is marginal in each design, and why it matters.
void tl_bench_add_verdicts(tl_text* text, const tl_bench_view* view);
/// What could not be measured, and why.
void tl_bench_add_troubles(tl_text* text, const tl_bench_view* view);
/// Who makes the noise of each design.
void tl_bench_add_noises(tl_text* text, const tl_bench_view* view);
/// How the figures came about: temperature, loads, what "flat" means.
void tl_bench_add_conditions(tl_text* text, const tl_bench_view* view);
/// The worst of all corners: nothing when none were asked for.
void tl_bench_add_corners(tl_text* text, const tl_bench_view* view);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spread.h Pieces of what many trials came to, as text and plots show them.
#ifndef TL_SHOW_SPREAD_H
#define TL_SHOW_SPREAD_H

#include "base/text.h"
#include "toneload/show.h"

#include <stdbool.h>
#include <stddef.h>

/// Places in tl_percentiles.
enum { TL_P01, TL_P05, TL_P25, TL_P50, TL_P75, TL_P95, TL_P99 };

enum { TL_SPREAD_CHIEF = 4 }; ///< figures that a builder looks at first
extern const size_t tl_spread_chief[TL_SPREAD_CHIEF];

const tl_spread_figure* tl_spread_of(const tl_spread* spread, size_t amp, size_t kind);
/// Trials that have an answer.
size_t tl_spread_answered(const tl_spread* spread);
/// Shares of them without a figure, and with a verdict; 0 when no trial has an answer.
double tl_spread_none(const tl_spread* spread, const tl_spread_figure* figure);
double tl_spread_heard(const tl_spread* spread, size_t amp, tl_verdict verdict);
/// A share of variance that chance alone hardly reaches.
double tl_spread_chance(const tl_spread* spread);
/// Values with a smaller share of variance than this are summed up: 1 %, or what chance makes, but
/// never more than 5 %.
double tl_spread_least(const tl_spread* spread);

/// An amp's name, made safe and short, "amp 2" when it has none; free with free().
char* tl_spread_amp(const tl_spread* spread, size_t amp);
/// The end of a path that is longer than `columns`, made safe; free with free().
char* tl_spread_tail(const char* path, size_t columns);
/// The same of words' beginning.
char* tl_spread_front(const char* words, size_t columns);
/// "chain[0].capacitance (standard-coax)", not made safe; free with free().
char* tl_spread_value_name(const tl_spread_value* value);

/// How the numbers of one figure are shown beside each other.
typedef struct {
    double size;      ///< of what is shown as 1
    const char* unit; ///< "kHz", "dB" or ""
    int decimals;
    bool sign; ///< a plus before what is above 0
} tl_spread_scale;
/// For numbers up to `largest`.
tl_spread_scale tl_spread_scale_of(size_t kind, double largest);
/// A number without its unit, "-" for none; free with free().
char* tl_spread_number(const tl_spread_scale* scale, double number);
/// What a figure is called in tables and pictures: "presence". What it is exactly is in a note.
const char* tl_spread_word(size_t kind);
/// "peak (kHz)"; free with free().
char* tl_spread_title(const tl_spread_scale* scale, size_t kind);
/// A change with sign and unit, "-" for none; free with free().
char* tl_spread_change(size_t kind, double change);
/// "61 %", "3.2 %", "<0.1 %", ">99 %", "-" for none; free with free().
char* tl_spread_share(double share);

/// "the ", which stands before a figure's title in a sentence, but not before Q.
const char* tl_spread_the(size_t kind);

/// Values by how much of a figure's variance goes with them, most first; free with free().
size_t* tl_spread_rank(const tl_spread* spread, const tl_spread_figure* figure);
/// A value's share of a figure's variance, 0 when there is none.
double tl_spread_variance(const tl_spread_figure* figure, size_t value);
/// Whether the trials differ in a figure.
bool tl_spread_varies(const tl_spread_figure* figure);

/// The figures at each amp with their percentiles.
void tl_spread_add_figures(tl_text* text, const tl_spread* spread, bool details);
/// What the ear makes of the trials.
void tl_spread_add_heard(tl_text* text, const tl_spread* spread);
/// The values that move the figures, ranked, and which is worth measuring.
void tl_spread_add_ranking(tl_text* text, const tl_spread* spread, bool details);
/// What choices of parts buy.
void tl_spread_add_choices(tl_text* text, const tl_spread* spread, bool details);
/// Where the tolerances come from.
void tl_spread_add_tolerances(tl_text* text, const tl_spread* spread);
/// What is assumed.
void tl_spread_add_notes(tl_text* text, const tl_spread* spread);

#endif

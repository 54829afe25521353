// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bench_limits.h What a buffer design is held to, read from a limits file.
#ifndef TL_STUDY_BENCH_LIMITS_H
#define TL_STUDY_BENCH_LIMITS_H

#include "toneload/card.h"
#include "toneload/error.h"

#include <stddef.h>

typedef struct tl_limits tl_limits;

/// Reads a limits file:
///
///     limits:
///       - figure: output_impedance_1khz_ohm   # one of the `count` ids
///         pass: below 1 kohm                  # below X, above X, X to Y, within X (-X to X),
///         marginal: below 5 kohm              # or words: stable, "stable or rings"
///         why: A high output impedance loses treble into a long lead.
///         source: common practice
///
/// Values carry the unit that the id ends in. Without `marginal` what does not pass fails; `why`
/// and `source` may be left out. TL_BAD_INPUT, with place and caret where there is one, when
/// the file or anything in it cannot be used. `ids` is not kept.
tl_status tl_limits_read(const char* path, const char* const* ids, size_t count, tl_limits** limits,
                         tl_error* error);
void tl_limits_free(tl_limits* limits);

/// The limit of a figure, or NULL. Stays where it is, also after tl_limits_take().
const tl_bench_limit* tl_limits_find(const tl_limits* limits, const char* figure);

/// Hands the limits over to a bench: each to be freed with tl_bench_limit_clear(), the array with
/// free().
tl_bench_limit* tl_limits_take(tl_limits* limits, size_t* count);
void tl_bench_limit_clear(tl_bench_limit* limit);

/// What a figure gets. None without a limit, and when it has neither a value nor, for a limit in
/// words, words. A figure that is only known to lie beyond its value passes when the value does;
/// when it may yet lie within, it is marginal: it was shown neither to pass nor to fail. Words are
/// held by how they begin ("stable" passes "stable with all loads").
tl_grade tl_limit_grade(const tl_bench_limit* limit, const tl_bench_figure* figure);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file bench.h Buffer designs on the bench: measures them (what comes out is in card.h).
#ifndef TONELOAD_BENCH_H
#define TONELOAD_BENCH_H

#include "toneload/card.h"
#include "toneload/design.h"
#include "toneload/error.h"
#include "toneload/rig.h"
#include "toneload/study.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    tl_rig* rig;        ///< the setting it will live in, or NULL
    const char* limits; ///< a limits file; NULL: the one that comes with toneload
    bool corners;
} tl_bench_options;

/// Measures designs. What cannot be measured is in the figures' `trouble`; TL_BAD_INPUT when the
/// limits cannot be used, TL_FAILURE when there is no solver.
TL_API tl_status tl_study_bench(tl_session* session, tl_design* const* designs, size_t count,
                                const tl_bench_options* options, tl_bench** bench, tl_error* error);
TL_API void tl_bench_free(tl_bench* bench);

#endif

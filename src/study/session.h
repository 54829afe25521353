// SPDX-License-Identifier: GPL-3.0-or-later
/// @file session.h What studies share: the workers, and many circuits solved at once.
#ifndef TL_STUDY_SESSION_H
#define TL_STUDY_SESSION_H

#include "circuit/circuit.h"
#include "solve/pool.h"
#include "toneload/study.h"

struct tl_session {
    tl_session_options options;
    tl_library* library;
    tl_pool* pool; ///< NULL when nothing is to be solved
};

/// Circuits to solve together.
typedef struct {
    tl_circuit* const* circuits;
    size_t count;
    double reference_hz;
    /// Puts words in front of an error about circuit `index`. May be NULL.
    void (*blame)(void* context, size_t index, tl_error* error);
    void* context;
} tl_batch;

/// Solves all circuits and fits all their responses; answers[i] belongs to circuits[i] and is the
/// same whatever the number of workers. On failure no answer is left.
tl_status tl_batch_solve(tl_session* session, const tl_batch* batch, tl_answer** answers,
                         tl_error* error);

#endif

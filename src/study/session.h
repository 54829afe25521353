// SPDX-License-Identifier: GPL-3.0-or-later
/// @file session.h What studies share: the workers, and many circuits solved at once.
#ifndef TL_STUDY_SESSION_H
#define TL_STUDY_SESSION_H

#include "circuit/circuit.h"
#include "solve/pool.h"
#include "study/noise_kept.h"
#include "toneload/study.h"

struct tl_session {
    tl_session_options options;
    tl_library* library;
    tl_pool* pool;       ///< NULL when nothing is to be solved
    tl_design** designs; ///< that rigs named as circuits, each file once
    size_t design_count;
    tl_noise_kept* noises; ///< what was heard of rigs as written: several studies ask for it
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
/// The same, but a circuit whose response the frequencies do not determine has no answer (NULL)
/// and stops nothing.
tl_status tl_batch_solve_leniently(tl_session* session, const tl_batch* batch, tl_answer** answers,
                                   tl_error* error);

/// Circuits that come one after the other, too many or too different to be held together. `build`
/// is called from any thread and never beside `deliver`, which the caller's own thread calls.
typedef struct {
    size_t count;
    double reference_hz;
    /// The circuit of job `index`, made when its turn comes; the stream frees it.
    tl_circuit* (*build)(void* context, size_t index);
    /// Takes an answer over, in ascending order.
    void (*deliver)(void* context, size_t index, tl_answer* answer);
    /// Puts words in front of an error about circuit `index`. May be NULL.
    void (*blame)(void* context, size_t index, tl_error* error);
    void* context;
} tl_stream;

/// Solves circuits as they come; each is a deck of its own, and only a window of them is held.
tl_status tl_stream_solve(tl_session* session, const tl_stream* stream, tl_error* error);

/// The first request for a deck: 21 frequencies from 10 Hz to 100 kHz.
tl_request tl_answer_request(const tl_deck* deck, const double* values);
/// Asks for twice as many frequencies of the same band; false when that would be past 350.
bool tl_answer_denser(tl_request* request);
/// An answer with nothing solved yet.
tl_answer* tl_answer_new(const tl_circuit* circuit);
/// Takes a reply in; asks for a denser one (`*request`, `*again`) while the fit does not hold.
tl_status tl_answer_take(tl_answer* answer, const tl_reply* reply, double reference_hz,
                         tl_request* request, bool* again, tl_error* error);

#endif

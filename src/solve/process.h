// SPDX-License-Identifier: GPL-3.0-or-later
/// @file process.h One worker process: its start, its end, and a request to it.
///
/// Each belongs to one thread at a time; only `pid` may be looked at by others.
#ifndef TL_SOLVE_PROCESS_H
#define TL_SOLVE_PROCESS_H

#include "solve/pool.h"
#include "solve/wire.h"
#include "toneload/error.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

/// A worker process. All zero: none.
typedef struct {
    _Atomic pid_t pid; ///< 0: none
    int socket;
    int words;             ///< the memory file that everything it prints goes to
    bool greeted;          ///< it said that it is ready
    bool retired;          ///< it was told to end
    unsigned long deck_id; ///< the deck it holds; 0: none
    size_t served;         ///< sets of values that it was given
} tl_process;

/// What came of a request.
typedef enum {
    TL_OUTCOME_SOLVED,   ///< a frame with a curve
    TL_OUTCOME_REFUSED,  ///< a frame with words: ngspice could not solve it
    TL_OUTCOME_LAST,     ///< the same, and the process ends
    TL_OUTCOME_ENDED,    ///< the process is gone
    TL_OUTCOME_LATE,     ///< no answer in time
    TL_OUTCOME_NO_START, ///< it could not start
    TL_OUTCOME_NONSENSE, ///< what it says is no answer to this
} tl_outcome;

/// Starts a process where there is none and does not wait for it.
tl_status tl_process_start(const char* program, tl_process* process, tl_error* error);
/// Ends a process, which has nothing to tidy up.
void tl_process_end(tl_process* process);
/// The same, and says how it ended (`why`, if that is known better), with its last words below;
/// free with free().
char* tl_process_bury(tl_process* process, const char* why);
/// Has a process end while the caller goes on: it is gone from now on, and still to be ended. (One
/// that held libngspice takes half a millisecond to go.)
void tl_process_retire(tl_process* process);
/// Whether a process that has no request has ended, or is about to.
bool tl_process_is_gone(const tl_process* process);

/// Asks a process and waits for what comes of it. Free the frame, to which the curve points, with
/// tl_wire_frame_free().
tl_outcome tl_process_ask(tl_process* process, const tl_request* request, double limit_s,
                          tl_wire_frame* frame, tl_wire_curve* curve);

#endif

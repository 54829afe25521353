// SPDX-License-Identifier: GPL-3.0-or-later
/// @file guard.h What the kernel still does for the worker, so that no deck can make it do more.
///
/// A list of what a solver needs, and nothing else: a call that is not on it ends the process.
/// It cannot be lifted again, and holds for every thread and whatever the process would run.
#ifndef TL_SOLVE_GUARD_H
#define TL_SOLVE_GUARD_H

#include <stdbool.h>

/// Stands in the filter for the number of the process, which is known only when it is loaded.
#define TL_GUARD_OWN_PID 0x7e57a9e5u

/// From before libngspice starts: memory, clocks and open descriptors. No programs, processes,
/// threads and sockets, and nothing made, changed or removed: to try ends the process. Opening a
/// file for reading, and asking whether there is one, is refused.
bool tl_guard_enter(void);

#endif

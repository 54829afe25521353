// SPDX-License-Identifier: GPL-3.0-or-later
/// @file guard.h What the kernel still does for the worker, so that no deck can make it do more.
///
/// A list of what a solver needs, and nothing else: a call that is not on it ends the process.
/// It cannot be lifted again, and holds for every thread and whatever the process would run.
#ifndef TL_SOLVE_GUARD_H
#define TL_SOLVE_GUARD_H

#include <stdbool.h>

/// Stands in the filters for the number of the process, which is known only when they are loaded.
#define TL_GUARD_OWN_PID 0x7e57a9e5u

/// While libngspice starts: memory, clocks, open descriptors, files opened for reading, and
/// removing files. No programs, processes, threads, sockets, and no file opened for writing.
bool tl_guard_enter(void);

/// While it solves: files can no longer be removed, and opening one for reading is refused.
bool tl_guard_tighten(void);

#endif

// SPDX-License-Identifier: GPL-3.0-or-later
/// @file program.h Another program at work: without a shell, in a private folder, with next to
/// nothing of our environment, and for a limited time.
#ifndef TL_SHOW_PROGRAM_H
#define TL_SHOW_PROGRAM_H

#include "base/text.h"

typedef enum {
    TL_PROGRAM_DONE,
    TL_PROGRAM_MISSING,
    TL_PROGRAM_NO_START, ///< for another reason
    TL_PROGRAM_LATE,     ///< it took longer than allowed, and was ended
    TL_PROGRAM_FAILED,   ///< it said so by its exit status
} tl_program_end;

/// Makes a private folder, in $TMPDIR when that works, else in /tmp; NULL sets errno.
char* tl_program_folder(void);
/// Removes the folder and all that is in it.
void tl_program_remove_folder(const char* folder);

/// Runs a program (found in PATH, or by a whole path) in `folder` with `input` to read. What it
/// says is added to `said`; `*trouble` is an error number when it cannot be started. `arguments`
/// end in NULL; the first is the program.
tl_program_end tl_program_run(char* const* arguments, const char* folder, const char* input,
                              int limit_ms, tl_text* said, int* trouble);
/// What a program said as one line for an error; free with free().
char* tl_program_complaint(const tl_text* said);

#endif

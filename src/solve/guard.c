// SPDX-License-Identifier: GPL-3.0-or-later
// Loads the filter that guard_make.c worked out when toneload was built.
#include "solve/guard.h"

#include <linux/filter.h>
#include <linux/seccomp.h>
#include <stddef.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <unistd.h>

#include "solve/guard_filter.h"

enum { STEPS = sizeof guard_filter / sizeof *guard_filter };

/// Puts the filter on every thread, with the process's own number where it is named.
bool tl_guard_enter(void) {
    struct sock_filter own[STEPS];
    memcpy(own, guard_filter, sizeof own);
    for (size_t i = 0; i < STEPS; ++i)
        if (own[i].k == TL_GUARD_OWN_PID)
            own[i].k = (unsigned)getpid();
    struct sock_fprog program = {STEPS, own};
    return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
           syscall(SYS_seccomp, SECCOMP_SET_MODE_FILTER, SECCOMP_FILTER_FLAG_TSYNC, &program) == 0;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Loads the filters that guard_make.c worked out when toneload was built.
#include "solve/guard.h"

#include <linux/filter.h>
#include <linux/seccomp.h>
#include <stddef.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <unistd.h>

#include "solve/guard_filter.h"

/// Puts a filter on every thread of the process, with its own number where the filter names it.
static bool load(const struct sock_filter* steps, size_t count) {
    struct sock_filter own[256];
    if (count > sizeof own / sizeof *own)
        return false;
    memcpy(own, steps, count * sizeof *steps);
    for (size_t i = 0; i < count; ++i)
        if (own[i].k == TL_GUARD_OWN_PID)
            own[i].k = (unsigned)getpid();
    struct sock_fprog program = {(unsigned short)count, own};
    return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
           syscall(SYS_seccomp, SECCOMP_SET_MODE_FILTER, SECCOMP_FILTER_FLAG_TSYNC, &program) == 0;
}

bool tl_guard_enter(void) {
    return load(first_filter, sizeof first_filter / sizeof *first_filter);
}

bool tl_guard_tighten(void) {
    return load(second_filter, sizeof second_filter / sizeof *second_filter);
}

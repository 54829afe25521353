// SPDX-License-Identifier: GPL-3.0-or-later
// Writes the worker's filter as a C header, once, while toneload is built: to have libseccomp work
// them out takes a tenth of a worker's start. Usage: toneload-guard-make > guard_filter.h
#include "solve/guard.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/filter.h>
#include <seccomp.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <unistd.h>

/// What computing and answering on open descriptors takes. Calls that this machine's architecture
/// does not have are left out by libseccomp.
static const int always[] = {
    // memory
    SCMP_SYS(brk),
    SCMP_SYS(madvise),
    SCMP_SYS(mmap),
    SCMP_SYS(mprotect),
    SCMP_SYS(mremap),
    SCMP_SYS(munmap),
    // clocks and the load, which ngspice notes for each run
    SCMP_SYS(clock_gettime),
    SCMP_SYS(getrusage),
    SCMP_SYS(gettimeofday),
    SCMP_SYS(sysinfo),
    SCMP_SYS(time),
    SCMP_SYS(times),
    // signals to itself, locks, and its own name
    SCMP_SYS(futex),
    SCMP_SYS(getpid),
    SCMP_SYS(getrandom),
    SCMP_SYS(gettid),
    SCMP_SYS(getuid),
    SCMP_SYS(restart_syscall),
    SCMP_SYS(rt_sigaction),
    SCMP_SYS(rt_sigprocmask),
    SCMP_SYS(rt_sigreturn),
    SCMP_SYS(sched_yield),
    SCMP_SYS(setitimer),
    SCMP_SYS(sigaltstack),
    // descriptors that are open already
    SCMP_SYS(close),
    SCMP_SYS(fstat),
    SCMP_SYS(ftruncate),
    SCMP_SYS(lseek),
    SCMP_SYS(poll),
    SCMP_SYS(ppoll),
    SCMP_SYS(pread64),
    SCMP_SYS(read),
    SCMP_SYS(readv),
    SCMP_SYS(recvfrom),
    SCMP_SYS(recvmsg),
    SCMP_SYS(sendmsg),
    SCMP_SYS(sendto),
    SCMP_SYS(write),
    SCMP_SYS(writev),
    // looking at names
    SCMP_SYS(getcwd),
    SCMP_SYS(lstat),
    SCMP_SYS(newfstatat),
    SCMP_SYS(readlink),
    SCMP_SYS(readlinkat),
    SCMP_SYS(stat),
    SCMP_SYS(statx),
    // the end
    SCMP_SYS(exit),
    SCMP_SYS(exit_group),
};

/// Asking whether a file is there, as ngspice does before it opens one.
static const int asking[] = {
    SCMP_SYS(access),
    SCMP_SYS(faccessat),
    SCMP_SYS(faccessat2),
};

static bool add_all(scmp_filter_ctx filter, uint32_t action, const int* calls, size_t count) {
    for (size_t i = 0; i < count; ++i)
        if (seccomp_rule_add(filter, action, calls[i], 0) != 0)
            return false;
    return true;
}

/// Opening a file to read it is refused; a flag that could write or create one kills. openat2()
/// is on no list, since a filter cannot see its flags.
static bool refuse_opening(scmp_filter_ctx filter) {
    const uint32_t refused = SCMP_ACT_ERRNO(EACCES);
    const scmp_datum_t writes =
        O_ACCMODE | O_CREAT | O_TRUNC | O_APPEND | (O_TMPFILE & ~O_DIRECTORY);
    return seccomp_rule_add(filter, refused, SCMP_SYS(open), 1,
                            SCMP_A1(SCMP_CMP_MASKED_EQ, writes, O_RDONLY)) == 0 &&
           seccomp_rule_add(filter, refused, SCMP_SYS(openat), 1,
                            SCMP_A2(SCMP_CMP_MASKED_EQ, writes, O_RDONLY)) == 0 &&
           add_all(filter, refused, asking, sizeof asking / sizeof *asking);
}

/// Allows a call when the lower 32 bits of one of its arguments, all that the kernel looks at in
/// these, are as given.
static bool allow_where(scmp_filter_ctx filter, int call, unsigned argument, uint32_t value) {
    struct scmp_arg_cmp only = {argument, SCMP_CMP_MASKED_EQ, 0xffffffff, value};
    return seccomp_rule_add_array(filter, SCMP_ACT_ALLOW, call, 1, &only) == 0;
}

/// Calls that are harmless in one form only: asking whether a descriptor is a terminal, reading
/// its flags, and a signal to itself, which is how abort() ends.
static bool add_narrow(scmp_filter_ctx filter) {
    return allow_where(filter, SCMP_SYS(ioctl), 1, TCGETS) &&
           allow_where(filter, SCMP_SYS(fcntl), 1, F_GETFL) &&
           allow_where(filter, SCMP_SYS(fcntl), 1, F_GETFD) &&
           allow_where(filter, SCMP_SYS(tgkill), 0, TL_GUARD_OWN_PID);
}

/// Calls of another architecture's table (32-bit and x32 calls on a 64-bit machine) would pass
/// under other numbers: they end the process. The filter is a binary tree: the kernel tries it with
/// each call's number when it is loaded, which takes 0.03 ms, and 0.09 ms of a list.
static bool add_rules(scmp_filter_ctx filter) {
    return seccomp_attr_set(filter, SCMP_FLTATR_ACT_BADARCH, SCMP_ACT_KILL_PROCESS) == 0 &&
           seccomp_attr_set(filter, SCMP_FLTATR_CTL_OPTIMIZE, 2) == 0 &&
           add_all(filter, SCMP_ACT_ALLOW, always, sizeof always / sizeof *always) &&
           add_narrow(filter) && refuse_opening(filter);
}

/// Writes the filter as an array of instructions, with a macro for the one number that only the
/// process itself knows.
static bool write_filter(void) {
    scmp_filter_ctx filter = seccomp_init(SCMP_ACT_KILL_PROCESS);
    FILE* program = tmpfile();
    bool made = filter && program && add_rules(filter) &&
                seccomp_export_bpf(filter, fileno(program)) == 0 &&
                fseek(program, 0, SEEK_SET) == 0;
    struct sock_filter step;
    size_t count = 0;
    printf("static const struct sock_filter guard_filter[] = {\n");
    while (made && fread(&step, sizeof step, 1, program) == 1) {
        printf("    {0x%04x, %u, %u, 0x%08x},\n", step.code, step.jt, step.jf, step.k);
        ++count;
    }
    printf("};\n");
    seccomp_release(filter);
    if (program)
        fclose(program);
    return made && count > 0;
}

int main(void) {
    printf("// Made by toneload-guard-make from guard_make.c.\n");
    bool made = write_filter();
    if (!made || fflush(stdout) != 0)
        fprintf(stderr, "toneload-guard-make: libseccomp could not make the filter\n");
    return made ? 0 : 1;
}

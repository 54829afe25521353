// SPDX-License-Identifier: GPL-3.0-or-later
// Tries one thing, with 1 under the worker's guard, with 0 free: `guard_probe GUARDED DEED`. Ends
// with 0 when the deed was done, 1 when it was refused; the guard ends it by a signal.
// check_guard.py builds and runs it.
#include "solve/guard.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/openat2.h>
#include <sched.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/mount.h>
#include <sys/ptrace.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

static char* const no_words[] = {(char*)"true", NULL};

static long try_spawn(void) {
    pid_t pid;
    return posix_spawn(&pid, "/bin/true", NULL, NULL, no_words, NULL) ? -1 : 0;
}

static long try_clone(void) {
    return syscall(SYS_clone, CLONE_VFORK | CLONE_VM | SIGCHLD, NULL, NULL, NULL, NULL);
}

static long try_execve(void) {
    return execve("/bin/true", no_words, NULL);
}

static long try_execveat(void) {
    return syscall(SYS_execveat, AT_FDCWD, "/bin/true", no_words, NULL, 0);
}

static long try_fork(void) {
    return syscall(SYS_fork);
}

static long try_vfork(void) {
    return syscall(SYS_vfork);
}

static long try_clone3(void) {
    return syscall(SYS_clone3, NULL, 0);
}

static long try_system(void) {
    return system("true");
}

static long try_popen(void) {
    return popen("true", "r") ? 0 : -1;
}

static long try_socket(void) {
    return socket(AF_INET, SOCK_STREAM, 0);
}

static long try_socketpair(void) {
    int ends[2];
    return socketpair(AF_UNIX, SOCK_STREAM, 0, ends);
}

static long try_ptrace(void) {
    return ptrace(PTRACE_TRACEME, 0, NULL, NULL);
}

static long try_write(void) {
    return open("/dev/null", O_WRONLY);
}

static long try_read_write(void) {
    return open("/dev/null", O_RDWR);
}

static long try_create(void) {
    return open("guard-probe-made-this", O_RDONLY | O_CREAT, 0600);
}

static long try_truncate_on_open(void) {
    return open("guard-probe-made-this", O_RDONLY | O_TRUNC);
}

static long try_tmpfile(void) {
    return open(".", O_TMPFILE | O_WRONLY, 0600);
}

static long try_creat(void) {
    return syscall(SYS_creat, "guard-probe-made-this", 0600);
}

static long try_old_open(void) {
    return syscall(SYS_open, "/dev/null", O_WRONLY);
}

static long try_openat2(void) {
    struct open_how how = {.flags = O_RDONLY};
    return syscall(SYS_openat2, AT_FDCWD, "/dev/null", &how, sizeof how);
}

static long try_io_uring(void) {
    return syscall(SYS_io_uring_setup, 1, NULL);
}

static long try_rename(void) {
    return rename("a", "b");
}

static long try_mkdir(void) {
    return mkdir("guard-probe-made-this", 0700);
}

static long try_link(void) {
    return link("/dev/null", "guard-probe-made-this");
}

static long try_symlink(void) {
    return symlink("/dev/null", "guard-probe-made-this");
}

static long try_chmod(void) {
    return chmod("/dev/null", 0666);
}

static long try_truncate(void) {
    return truncate("guard-probe-made-this", 0);
}

static long try_mount(void) {
    return mount("a", "b", "c", 0, NULL);
}

static long try_kill(void) {
    return kill(getppid(), 0);
}

static long try_tgkill_other(void) {
    return syscall(SYS_tgkill, getppid(), getppid(), 0);
}

static long try_peek(void) {
    char byte;
    struct iovec mine = {&byte, 1};
    return process_vm_readv(getppid(), &mine, 1, &mine, 1, 0);
}

static long try_bpf(void) {
    return syscall(SYS_bpf, 0, NULL, 0);
}

static long try_chdir(void) {
    return chdir("/");
}

static long try_ioctl(void) {
    return syscall(SYS_ioctl, 0, 0x5412 /* TIOCSTI: types into a terminal */, "x");
}

static long try_unlink(void) {
    return unlink("guard-probe-none") == 0 || errno == ENOENT ? 0 : -1;
}

static long try_rmdir(void) {
    return rmdir("guard-probe-none") == 0 || errno == ENOENT ? 0 : -1;
}

static long try_read(void) {
    return open("/etc/passwd", O_RDONLY);
}

static long try_access(void) {
    return access("/etc/passwd", F_OK);
}

static long try_stat(void) {
    struct stat about;
    return stat("/", &about);
}

static long try_memory(void) {
    char* block = malloc(10 << 20);
    memset(block, 1, 10 << 20);
    free(block);
    return mmap(NULL, 4096, PROT_READ, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0) == MAP_FAILED ? -1 : 0;
}

static long try_abort(void) {
    abort();
}

static long try_loosen(void) {
    return tl_guard_enter() ? 0 : -1;
}

#ifdef __x86_64__
// The 32-bit table's number 5 is open(), under which a 64-bit filter would see fstat().
static long try_32_bit(void) {
    long result;
    __asm__ volatile("int $0x80" : "=a"(result) : "a"(5L), "b"(0L), "c"(0L), "d"(0L) : "memory");
    return result;
}

static long try_x32(void) {
    return syscall(0x40000000L | SYS_getpid);
}
#endif

typedef struct {
    const char* name;
    long (*call)(void);
} deed;

static const deed deeds[] = {
    {"spawn", try_spawn},
    {"clone", try_clone},
    {"execve", try_execve},
    {"execveat", try_execveat},
    {"fork", try_fork},
    {"vfork", try_vfork},
    {"clone3", try_clone3},
    {"system", try_system},
    {"popen", try_popen},
    {"socket", try_socket},
    {"socketpair", try_socketpair},
    {"ptrace", try_ptrace},
    {"write", try_write},
    {"read-write", try_read_write},
    {"create", try_create},
    {"truncate-on-open", try_truncate_on_open},
    {"tmpfile", try_tmpfile},
    {"creat", try_creat},
    {"old-open", try_old_open},
    {"openat2", try_openat2},
    {"io-uring", try_io_uring},
    {"rename", try_rename},
    {"mkdir", try_mkdir},
    {"link", try_link},
    {"symlink", try_symlink},
    {"chmod", try_chmod},
    {"truncate", try_truncate},
    {"mount", try_mount},
    {"kill", try_kill},
    {"tgkill-other", try_tgkill_other},
    {"peek", try_peek},
    {"bpf", try_bpf},
    {"chdir", try_chdir},
    {"ioctl", try_ioctl},
    {"unlink", try_unlink},
    {"rmdir", try_rmdir},
    {"read", try_read},
    {"access", try_access},
    {"stat", try_stat},
    {"memory", try_memory},
    {"abort", try_abort},
    {"loosen", try_loosen},
#ifdef __x86_64__
    {"32-bit", try_32_bit},
    {"x32", try_x32},
#endif
};

int main(int count, char** words) {
    if (count != 3)
        return 2;
    if (atoi(words[1]) == 1 && !tl_guard_enter())
        return 3;
    for (size_t i = 0; i < sizeof deeds / sizeof *deeds; ++i)
        if (strcmp(words[2], deeds[i].name) == 0)
            _exit(deeds[i].call() < 0 ? 1 : 0);
    return 2;
}

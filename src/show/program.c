// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/program.h"

#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/types.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum {
    said_limit = 4000, // of what a program says, enough to name the trouble
    first_free_descriptor = 3,
};

/// A program at work: `input` takes what it reads, `output` gives all it says.
typedef struct {
    pid_t pid;
    int input;
    int output;
} program;

char* tl_program_folder(void) {
    const char* given = getenv("TMPDIR");
    char* real = given && *given ? realpath(given, NULL) : NULL;
    char* folder = tl_printf("%s/toneload-plot-XXXXXX", real ? real : "/tmp");
    free(real);
    if (mkdtemp(folder))
        return folder;
    free(folder);
    folder = tl_copy("/tmp/toneload-plot-XXXXXX");
    if (mkdtemp(folder))
        return folder;
    free(folder);
    return NULL;
}

static int remove_one(const char* path, const struct stat* about, int kind, struct FTW* place) {
    (void)about;
    (void)kind;
    (void)place;
    return remove(path);
}

/// Programs and their libraries leave things of their own there.
void tl_program_remove_folder(const char* folder) {
    nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

/// Moves a descriptor out of the way of 0, 1 and 2, which a host may have closed.
static int move_up(int descriptor) {
    if (descriptor < 0 || descriptor >= first_free_descriptor)
        return descriptor;
    int moved = fcntl(descriptor, F_DUPFD_CLOEXEC, first_free_descriptor);
    int trouble = errno;
    close(descriptor);
    errno = trouble;
    return moved;
}

static void close_open(int* descriptor) {
    if (*descriptor >= 0)
        close(*descriptor);
    *descriptor = -1;
}

/// A socket pair and not a pipe for its input, since writing to a socket need not raise SIGPIPE.
static bool make_channels(int input[2], int output[2]) {
    input[0] = input[1] = output[0] = output[1] = -1;
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, input) != 0)
        return false;
    if (pipe2(output, O_CLOEXEC) != 0)
        return false;
    for (int i = 0; i < 2; ++i) {
        input[i] = move_up(input[i]);
        output[i] = move_up(output[i]);
    }
    return input[0] >= 0 && input[1] >= 0 && output[0] >= 0 && output[1] >= 0;
}

/// The whole environment a program gets: nothing of the host's but where its fonts are.
static char** make_environment(const char* folder) {
    char** environment = tl_new(6, sizeof *environment);
    size_t count = 0;
    environment[count++] = tl_copy("PATH=/usr/bin:/bin");
    environment[count++] = tl_copy("LANG=C.UTF-8");
    environment[count++] = tl_printf("HOME=%s", folder);
    static const char* const fonts[] = {"FONTCONFIG_FILE", "FONTCONFIG_PATH"};
    for (size_t i = 0; i < sizeof fonts / sizeof *fonts; ++i) {
        const char* value = getenv(fonts[i]);
        if (value)
            environment[count++] = tl_printf("%s=%s", fonts[i], value);
    }
    return environment;
}

static void free_environment(char** environment) {
    for (char** at = environment; *at; ++at)
        free(*at);
    free(environment);
}

/// In a process group of its own with plain signals, whatever the host blocks or ignores.
static int set_attributes(posix_spawnattr_t* attributes) {
    sigset_t none, all;
    sigemptyset(&none);
    sigfillset(&all);
    posix_spawnattr_setsigmask(attributes, &none);
    posix_spawnattr_setsigdefault(attributes, &all);
    posix_spawnattr_setpgroup(attributes, 0);
    return posix_spawnattr_setflags(attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF |
                                                    POSIX_SPAWN_SETPGROUP);
}

/// Starts the program in `folder`; an error number, or 0.
static int spawn(pid_t* pid, char* const* arguments, const char* folder, int input, int output) {
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attributes;
    int trouble = posix_spawn_file_actions_init(&actions);
    if (trouble)
        return trouble;
    trouble = posix_spawnattr_init(&attributes);
    if (trouble) {
        posix_spawn_file_actions_destroy(&actions);
        return trouble;
    }
    trouble = posix_spawn_file_actions_adddup2(&actions, input, STDIN_FILENO);
    if (!trouble)
        trouble = posix_spawn_file_actions_adddup2(&actions, output, STDOUT_FILENO);
    if (!trouble)
        trouble = posix_spawn_file_actions_adddup2(&actions, output, STDERR_FILENO);
    if (!trouble)
        trouble = posix_spawn_file_actions_addclosefrom_np(&actions, first_free_descriptor);
    if (!trouble)
        trouble = posix_spawn_file_actions_addchdir_np(&actions, folder);
    if (!trouble)
        trouble = set_attributes(&attributes);
    char** environment = make_environment(folder);
    if (!trouble)
        trouble = posix_spawnp(pid, arguments[0], &actions, &attributes, arguments, environment);
    free_environment(environment);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&actions);
    return trouble;
}

/// An error number, or 0.
static int start(program* run, char* const* arguments, const char* folder) {
    int input[2], output[2];
    bool made = make_channels(input, output);
    int trouble = made ? spawn(&run->pid, arguments, folder, input[0], output[1]) : errno;
    close_open(&input[0]);
    close_open(&output[1]);
    run->input = input[1];
    run->output = output[0];
    if (!trouble)
        return 0;
    close_open(&run->input);
    close_open(&run->output);
    return made || trouble != ENOENT ? trouble : EIO; // ENOENT: no such program, and nothing else
}

/// Milliseconds since some fixed moment, for time limits.
static long long now_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (long long)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/// Sends what the program will take of its input, and closes the way in when it has all, or when
/// it hung up.
static void send_some(program* run, const char** input, size_t* left) {
    ssize_t sent = send(run->input, *input, *left, MSG_NOSIGNAL | MSG_DONTWAIT);
    if (sent < 0 && (errno == EAGAIN || errno == EINTR))
        return;
    if (sent > 0) {
        *input += sent;
        *left -= (size_t)sent;
    }
    if (sent <= 0 || !*left)
        close_open(&run->input);
}

/// Reads what it says; keeps the beginning, since the first complaint is the one that counts.
static void read_some(program* run, tl_text* said) {
    char block[4096];
    ssize_t got = read(run->output, block, sizeof block);
    if (got < 0 && errno == EINTR)
        return;
    if (got <= 0) {
        close_open(&run->output);
        return;
    }
    size_t room = said->size < said_limit ? said_limit - said->size : 0;
    tl_text_add_bytes(said, block, (size_t)got < room ? (size_t)got : room);
}

/// Feeds the input and listens until the program closes its output; false when time ran out.
static bool talk(program* run, const char* input, long long deadline_ms, tl_text* said) {
    size_t left = strlen(input);
    while (run->output >= 0) {
        long long rest_ms = deadline_ms - now_ms();
        if (rest_ms <= 0)
            return false;
        struct pollfd ways[] = {{.fd = run->output, .events = POLLIN},
                                {.fd = run->input, .events = POLLOUT}};
        if (poll(ways, 2, (int)rest_ms) < 0 && errno != EINTR)
            return false;
        if (run->input >= 0 && ways[1].revents)
            send_some(run, &input, &left);
        if (ways[0].revents)
            read_some(run, said);
    }
    return true;
}

/// Waits for the end of a program, which may outlive its output; false when time ran out. A host
/// that ignores SIGCHLD leaves no exit status: then what it made must tell.
static bool wait_for(pid_t pid, long long deadline_ms, int* wait_status) {
    *wait_status = 0;
    for (;;) {
        pid_t ended = waitpid(pid, wait_status, WNOHANG);
        if (ended == pid || (ended < 0 && errno != EINTR))
            return true;
        if (now_ms() >= deadline_ms)
            return false;
        nanosleep(&(struct timespec){.tv_nsec = 2000000}, NULL);
    }
}

static void kill_and_reap(pid_t pid) {
    kill(-pid, SIGKILL);
    kill(pid, SIGKILL);
    while (waitpid(pid, NULL, 0) < 0 && errno == EINTR)
        continue;
}

/// Its own blank and pointing lines are taken out.
char* tl_program_complaint(const tl_text* said) {
    tl_text line = {0};
    for (const char* at = tl_text_get(said); *at; ++at) {
        bool blank = *at == ' ' || *at == '\n' || *at == '\t' || *at == '\r';
        bool after_blank = !line.size || line.data[line.size - 1] == ' ';
        if (!blank || !after_blank)
            tl_text_add_bytes(&line, blank ? " " : at, 1);
    }
    tl_text_add(&line, "");
    return tl_text_take(&line);
}

tl_program_end tl_program_run(char* const* arguments, const char* folder, const char* input,
                              int limit_ms, tl_text* said, int* trouble) {
    program run = {.pid = -1, .input = -1, .output = -1};
    *trouble = start(&run, arguments, folder);
    if (*trouble)
        return *trouble == ENOENT ? TL_PROGRAM_MISSING : TL_PROGRAM_NO_START;
    long long deadline_ms = now_ms() + limit_ms;
    int wait_status = 0;
    bool ended = talk(&run, input, deadline_ms, said);
    close_open(&run.input);
    close_open(&run.output);
    if (!ended || !wait_for(run.pid, deadline_ms, &wait_status)) {
        kill_and_reap(run.pid);
        return TL_PROGRAM_LATE;
    }
    bool well = WIFEXITED(wait_status) && WEXITSTATUS(wait_status) == 0;
    return well ? TL_PROGRAM_DONE : TL_PROGRAM_FAILED;
}

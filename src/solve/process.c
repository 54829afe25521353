// SPDX-License-Identifier: GPL-3.0-or-later
#include "solve/process.h"

#include "base/text.h"
#include "solve/request.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

enum { LAST_WORDS = 2000 }; // bytes of a dead worker's words that are quoted

// ---- start

/// A descriptor clear of 0 to 3, which the worker's own take the place of.
static int raise_descriptor(int descriptor) {
    int raised = descriptor < 0 ? -1 : fcntl(descriptor, F_DUPFD_CLOEXEC, TL_WIRE_SOCKET + 1);
    if (descriptor >= 0)
        close(descriptor);
    return raised;
}

/// Makes the worker's place: a socket pair and the file for its words.
static bool make_lines(int ends[2], int* words) {
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
        ends[0] = ends[1] = -1;
    ends[0] = raise_descriptor(ends[0]);
    ends[1] = raise_descriptor(ends[1]);
    *words = raise_descriptor(memfd_create("toneload-worker", MFD_CLOEXEC));
    return ends[0] >= 0 && ends[1] >= 0 && *words >= 0 && fcntl(*words, F_SETFL, O_APPEND) == 0;
}

/// Signals as a new program expects them, whatever the host did with its own.
static int set_attributes(posix_spawnattr_t* attributes) {
    sigset_t all;
    sigset_t none;
    sigfillset(&all);
    sigemptyset(&none);
    int trouble = posix_spawnattr_setsigdefault(attributes, &all);
    if (!trouble)
        trouble = posix_spawnattr_setsigmask(attributes, &none);
    if (!trouble)
        trouble = posix_spawnattr_setpgroup(attributes, 0); // Ctrl-C and Ctrl-Z are for the host
    return trouble ? trouble
                   : posix_spawnattr_setflags(attributes, POSIX_SPAWN_SETSIGDEF |
                                                              POSIX_SPAWN_SETSIGMASK |
                                                              POSIX_SPAWN_SETPGROUP);
}

static int set_descriptors(posix_spawn_file_actions_t* actions, int socket, int words) {
    int trouble = posix_spawn_file_actions_addopen(actions, 0, "/dev/null", O_RDONLY, 0);
    if (!trouble)
        trouble = posix_spawn_file_actions_adddup2(actions, words, STDOUT_FILENO);
    if (!trouble)
        trouble = posix_spawn_file_actions_adddup2(actions, words, STDERR_FILENO);
    return trouble ? trouble : posix_spawn_file_actions_adddup2(actions, socket, TL_WIRE_SOCKET);
}

/// Runs the worker program with nothing of ours but its descriptors.
static int spawn(const char* program, int socket, int words, pid_t* pid) {
    char* arguments[] = {(char*)(uintptr_t) "toneload-worker", NULL};
    char* environment[] = {NULL};
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attributes;
    posix_spawn_file_actions_init(&actions);
    posix_spawnattr_init(&attributes);
    int trouble = set_descriptors(&actions, socket, words);
    if (!trouble)
        trouble = set_attributes(&attributes);
    if (!trouble)
        trouble = posix_spawn(pid, program, &actions, &attributes, arguments, environment);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&actions);
    return trouble;
}

static void close_lines(const int ends[2], int words) {
    for (int i = 0; i < 2; ++i)
        if (ends[i] >= 0)
            close(ends[i]);
    if (words >= 0)
        close(words);
}

tl_status tl_process_start(const char* program, tl_process* process, tl_error* error) {
    int ends[2];
    int words = -1;
    pid_t pid = 0;
    int trouble = make_lines(ends, &words) ? 0 : errno;
    if (!trouble)
        trouble = spawn(program, ends[1], words, &pid);
    if (trouble) {
        close_lines(ends, words);
        return tl_error_set(error, TL_FAILURE, "the solver %s could not be started: %s", program,
                            strerror(trouble));
    }
    close(ends[1]);
    process->socket = ends[0];
    process->words = words;
    process->pid = pid;
    return TL_OK;
}

// ---- end

/// Ends a process and forgets it but for its words. Returns how it ended, as waitpid() tells: by
/// itself, if it had. 0: someone else waited for it.
static int stop_process(tl_process* process, int* words) {
    int status = 0;
    pid_t pid = process->pid;
    *words = process->words;
    close(process->socket);
    kill(pid, SIGKILL);
    while (waitpid(pid, &status, 0) < 0)
        if (errno != EINTR) {
            status = 0;
            break;
        }
    process->greeted = process->retired = false;
    process->deck_id = 0;
    process->served = 0;
    process->pid = 0;
    return status;
}

void tl_process_end(tl_process* process) {
    int words = -1;
    stop_process(process, &words);
    close(words);
}

void tl_process_retire(tl_process* process) {
    kill(process->pid, SIGKILL);
    process->retired = true;
}

bool tl_process_is_gone(const tl_process* process) {
    struct pollfd line = {.fd = process->socket, .events = POLLRDHUP};
    return process->retired ||
           (poll(&line, 1, 0) > 0 && (line.revents & (POLLRDHUP | POLLHUP | POLLERR)));
}

/// Puts the last lines that a worker printed under an error.
static char* last_words(int words) {
    char block[LAST_WORDS + 1];
    off_t size = lseek(words, 0, SEEK_END);
    off_t from = size > LAST_WORDS ? size - LAST_WORDS : 0;
    ssize_t got = size > 0 ? pread(words, block, LAST_WORDS, from) : 0;
    block[got > 0 ? got : 0] = '\0';
    tl_text quoted = {0};
    for (char *rest = block, *line; (line = strsep(&rest, "\n"));)
        if (*line) {
            tl_text_add(&quoted, "\n  ngspice: ");
            tl_text_add_safe(&quoted, line);
        }
    return tl_text_take(&quoted);
}

/// Says how a worker ended.
static char* describe_end(int status) {
    if (WIFSIGNALED(status) && WTERMSIG(status) == SIGSYS)
        return tl_printf("the solver was stopped by its guard, since the circuit made it try "
                         "something a solver has no business with");
    if (WIFSIGNALED(status))
        return tl_printf("the solver died (signal %d)", WTERMSIG(status));
    return tl_printf("the solver ended early (exit status %d)", WEXITSTATUS(status));
}

char* tl_process_bury(tl_process* process, const char* why) {
    int words = -1;
    int status = stop_process(process, &words);
    char* what = why ? tl_copy(why) : describe_end(status);
    char* quoted = last_words(words);
    close(words);
    char* all = tl_printf("%s%s", what, quoted);
    free(quoted);
    free(what);
    return all;
}

// ---- a request

/// Gives a process a request.
static tl_wire_end send_request(tl_process* process, const tl_request* request, double deadline_s) {
    size_t size = 0;
    void* body = tl_request_pack(request, process->deck_id != request->deck->id, &size);
    process->deck_id = request->deck->id;
    process->served += tl_request_sets(request);
    tl_wire_end end = tl_wire_send(process->socket, TL_WIRE_TASK, body, size, deadline_s);
    free(body);
    return end;
}

static bool is_words(const tl_wire_frame* frame) {
    return frame->kind == TL_WIRE_WORDS || frame->kind == TL_WIRE_LAST;
}

/// What a frame that came means for the request.
static tl_outcome judge(const tl_process* process, const tl_request* request,
                        const tl_wire_frame* frame, tl_wire_curve* curve) {
    if (is_words(frame))
        return !process->greeted             ? TL_OUTCOME_NO_START
               : frame->kind == TL_WIRE_LAST ? TL_OUTCOME_LAST
                                             : TL_OUTCOME_REFUSED;
    return tl_wire_unpack_curve(frame, curve) && tl_request_fits(request, curve)
               ? TL_OUTCOME_SOLVED
               : TL_OUTCOME_NONSENSE;
}

/// Receives the answer. The first frame of a process only says that it is ready.
static tl_outcome receive_answer(tl_process* process, const tl_request* request,
                                 tl_wire_frame* frame, tl_wire_curve* curve, double deadline_s) {
    for (;;) {
        tl_wire_end end = tl_wire_receive(process->socket, frame, deadline_s);
        if (end != TL_WIRE_DONE)
            return end == TL_WIRE_LATE    ? TL_OUTCOME_LATE
                   : end == TL_WIRE_ENDED ? TL_OUTCOME_ENDED
                                          : TL_OUTCOME_NONSENSE;
        if (frame->kind != TL_WIRE_HELLO || process->greeted)
            return judge(process, request, frame, curve);
        process->greeted = true;
        tl_wire_frame_free(frame);
    }
}

tl_outcome tl_process_ask(tl_process* process, const tl_request* request, double limit_s,
                          tl_wire_frame* frame, tl_wire_curve* curve) {
    *frame = (tl_wire_frame){0};
    double deadline_s = tl_wire_now_s() + limit_s;
    // A process that is gone shows when its socket is read, after whatever it still answered.
    if (send_request(process, request, deadline_s) == TL_WIRE_LATE)
        return TL_OUTCOME_LATE;
    tl_outcome outcome = receive_answer(process, request, frame, curve, deadline_s);
    if (outcome == TL_OUTCOME_REFUSED || outcome == TL_OUTCOME_LAST)
        process->deck_id = 0; // dropped: what failed may have left traces in it
    return outcome;
}

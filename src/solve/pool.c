// SPDX-License-Identifier: GPL-3.0-or-later
#include "solve/pool.h"

#include "base/file.h"
#include "base/text.h"
#include "solve/wire.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
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

enum {
    IN_FLIGHT = 2,            ///< requests a worker has at a time: the next waits at its door
    WINDOW_A_WORKER = 4,      ///< jobs between ask and deliver, for each worker
    MOST_JOBS = 256,          ///< worker processes of a pool
    SMALL_REQUEST = 16 << 10, ///< bytes that a socket takes without its reader
    LAST_WORDS = 2000,        ///< bytes of a dead worker's words that are quoted
};

static const double start_cost_s = 0.01; // a run shorter than this gains nothing by more workers
static const double frame_limit_s = 2;   // for a worker without a request to finish a frame

typedef enum { SLOT_FREE, SLOT_WAITING, SLOT_SENT, SLOT_DONE } slot_state;

/// A job between ask and deliver.
typedef struct {
    slot_state state;
    size_t job;
    unsigned deaths; ///< workers that it was given to in vain
    tl_request request;
} slot;

/// A worker process. `pid` is 0 when there is none in this place.
typedef struct {
    pid_t pid;
    int socket;
    int words;             ///< the memory file that everything it prints goes to
    bool greeted;          ///< it said that it is ready
    unsigned long deck_id; ///< the deck it holds; 0: none
    unsigned served;       ///< requests given to it
    size_t flight;         ///< requests that it has now
    slot* flying[IN_FLIGHT];
    double deadline_s; ///< for flying[0]
} worker;

struct tl_pool {
    char* program;
    double limit_s;
    unsigned requests_a_worker;
    bool one_job;
    size_t count; ///< places for workers
    worker* workers;
};

/// One tl_pool_run().
typedef struct {
    tl_pool* pool;
    const tl_pool_work* work;
    size_t count;
    size_t next;  ///< the next job to ask for
    size_t first; ///< the next job to deliver
    size_t window;
    slot* slots;   ///< job j lives in slots[j % window]
    size_t failed; ///< the lowest job that failed; count: none
    tl_error* error;
    double start_s;
} run;

// ---- a worker's life

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

/// Starts a worker in an empty place and does not wait for it.
static tl_status start_worker(const tl_pool* pool, worker* one, tl_error* error) {
    int ends[2];
    int words = -1;
    pid_t pid = 0;
    int trouble = make_lines(ends, &words) ? 0 : errno;
    if (!trouble)
        trouble = spawn(pool->program, ends[1], words, &pid);
    if (trouble) {
        close_lines(ends, words);
        return tl_error_set(error, TL_FAILURE, "the solver %s could not be started: %s",
                            pool->program, strerror(trouble));
    }
    close(ends[1]);
    *one = (worker){.pid = pid, .socket = ends[0], .words = words};
    return TL_OK;
}

/// Ends a worker, which has nothing to tidy up, and returns how it ended, as waitpid() tells: by
/// itself, if it had. 0: someone else waited for it.
static int end_worker(worker* one) {
    int status = 0;
    close(one->socket);
    kill(one->pid, SIGKILL);
    while (waitpid(one->pid, &status, 0) < 0)
        if (errno != EINTR) {
            status = 0;
            break;
        }
    close(one->words);
    *one = (worker){0};
    return status;
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

// ---- the pool

/// The worker program: beside the library in a build tree, below it once installed.
static tl_status find_program(const char* given, char** program, tl_error* error) {
    char* home = tl_file_home();
    char* beside = given ? tl_copy(given) : tl_printf("%s/toneload-worker", home);
    char* below = tl_printf("%s/%s/toneload-worker", home, TL_WORKER_DIR);
    free(home);
    *program = access(beside, X_OK) == 0            ? tl_copy(beside)
               : !given && access(below, X_OK) == 0 ? tl_copy(below)
                                                    : NULL;
    if (!*program)
        tl_error_set(error, TL_FAILURE, "the solver program is missing: expected %s%s%s", beside,
                     given ? "" : " or ", given ? "" : below);
    free(beside);
    free(below);
    return *program ? TL_OK : TL_FAILURE;
}

tl_status tl_pool_new(const tl_pool_options* options, tl_pool** pool, tl_error* error) {
    static const tl_pool_options usual = {0};
    const tl_pool_options* wanted = options ? options : &usual;
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    size_t jobs = wanted->jobs ? wanted->jobs : cores > 0 ? (size_t)cores : 1;
    char* program = NULL;
    *pool = NULL;
    if (find_program(wanted->worker_path, &program, error) != TL_OK)
        return TL_FAILURE;
    tl_pool* made = tl_new(1, sizeof *made);
    made->program = program;
    made->limit_s = wanted->time_limit_s > 0 ? wanted->time_limit_s : 60;
    made->requests_a_worker = wanted->requests_a_worker ? wanted->requests_a_worker : 5000;
    made->one_job = wanted->one_job;
    made->count = jobs < MOST_JOBS ? jobs : MOST_JOBS;
    made->workers = tl_new(made->count, sizeof *made->workers);
    tl_status status = start_worker(made, &made->workers[0], error);
    if (status != TL_OK) {
        tl_pool_free(made);
        return status;
    }
    *pool = made;
    return TL_OK;
}

void tl_pool_free(tl_pool* pool) {
    if (!pool)
        return;
    for (size_t i = 0; i < pool->count; ++i)
        if (pool->workers[i].pid)
            end_worker(&pool->workers[i]);
    free(pool->workers);
    free(pool->program);
    free(pool);
}

pid_t tl_pool_worker_pid(const tl_pool* pool, size_t index) {
    return index < pool->count && pool->workers[index].pid ? pool->workers[index].pid : -1;
}

// ---- what may be asked

/// Whether limits in frequency or time are such as ngspice keeps to.
static tl_status check_limits(const tl_request* request, tl_error* error) {
    bool in_time = request->analysis == TL_TRANSIENT;
    if (request->analysis == TL_POINT)
        return TL_OK;
    if (!in_time && !tl_wire_point_count(request->per_decade, request->low_hz, request->high_hz))
        return tl_error_set(error, TL_FAILURE,
                            "%u points a decade from %g Hz to %g Hz are no sweep",
                            request->per_decade, request->low_hz, request->high_hz);
    if (request->analysis == TL_NOISE && (!request->noise_node || !request->noise_source))
        return tl_error_set(error, TL_FAILURE, "noise at node %u from source v%u cannot be asked",
                            request->noise_node, request->noise_source);
    double span_s = request->stop_s - request->start_s;
    if (in_time &&
        !(request->step_s > 0 && request->start_s >= 0 && span_s > 0 && isfinite(span_s) &&
          request->ceiling_s >= 0 && span_s <= request->step_s * TL_WIRE_TIME_LIMIT &&
          (request->ceiling_s == 0 || span_s <= request->ceiling_s * TL_WIRE_TIME_LIMIT)))
        return tl_error_set(error, TL_FAILURE,
                            "from %g s to %g s in steps of %g s, at most %g s, is no transient, or "
                            "one of more than %d points",
                            request->start_s, request->stop_s, request->step_s, request->ceiling_s,
                            TL_WIRE_TIME_LIMIT);
    return TL_OK;
}

/// Whether all that is to be read is a part of what the analysis gives.
static tl_status check_outputs(const tl_request* request, tl_error* error) {
    const char* kinds = request->analysis == TL_NOISE ? "oirdqjm" : "nv";
    for (size_t i = 0; i < request->deck->output_count; ++i) {
        const tl_probe* probe = &request->deck->outputs[i];
        if (!probe->kind || !strchr(kinds, probe->kind))
            return tl_error_set(error, TL_FAILURE, "this analysis does not give '%c%u'",
                                probe->kind ? probe->kind : '?', probe->number);
    }
    return TL_OK;
}

/// Whether values and limits are such as ngspice takes as they are: it turns 0 ohm into a
/// milliohm, and reads "nan" as a name.
static tl_status check_request(const tl_request* request, tl_error* error) {
    const tl_deck* deck = request->deck;
    if (check_limits(request, error) != TL_OK || check_outputs(request, error) != TL_OK)
        return TL_FAILURE;
    if (deck->varied_count > TL_WIRE_COUNT_LIMIT || deck->output_count > TL_WIRE_COUNT_LIMIT ||
        !deck->output_count || strlen(deck->text) >= TL_WIRE_TEXT_LIMIT)
        return tl_error_set(error, TL_FAILURE, "the circuit is too large for the solver");
    for (size_t i = 0; i < deck->varied_count; ++i) {
        const tl_element_id* element = &deck->varied[i];
        if (!memchr("rlcev", element->kind, 5))
            return tl_error_set(error, TL_FAILURE, "element %c%u cannot be varied", element->kind,
                                element->number);
        if (!isfinite(request->values[i]) || (element->kind == 'r' && request->values[i] == 0))
            return tl_error_set(error, TL_FAILURE, "%c%u cannot be %g", element->kind,
                                element->number, request->values[i]);
    }
    return TL_OK;
}

// ---- failures

/// Notes that a job failed, when none below it has; run->error holds its words. Jobs above it are
/// of no use any more.
static void fail_job(run* now, size_t job, tl_error* error) {
    if (job >= now->failed)
        return;
    now->failed = job;
    tl_status status = tl_error_status(error);
    tl_error_set(now->error, status == TL_OK ? TL_FAILURE : status, "%s", tl_error_text(error));
    for (size_t i = 0; i < now->window; ++i)
        if (now->slots[i].state == SLOT_WAITING && now->slots[i].job > job)
            now->slots[i].state = SLOT_FREE;
}

/// What a callback said about a job, and where that leaves it.
static void settle_job(run* now, slot* job, tl_status status, bool again, tl_error* error) {
    if (status == TL_OK && again)
        status = check_request(&job->request, error);
    job->deaths = 0;
    job->state = status != TL_OK ? SLOT_FREE : again ? SLOT_WAITING : SLOT_DONE;
    if (status != TL_OK)
        fail_job(now, job->job, error);
}

/// A job that has no answer: the study may live with that, else it is a failure.
static void refuse_job(run* now, slot* refused, const char* words) {
    const tl_pool_work* work = now->work;
    tl_error* error = tl_error_new();
    bool again = false;
    tl_status status = work->refuse ? work->refuse(work->context, refused->job, words,
                                                   &refused->request, &again, error)
                                    : tl_error_set(error, TL_FAILURE, "%s", words);
    settle_job(now, refused, status, again, error);
    tl_error_free(error);
}

/// What a worker's end means for the job it was at: a second try by another, or no answer.
static void lose_job(run* now, slot* lost, const char* what, const char* words) {
    if (lost->job > now->failed) {
        lost->state = SLOT_FREE;
    } else if (lost->deaths++ == 0 && now->count > 1) {
        lost->state = SLOT_WAITING;
    } else {
        char* all = tl_printf("%s%s", what, words);
        refuse_job(now, lost, all);
        free(all);
    }
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

/// Takes a dead, hanging or talking-nonsense worker out. The requests behind the one it was at
/// were never begun and just wait again. `why` is NULL when how it ended says it all.
static void lose_worker(run* now, worker* one, const char* why) {
    slot* flying[IN_FLIGHT];
    size_t flight = one->flight;
    memcpy(flying, one->flying, sizeof flying);
    int words = fcntl(one->words, F_DUPFD_CLOEXEC, 0);
    int status = end_worker(one);
    char* what = why ? tl_copy(why) : describe_end(status);
    char* quoted = last_words(words);
    close(words);
    for (size_t i = flight; i-- > 1;)
        flying[i]->state = flying[i]->job > now->failed ? SLOT_FREE : SLOT_WAITING;
    if (flight)
        lose_job(now, flying[0], what, quoted);
    free(quoted);
    free(what);
}

// ---- sending

/// Writes a request's body, with the deck when the worker does not hold it.
static void* pack_request(const tl_request* request, bool with_deck, size_t* size) {
    const tl_deck* deck = request->deck;
    tl_wire_name* names = tl_new(deck->varied_count + deck->output_count, sizeof *names);
    tl_wire_name* outputs = names + deck->varied_count;
    for (size_t i = 0; i < deck->varied_count; ++i)
        names[i] = (tl_wire_name){(uint32_t)deck->varied[i].kind, deck->varied[i].number};
    for (size_t i = 0; i < deck->output_count; ++i)
        outputs[i] = (tl_wire_name){(uint32_t)deck->outputs[i].kind, deck->outputs[i].number};
    tl_wire_task task = {
        .deck_id = deck->id,
        .analysis = request->analysis,
        .low_hz = request->low_hz,
        .high_hz = request->high_hz,
        .per_decade = request->per_decade,
        .step_s = request->step_s,
        .stop_s = request->stop_s,
        .start_s = request->start_s,
        .ceiling_s = request->ceiling_s,
        .noise_node = request->noise_node,
        .noise_source = request->noise_source,
        .value_count = deck->varied_count,
        .values = request->values,
        .varied_count = with_deck ? deck->varied_count : 0,
        .varied = names,
        .output_count = with_deck ? deck->output_count : 0,
        .outputs = outputs,
        .text = with_deck ? deck->text : NULL,
    };
    void* body = tl_wire_pack_task(&task, size);
    free(names);
    return body;
}

/// Gives a waiting job to a worker.
static void send_job(run* now, worker* one, slot* job) {
    bool with_deck = one->deck_id != job->request.deck->id;
    size_t size = 0;
    void* body = pack_request(&job->request, with_deck, &size);
    double deadline_s = tl_wire_now_s() + now->pool->limit_s;
    if (one->flight == 0)
        one->deadline_s = deadline_s;
    job->state = SLOT_SENT;
    one->flying[one->flight++] = job;
    one->deck_id = job->request.deck->id;
    ++one->served;
    tl_wire_end end = tl_wire_send(one->socket, TL_WIRE_TASK, body, size, deadline_s);
    free(body);
    // A worker that is gone shows when its socket is read, after whatever it still answered.
    if (end == TL_WIRE_LATE)
        one->deadline_s = 0;
}

/// Whether a worker may be given this job now. Beside one at work, only a small request is sent:
/// a large one could wait for a worker that itself waits for its answer to be read.
static bool can_take(const worker* one, const slot* job) {
    if (one->flight == 0)
        return true;
    const tl_deck* deck = job->request.deck;
    return one->flight < IN_FLIGHT && one->deck_id == deck->id &&
           deck->varied_count * sizeof(double) < SMALL_REQUEST;
}

/// The lowest waiting job that this worker may take: of the deck it holds, if `same_deck`.
static slot* find_waiting(const run* now, const worker* one, bool same_deck) {
    for (size_t job = now->first; job < now->next; ++job) {
        slot* at = &now->slots[job % now->window];
        if (at->state == SLOT_WAITING && at->job == job && can_take(one, at) &&
            (!same_deck || one->deck_id == at->request.deck->id))
            return at;
    }
    return NULL;
}

/// Asks for the next job; false when there is none to ask for now.
static bool ask_job(run* now) {
    if (now->next >= now->failed || now->next >= now->first + now->window)
        return false;
    slot* at = &now->slots[now->next % now->window];
    *at = (slot){.job = now->next++, .state = SLOT_WAITING};
    tl_error* error = tl_error_new();
    tl_status status = now->work->ask(now->work->context, at->job, &at->request, error);
    if (status == TL_OK)
        status = check_request(&at->request, error);
    if (status != TL_OK) {
        at->state = SLOT_FREE;
        fail_job(now, at->job, error);
    }
    tl_error_free(error);
    return true;
}

/// The job a worker should get next. Jobs of other decks are left to others while there may be
/// one of its own.
static slot* pick_job(run* now, const worker* one) {
    bool same_deck = one->deck_id != 0;
    slot* found = find_waiting(now, one, same_deck);
    while (!found && ask_job(now))
        found = find_waiting(now, one, same_deck);
    return found ? found : find_waiting(now, one, false);
}

/// Whether an idle worker's process has gone, or has served its time.
static bool is_spent(const tl_pool* pool, const worker* one) {
    if (one->flight)
        return false;
    struct pollfd line = {.fd = one->socket, .events = POLLRDHUP};
    return one->served >= pool->requests_a_worker ||
           (poll(&line, 1, 0) > 0 && (line.revents & (POLLRDHUP | POLLHUP | POLLERR)));
}

static bool has_waiting(const run* now) {
    for (size_t i = 0; i < now->window; ++i)
        if (now->slots[i].state == SLOT_WAITING)
            return true;
    return now->next < now->failed && now->next < now->first + now->window;
}

static size_t count_running(const tl_pool* pool) {
    size_t running = 0;
    for (size_t i = 0; i < pool->count; ++i)
        running += pool->workers[i].pid != 0;
    return running;
}

/// Whether another worker is worth starting now.
static bool wants_worker(const run* now) {
    size_t running = count_running(now->pool);
    return has_waiting(now) && (running == 0 || (running < now->count &&
                                                 tl_wire_now_s() - now->start_s > start_cost_s));
}

/// Gives every worker what it can take, and starts those that are missing.
static tl_status feed_workers(run* now, tl_error* error) {
    tl_pool* pool = now->pool;
    for (size_t round = 0; round < IN_FLIGHT; ++round)
        for (size_t i = 0; i < pool->count; ++i) {
            worker* one = &pool->workers[i];
            if (one->pid && is_spent(pool, one) && has_waiting(now))
                end_worker(one);
            if (!one->pid && wants_worker(now)) {
                tl_status status = start_worker(pool, one, error);
                if (status != TL_OK)
                    return status;
            }
            if (!one->pid || one->flight > round || one->served >= pool->requests_a_worker)
                continue;
            slot* job = pick_job(now, one);
            if (job)
                send_job(now, one, job);
        }
    return TL_OK;
}

// ---- receiving

/// Takes the request at the front of a worker off it; the one behind it now runs.
static slot* land_job(run* now, worker* one) {
    slot* landed = one->flying[0];
    --one->flight;
    memmove(one->flying, one->flying + 1, one->flight * sizeof *one->flying);
    one->deadline_s = tl_wire_now_s() + now->pool->limit_s;
    return landed;
}

/// Lets a worker end while the caller goes on; it counts as spent and is reaped with the pool. (A
/// process that held libngspice takes half a millisecond to go.)
static void retire(worker* one, const tl_pool* pool) {
    kill(one->pid, SIGKILL);
    one->served = pool->requests_a_worker;
}

/// Hands an answer to the study.
static void take_curve(run* now, worker* one, const tl_wire_curve* curve) {
    slot* job = land_job(now, one);
    if (job->job > now->failed) {
        job->state = SLOT_FREE;
        return;
    }
    if (now->pool->one_job && now->count == 1)
        retire(one, now->pool);
    bool sweep = curve->analysis == TL_SWEEP;
    tl_reply reply = {
        .points = curve->point_count,
        .outputs = curve->output_count,
        .hz = sweep || curve->analysis == TL_NOISE ? curve->axis : NULL,
        .time_s = curve->analysis == TL_TRANSIENT ? curve->axis : NULL,
        .h = sweep ? (const double _Complex*)(const void*)curve->rows : NULL,
        .x = sweep ? NULL : curve->rows,
    };
    bool again = false;
    tl_error* error = tl_error_new();
    tl_status status =
        now->work->take(now->work->context, job->job, &reply, &job->request, &again, error);
    settle_job(now, job, status, again, error);
    tl_error_free(error);
}

/// ngspice could not solve it, and would not a second time. The worker has dropped the deck, so
/// that a request behind this one has none to stand on: it goes to another worker.
static void take_words(run* now, worker* one, const tl_wire_frame* frame) {
    slot* job = land_job(now, one);
    one->deck_id = 0;
    if (job->job > now->failed)
        job->state = SLOT_FREE;
    else
        refuse_job(now, job, frame->body);
    for (size_t i = 0; i < one->flight; ++i)
        one->flying[i]->state = one->flying[i]->job > now->failed ? SLOT_FREE : SLOT_WAITING;
    if (one->flight || frame->kind == TL_WIRE_LAST)
        end_worker(one);
}

/// Whether an answer is of the shape that was asked for.
static bool fits(const tl_wire_curve* curve, const tl_request* request) {
    size_t points = curve->point_count;
    size_t sweep = tl_wire_point_count(request->per_decade, request->low_hz, request->high_hz);
    return curve->analysis == request->analysis &&
           curve->output_count == request->deck->output_count &&
           (curve->analysis == TL_SWEEP   ? points == sweep
            : curve->analysis == TL_NOISE ? points == sweep || points == sweep + 1
                                          : points > 0);
}

static bool is_words(const tl_wire_frame* frame) {
    return frame->kind == TL_WIRE_WORDS || frame->kind == TL_WIRE_LAST;
}

/// Reads one frame of a worker that has something to say.
static void hear_worker(run* now, worker* one) {
    tl_wire_frame frame;
    tl_wire_curve curve;
    double deadline_s = one->flight ? one->deadline_s : tl_wire_now_s() + frame_limit_s;
    tl_wire_end end = tl_wire_receive(one->socket, &frame, deadline_s);
    if (end == TL_WIRE_LATE)
        return; // dealt with as any worker that is late
    if (end == TL_WIRE_ENDED)
        lose_worker(now, one, NULL);
    else if (end == TL_WIRE_DONE && frame.kind == TL_WIRE_HELLO && !one->greeted)
        one->greeted = true;
    else if (end == TL_WIRE_DONE && is_words(&frame) && one->greeted && one->flight)
        take_words(now, one, &frame);
    else if (end == TL_WIRE_DONE && one->flight && tl_wire_unpack_curve(&frame, &curve) &&
             fits(&curve, &one->flying[0]->request))
        take_curve(now, one, &curve);
    else if (end == TL_WIRE_DONE && is_words(&frame) && !one->greeted)
        lose_worker(now, one, "the solver could not start");
    else
        lose_worker(now, one, "the solver program does not belong to this version of toneload");
    tl_wire_frame_free(&frame);
}

/// How long nothing needs doing, in ms: the nearest deadline, or when more workers become worth it.
static int wait_ms(const run* now) {
    double time_s = tl_wire_now_s();
    double until_s = time_s + 3600;
    for (size_t i = 0; i < now->pool->count; ++i) {
        const worker* one = &now->pool->workers[i];
        if (one->pid && one->flight && one->deadline_s < until_s)
            until_s = one->deadline_s;
    }
    double more_s = now->start_s + start_cost_s;
    if (more_s > time_s && more_s < until_s)
        until_s = more_s;
    return until_s <= time_s ? 0 : (int)ceil((until_s - time_s) * 1e3);
}

/// Waits for workers and hears them; ends those that are late.
static void hear_workers(run* now) {
    tl_pool* pool = now->pool;
    struct pollfd lines[MOST_JOBS];
    for (size_t i = 0; i < pool->count; ++i)
        lines[i] = (struct pollfd){.fd = pool->workers[i].pid ? pool->workers[i].socket : -1,
                                   .events = POLLIN};
    if (poll(lines, pool->count, wait_ms(now)) < 0)
        return;
    for (size_t i = 0; i < pool->count; ++i) {
        worker* one = &pool->workers[i];
        if (lines[i].revents)
            hear_worker(now, one);
        if (one->pid && one->flight && one->deadline_s < tl_wire_now_s() &&
            poll(&lines[i], 1, 0) == 0) {
            char* why =
                tl_printf("the solver " TL_POOL_LATE " %g s and was stopped", pool->limit_s);
            lose_worker(now, one, why);
            free(why);
        }
    }
}

// ---- the run

/// Puts done jobs back in order.
static void deliver_jobs(run* now) {
    while (now->first < now->failed) {
        slot* at = &now->slots[now->first % now->window];
        if (at->state != SLOT_DONE || at->job != now->first)
            return;
        at->state = SLOT_FREE;
        tl_error* error = tl_error_new();
        if (now->work->deliver && now->work->deliver(now->work->context, at->job, error) != TL_OK)
            fail_job(now, at->job, error);
        else
            ++now->first;
        tl_error_free(error);
    }
}

/// Workers that still compute what nobody wants any more are ended, so that the pool is ready for
/// the next run.
static void end_busy(tl_pool* pool) {
    for (size_t i = 0; i < pool->count; ++i)
        if (pool->workers[i].pid && pool->workers[i].flight)
            end_worker(&pool->workers[i]);
}

static void run_jobs(run* now) {
    while (now->first < now->failed) {
        tl_error* error = tl_error_new();
        if (feed_workers(now, error) != TL_OK)
            fail_job(now, now->first, error);
        tl_error_free(error);
        if (now->first < now->failed)
            hear_workers(now);
        deliver_jobs(now);
    }
}

tl_status tl_pool_run(tl_pool* pool, size_t count, const tl_pool_work* work, tl_error* error) {
    run now = {
        .pool = pool,
        .work = work,
        .count = count,
        .window = pool->count * WINDOW_A_WORKER,
        .failed = count,
        .error = tl_error_new(),
        .start_s = tl_wire_now_s(),
    };
    now.slots = tl_new(now.window, sizeof *now.slots);
    run_jobs(&now);
    end_busy(pool);
    tl_status status = tl_error_status(now.error);
    if (status != TL_OK) {
        tl_error_set(error, status, "%s", tl_error_text(now.error));
        if (work->blame)
            work->blame(work->context, now.failed, error);
    }
    tl_error_free(now.error);
    free(now.slots);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What a deck, a start-up file or an environment must not make the solver do. Each danger is first
// shown to be real: the `ngspice` program itself does run it.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "solve/pool.h"
#include "solve/wire.h"

#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pwd.h>
#include <sched.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#ifndef __has_feature
#define __has_feature(name) 0
#endif
#if defined(__SANITIZE_ADDRESS__) || __has_feature(address_sanitizer)
enum { SANITIZED = 1 }; // takes far more memory than it uses
#else
enum { SANITIZED = 0 };
#endif

static char* scratch; // a folder of our own; lower case, since ngspice folds the case of decks
static char* bait;    // the file that a hostile deck makes
static char* worker;  // a copy of the worker program

static void remove_tree(const char* path) {
    char* command = tl_printf("rm -rf -- '%s'", path);
    assert_int_equal(system(command), 0);
    free(command);
}

/// The worker is copied: where it was built may lie in a home that a test covers.
static int set_up(void** state) {
    (void)state;
    scratch = tl_printf("/tmp/tl-test-guard-%d", (int)getpid());
    bait = tl_printf("%s/bait", scratch);
    worker = tl_printf("%s/worker", scratch);
    if (mkdir(scratch, 0700) != 0)
        return -1;
    char* command = tl_printf("cp '" TL_BINARY_DIR "/toneload-worker' '%s'", worker);
    int status = system(command);
    free(command);
    return status;
}

static int tear_down(void** state) {
    (void)state;
    remove_tree(scratch);
    free(scratch);
    free(bait);
    free(worker);
    return 0;
}

static void write_file(const char* folder, const char* name, const char* text) {
    char* path = tl_printf("%s/%s", folder, name);
    assert_int_equal(tl_file_write(path, text, strlen(text), NULL), TL_OK);
    free(path);
}

static char* make_folder(const char* name) {
    char* path = tl_printf("%s/%s", scratch, name);
    assert_int_equal(mkdir(path, 0700), 0);
    return path;
}

static bool take_bait(void) {
    bool made = tl_file_exists(bait);
    if (made)
        unlink(bait);
    return made;
}

// ---- one deck, once

static tl_probe outputs[] = {{'n', 2}};

static tl_status ask(void* context, size_t job, tl_request* request, tl_error* error) {
    (void)job;
    (void)error;
    *request = (tl_request){.deck = context, .per_decade = 5, .low_hz = 10, .high_hz = 1e5};
    return TL_OK;
}

static tl_status take(void* context, size_t job, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    (void)context;
    (void)job;
    (void)request;
    (void)again;
    (void)error;
    return reply->points == 21 ? TL_OK : TL_FAILURE;
}

static tl_pool* make_pool(void) {
    tl_pool_options options = {.jobs = 1, .worker_path = worker};
    tl_pool* pool = NULL;
    assert_int_equal(tl_pool_new(&options, &pool, NULL), TL_OK);
    return pool;
}

static tl_status solve(tl_pool* pool, const char* text, char** words) {
    static unsigned long id = 0;
    tl_deck deck = {++id, tl_copy(text), 0, NULL, 1, outputs};
    tl_pool_work work = {.context = &deck, .ask = ask, .take = take};
    tl_error* error = tl_error_new();
    tl_status status = tl_pool_run(pool, 1, &work, error);
    if (words)
        *words = tl_copy(tl_error_text(error));
    else if (status != TL_OK)
        print_message("%s\n", tl_error_text(error));
    tl_error_free(error);
    free(deck.text);
    return status;
}

static const char good[] = "good\nv1 1 0 dc 0 ac 1\nr1 1 2 1k\nr2 2 0 1k\n.end\n";

/// Solves a good deck with a new worker, in this process's present surroundings.
static tl_status solve_good(void) {
    tl_pool* pool = make_pool();
    tl_status status = solve(pool, good, NULL);
    tl_pool_free(pool);
    return status;
}

/// Runs the `ngspice` program on a deck, in this process's present surroundings.
static void run_plain(const char* text) {
    write_file(scratch, "plain.cir", text);
    char* command = tl_printf(
        "timeout 20 ngspice -b '%s/plain.cir' >'%s/plain.out' 2>&1 </dev/null", scratch, scratch);
    int status = system(command);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) != 127); // it must be there to be tried
    free(command);
}

static bool plain_said(const char* words) {
    char* path = tl_printf("%s/plain.out", scratch);
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read(path, 1 << 20, &text, &size, NULL), TL_OK);
    bool said = strstr(text, words) != NULL;
    free(text);
    free(path);
    return said;
}

// ---- hostile decks

typedef struct {
    const char* what;
    const char* lines; // %s: the bait
} hostile;

static const hostile hostiles[] = {
    {"shell in a control block", ".control\nshell touch %s\n.endc\n"},
    {"shell in a comment", "*# shell touch %s\n"},
    {"back-quotes in a control block", ".control\necho `touch %s`\n.endc\n"},
    {"output redirected", ".control\necho hello > %s\n.endc\n"},
    {"vectors written", ".control\nop\nwrite %s v(2)\n.endc\n"},
    {"a table written", ".control\nop\nwrdata %s v(2)\n.endc\n"},
    {"a variable with back-quotes", ".control\nset x = `touch %s`\n.endc\n"},
    {"an alter with back-quotes", ".control\nalter r1 = `touch %s; echo 5`\n.endc\n"},
};

static char* hostile_deck(const hostile* deck) {
    tl_text text = {0};
    tl_text_add(&text, "hostile\nv1 1 0 dc 0 ac 1\nr1 1 2 1k\nr2 2 0 1k\n");
    const char* at = deck->lines;
    const char* hole = strstr(at, "%s");
    tl_text_add_bytes(&text, at, (size_t)(hole - at));
    tl_text_add(&text, bait);
    tl_text_add(&text, hole + 2);
    tl_text_add(&text, ".end\n");
    return tl_text_take(&text);
}

static void test_hostile_decks(void** state) {
    (void)state;
    for (size_t i = 0; i < sizeof hostiles / sizeof *hostiles; ++i) {
        char* text = hostile_deck(&hostiles[i]);
        run_plain(text);
        if (!take_bait())
            fail_msg("%s: is no danger", hostiles[i].what);
        tl_pool* pool = make_pool();
        char* words = NULL;
        tl_status status = solve(pool, text, &words);
        if (take_bait())
            fail_msg("%s: the worker made the file", hostiles[i].what);
        if (status != TL_FAILURE || !strstr(words, "stopped by its guard"))
            fail_msg("%s: status %d, %s", hostiles[i].what, status, words);
        assert_int_equal(solve(pool, good, NULL), TL_OK); // the pool goes on
        tl_pool_free(pool);
        free(words);
        free(text);
    }
}

// A deck must not read files into an error message either.
static void test_included_file(void** state) {
    (void)state;
    write_file(scratch, "secret.txt", "secretword is this line\n");
    char* text = tl_printf("include\nv1 1 0 ac 1\nr1 1 2 1k\nr2 2 0 1k\n.include %s/secret.txt\n"
                           ".end\n",
                           scratch);
    run_plain(text);
    assert_true(plain_said("secretword"));
    tl_pool* pool = make_pool();
    char* words = NULL;
    assert_int_equal(solve(pool, text, &words), TL_FAILURE);
    assert_null(strstr(words, "secretword"));
    free(words);
    tl_pool_free(pool);
    free(text);
}

// ---- hostile surroundings

static char* hostile_script(void) {
    return tl_printf("* start-up file\nshell touch %s\n", bait);
}

static void enter(const char* folder) {
    assert_int_equal(chdir(folder), 0);
}

static void test_spiceinit_here(void** state) {
    (void)state;
    char* folder = make_folder("here");
    char* script = hostile_script();
    write_file(folder, ".spiceinit", script);
    enter(folder);
    run_plain(good);
    assert_true(take_bait());
    assert_int_equal(solve_good(), TL_OK);
    assert_false(take_bait());
    enter("/");
    free(script);
    free(folder);
}

static void test_home_variable(void** state) {
    (void)state;
    char* folder = make_folder("home");
    char* script = hostile_script();
    write_file(folder, ".spiceinit", script);
    char* kept = tl_copy(getenv("HOME"));
    setenv("HOME", folder, 1);
    enter("/");
    run_plain(good);
    assert_true(take_bait());
    assert_int_equal(solve_good(), TL_OK);
    assert_false(take_bait());
    if (kept)
        setenv("HOME", kept, 1);
    free(kept);
    free(script);
    free(folder);
}

static void test_spice_scripts(void** state) {
    (void)state;
    char* folder = make_folder("scripts");
    char* script = hostile_script();
    write_file(folder, "spinit", script);
    setenv("SPICE_SCRIPTS", folder, 1);
    enter("/");
    run_plain(good);
    assert_true(take_bait());
    assert_int_equal(solve_good(), TL_OK);
    assert_false(take_bait());
    unsetenv("SPICE_SCRIPTS");
    free(script);
    free(folder);
}

/// Puts our folder over another, seen by this process only. False without the right to do so.
static bool cover(const char* covered, const char* folder) {
    uid_t user = getuid();
    if (unshare(CLONE_NEWNS) != 0) {
        if (unshare(CLONE_NEWUSER | CLONE_NEWNS) != 0)
            return false;
        char map[64];
        int size = snprintf(map, sizeof map, "%u %u 1", user, user);
        int file = open("/proc/self/uid_map", O_WRONLY | O_CLOEXEC);
        bool mapped = file >= 0 && write(file, map, (size_t)size) == size;
        close(file);
        if (!mapped)
            return false;
    }
    return mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0 &&
           mount(folder, covered, NULL, MS_BIND, NULL) == 0;
}

enum { RAN_NOTHING = 10, NOT_ALLOWED, PLAIN_IS_SAFE, WORKER_RAN_IT, WORKER_FAILED };

static int swallow(char* line, int id, void* context) {
    (void)line;
    (void)id;
    (void)context;
    return 0;
}

/// Starts libngspice bare, in a process of its own, as a program that knows no better would. (The
/// `ngspice` program looks into HOME, the library into the home of the password database.)
static void start_library(void) {
    pid_t child = fork();
    if (child == 0) {
        typedef int start(int (*print)(char*, int, void*), void*, void*, void*, void*, void*,
                          void*);
        void* library = dlopen("libngspice.so.0", RTLD_NOW);
        start* init = library ? (start*)(uintptr_t)dlsym(library, "ngSpice_Init") : NULL;
        if (init)
            init(swallow, NULL, NULL, NULL, NULL, NULL, NULL);
        _exit(0);
    }
    waitpid(child, NULL, 0);
}

/// The child's part: a folder where the library looks for a start-up file holds a hostile one.
static int try_folder(const char* covered, const char* folder) {
    if (!cover(covered, folder))
        return NOT_ALLOWED;
    setenv("HOME", "/", 1);
    enter("/");
    start_library();
    if (!take_bait())
        return PLAIN_IS_SAFE;
    if (solve_good() != TL_OK)
        return WORKER_FAILED;
    return take_bait() ? WORKER_RAN_IT : RAN_NOTHING;
}

static void expect_unread(const char* covered, const char* folder, const char* name) {
    char* script = hostile_script();
    write_file(folder, name, script);
    free(script);
    pid_t child = fork();
    if (child == 0)
        _exit(try_folder(covered, folder));
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    if (WEXITSTATUS(status) == NOT_ALLOWED) {
        print_message("skipped: this user may not cover a folder by a mount of its own\n");
        skip();
    }
    assert_int_equal(WEXITSTATUS(status), RAN_NOTHING);
}

static void test_home_of_the_password_database(void** state) {
    (void)state;
    char* folder = make_folder("pwhome");
    const struct passwd* user = getpwuid(getuid());
    assert_non_null(user);
    expect_unread(user->pw_dir, folder, ".spiceinit");
    free(folder);
}

// Where Debian's ngspice looks for its own start-up file.
static void test_installed_spinit(void** state) {
    (void)state;
    char* folder = make_folder("installed");
    expect_unread("/usr/share/ngspice/scripts", folder, "spinit");
    free(folder);
}

// ---- what is left, and what is let in

static size_t count_files(const char* folder) {
    DIR* open_folder = opendir(folder);
    assert_non_null(open_folder);
    size_t count = 0;
    for (const struct dirent* at; (at = readdir(open_folder));)
        count += strcmp(at->d_name, ".") != 0 && strcmp(at->d_name, "..") != 0;
    closedir(open_folder);
    return count;
}

static void test_nothing_left(void** state) {
    (void)state;
    char* folder = make_folder("temporary");
    setenv("TMPDIR", folder, 1);
    enter(folder);
    tl_pool* pool = make_pool();
    assert_int_equal(solve(pool, good, NULL), TL_OK);
    assert_int_equal(count_files(folder), 0); // while it lives
    kill(tl_pool_worker_pid(pool, 0), SIGKILL);
    tl_pool_free(pool);
    for (int i = 0; i < 30; ++i) { // ended at any moment of its start
        pool = make_pool();
        struct timespec moment = {.tv_nsec = i * 200000L};
        nanosleep(&moment, NULL);
        if (i % 2)
            kill(tl_pool_worker_pid(pool, 0), SIGINT);
        tl_pool_free(pool);
        assert_int_equal(count_files(folder), 0);
    }
    setenv("TMPDIR", "/nonexistent", 1);
    assert_int_equal(solve_good(), TL_OK);
    unsetenv("TMPDIR");
    enter("/");
    free(folder);
}

static char* read_proc(pid_t pid, const char* name) {
    char path[64];
    snprintf(path, sizeof path, "/proc/%d/%s", (int)pid, name);
    int file = open(path, O_RDONLY | O_CLOEXEC);
    assert_true(file >= 0);
    char block[8192];
    ssize_t got = read(file, block, sizeof block - 1);
    close(file);
    for (ssize_t i = 0; i < got; ++i)
        if (!block[i])
            block[i] = '\n';
    block[got > 0 ? got : 0] = '\0';
    return tl_copy(block);
}

static char* read_link(pid_t pid, const char* name) {
    char path[64];
    snprintf(path, sizeof path, "/proc/%d/%s", (int)pid, name);
    char target[4096];
    ssize_t got = readlink(path, target, sizeof target - 1);
    assert_true(got > 0);
    target[got] = '\0';
    return tl_copy(target);
}

static void test_surroundings(void** state) {
    (void)state;
    setenv("TONELOAD_TEST_SECRET", "hush", 1);
    int leak = open("/etc/passwd", O_RDONLY); // a host that does not close on exec
    assert_true(leak >= 0);
    tl_pool* pool = make_pool();
    assert_int_equal(solve(pool, good, NULL), TL_OK);
    close(leak);
    pid_t pid = tl_pool_worker_pid(pool, 0);
    char* environment = read_proc(pid, "environ");
    char* status = read_proc(pid, "status");
    char* limits = read_proc(pid, "limits");
    char* descriptors = tl_printf("/proc/%d/fd", (int)pid);
    char* folder = read_link(pid, "cwd");
    assert_string_equal(environment, "");
    assert_string_equal(folder, "/");
    free(folder);
    assert_int_equal(count_files(descriptors), 4);
    assert_non_null(strstr(status, "\nSeccomp:\t2\n"));
    assert_non_null(strstr(status, "\nNoNewPrivs:\t1\n"));
    assert_non_null(strstr(status, "\nThreads:\t1\n"));
    assert_non_null(strstr(limits, "Max core file size        0                    0 "));
    if (!SANITIZED)
        assert_non_null(
            strstr(limits, "Max data size             2147483648           2147483648 "));
    tl_pool_free(pool);
    free(environment);
    free(status);
    free(limits);
    free(descriptors);
    unsetenv("TONELOAD_TEST_SECRET");
}

// ---- a parent that dies

static bool is_running(pid_t pid) {
    char path[64];
    snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
    char* text = NULL;
    size_t size = 0;
    if (tl_file_read(path, 4096, &text, &size, NULL) != TL_OK)
        return false;
    const char* behind = strrchr(text, ')');
    bool running = behind && behind[2] != 'Z' && behind[2] != 'X';
    free(text);
    return running;
}

/// A ladder so long that a sweep of it takes a worker seconds.
static char* long_ladder(void) {
    tl_text text = {0};
    tl_text_add(&text, "long\nv1 1 0 dc 0 ac 1\n");
    for (int i = 1; i < 5000; ++i)
        tl_text_addf(&text, "r%d %d %d 1\nc%d %d 0 1n\nl%d %d 0 1\n", i, i, i + 1, i, i + 1, i,
                     i + 1);
    tl_text_add(&text, ".end\n");
    return tl_text_take(&text);
}

static tl_status ask_much(void* context, size_t job, tl_request* request, tl_error* error) {
    tl_status status = ask(context, job, request, error);
    request->per_decade = 1000;
    return status;
}

static tl_status take_again(void* context, size_t job, const tl_reply* reply, tl_request* request,
                            bool* again, tl_error* error) {
    (void)context;
    (void)job;
    (void)reply;
    (void)request;
    (void)error;
    *again = true;
    return TL_OK;
}

/// The child's part: makes a worker, tells its number, and goes on until it is killed.
static void be_parent(int line, bool busy) {
    tl_pool* pool = make_pool();
    if (solve(pool, good, NULL) != TL_OK)
        _exit(1);
    pid_t pid = tl_pool_worker_pid(pool, 0);
    if (write(line, &pid, sizeof pid) != sizeof pid)
        _exit(1);
    if (!busy)
        pause();
    tl_deck deck = {99, long_ladder(), 0, NULL, 1, outputs};
    tl_pool_work work = {.context = &deck, .ask = ask_much, .take = take_again};
    tl_pool_run(pool, 1, &work, NULL);
    _exit(1);
}

static void expect_end(bool busy) {
    int line[2];
    assert_int_equal(pipe(line), 0);
    pid_t child = fork();
    if (child == 0)
        be_parent(line[1], busy);
    close(line[1]);
    pid_t pid = 0;
    assert_int_equal(read(line[0], &pid, sizeof pid), (ssize_t)sizeof pid);
    close(line[0]);
    struct timespec moment = {.tv_nsec = 300000000};
    nanosleep(&moment, NULL);
    assert_true(is_running(pid));
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    double start_s = tl_wire_now_s();
    while (is_running(pid) && tl_wire_now_s() - start_s < 5)
        nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
    double took_s = tl_wire_now_s() - start_s;
    print_message("a worker %s ends %.0f ms after its parent\n", busy ? "at work" : "at rest",
                  took_s * 1e3);
    assert_true(took_s < 2);
}

static void test_parent_dies(void** state) {
    (void)state;
    expect_end(false);
    expect_end(true);
}

// ---- a worker fed by someone else

static void test_rubbish_on_the_wire(void** state) {
    (void)state;
    tl_wire_task task = {.deck_id = 1, .low_hz = 10, .high_hz = 100, .per_decade = 5};
    double values[] = {1, 2};
    tl_wire_name varied[] = {{'r', 1}, {'c', 2}};
    tl_wire_name nodes[] = {{'n', 2}};
    task.values = values;
    task.varied = varied;
    task.outputs = nodes;
    task.value_count = task.varied_count = 2;
    task.output_count = 1;
    task.set_count = 1;
    task.text = good;
    size_t size = 0;
    void* body = tl_wire_pack_task(&task, &size);
    tl_wire_frame frame = {TL_WIRE_TASK, size, body};
    tl_wire_task read;
    assert_true(tl_wire_unpack_task(&frame, &read));
    assert_string_equal(read.text, good);
    assert_memory_equal(read.values, values, sizeof values);
    assert_memory_equal(read.varied, varied, sizeof varied);
    // Every other size, and every number in the head taken to its end, must be refused or harmless.
    for (frame.size = 0; frame.size < size; ++frame.size)
        assert_false(tl_wire_unpack_task(&frame, &read));
    frame.size = size;
    for (size_t i = 0; i < 6; ++i) {
        static const size_t places[] = {28, 32, 36, 40, 44, 88}; // the last: sets of values
        size_t at = places[i];
        uint32_t kept;
        uint32_t huge = 0xffffffff;
        memcpy(&kept, (char*)body + at, 4);
        memcpy((char*)body + at, &huge, 4);
        assert_false(tl_wire_unpack_task(&frame, &read));
        memcpy((char*)body + at, &kept, 4);
    }
    assert_true(tl_wire_unpack_task(&frame, &read));
    free(body);
}

/// Sets of values whose count, or the size that follows from it, cannot be.
static void test_rubbish_sets(void** state) {
    (void)state;
    double values[] = {1, 2, 3, 4};
    tl_wire_task task = {.deck_id = 1, .set_count = 2, .value_count = 2, .values = values};
    size_t size = 0;
    void* body = tl_wire_pack_task(&task, &size);
    tl_wire_frame frame = {TL_WIRE_TASK, size, body};
    tl_wire_task read;
    assert_true(tl_wire_unpack_task(&frame, &read));
    assert_int_equal(read.set_count, 2);
    assert_memory_equal(read.values, values, sizeof values);
    char* bytes = body;
    for (uint32_t sets = 0; sets < 5; ++sets) {
        memcpy(bytes + 88, &sets, sizeof sets);
        assert_int_equal(tl_wire_unpack_task(&frame, &read), sets == 2);
    }
    uint32_t two = 2;
    memcpy(bytes + 88, &two, sizeof two);
    for (uint32_t analysis = TL_SWEEP; analysis <= TL_NOISE; ++analysis) {
        memcpy(bytes + 44, &analysis, sizeof analysis);
        assert_int_equal(tl_wire_unpack_task(&frame, &read), analysis == TL_SWEEP);
    }
    free(body);
    // Counts whose product is just too large, or does not fit a size at all.
    assert_int_equal(tl_wire_curve_size(TL_SWEEP, 1, 21, 2), 16 + 8 * 21 * 5);
    assert_int_equal(tl_wire_curve_size(TL_SWEEP, 3, 21, 2), 16 + 8 * 21 * 13);
    assert_int_equal(tl_wire_curve_size(TL_SWEEP, 0, 21, 2), 0);
    assert_int_equal(tl_wire_curve_size(TL_POINT, 2, 1, 2), 0);
    assert_int_not_equal(tl_wire_curve_size(TL_SWEEP, 99864, 21, 2), 0);
    assert_int_equal(tl_wire_curve_size(TL_SWEEP, 99865, 21, 2), 0);
    assert_int_equal(tl_wire_curve_size(TL_SWEEP, 100001, 1, 1), 0);
    assert_int_equal(tl_wire_curve_size(TL_SWEEP, 100000, 4001, 100000), 0);
    assert_int_equal(tl_wire_curve_size(TL_SWEEP, SIZE_MAX, SIZE_MAX, SIZE_MAX), 0);
}

/// Starts the shipped worker by hand, says `size` bytes to it, and returns how it ends.
static int feed_worker(const void* bytes, size_t size) {
    int ends[2];
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends), 0);
    pid_t child = fork();
    if (child == 0) {
        dup2(ends[1], TL_WIRE_SOCKET);
        fcntl(TL_WIRE_SOCKET, F_SETFD, 0);
        execl(TL_BINARY_DIR "/toneload-worker", "toneload-worker", (char*)NULL);
        _exit(99);
    }
    close(ends[1]);
    tl_wire_frame hello;
    assert_int_equal(tl_wire_receive(ends[0], &hello, tl_wire_now_s() + 10), TL_WIRE_DONE);
    assert_int_equal(hello.kind, TL_WIRE_HELLO);
    tl_wire_frame_free(&hello);
    assert_int_equal(send(ends[0], bytes, size, MSG_NOSIGNAL), (ssize_t)size);
    tl_wire_frame frame;
    tl_wire_end end = tl_wire_receive(ends[0], &frame, tl_wire_now_s() + 10);
    assert_int_equal(end, TL_WIRE_ENDED);
    close(ends[0]);
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void test_rubbish_to_the_worker(void** state) {
    (void)state;
    assert_int_equal(feed_worker("GET / HTTP/1.1\r\n\r\n12345678", 26), 0);
    int ends[2]; // a true head, taken off a frame of our own
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends), 0);
    uint32_t words[40] = {[22] = 1}; // one set of no values
    assert_int_equal(tl_wire_send(ends[0], TL_WIRE_TASK, words, sizeof words, 0), TL_WIRE_DONE);
    uint32_t frame[44];
    assert_int_equal(recv(ends[1], frame, sizeof frame, MSG_WAITALL), (ssize_t)sizeof frame);
    close(ends[0]);
    close(ends[1]);
    assert_int_equal(feed_worker(frame, sizeof frame), 2); // 64 bytes too many for its counts
    frame[3] = 0xffffffff;                                 // the size
    assert_int_equal(feed_worker(frame, sizeof frame), 0);
    frame[3] = sizeof words;
    frame[2] = TL_WIRE_CURVE; // the kind
    assert_int_equal(feed_worker(frame, sizeof frame), 2);
}

/// Runs a good deck on a program that only pretends to be the worker.
static char* trust_program(const char* script) {
    write_file(scratch, "false-worker", script);
    char* path = tl_printf("%s/false-worker", scratch);
    assert_int_equal(chmod(path, 0700), 0);
    tl_pool_options options = {.jobs = 1, .time_limit_s = 1, .worker_path = path};
    tl_pool* pool = NULL;
    char* words = NULL;
    assert_int_equal(tl_pool_new(&options, &pool, NULL), TL_OK);
    assert_int_equal(solve(pool, good, &words), TL_FAILURE);
    tl_pool_free(pool);
    free(path);
    return words;
}

static void test_false_workers(void** state) {
    (void)state;
    char* words = trust_program("#!/bin/sh\nhead -c 64 /dev/zero >&3\nexec sleep 9\n");
    assert_non_null(strstr(words, "does not belong to this version"));
    free(words);
    words = trust_program("#!/bin/sh\nexec sleep 9\n");
    assert_non_null(strstr(words, "did not answer within 1 s"));
    free(words);
    words = trust_program("#!/bin/sh\nprintf 'a\\033[31mred\\n'; exit 7\n");
    assert_non_null(strstr(words, "(exit status 7)"));
    assert_non_null(strstr(words, "a\\x1b[31mred")); // shown, not obeyed
    free(words);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_hostile_decks),
        cmocka_unit_test(test_included_file),
        cmocka_unit_test(test_spiceinit_here),
        cmocka_unit_test(test_home_variable),
        cmocka_unit_test(test_spice_scripts),
        cmocka_unit_test(test_home_of_the_password_database),
        cmocka_unit_test(test_installed_spinit),
        cmocka_unit_test(test_nothing_left),
        cmocka_unit_test(test_surroundings),
        cmocka_unit_test(test_parent_dies),
        cmocka_unit_test(test_rubbish_on_the_wire),
        cmocka_unit_test(test_rubbish_sets),
        cmocka_unit_test(test_rubbish_to_the_worker),
        cmocka_unit_test(test_false_workers),
    };
    return cmocka_run_group_tests_name("solve: guard", tests, set_up, tear_down);
}

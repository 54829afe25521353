// SPDX-License-Identifier: GPL-3.0-or-later
/// @file spice_text.h SPICE text through our reader, and decks through the ngspice program.
#ifndef TESTS_CIRCUIT_SPICE_TEXT_H
#define TESTS_CIRCUIT_SPICE_TEXT_H

#include "base/file.h"
#include "base/text.h"
#include "circuit/netlist.h"

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

/// A text and the netlist made of it. `netlist` is NULL when the text was refused.
typedef struct {
    tl_input* input;
    tl_netlist* netlist;
} spice;

static inline spice spice_of_bytes(const char* text, size_t size, const char* name,
                                   tl_error* error) {
    spice made = {tl_input_new("user.cir", text, size), NULL};
    const tl_place place = {made.input, 1, 1};
    tl_status status = tl_netlist_read(made.input, name, &place, &made.netlist, error);
    if ((status == TL_OK) != (made.netlist != NULL))
        abort();
    return made;
}

static inline spice spice_of(const char* text, const char* name, tl_error* error) {
    return spice_of_bytes(text, strlen(text), name, error);
}

static inline void spice_free(spice* made) {
    tl_netlist_free(made->netlist);
    tl_input_free(made->input);
    *made = (spice){0};
}

/// What is written with nodes 1, 2, ... in the netlist's own order. Free with free().
static inline char* spice_written(const tl_netlist* netlist, unsigned first) {
    size_t count = tl_netlist_node_count(netlist);
    unsigned* nodes = tl_new(count, sizeof *nodes);
    for (unsigned i = 0; i < count; ++i)
        nodes[i] = i;
    tl_text text = {0};
    tl_netlist_write(netlist, &text, nodes, first);
    free(nodes);
    return tl_text_take(&text);
}

/// How a run of ngspice ended.
typedef enum { RAN, CRASHED, HUNG } run_end;

/// Sleeps for 10 ms.
static inline void doze(void) {
    const struct timespec nap = {0, 10 * 1000 * 1000};
    nanosleep(&nap, NULL);
}

/// Runs `ngspice -b deck.cir` in a folder, its words in the file `words` there.
static inline run_end run_ngspice(const char* folder, const char* deck, size_t size,
                                  double patience_s) {
    char* path = tl_printf("%s/deck.cir", folder);
    if (tl_file_write(path, deck, size, NULL) != TL_OK)
        abort();
    free(path);
    pid_t child = fork();
    if (child == 0) {
        const struct rlimit memory = {4UL << 30, 4UL << 30};
        const struct rlimit core = {0, 0};
        int words = -1;
        if (chdir(folder) == 0 &&
            (words = open("words", O_CREAT | O_WRONLY | O_TRUNC, 0600)) >= 0 &&
            dup2(words, 1) == 1 && dup2(words, 2) == 2 && setrlimit(RLIMIT_CORE, &core) == 0 &&
            setrlimit(RLIMIT_AS, &memory) == 0)
            execlp("ngspice", "ngspice", "-b", "deck.cir", (char*)NULL);
        _exit(99);
    }
    int status = 0;
    for (int naps = 0; waitpid(child, &status, WNOHANG) == 0; ++naps) {
        if (naps * 0.01 > patience_s) {
            kill(child, SIGKILL);
            waitpid(child, &status, 0);
            return HUNG;
        }
        doze();
    }
    if (WIFEXITED(status) && WEXITSTATUS(status) == 99)
        abort();
    return WIFSIGNALED(status) ? CRASHED : RAN;
}

static inline char* words_of_run(const char* folder) {
    char* path = tl_printf("%s/words", folder);
    char* text = NULL;
    size_t size = 0;
    if (tl_file_read(path, 100000000, &text, &size, NULL) != TL_OK)
        abort();
    free(path);
    return text;
}

#endif

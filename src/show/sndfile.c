// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/sndfile.h"

#include <dlfcn.h>
#include <pthread.h>
#include <stdbool.h>
#include <string.h>

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static tl_sndfile routines;
static bool loaded;

/// Puts a symbol's address into a function pointer, as POSIX has it done.
static bool find(void* library, const char* name, void* pointer) {
    void* address = dlsym(library, name);
    memcpy(pointer, &address, sizeof address);
    return address != NULL;
}

static void load(void) {
    void* library = dlopen("libsndfile.so.1", RTLD_LAZY | RTLD_LOCAL);
    loaded = library && find(library, "sf_open_fd", &routines.open_fd) &&
             find(library, "sf_close", &routines.close) &&
             find(library, "sf_seek", &routines.seek) &&
             find(library, "sf_readf_double", &routines.read) &&
             find(library, "sf_writef_double", &routines.write) &&
             find(library, "sf_strerror", &routines.words);
}

const tl_sndfile* tl_sndfile_get(tl_error* error) {
    pthread_once(&once, load);
    if (loaded)
        return &routines;
    tl_error_set(error, TL_FAILURE, "libsndfile.so.1 cannot be loaded: it is needed for sound");
    return NULL;
}

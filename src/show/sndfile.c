// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/sndfile.h"

#include "base/symbol.h"

#include <dlfcn.h>
#include <pthread.h>
#include <stdbool.h>

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static tl_sndfile routines;
static bool loaded;

static void load(void) {
    void* library = dlopen("libsndfile.so.1", RTLD_LAZY | RTLD_LOCAL);
    loaded = library && tl_symbol_find(library, "sf_open_fd", &routines.open_fd) &&
             tl_symbol_find(library, "sf_close", &routines.close) &&
             tl_symbol_find(library, "sf_seek", &routines.seek) &&
             tl_symbol_find(library, "sf_readf_double", &routines.read) &&
             tl_symbol_find(library, "sf_writef_double", &routines.write) &&
             tl_symbol_find(library, "sf_strerror", &routines.words);
}

const tl_sndfile* tl_sndfile_get(tl_error* error) {
    pthread_once(&once, load);
    if (loaded)
        return &routines;
    tl_error_set(error, TL_FAILURE, "libsndfile.so.1 cannot be loaded: it is needed for sound");
    return NULL;
}

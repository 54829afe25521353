// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/gsl.h"

#include "base/symbol.h"

#include <dlfcn.h>
#include <pthread.h>

static const char file[] = "libgsl.so.27";

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static void* library;

static void load(void) {
    library = dlopen(file, RTLD_LAZY | RTLD_LOCAL);
}

bool tl_gsl_find(const char* name, void* pointer) {
    pthread_once(&once, load);
    return library && tl_symbol_find(library, name, pointer);
}

tl_status tl_gsl_missing(tl_error* error, const char* what) {
    return tl_error_set(error, TL_FAILURE, "%s cannot be loaded: it is needed for %s", file, what);
}

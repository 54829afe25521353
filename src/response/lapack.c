// SPDX-License-Identifier: GPL-3.0-or-later
#include "response/lapack.h"

#include "base/symbol.h"
#include "toneload/response.h"

#include <dlfcn.h>
#include <pthread.h>
#include <stdbool.h>

// Filled in once and only read after that.
static pthread_once_t once = PTHREAD_ONCE_INIT;
static tl_lapack routines;
static bool loaded;

static void load(void) {
    void* library = dlopen("liblapacke.so.3", RTLD_LAZY | RTLD_LOCAL);
    loaded = library && tl_symbol_find(library, "LAPACKE_dgeqrf_work", &routines.dgeqrf) &&
             tl_symbol_find(library, "LAPACKE_dtrtrs_work", &routines.dtrtrs) &&
             tl_symbol_find(library, "LAPACKE_dlarfg_work", &routines.dlarfg) &&
             tl_symbol_find(library, "LAPACKE_dlarfx_work", &routines.dlarfx) &&
             tl_symbol_find(library, "LAPACKE_dggev_work", &routines.dggev);
}

const tl_lapack* tl_lapack_get(void) {
    pthread_once(&once, load);
    return loaded ? &routines : NULL;
}

tl_status tl_response_prepare(tl_error* error) {
    if (tl_lapack_get())
        return TL_OK;
    return tl_error_set(error, TL_FAILURE,
                        "liblapacke.so.3 cannot be loaded: it is needed to fit responses");
}

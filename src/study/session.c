// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/session.h"

#include "base/file.h"
#include "base/text.h"
#include "circuit/design.h"
#include "parts/library.h"

#include <stdlib.h>
#include <string.h>

/// Opens a design that a rig names, once a file.
static tl_status open_design(void* context, const char* path, const tl_place* place,
                             const tl_design** design, tl_error* error) {
    tl_session* session = context;
    char* beside = tl_file_beside(place->in ? place->in->name : "", path);
    *design = NULL;
    for (size_t i = 0; i < session->design_count && !*design; ++i)
        if (strcmp(session->designs[i]->path, beside) == 0)
            *design = session->designs[i];
    tl_design* made = NULL;
    tl_status status = *design ? TL_OK : tl_design_read(beside, &made, error);
    if (made) {
        session->designs =
            tl_grow(session->designs, session->design_count + 1, sizeof *session->designs);
        session->designs[session->design_count++] = made;
        *design = made;
    }
    if (status != TL_OK && place->in)
        tl_error_prefix(error, "%s:%zu: circuit", place->in->name, place->line);
    free(beside);
    return status;
}

tl_status tl_session_new(const tl_session_options* options, tl_session** session, tl_error* error) {
    *session = NULL;
    tl_session* made = tl_new(1, sizeof *made);
    made->options = *options;
    tl_pool_options pool = {
        .jobs = options->jobs, .time_limit_s = options->time_limit_s, .one_job = options->one_rig};
    tl_status status = options->solves ? tl_pool_new(&pool, &made->pool, error) : TL_OK;
    if (status == TL_OK)
        status = tl_library_open(options->parts_folder, &made->library, error);
    if (status == TL_OK)
        tl_library_set_opener(made->library, open_design, made);
    if (status == TL_OK && options->solves)
        status = tl_response_prepare(error); // while the worker starts
    if (status != TL_OK) {
        tl_session_free(made);
        return status;
    }
    *session = made;
    return TL_OK;
}

void tl_session_free(tl_session* session) {
    if (!session)
        return;
    tl_pool_free(session->pool);
    for (size_t i = 0; i < session->design_count; ++i)
        tl_design_free(session->designs[i]);
    free(session->designs);
    tl_noise_forget(&session->noises);
    tl_library_free(session->library);
    free(session);
}

tl_library* tl_session_library(const tl_session* session) {
    return session->library;
}

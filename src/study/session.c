// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/session.h"

#include "base/text.h"

#include <stdlib.h>

tl_status tl_session_new(const tl_session_options* options, tl_session** session, tl_error* error) {
    *session = NULL;
    tl_session* made = tl_new(1, sizeof *made);
    made->options = *options;
    tl_pool_options pool = {
        .jobs = options->jobs, .time_limit_s = options->time_limit_s, .one_job = options->one_rig};
    tl_status status = options->solves ? tl_pool_new(&pool, &made->pool, error) : TL_OK;
    if (status == TL_OK)
        status = tl_library_open(options->parts_folder, &made->library, error);
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
    tl_library_free(session->library);
    free(session);
}

tl_library* tl_session_library(const tl_session* session) {
    return session->library;
}

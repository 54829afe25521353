// SPDX-License-Identifier: GPL-3.0-or-later
// The main job: one rig and its direct, solved in one deck.
#include "study/session.h"

#include "base/locale.h"

static void blame(void* context, size_t index, tl_error* error) {
    (void)index;
    tl_error_prefix(error, "%s", tl_rig_path(context));
}

static tl_status study_response(tl_session* session, tl_rig* rig, double reference_hz,
                                tl_answer** answer, tl_error* error) {
    tl_circuit* circuit = tl_circuit_build(rig);
    tl_batch batch = {&circuit, 1, reference_hz, blame, rig};
    tl_status status = tl_batch_solve(session, &batch, answer, error);
    tl_circuit_free(circuit);
    return status;
}

tl_status tl_study_response(tl_session* session, tl_rig* rig, double reference_hz,
                            tl_answer** answer, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status result = study_response(session, rig, reference_hz, answer, error);
    tl_locale_restore(locale);
    return result;
}

void tl_differences_db(const tl_solved* rig, const tl_solved* direct, size_t count,
                       const double* hz, double* db) {
    for (size_t i = 0; i < count; ++i)
        db[i] = tl_response_db(rig->response, hz[i]) - tl_response_db(direct->response, hz[i]) -
                rig->hearing.level_db;
}

static char* study_netlist(tl_rig* rig) {
    tl_circuit* circuit = tl_circuit_build(rig);
    char* text = tl_circuit_export(circuit, rig);
    tl_circuit_free(circuit);
    return text;
}

char* tl_study_netlist(tl_rig* rig) {
    tl_locale locale = tl_locale_plain();
    char* result = study_netlist(rig);
    tl_locale_restore(locale);
    return result;
}

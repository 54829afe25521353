// SPDX-License-Identifier: GPL-3.0-or-later
// From replies to answers: every output fitted, and solved denser until the fit holds.
#include "study/session.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FIRST_PER_DECADE = 5, MOST_FREQUENCIES = 350 };
static const double LOW_HZ = 10;
static const double HIGH_HZ = 100e3;

tl_request tl_answer_request(const tl_deck* deck, const double* values) {
    return (tl_request){.deck = deck,
                        .values = values,
                        .per_decade = FIRST_PER_DECADE,
                        .low_hz = LOW_HZ,
                        .high_hz = HIGH_HZ};
}

/// Fits every output of a reply; false when one of them is not yet determined.
static bool fit_outputs(const tl_reply* reply, tl_answer* answer) {
    for (size_t i = 0; i < reply->outputs; ++i) {
        tl_solved* solved = &answer->solved[i];
        tl_response_free(solved->response);
        solved->response = tl_response_fit(reply->points, reply->hz, reply->h + i * reply->points,
                                           &solved->residual);
        if (!solved->response)
            return false;
    }
    return true;
}

bool tl_answer_denser(tl_request* request) {
    double decades = log10(request->high_hz / request->low_hz);
    unsigned denser = 2 * request->per_decade;
    if (denser * decades >= MOST_FREQUENCIES)
        return false;
    request->per_decade = denser;
    return true;
}

tl_answer* tl_answer_new(const tl_circuit* circuit) {
    tl_answer* answer = tl_new(1, sizeof *answer);
    answer->count = circuit->output_count;
    answer->solved = tl_new(answer->count, sizeof *answer->solved);
    for (size_t i = 0; i < answer->count; ++i) {
        answer->solved[i].name = circuit->outputs[i].direct ? "direct" : "rig";
        answer->solved[i].amp = tl_copy(circuit->outputs[i].amp);
    }
    return answer;
}

/// Holds a rig against the direct that follows it.
static void hear(tl_solved* rig, const tl_solved* direct) {
    if (strcmp(rig->name, "rig") == 0 && strcmp(direct->name, "direct") == 0)
        rig->hearing =
            tl_hearing_compare(rig->response, &rig->metrics, direct->response, &direct->metrics);
}

tl_status tl_answer_take(tl_answer* answer, const tl_reply* reply, double reference_hz,
                         tl_request* request, bool* again, tl_error* error) {
    answer->solves += reply->points;
    if (!fit_outputs(reply, answer)) {
        *again = tl_answer_denser(request);
        if (!*again)
            return tl_error_set(error, TL_FAILURE,
                                "%zu solved frequencies do not determine the response (held-out "
                                "ones are still missed): no figure would be safe",
                                reply->points);
        return TL_OK;
    }
    for (size_t i = 0; i < answer->count; ++i)
        answer->solved[i].metrics = tl_response_metrics(answer->solved[i].response, reference_hz);
    for (size_t i = 0; i + 1 < answer->count; ++i)
        hear(&answer->solved[i], &answer->solved[i + 1]);
    return TL_OK;
}

void tl_answer_free(tl_answer* answer) {
    if (!answer)
        return;
    for (size_t i = 0; i < answer->count; ++i) {
        tl_response_free(answer->solved[i].response);
        free(answer->solved[i].amp);
    }
    free(answer->solved);
    free(answer);
}

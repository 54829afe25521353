// SPDX-License-Identifier: GPL-3.0-or-later
// toneload compare: variants of a rig, or several rigs, side by side.
#include "cli/comparison.h"

#include <stdlib.h>

static tl_status show(const request* asked, tl_rig* const* rigs, const tl_comparison* comparison,
                      tl_error* error) {
    comparison_view view = comparison_look(asked, "compare", rigs, comparison);
    tl_status status = asked->plot ? comparison_draw(&view, asked->plot, error) : TL_OK;
    return status == TL_OK ? comparison_write(&view, error) : status;
}

static tl_status run(const request* asked, tl_error* error) {
    if (asked->word_count == 1 && !asked->vary_count)
        return tl_error_set(error, TL_BAD_INPUT,
                            "nothing to compare: give --vary PATH=V1,V2,.. or several rig files");
    tl_session* session = NULL;
    tl_comparison* comparison = NULL;
    tl_rig** rigs = calloc(asked->word_count, sizeof *rigs);
    if (!rigs)
        abort();
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    for (size_t i = 0; status == TL_OK && i < asked->word_count; ++i)
        status = tl_rig_read(tl_session_library(session), asked->words[i], &rigs[i], error);
    if (status == TL_OK)
        status = tl_study_compare(session, rigs, asked->word_count, asked->varies,
                                  asked->vary_count, asked->reference_hz, &comparison, error);
    if (status == TL_OK)
        status = show(asked, rigs, comparison, error);
    tl_comparison_free(comparison);
    for (size_t i = 0; i < asked->word_count; ++i)
        tl_rig_free(rigs[i]);
    free(rigs);
    tl_session_free(session);
    return status;
}

const command command_compare = {
    "compare",
    "RIG.yaml [RIG2.yaml ..] --vary PATH=V1,V2,..",
    "variants of a rig, or several rigs, side by side",
    "One row a variant. PATH names any value in the rig by its place (from 0) or by a name given\n"
    "to an item: chain[0].length, chain[drive].engaged, guitar.volume.position, chain[0].cable.\n"
    "Several --vary give every combination; the first changes slowest.\n"
    "\n"
    "  toneload compare rig.yaml --vary 'chain[0].cable=standard-coax,coiled-lead' \\\n"
    "      --vary 'chain[0].length=3 m,6 m,9 m' --plot cables.svg",
    OPTION_VARY | OPTION_PLOT | OPTION_JSON | OPTION_CSV | OPTION_POINTS | OPTION_REFERENCE |
        OPTION_OUTPUT | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1000,
    run,
};

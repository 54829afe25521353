// SPDX-License-Identifier: GPL-3.0-or-later
// toneload fit: a pickup's values from a measured sweep, and how well they are known.
#include "cli/command.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char* shown(const request* asked, const tl_fit* fit) {
    return asked->json  ? tl_json_text(tl_fit_json(fit))
           : asked->csv ? tl_fit_csv(fit)
                        : tl_fit_text(fit);
}

/// A folder of parts has one file a kind, called after it.
static void say_name(const char* path) {
    const char* slash = strrchr(path, '/');
    if (strcmp(slash ? slash + 1 : path, "pickup.yaml") == 0)
        return;
    char* safe = tl_show_safe(path);
    fprintf(stderr,
            "toneload: note: %s is found by its name in a folder of parts (--parts) only as "
            "pickup.yaml\n",
            safe);
    free(safe);
}

static tl_status write_out(const request* asked, const tl_fit* fit, tl_error* error) {
    tl_status status = asked->plot ? tl_fit_draw(fit, asked->plot, error) : TL_OK;
    if (status == TL_OK && asked->part) {
        status = tl_fit_write_part(fit, asked->part, asked->name, error);
        if (status == TL_OK)
            say_name(asked->part);
    }
    if (status != TL_OK)
        return status;
    char* text = shown(asked, fit);
    status = request_write(asked, text, error);
    free(text);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    if (asked->name && !asked->part)
        return tl_error_set(error, TL_BAD_INPUT, "--name goes with --part, the file it names");
    const tl_fit_options options = {.controls = asked->controls,
                                    .cable = asked->cable,
                                    .load = asked->load,
                                    .held = asked->hold,
                                    .robust = asked->robust};
    tl_session* session = NULL;
    tl_measured* sweep = NULL;
    tl_fit* fit = NULL;
    tl_status status = request_session(asked, SESSION_READS, &session, error);
    if (status == TL_OK && asked->plot)
        status = tl_plot_check_path(asked->plot, error);
    if (status == TL_OK)
        status = tl_measured_read(asked->words[0], &sweep, error);
    if (status == TL_OK)
        status = tl_study_fit(tl_session_library(session), sweep, asked->words[0], &options, &fit,
                              error);
    if (status == TL_OK)
        status = write_out(asked, fit, error);
    tl_fit_free(fit);
    tl_measured_free(sweep);
    tl_session_free(session);
    return status;
}

const command command_fit = {
    "fit",
    "FILE.csv",
    "a pickup's values from a measured sweep of impedance or response",
    "Reads a sweep (CSV with named columns, or Touchstone 1.1: .s1p, .z1p, .y1p) and works out "
    "the\n"
    "pickup's inductance, resistance, capacitance and, when the sweep calls for them, eddy "
    "losses,\n"
    "each with its interval of 95 %. Says which values the sweep cannot tell, and writes a part\n"
    "that rigs can use.\n"
    "\n"
    "  toneload fit sweep.csv --cable 'standard-coax=3 m' --part pickup.yaml --name neck",
    OPTION_CONTROLS | OPTION_CABLE | OPTION_LOAD | OPTION_HOLD | OPTION_ROBUST | OPTION_PART |
        OPTION_NAME | OPTION_PLOT | OPTION_JSON | OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS,
    1,
    1,
    run,
};

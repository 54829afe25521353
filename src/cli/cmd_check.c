// SPDX-License-Identifier: GPL-3.0-or-later
// toneload check: a rig as understood, without solving it.
#include "cli/command.h"
#include "cli/listing.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// Whether a part of the rig is listed, or one within it.
static bool has_part(const tl_inspection* found, const char* part) {
    size_t length = strlen(part);
    for (size_t i = 0; i < found->count; ++i)
        if (strncmp(found->rows[i].part, part, length) == 0 &&
            (!found->rows[i].part[length] || strchr(".[", found->rows[i].part[length])))
            return true;
    return false;
}

/// What is not looked at here, and who does.
static void print_others(FILE* to, const tl_inspection* found) {
    bool power = has_part(found, "power");
    bool board = has_part(found, "board");
    if (power || board)
        fprintf(to, "Not looked at here: %s%s%s.\n",
                power ? "the power (`toneload power` does)" : "", power && board ? " and " : "",
                board ? "whether the board fits (`toneload build` does)" : "");
}

static char* check_text(const tl_rig* rig, const tl_inspection* found) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    fprintf(to, "%s\n\n", tl_rig_title(rig));
    print_listing(to, found);
    fprintf(to,
            "\nCables in the path: %.4g m, %.4g pF in all; %.4g pF of it hang on the guitar.\n"
            "Direct: %.4g pF.\n\n",
            found->cable_m, 1e12 * found->cable_farad, 1e12 * found->first_cable_farad,
            1e12 * found->direct_cable_farad);
    if (!found->remark_count)
        fprintf(to, "Nothing looks wrong.\n");
    else
        fprintf(to, "What to look at (rules of thumb, common practice; `toneload response` tells "
                    "what it amounts to):\n");
    for (size_t i = 0; i < found->remark_count; ++i)
        fprintf(to, "- %s\n", found->remarks[i]);
    print_others(to, found);
    fclose(to);
    return text;
}

static char* check_json(const tl_rig* rig, const tl_inspection* found) {
    json_t* json = tl_json_open("check", tl_rig_title(rig));
    json_object_set_new(json, "values", listing_json(found));
    json_object_set_new(json, "cable_m", tl_json_number(found->cable_m));
    json_object_set_new(json, "cable_farad", tl_json_number(found->cable_farad));
    json_object_set_new(json, "guitar_cable_farad", tl_json_number(found->first_cable_farad));
    json_object_set_new(json, "direct_cable_farad", tl_json_number(found->direct_cable_farad));
    json_t* remarks = json_array();
    for (size_t i = 0; i < found->remark_count; ++i)
        json_array_append_new(remarks, json_string(found->remarks[i]));
    json_object_set_new(json, "remarks", remarks);
    return tl_json_text(json);
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_status status = request_session(asked, SESSION_READS, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    tl_inspection* found = NULL;
    if (status == TL_OK)
        status = tl_study_check(rig, &found, error);
    if (status == TL_OK) {
        char* text = asked->json  ? check_json(rig, found)
                     : asked->csv ? listing_csv(found)
                                  : check_text(rig, found);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_inspection_free(found);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_check = {
    "check",
    "RIG.yaml",
    "read a rig without solving it: values, origins, what looks wrong",
    "Lists the rig as understood, each value with how far it may be off and where it came from: a\n"
    "line of the file, or a library part and its source; the capacitance of all leads; and what a\n"
    "builder would look at twice.\n"
    "\n"
    "  toneload check rig.yaml",
    OPTION_JSON | OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS,
    1,
    1,
    run,
};

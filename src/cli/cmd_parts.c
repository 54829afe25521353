// SPDX-License-Identifier: GPL-3.0-or-later
// toneload parts: the part library with values and sources.
#include "cli/command.h"
#include "cli/listing.h"

#include <stdlib.h>

static char* parts_text(const tl_inspection* found) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    print_listing(to, found);
    fclose(to);
    return text;
}

static char* parts_json(const tl_inspection* found) {
    json_t* json = tl_json_open("parts", "");
    json_object_set_new(json, "rig", json_null());
    json_object_set_new(json, "values", listing_json(found));
    return tl_json_text(json);
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_inspection* found = NULL;
    tl_status status = request_session(asked, SESSION_READS, &session, error);
    if (status == TL_OK)
        status = tl_study_parts(tl_session_library(session),
                                asked->word_count ? asked->words[0] : NULL, &found, error);
    if (status == TL_OK) {
        char* text = asked->json  ? parts_json(found)
                     : asked->csv ? listing_csv(found)
                                  : parts_text(found);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_inspection_free(found);
    tl_session_free(session);
    return status;
}

const command command_parts = {
    "parts",
    "[KIND]",
    "the part library, with values and their sources",
    "Lists library parts of one kind (pickup, cable, pot, contact, pedal, buffer, amp, source, "
    "supply, draw, plug, fastener)\n"
    "or of all, each value with its source: a publication, 'common practice' or 'from memory'.\n"
    "\n"
    "  toneload parts cable",
    OPTION_JSON | OPTION_CSV | OPTION_OUTPUT | OPTION_PARTS,
    0,
    1,
    run,
};

// SPDX-License-Identifier: GPL-3.0-or-later
// toneload lesson: a page that teaches, with a rig's own figures, why long leads dull the top end.
#include "cli/command.h"

#include <stdio.h>
#include <stdlib.h>

static const char rig_otherwise[] = "rigs/long-cable.yaml";

/// Reads the rig that was named, or the one that comes with toneload.
static tl_status read_rig(const request* asked, tl_library* library, tl_rig** rig,
                          tl_error* error) {
    if (asked->word_count)
        return tl_rig_read(library, asked->words[0], rig, error);
    char* path = NULL;
    if (asprintf(&path, "%s/%s", tl_library_folder(library), rig_otherwise) < 0)
        abort();
    tl_status status = tl_rig_read(library, path, rig, error);
    free(path);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    if (!asked->out)
        return tl_error_set(error, TL_BAD_INPUT, "expected a name for the page: --out FILE.html");
    if (tl_plot_check_path(asked->out, NULL) == TL_OK)
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: a lesson is a page, not a picture: expected a name that ends in "
                            ".html",
                            asked->out);
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_lesson* lesson = NULL;
    char* page = NULL;
    tl_status status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = read_rig(asked, tl_session_library(session), &rig, error);
    if (status == TL_OK)
        status = tl_study_lesson(session, rig, asked->reference_hz, &lesson, error);
    if (status == TL_OK)
        status = tl_lesson_page(tl_rig_title(rig), lesson, &page, error);
    if (status == TL_OK)
        status = tl_show_write(asked->out, page, error);
    free(page);
    tl_lesson_free(lesson);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_lesson = {
    "lesson",
    "[RIG.yaml] --out FILE.html",
    "a printable page on why long leads dull the top end, with this rig's figures",
    "Writes one HTML page that needs nothing but itself: the circuit, the formula with the rig's\n"
    "own values filled in, curves for 1 to 15 m of its first kind of lead, straight in and behind\n"
    "a buffer, volume at 10, 7 and 5, three questions, and sounds to play. Without a rig it is\n"
    "about the demo rig with the long cable.\n"
    "\n"
    "  toneload lesson rig.yaml --out lesson.html",
    OPTION_OUT | OPTION_REFERENCE | OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    0,
    1,
    run,
};

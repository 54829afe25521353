// SPDX-License-Identifier: GPL-3.0-or-later
// toneload report: everything there is to say about a rig, on one page to print and hand over.
#include "cli/command.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

/// The page, and if asked for the same on paper. The page is written first: without a program that
/// prints there is still something to hand over.
static tl_status write_pages(const request* asked, const tl_report* report, tl_error* error) {
    char* page = tl_report_page(report, TL_PAPER_ANY);
    tl_status status = tl_show_write(asked->out, page, error);
    free(page);
    if (status != TL_OK || !asked->pdf)
        return status;
    page = tl_report_page(report, TL_PAPER_A4);
    status = tl_page_print(page, asked->pdf, error);
    free(page);
    return status;
}

/// Whether a file's name has an ending, in capitals or not. What is no file (a pipe, a terminal)
/// has any.
static bool ends_in(const char* name, const char* ending) {
    struct stat about;
    size_t size = strlen(name);
    size_t least = strlen(ending);
    return (size > least && strcasecmp(name + size - least, ending) == 0) ||
           (stat(name, &about) == 0 && !S_ISREG(about.st_mode) && !S_ISDIR(about.st_mode));
}

/// Names that cannot be what is meant.
static tl_status check_names(const request* asked, tl_error* error) {
    if (!asked->out)
        return tl_error_set(error, TL_BAD_INPUT, "expected a name for the page: --out FILE.html");
    if (!ends_in(asked->out, ".html") && !ends_in(asked->out, ".htm") &&
        !ends_in(asked->out, ".xhtml"))
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: a report is a page: expected a name that ends in .html, and for "
                            "paper --pdf FILE.pdf beside it",
                            asked->out);
    if (asked->pdf && !ends_in(asked->pdf, ".pdf"))
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: what is printed is PDF: expected a name that ends in .pdf",
                            asked->pdf);
    tl_status status = tl_show_check_place(asked->out, error);
    if (status == TL_OK && asked->pdf)
        status = tl_show_check_place(asked->pdf, error);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_report* report = NULL;
    const tl_report_options options = {.reference_hz = asked->reference_hz,
                                       .playing = asked->level,
                                       .all = asked->all,
                                       .prices = asked->prices};
    tl_status status = check_names(asked, error);
    if (status == TL_OK)
        status = request_session(asked, SESSION_SOLVES, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_report(session, rig, &options, &report, error);
    if (status == TL_OK)
        status = write_pages(asked, report, error);
    tl_report_free(report);
    tl_rig_free(rig);
    tl_session_free(session);
    return status;
}

const command command_report = {
    "report",
    "RIG.yaml --out FILE.html",
    "one page to hand over: tone, noise, power, leads, how it is built and looked after",
    "Writes one HTML page that needs nothing but itself, to read on a screen or a phone and to\n"
    "print on A4 or Letter: the verdict in plain words, the curves, the states of the pedals,\n"
    "noise, power, leads, what to check and when, where every value comes from, and cautions.\n"
    "--pdf also prints it, by Chromium, WeasyPrint or wkhtmltopdf, whichever is there.\n"
    "\n"
    "  toneload report board.yaml --out board.html --pdf board.pdf",
    OPTION_OUT | OPTION_PDF | OPTION_PRICES | OPTION_ALL | OPTION_LEVEL | OPTION_REFERENCE |
        OPTION_PARTS | OPTION_JOBS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};

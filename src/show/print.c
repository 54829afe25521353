// SPDX-License-Identifier: GPL-3.0-or-later
// A page of ours on paper, by whatever there is that prints pages.
#include "toneload/show.h"

#include "base/file.h"
#include "show/program.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { limit_ms = 120 * 1000, paper_limit = 256 * 1000 * 1000, MOST_WORDS = 24 };

static const char page_name[] = "page.html";
static const char paper_name[] = "page.pdf";

/// A program that prints pages: how it is called in a folder that holds the page.
typedef struct {
    const char* package; ///< of Debian
    const char* words[MOST_WORDS];
    bool sandboxed; ///< it refuses to run as root unless told to
} printer;

/// Chromium gets a profile of its own, no network, and a clock that needs not be waited for. As
/// root, it works without its sandbox only; the page has no script and a policy against all else.
static const printer printers[] = {
    {.package = "chromium",
     .words = {"chromium", "--headless", "--disable-gpu", "--no-first-run",
               "--no-default-browser-check", "--disable-background-networking",
               "--disable-component-update", "--disable-sync", "--disable-extensions",
               "--disable-dev-shm-usage", "--disable-crash-reporter", "--mute-audio",
               "--host-resolver-rules=MAP * ~NOTFOUND", "--user-data-dir=profile",
               "--no-pdf-header-footer", "--generate-pdf-document-outline",
               "--print-to-pdf=page.pdf", NULL},
     .sandboxed = true},
    {.package = "weasyprint", .words = {"weasyprint", page_name, paper_name, NULL}},
    {.package = "wkhtmltopdf",
     .words = {"wkhtmltopdf", "--quiet", "--disable-javascript", "--disable-local-file-access",
               page_name, paper_name, NULL}},
};
enum { PRINTERS = sizeof printers / sizeof *printers };

/// Runs one printer; words of its own, and the page's place, which we chose.
static tl_program_end run(const printer* one, const char* folder, tl_text* said, int* trouble) {
    char* words[MOST_WORDS + 2] = {0};
    size_t count = 0;
    for (; one->words[count]; ++count)
        words[count] = tl_copy(one->words[count]);
    if (one->sandboxed) {
        if (geteuid() == 0)
            words[count++] = tl_copy("--no-sandbox");
        words[count++] = tl_printf("file://%s/%s", folder, page_name);
    }
    tl_program_end end = tl_program_run(words, folder, "", limit_ms, said, trouble);
    for (size_t i = 0; i < count; ++i)
        free(words[i]);
    return end;
}

static tl_status tell(const printer* one, tl_program_end end, int trouble, const tl_text* said,
                      tl_error* error) {
    char* line = tl_program_complaint(said);
    const char* reason = end == TL_PROGRAM_LATE       ? "it took longer than two minutes"
                         : end == TL_PROGRAM_NO_START ? strerror(trouble)
                         : *line                      ? line
                                                      : "it gave no reason";
    tl_error_set(error, TL_FAILURE, "%s did not print the page: %s", one->package, reason);
    free(line);
    return TL_FAILURE;
}

/// Prints with the first program that is there.
static tl_status print(const char* folder, tl_error* error) {
    for (size_t i = 0; i < PRINTERS; ++i) {
        tl_text said = {0};
        int trouble = 0;
        tl_program_end end = run(&printers[i], folder, &said, &trouble);
        tl_status status = TL_OK;
        char* paper = tl_printf("%s/%s", folder, paper_name);
        if (end != TL_PROGRAM_MISSING && (end != TL_PROGRAM_DONE || !tl_file_exists(paper)))
            status = tell(&printers[i], end, trouble, &said, error);
        free(paper);
        tl_text_free(&said);
        if (end != TL_PROGRAM_MISSING)
            return status;
    }
    return tl_error_set(error, TL_FAILURE,
                        "nothing is there that prints pages to PDF: install the Debian package "
                        "chromium (weasyprint and wkhtmltopdf do too)");
}

static tl_status print_in(const char* folder, const char* html, const char* path, tl_error* error) {
    char* page = tl_printf("%s/%s", folder, page_name);
    char* paper = tl_printf("%s/%s", folder, paper_name);
    char* bytes = NULL;
    size_t size = 0;
    tl_status status = tl_file_write(page, html, strlen(html), error);
    if (status == TL_OK)
        status = print(folder, error);
    if (status == TL_OK)
        status = tl_file_read(paper, paper_limit, &bytes, &size, error);
    if (status == TL_OK)
        status = tl_file_write(path, bytes, size, error);
    free(bytes);
    free(paper);
    free(page);
    return status == TL_OK ? TL_OK : TL_FAILURE;
}

tl_status tl_page_print(const char* html, const char* path, tl_error* error) {
    char* folder = tl_program_folder();
    if (!folder)
        return tl_error_set(error, TL_FAILURE, "no temporary folder can be made: %s",
                            strerror(errno));
    tl_status status = print_in(folder, html, path, error);
    tl_program_remove_folder(folder);
    free(folder);
    return status;
}

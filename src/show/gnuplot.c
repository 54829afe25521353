// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/gnuplot.h"

#include "base/file.h"
#include "base/text.h"
#include "show/program.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

enum { picture_limit = 256 * 1000 * 1000 };

static tl_status failed(const tl_text* said, tl_error* error) {
    char* line = tl_program_complaint(said);
    tl_error_set(error, TL_FAILURE, "gnuplot did not draw the plot: %s",
                 *line ? line : "it gave no reason");
    free(line);
    return TL_FAILURE;
}

/// gnuplot reads its standard input ("-") and no start-up file ("-d").
static tl_status run(const char* folder, const char* script, int limit_ms, tl_text* said,
                     tl_error* error) {
    char name[] = "gnuplot", no_files[] = "-d", input[] = "-";
    char* arguments[] = {name, no_files, input, NULL};
    int trouble = 0;
    switch (tl_program_run(arguments, folder, script, limit_ms, said, &trouble)) {
    case TL_PROGRAM_DONE:
        return TL_OK;
    case TL_PROGRAM_MISSING:
        return tl_error_set(error, TL_FAILURE,
                            "gnuplot was not found; plots need it (Debian package gnuplot-nox)");
    case TL_PROGRAM_NO_START:
        return tl_error_set(error, TL_FAILURE, "gnuplot cannot be started: %s", strerror(trouble));
    case TL_PROGRAM_LATE:
        return tl_error_set(error, TL_FAILURE, "gnuplot was ended: it took longer than %g seconds",
                            limit_ms / 1000.0);
    default:
        return failed(said, error);
    }
}

tl_status tl_gnuplot_run(const char* script, const char* output, int limit_ms, char** bytes,
                         size_t* size, tl_error* error) {
    char* folder = tl_program_folder();
    if (!folder)
        return tl_error_set(error, TL_FAILURE, "no temporary folder can be made: %s",
                            strerror(errno));
    tl_text said = {0};
    tl_status status = run(folder, script, limit_ms, &said, error);
    if (status == TL_OK) {
        char* path = tl_printf("%s/%s", folder, output);
        if (tl_file_read(path, picture_limit, bytes, size, NULL) != TL_OK)
            status = failed(&said, error);
        free(path);
    }
    tl_text_free(&said);
    tl_program_remove_folder(folder);
    free(folder);
    return status;
}

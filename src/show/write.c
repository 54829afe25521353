// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/show.h"

#include "base/draft.h"
#include "base/file.h"
#include "base/text.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

tl_status tl_show_write(const char* path, const char* text, tl_error* error) {
    if (path)
        return tl_file_write(path, text, strlen(text), error);
    if (tl_file_put(STDOUT_FILENO, text, strlen(text)))
        return TL_OK;
    return tl_error_set(error, TL_FAILURE, "standard output cannot be written: %s",
                        strerror(errno));
}

tl_status tl_show_check_place(const char* path, tl_error* error) {
    struct stat about;
    tl_draft* draft = NULL;
    if (!path || (stat(path, &about) == 0 && !S_ISREG(about.st_mode) && !S_ISDIR(about.st_mode)))
        return TL_OK; // written in place, if at all
    tl_status status = tl_draft_open(path, &draft, error);
    tl_draft_free(draft);
    return status;
}

char* tl_show_safe(const char* words) {
    tl_text text = {0};
    tl_text_add_safe(&text, words);
    return tl_text_take(&text);
}

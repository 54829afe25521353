// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/draft.h"

#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_TRIES = 100 };

struct tl_draft {
    char* path;
    char* name; ///< the draft's own, or NULL while it has none
    int file;
};

static tl_status cannot_write(const char* path, int trouble, tl_error* error) {
    tl_text shown = {0};
    tl_text_add_safe(&shown, path);
    tl_error_set(error, TL_FAILURE, "%s: cannot be written: %s", tl_text_get(&shown),
                 strerror(trouble));
    tl_text_free(&shown);
    return TL_FAILURE;
}

/// A name beside `path` that is the process's own.
static char* draft_name(const char* path, int attempt) {
    const char* slash = strrchr(path, '/');
    const int folder = slash ? (int)(slash - path) + 1 : 0;
    return tl_printf("%.*s.%s.%ld-%d", folder, path, path + folder, (long)getpid(), attempt);
}

/// A file without a name in the folder of `path`; -1 where the file system knows none.
static int open_nameless(const char* path) {
    const char* slash = strrchr(path, '/');
    char* folder = slash ? tl_printf("%.*s/", (int)(slash - path), path) : tl_copy(".");
    int file = open(folder, O_TMPFILE | O_RDWR | O_CLOEXEC, 0666);
    free(folder);
    return file;
}

static int open_named(const char* path, char** name) {
    int file = -1;
    for (int i = 0; i < MOST_TRIES && file < 0; ++i) {
        *name = draft_name(path, i);
        file = open(*name, O_CREAT | O_EXCL | O_RDWR | O_CLOEXEC, 0666);
        int trouble = errno;
        if (file < 0) {
            free(*name);
            *name = NULL;
            errno = trouble;
            if (trouble != EEXIST)
                return -1;
        }
    }
    return file;
}

tl_status tl_draft_open(const char* path, tl_draft** draft, tl_error* error) {
    *draft = NULL;
    struct stat about;
    if (stat(path, &about) == 0 && !S_ISREG(about.st_mode))
        return cannot_write(path, S_ISDIR(about.st_mode) ? EISDIR : EEXIST, error);
    char* name = NULL;
    int file = open_nameless(path);
    if (file < 0)
        file = open_named(path, &name);
    if (file < 0)
        return cannot_write(path, errno, error);
    *draft = tl_new(1, sizeof **draft);
    **draft = (tl_draft){tl_copy(path), name, file};
    return TL_OK;
}

int tl_draft_descriptor(const tl_draft* draft) {
    return draft->file;
}

tl_status tl_draft_finish(tl_draft* draft, tl_error* error) {
    return fsync(draft->file) == 0 ? TL_OK : cannot_write(draft->path, errno, error);
}

/// Gives a nameless draft a name of its own: a link cannot take another file's place, a rename can.
static int name_draft(tl_draft* draft) {
    char* self = tl_printf("/proc/self/fd/%d", draft->file);
    int done = -1;
    for (int i = 0; i < MOST_TRIES && done != 0; ++i) {
        char* name = draft_name(draft->path, i);
        done = linkat(AT_FDCWD, self, AT_FDCWD, name, AT_SYMLINK_FOLLOW);
        int trouble = errno;
        if (done == 0) {
            draft->name = name;
        } else {
            free(name);
            errno = trouble;
            if (trouble != EEXIST)
                break;
        }
    }
    int trouble = errno;
    free(self);
    errno = trouble;
    return done;
}

tl_status tl_draft_keep(tl_draft* draft, tl_error* error) {
    if (!draft->name && name_draft(draft) != 0)
        return cannot_write(draft->path, errno, error);
    if (rename(draft->name, draft->path) != 0)
        return cannot_write(draft->path, errno, error);
    free(draft->name);
    draft->name = NULL;
    return TL_OK;
}

void tl_draft_free(tl_draft* draft) {
    if (!draft)
        return;
    close(draft->file);
    if (draft->name)
        unlink(draft->name);
    free(draft->name);
    free(draft->path);
    free(draft);
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Whether two names that a command is to write to are one file, there already or not yet.
#include "cli/command.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/// Follows links that lead to what is not there yet; false: they lead too far.
static bool follow_links(char* at, size_t room) {
    enum { MOST_LINKS = 40 };
    char link[PATH_MAX];
    for (int i = 0; i < MOST_LINKS; ++i) {
        ssize_t size = readlink(at, link, sizeof link);
        if (size < 0)
            return true;
        const char* slash = strrchr(at, '/');
        size_t kept = slash && *link != '/' ? (size_t)(slash + 1 - at) : 0;
        if (kept + (size_t)size >= room)
            return false;
        memcpy(at + kept, link, (size_t)size);
        at[kept + (size_t)size] = '\0';
    }
    return false;
}

/// The whole name of what is not there yet; NULL: its folder is not there either.
static char* future_name(const char* name) {
    char at[PATH_MAX];
    char* whole = NULL;
    if (snprintf(at, sizeof at, "%s", name) >= (int)sizeof at || !follow_links(at, sizeof at))
        return NULL;
    char* slash = strrchr(at, '/');
    char* last = strdup(slash ? slash + 1 : at);
    if (slash)
        slash[slash == at] = '\0'; // of "/name" the slash is the folder
    char* folder = realpath(slash ? at : ".", NULL);
    if (folder && last && asprintf(&whole, "%s/%s", folder, last) < 0)
        abort();
    free(folder);
    free(last);
    return whole;
}

static bool are_one(const char* one, const char* other) {
    struct stat a;
    struct stat b;
    bool first = stat(one, &a) == 0;
    bool second = stat(other, &b) == 0;
    if (first && second) // a terminal or a pipe takes more than one answer
        return S_ISREG(a.st_mode) && a.st_dev == b.st_dev && a.st_ino == b.st_ino;
    if (first || second)
        return false;
    char* left = future_name(one);
    char* right = future_name(other);
    bool same = left && right && strcmp(left, right) == 0;
    free(left);
    free(right);
    return same;
}

tl_status outputs_check(const char* const* outputs, size_t count, tl_error* error) {
    for (size_t i = 1; i < count; ++i)
        for (size_t j = 0; j < i; ++j) {
            if (!outputs[i] || !outputs[j] || !are_one(outputs[i], outputs[j]))
                continue;
            char* shown = tl_show_safe(outputs[i]);
            tl_status status = tl_error_set(error, TL_BAD_INPUT,
                                            "%s: two answers would be written to this one file: "
                                            "give each a name of its own",
                                            shown);
            free(shown);
            return status;
        }
    return TL_OK;
}

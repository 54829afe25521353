// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/file.h"

#include "base/text.h"

#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/// An error that names a file in one line, whatever its name holds.
static tl_status file_error(tl_error* error, tl_status status, const char* path, const char* what,
                            int trouble) {
    tl_text shown = {0};
    tl_text_add_safe(&shown, path);
    tl_error_set(error, status, "%s: %s%s%s", tl_text_get(&shown), what, trouble ? ": " : "",
                 trouble ? strerror(trouble) : "");
    tl_text_free(&shown);
    return status;
}

static tl_status cannot_read(const char* path, int trouble, tl_error* error) {
    return file_error(error, TL_BAD_INPUT, path, "cannot be read", trouble);
}

static tl_status cannot_write(const char* path, int trouble, tl_error* error) {
    return file_error(error, TL_FAILURE, path, "cannot be written", trouble);
}

static tl_status too_large(const char* path, size_t limit, tl_error* error) {
    char* what = tl_printf("is larger than %zu kB, the most such a file may hold", limit / 1000);
    tl_status status = file_error(error, TL_BAD_INPUT, path, what, 0);
    free(what);
    return status;
}

tl_status tl_file_read(const char* path, size_t limit, char** text, size_t* size, tl_error* error) {
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return cannot_read(path, errno, error);
    struct stat about;
    if (fstat(file, &about) == 0 && S_ISDIR(about.st_mode)) {
        close(file);
        return file_error(error, TL_BAD_INPUT, path, "is a folder, expected a file", 0);
    }
    tl_text all = {0};
    char block[16384];
    ssize_t got = 0;
    while (all.size <= limit &&
           ((got = read(file, block, sizeof block)) > 0 || (got < 0 && errno == EINTR)))
        if (got > 0)
            tl_text_add_bytes(&all, block, (size_t)got);
    int trouble = got < 0 ? errno : 0;
    close(file);
    if (trouble || all.size > limit) {
        tl_text_free(&all);
        return trouble ? cannot_read(path, trouble, error) : too_large(path, limit, error);
    }
    *size = all.size;
    *text = tl_text_take(&all);
    return TL_OK;
}

bool tl_file_put(int descriptor, const void* data, size_t size) {
    const char* at = data;
    while (size) {
        ssize_t put = write(descriptor, at, size);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0) {
            if (put == 0)
                errno = EIO;
            return false;
        }
        at += put;
        size -= (size_t)put;
    }
    return true;
}

/// Devices and pipes cannot be replaced by a rename, and must not be.
static tl_status write_in_place(const char* path, const void* data, size_t size, tl_error* error) {
    int file = open(path, O_WRONLY | O_CLOEXEC);
    if (file < 0)
        return cannot_write(path, errno, error);
    bool put = tl_file_put(file, data, size);
    int trouble = errno;
    if (close(file) != 0 && put) {
        put = false;
        trouble = errno;
    }
    return put ? TL_OK : cannot_write(path, trouble, error);
}

static mode_t wanted_mode(const char* path) {
    struct stat about;
    if (stat(path, &about) == 0)
        return about.st_mode & 07777;
    mode_t mask = umask(0);
    umask(mask);
    return 0666 & ~mask;
}

static tl_status write_and_rename(const char* path, const void* data, size_t size,
                                  tl_error* error) {
    char* temporary = tl_printf("%s.XXXXXX", path);
    int file = mkstemp(temporary);
    if (file < 0) {
        int trouble = errno;
        free(temporary);
        return cannot_write(path, trouble, error);
    }
    int trouble = 0;
    if (!tl_file_put(file, data, size) || fchmod(file, wanted_mode(path)) != 0 || fsync(file) != 0)
        trouble = errno;
    if (close(file) != 0 && !trouble)
        trouble = errno;
    if (!trouble && rename(temporary, path) != 0)
        trouble = errno;
    if (trouble)
        unlink(temporary);
    free(temporary);
    return trouble ? cannot_write(path, trouble, error) : TL_OK;
}

tl_status tl_file_write(const char* path, const void* data, size_t size, tl_error* error) {
    struct stat about;
    if (stat(path, &about) == 0) {
        if (S_ISDIR(about.st_mode))
            return file_error(error, TL_FAILURE, path, "is a folder, expected a file name", 0);
        if (!S_ISREG(about.st_mode))
            return write_in_place(path, data, size, error);
        char* real = realpath(path, NULL); // a link stays a link
        if (!real)
            return cannot_write(path, errno, error);
        tl_status status = write_and_rename(real, data, size, error);
        free(real);
        return status;
    }
    return write_and_rename(path, data, size, error);
}

const char* tl_file_name(const char* path) {
    const char* slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

char* tl_file_beside(const char* file, const char* path) {
    int folder = (int)(tl_file_name(file) - file);
    return *path == '/' ? tl_copy(path) : tl_printf("%.*s%s", folder, file, path);
}

bool tl_file_exists(const char* path) {
    return access(path, F_OK) == 0;
}

char* tl_file_home(void) {
    Dl_info about;
    char* real = NULL;
    if (dladdr((void*)(uintptr_t)tl_file_home, &about) && about.dli_fname)
        real = realpath(about.dli_fname, NULL);
    char self[4096];
    if (!real) {
        ssize_t size = readlink("/proc/self/exe", self, sizeof self - 1);
        if (size <= 0)
            return tl_copy(".");
        self[size] = '\0';
        real = tl_copy(self);
    }
    char* slash = strrchr(real, '/');
    if (slash)
        *slash = '\0';
    return real;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/error.h"

#include "base/text.h"

#include <stdarg.h>
#include <stdlib.h>

struct tl_error {
    tl_status status;
    tl_text text;
};

tl_error* tl_error_new(void) {
    return tl_new(1, sizeof(tl_error));
}

void tl_error_free(tl_error* error) {
    if (!error)
        return;
    tl_text_free(&error->text);
    free(error);
}

tl_status tl_error_status(const tl_error* error) {
    return error->status;
}

const char* tl_error_text(const tl_error* error) {
    return tl_text_get(&error->text);
}

/// Keeps newlines (a place is shown over several lines) and makes everything else safe to show.
static void add_lines(tl_text* to, char* words) {
    for (char* line = words; line;) {
        char* end = line;
        while (*end && *end != '\n')
            ++end;
        char last = *end;
        *end = '\0';
        tl_text_add_safe(to, line);
        if (last)
            tl_text_add(to, "\n");
        line = last ? end + 1 : NULL;
    }
}

tl_status tl_error_set(tl_error* error, tl_status status, const char* format, ...) {
    if (!error)
        return status;
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    char* raw = tl_text_take(&words);
    error->status = status;
    tl_text_clear(&error->text);
    add_lines(&error->text, raw);
    free(raw);
    return status;
}

void tl_error_prefix(tl_error* error, const char* format, ...) {
    if (!error)
        return;
    tl_text words = {0};
    va_list args;
    va_start(args, format);
    tl_text_addv(&words, format, args);
    va_end(args);
    tl_text all = {0};
    tl_text_add_safe(&all, tl_text_get(&words)); // one line, whatever a file's name holds
    tl_text_addf(&all, ": %s", tl_text_get(&error->text));
    tl_text_free(&words);
    tl_text_free(&error->text);
    error->text = all;
}

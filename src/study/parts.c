// SPDX-License-Identifier: GPL-3.0-or-later
// The part library, written down.
#include "study/listing.h"

#include "base/locale.h"
#include "base/names.h"
#include "base/text.h"
#include "parts/library.h"

#include <stdlib.h>
#include <string.h>

/// The first kind of those that share a library: it is listed once.
static bool owns_library(const tl_part_kind* kind) {
    return kind->library && strcmp(kind->name, kind->library) == 0;
}

static tl_status list_kind(tl_library* library, const tl_part_kind* kind, tl_inspection* inspection,
                           tl_error* error) {
    const char* const* names = NULL;
    size_t count = 0;
    tl_status status = tl_library_names(library, kind, &names, &count, error);
    for (size_t i = 0; status == TL_OK && i < count; ++i) {
        tl_part* part = NULL;
        tl_place nowhere = {0};
        status = tl_library_part(library, kind, names[i], &nowhere, &part, error);
        if (status != TL_OK)
            return status;
        const char* about = tl_library_about(library, kind, names[i]);
        char* words = tl_printf("%s: %s", kind->name, *about ? about : "(no description)");
        size_t first = inspection->count;
        tl_listing_part(inspection, part, names[i], words);
        status = tl_listing_tolerances(inspection, first, library, NULL, part, error);
        free(words);
        tl_part_free(part);
    }
    return status;
}

static tl_status no_such_kind(const char* word, tl_error* error) {
    const char* names[32];
    size_t count = 0;
    for (size_t i = 0; i < tl_part_kind_count && count < 32; ++i)
        if (owns_library(tl_part_kinds[i]))
            names[count++] = tl_part_kinds[i]->name;
    tl_text hint = {0};
    tl_name_hint(&hint, word, names, count);
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT, "the library has no kind of part named '%s'%s", word,
                     tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

static tl_status study_parts(tl_library* library, const char* kind, tl_inspection** inspection,
                             tl_error* error) {
    tl_inspection* made = tl_new(1, sizeof *made);
    tl_status status = TL_OK;
    bool found = false;
    for (size_t i = 0; status == TL_OK && i < tl_part_kind_count; ++i) {
        const tl_part_kind* row = tl_part_kinds[i];
        if (!owns_library(row) || (kind && strcmp(kind, row->name) != 0))
            continue;
        found = true;
        status = list_kind(library, row, made, error);
    }
    if (status == TL_OK && !found)
        status = no_such_kind(kind, error);
    if (status != TL_OK) {
        tl_inspection_free(made);
        made = NULL;
    }
    *inspection = made;
    return status;
}

tl_status tl_study_parts(tl_library* library, const char* kind, tl_inspection** inspection,
                         tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_status result = study_parts(library, kind, inspection, error);
    tl_locale_restore(locale);
    return result;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// In which state boards were measured: as the caller says, else as their files do, else as the rig
// is written.
#include "study/accept_work.h"

#include "base/file.h"
#include "base/text.h"
#include "study/engaged.h"

#include <stdlib.h>
#include <string.h>

tl_input* tl_accept_input(const char* file) {
    enum { MOST_BYTES = 256 * 1000 * 1000 };
    char* text = NULL;
    size_t size = 0;
    tl_error* ignored = tl_error_new();
    bool read = tl_file_read(file, MOST_BYTES, &text, &size, ignored) == TL_OK;
    tl_error_free(ignored);
    tl_input* input = tl_input_new(file, read ? text : "", read ? size : 0);
    free(text);
    return input;
}

/// One way to write each state, so that two can be compared: what is then on.
static tl_status shown_state(tl_rig* rig, const char* words, const tl_place* place, char** shown,
                             tl_error* error) {
    tl_toggle_list list = tl_toggles_list(rig);
    tl_status status = words ? tl_engaged_read(rig, &list, words, place, error) : TL_OK;
    *shown = tl_engaged_words(&list);
    tl_toggles_free(&list);
    return status;
}

/// All rows of a file are of one state.
static tl_status check_one(const tl_measured* measured, const char* file, tl_error* error) {
    if (!measured->other_state)
        return TL_OK;
    tl_input* input = tl_accept_input(file);
    tl_place place = {input, measured->other_line, measured->other_column};
    tl_status status = tl_error_at(error, &place,
                                   "a second state, '%s', after '%s' (line %zu): expected a file "
                                   "for each state",
                                   measured->other_state, measured->state, measured->state_line);
    tl_input_free(input);
    return status;
}

/// What a file says against what is taken.
static tl_status check_file(const tl_rig* rig, const tl_measured* measured, const char* file,
                            const tl_accept* accept, const char* whose, tl_error* error) {
    tl_status status = check_one(measured, file, error);
    if (status != TL_OK)
        return status;
    if (!measured->state && accept->state_from == TL_STATE_OF_FILE)
        return tl_error_set(error, TL_BAD_INPUT,
                            "%s: does not say in which state it was measured, and %s says '%s': "
                            "expected --state, or files that all say it",
                            file, whose, accept->state);
    if (!measured->state)
        return TL_OK;
    char* own = NULL;
    tl_rig* clone = tl_rig_clone(rig);
    tl_input* input = tl_accept_input(file);
    tl_place place = {input, measured->state_line, measured->state_column};
    status = shown_state(clone, measured->state, &place, &own, error);
    if (status == TL_OK && strcmp(own, accept->state) != 0)
        status = tl_error_at(error, &place,
                             "measured in the state '%s', but %s says '%s': expected boards of one "
                             "state at a time",
                             own, whose, accept->state);
    free(own);
    tl_rig_free(clone);
    tl_input_free(input);
    return status;
}

tl_status tl_accept_enter(tl_rig* rig, const tl_accept_options* options,
                          const tl_measured* const* measured, const char* const* files,
                          size_t count, tl_accept* accept, tl_error* error) {
    const char* words = options->state;
    const char* whose = "--state";
    tl_place place = {0};
    size_t at = 0;
    tl_input* input = words ? tl_input_new(whose, words, strlen(words)) : NULL;
    accept->state_from = words ? TL_STATE_OF_CALL : TL_STATE_OF_RIG;
    place = (tl_place){input, 1, 1};
    while (!words && at < count && !measured[at]->state)
        ++at;
    if (!words && at < count) {
        words = measured[at]->state;
        whose = files[at];
        accept->state_from = TL_STATE_OF_FILE;
        input = tl_accept_input(whose);
        place = (tl_place){input, measured[at]->state_line, measured[at]->state_column};
    }
    tl_status status = shown_state(rig, words, &place, &accept->state, error);
    tl_input_free(input);
    for (size_t i = 0; status == TL_OK && i < count; ++i)
        status = check_file(rig, measured[i], files[i], accept, whose, error);
    return status;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Figures of a solved rig by name, for studies that are told which one matters.
#include "toneload/study.h"

#include "base/names.h"

#include <stdlib.h>
#include <string.h>

static const tl_figure_kind kinds[] = {
    {"reference_db", "level at the reference", "dB"},
    {"peak_hz", "peak", "Hz"},
    {"peak_db", "peak height", "dB"},
    {"pole_hz", "pole", "Hz"},
    {"q", "Q of the pole", ""},
    {"bandwidth_q", "Q by width", ""},
    {"cutoff_hz", "-3 dB point", "Hz"},
    {"level_db", "level against direct", "dB"},
    {"worst_db", "worst band against direct", "dB"},
    {"rms_db", "rms difference from direct", "dB"},
    {"presence_db", "presence (2 to 5 kHz) against direct", "dB"},
    {"bands_over_1db", "bands past 1 dB", ""},
    {"peak_shift_steps", "peak shift in just-noticeable steps", ""},
};
enum { KINDS = sizeof kinds / sizeof *kinds };

const tl_figure_kind* tl_figure_kind_at(size_t index) {
    return index < KINDS ? &kinds[index] : NULL;
}

tl_status tl_figure_find(const char* name, size_t* index, tl_error* error) {
    const char* names[KINDS];
    for (size_t i = 0; i < KINDS; ++i) {
        names[i] = kinds[i].name;
        if (strcmp(name, kinds[i].name) == 0) {
            *index = i;
            return TL_OK;
        }
    }
    tl_text hint = {0};
    tl_name_hint(&hint, name, names, KINDS);
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT, "there is no figure '%s'%s", name, tl_text_get(&hint));
    tl_text_free(&hint);
    return status;
}

double tl_figure_of(const tl_solved* rig, size_t index) {
    const tl_metrics* m = &rig->metrics;
    const tl_hearing* h = &rig->hearing;
    const double values[KINDS] = {
        m->reference_db, m->peak_hz,        m->peak_db,         m->pole_hz,  m->q,
        m->bandwidth_q,  m->cutoff_hz,      h->level_db,        h->worst_db, h->rms_db,
        h->presence_db,  h->bands_over_1db, h->peak_shift_steps};
    return values[index];
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Differences to the ear, in words and as JSON.
#include "toneload/show.h"

#include "base/locale.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>

json_t* tl_json_hearing(const tl_hearing* hearing) {
    json_t* json = json_object();
    json_object_set_new(json, "worst_db", tl_json_number(hearing->worst_db));
    json_object_set_new(json, "worst_hz", tl_json_number(hearing->worst_hz));
    json_object_set_new(json, "rms_db", tl_json_number(hearing->rms_db));
    json_object_set_new(json, "presence_db", tl_json_number(hearing->presence_db));
    json_object_set_new(json, "bands_over_half_db", json_integer(hearing->bands_over_half_db));
    json_object_set_new(json, "bands_over_1db", json_integer(hearing->bands_over_1db));
    json_object_set_new(json, "bands_over_3db", json_integer(hearing->bands_over_3db));
    json_object_set_new(json, "level_db", tl_json_number(hearing->level_db));
    json_object_set_new(json, "peak_shift_steps", tl_json_number(hearing->peak_shift_steps));
    json_object_set_new(json, "extrapolated", json_boolean(hearing->extrapolated));
    json_object_set_new(json, "verdict", json_string(tl_verdict_words(hearing->verdict)));
    return json;
}

static void add_shift(tl_text* text, const tl_hearing* hearing) {
    if (isnan(hearing->peak_shift_steps)) {
        tl_text_add(text, "; no peak shift: one or both have no peak");
        return;
    }
    tl_text_addf(text, "; the peak moved by %.1f just-noticeable steps%s",
                 hearing->peak_shift_steps,
                 hearing->extrapolated ? "\n(extrapolated above 2 kHz)" : "");
}

char* tl_show_hearing(const tl_hearing* hearing) {
    tl_locale locale = tl_locale_plain();
    tl_text text = {0};
    char* worst_hz = tl_show_hz(hearing->worst_hz, "");
    tl_text_addf(&text, "%s: worst %+.1f dB at %s", tl_verdict_words(hearing->verdict),
                 hearing->worst_db, worst_hz);
    free(worst_hz);
    add_shift(&text, hearing);
    tl_text_addf(&text,
                 ".\nPresence (2 to 5 kHz) %+.1f dB; %.1f dB rms; of 35 bands %u are past 0.5 dB, ",
                 hearing->presence_db, hearing->rms_db, hearing->bands_over_half_db);
    tl_text_addf(&text, "%u past 1 dB, %u past 3 dB.", hearing->bands_over_1db,
                 hearing->bands_over_3db);
    tl_locale_restore(locale);
    return tl_text_take(&text);
}

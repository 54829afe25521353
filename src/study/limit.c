// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/limit.h"

#include "base/place.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static tl_status unreadable(const char* text, size_t at, const char* why, tl_error* error) {
    tl_input* input = tl_input_new("--limit", text, strlen(text));
    tl_place place = {input, 1, at + 1};
    tl_status status = tl_error_at(
        error, &place,
        "%s; a limit is one of '-1 dB at 5 kHz', 'peak not below 3 kHz', '-3 dB not below 4 kHz', "
        "'verdict not worse than borderline'",
        why);
    tl_input_free(input);
    return status;
}

static bool skip(const char** at, const char* words) {
    size_t size = strlen(words);
    if (strncmp(*at, words, size) != 0)
        return false;
    *at += size;
    return true;
}

static tl_status read_hz(tl_units* units, const char* text, const char* at, tl_limit* limit,
                         tl_error* error) {
    tl_text complaint = {0};
    tl_status status = TL_OK;
    if (!tl_quantity_parse(units, at, TL_UNIT_HERTZ, &limit->hz, &complaint))
        status = unreadable(text, (size_t)(at - text), tl_text_get(&complaint), error);
    else if (limit->hz < 20 || limit->hz > 20e3)
        status =
            unreadable(text, (size_t)(at - text), "a frequency outside 20 Hz to 20 kHz", error);
    tl_text_free(&complaint);
    return status;
}

static tl_status read_verdict(const char* text, const char* at, tl_limit* limit, tl_error* error) {
    for (int i = TL_NOT_AUDIBLE; i < TL_PLAIN; ++i)
        if (strcmp(at, tl_verdict_words((tl_verdict)i)) == 0) {
            limit->verdict = (tl_verdict)i;
            return TL_OK;
        }
    return unreadable(text, (size_t)(at - text),
                      "expected a verdict: not audible, borderline or audible", error);
}

tl_status tl_limit_read(tl_units* units, const char* text, tl_limit* limit, tl_error* error) {
    *limit = (tl_limit){0};
    if (!tl_text_is_plain(text))
        return unreadable("", 0, "control characters (or broken UTF-8)", error);
    const char* at = text;
    if (skip(&at, "peak not below ")) {
        limit->kind = TL_LIMIT_PEAK;
        return read_hz(units, text, at, limit, error);
    }
    if (skip(&at, "-3 dB not below ")) {
        limit->kind = TL_LIMIT_CUTOFF;
        return read_hz(units, text, at, limit, error);
    }
    if (skip(&at, "verdict not worse than ")) {
        limit->kind = TL_LIMIT_VERDICT;
        return read_verdict(text, at, limit, error);
    }
    char* end = NULL;
    limit->db = strtod(at, &end);
    if (end == at || !isfinite(limit->db))
        return unreadable(text, 0, "a limit that cannot be read", error);
    at = end;
    while (*at == ' ')
        ++at;
    if (!skip(&at, "dB at "))
        return unreadable(text, (size_t)(at - text), "expected 'dB at' and a frequency", error);
    limit->kind = TL_LIMIT_DIFFERENCE;
    return read_hz(units, text, at, limit, error);
}

/// Octaves from a limit; a figure that does not exist lies far to one side.
static double octaves_above(double hz, double limit_hz, double otherwise) {
    return isnan(hz) ? otherwise : log2(hz / limit_hz);
}

static double verdict_margin(const tl_limit* limit, const tl_hearing* hearing) {
    static const double under[] = {0.5, 1, 3};
    return under[limit->verdict] - fmax(fabs(hearing->worst_db), hearing->peak_shift_steps);
}

double tl_limit_margin(const tl_limit* limit, const tl_solved* rig, const tl_solved* direct) {
    static const double far = 10; // octaves
    double db = 0;
    switch (limit->kind) {
    case TL_LIMIT_PEAK:
        return octaves_above(rig->metrics.peak_hz, limit->hz, -far);
    case TL_LIMIT_CUTOFF:
        return octaves_above(rig->metrics.cutoff_hz, limit->hz, far);
    case TL_LIMIT_VERDICT:
        return verdict_margin(limit, &rig->hearing);
    default:
        tl_differences_db(rig, direct, 1, &limit->hz, &db);
        return limit->db <= 0 ? db - limit->db : limit->db - db;
    }
}

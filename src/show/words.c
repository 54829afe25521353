// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/show.h"

#include "base/locale.h"
#include "base/text.h"
#include "show/number.h"

#include <math.h>

/// Formats one number with a point for decimals; a number that is not there gives `none`.
static char* show(double number, double scale, int decimals, const char* sign, const char* unit,
                  const char* none) {
    if (!isfinite(number))
        return tl_copy(none);
    tl_locale locale = tl_locale_plain();
    char* words = *sign ? tl_printf("%+.*f%s", decimals, number / scale, unit)
                        : tl_printf("%.*f%s", decimals, number / scale, unit);
    tl_locale_restore(locale);
    return words;
}

char* tl_show_hz(double hz, const char* none) {
    double size = fabs(hz);
    if (size < 99.95)
        return show(hz, 1, 1, "", " Hz", none);
    if (size < 999.5)
        return show(hz, 1, 0, "", " Hz", none);
    int decimals = size < 9999.5 ? 3 : size < 99995 ? 2 : 1;
    return show(hz, 1000, decimals, "", " kHz", none);
}

char* tl_show_db(double db, const char* none) {
    bool nothing = fabs(db) < 0.005; // neither "+0.00" nor "-0.00"
    return show(nothing ? 0 : db, 1, 2, nothing ? "" : "+", " dB", none);
}

char* tl_show_ratio(double q, const char* none) {
    return show(q, 1, 2, "", "", none);
}

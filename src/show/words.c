// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/show.h"

#include "base/locale.h"
#include "base/text.h"
#include "show/number.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

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

/// Decimals that make three digits of a number under 1000.
static int three_digits(double size) {
    return size < 9.995 ? 2 : size < 99.95 ? 1 : 0;
}

/// A number whose unit takes no prefix: as many decimals as make three digits, but none that only
/// look exact; what is tiny as a power of ten.
static char* show_plain(double value, const char* unit, const char* none) {
    double size = fabs(value);
    char* shown = NULL;
    if (strcmp(unit, "dB") == 0 || strcmp(unit, "deg") == 0)
        return show(size < 0.005 ? 0 : value, 1, three_digits(size), "",
                    strcmp(unit, "dB") == 0 ? " dB" : " deg", none);
    tl_locale locale = tl_locale_plain();
    if (size > 0 && (size < 0.9995e-4 || size >= 9.9995e5))
        shown = tl_printf("%.1e", value);
    else if (size > 0 && size < 0.0995)
        shown = tl_printf("%.3g", value);
    else
        shown = tl_printf("%.*f", size > 0 ? three_digits(size) : 0, value);
    tl_locale_restore(locale);
    char* words = tl_printf("%s%s%s", shown, *unit ? " " : "", unit);
    free(shown);
    return words;
}

/// A number with the prefix that leaves one to three digits before the point.
static char* show_prefixed(double value, const char* unit, const char* none) {
    static const char* const prefixes[] = {"f", "p", "n", "u", "m", "", "k", "M", "G", "T"};
    double size = fabs(value);
    double scale = 1e-15;
    size_t step = 0;
    for (; step < 9 && size >= 999.5 * scale; ++step)
        scale *= 1e3;
    if (size < 0.5e-18) {
        scale = 1;
        step = 5;
        value = 0;
    }
    tl_text name = {0};
    tl_text_addf(&name, " %s%s", prefixes[step], unit);
    char* words = show(value, scale, value != 0 ? three_digits(size / scale) : 0, "",
                       tl_text_get(&name), none);
    tl_text_free(&name);
    return words;
}

char* tl_show_value(double value, const char* unit, const char* none) {
    static const char* const plain[] = {"dB", "deg", "%", ""};
    if (!isfinite(value))
        return tl_copy(none);
    for (size_t i = 0; i < sizeof plain / sizeof *plain; ++i)
        if (strcmp(unit, plain[i]) == 0)
            return show_plain(value, unit, none);
    if (strcmp(unit, "V/s") != 0)
        return show_prefixed(value, unit, none);
    double size = fabs(value);
    double scale = size < 99.95 ? 1 : size < 99.95e3 ? 1e3 : 1e6; // a slew rate is told per us
    return show(value, scale, three_digits(size / scale), "",
                scale < 10    ? " V/s"
                : scale < 1e4 ? " V/ms"
                              : " V/us",
                none);
}

char* tl_show_engaged(const char* scene, char* const* pedals, const bool* engaged, size_t count,
                      const char* none) {
    tl_text words = {0};
    bool any = false;
    if (scene)
        tl_text_addf(&words, "%s: ", scene);
    for (size_t i = 0; i < count; ++i)
        if (engaged[i]) {
            tl_text_addf(&words, "%s%s", any ? " + " : "", pedals[i]);
            any = true;
        }
    tl_text_add(&words, any ? "" : none);
    return tl_text_take(&words);
}

char* tl_show_state_count(size_t states, size_t toggles, const char* const* fixes,
                          size_t fix_count) {
    tl_text words = {0};
    tl_text_addf(&words, "%zu state%s of %zu %s", states, states == 1 ? "" : "s", toggles,
                 toggles == 1 ? "pedal or loop" : "pedals and loops");
    for (size_t i = 0; i < fix_count; ++i) {
        tl_text_add(&words, i ? ", " : " (held: ");
        tl_text_add_safe(&words, fixes[i]);
    }
    tl_text_add(&words, fix_count ? ")" : "");
    return tl_text_take(&words);
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/spread.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_COLUMNS = 40 };

const size_t tl_spread_chief[TL_SPREAD_CHIEF] = {TL_SPREAD_PEAK_HZ, TL_SPREAD_Q,
                                                 TL_SPREAD_CUTOFF_HZ, TL_SPREAD_PRESENCE_DB};

const tl_spread_figure* tl_spread_of(const tl_spread* spread, size_t amp, size_t kind) {
    return &spread->figures[amp * TL_SPREAD_FIGURES + kind];
}

size_t tl_spread_answered(const tl_spread* spread) {
    return spread->done > spread->failure_count ? spread->done - spread->failure_count : 0;
}

double tl_spread_none(const tl_spread* spread, const tl_spread_figure* figure) {
    size_t answered = tl_spread_answered(spread);
    return answered ? (double)figure->none / (double)answered : 0;
}

double tl_spread_heard(const tl_spread* spread, size_t amp, tl_verdict verdict) {
    size_t all = 0;
    for (int i = TL_NOT_AUDIBLE; i <= TL_PLAIN; ++i)
        all += spread->heard[amp][i];
    return all ? (double)spread->heard[amp][verdict] / (double)all : 0;
}

/// Without any connection, n r^2 goes as the square of a normal number (large n): it is past 9,
/// three sigma, in one case of 370.
double tl_spread_chance(const tl_spread* spread) {
    size_t answered = tl_spread_answered(spread);
    return answered > 9 ? 9 / (double)answered : 1;
}

double tl_spread_least(const tl_spread* spread) {
    return fmax(0.01, fmin(0.05, tl_spread_chance(spread)));
}

char* tl_spread_amp(const tl_spread* spread, size_t amp) {
    if (!spread->amps[amp] || !*spread->amps[amp])
        return tl_printf("amp %zu", amp + 1);
    return tl_spread_front(spread->amps[amp], NAME_COLUMNS);
}

char* tl_spread_tail(const char* path, size_t columns) {
    char* safe = tl_show_safe(path ? path : "");
    size_t all = tl_text_columns(safe);
    if (all <= columns)
        return safe;
    size_t skip = all - columns + 2;
    const char* at = safe;
    for (; *at; ++at)
        if (((unsigned char)*at & 0xc0) != 0x80 && skip-- == 0)
            break;
    char* tail = tl_printf("..%s", at);
    free(safe);
    return tail;
}

char* tl_spread_front(const char* words, size_t columns) {
    char* safe = tl_show_safe(words ? words : "");
    if (tl_text_columns(safe) <= columns)
        return safe;
    size_t taken = 0;
    size_t size = 0;
    for (; safe[size]; ++size)
        if (((unsigned char)safe[size] & 0xc0) != 0x80 && taken++ == columns - 2)
            break;
    char* front = tl_printf("%.*s..", (int)size, safe);
    free(safe);
    return front;
}

char* tl_spread_value_name(const tl_spread_value* value) {
    const char* about = value->about ? value->about : "";
    return tl_printf("%s%s%s%s", value->path, *about ? " (" : "", about, *about ? ")" : "");
}

tl_spread_scale tl_spread_scale_of(size_t kind, double largest) {
    const char* unit = tl_spread_figure_at(kind)->unit;
    bool sign = strcmp(unit, "dB") == 0 && kind != TL_SPREAD_RMS_DB && kind != TL_SPREAD_WORST_DB;
    if (strcmp(unit, "Hz") != 0)
        return (tl_spread_scale){1, unit, 2, sign};
    if (!(largest >= 999.5))
        return (tl_spread_scale){1, unit, largest < 99.95 ? 1 : 0, false};
    return (tl_spread_scale){1000, "kHz", largest < 9999.5 ? 3 : largest < 99995 ? 2 : 1, false};
}

char* tl_spread_number(const tl_spread_scale* scale, double number) {
    if (!isfinite(number))
        return tl_copy("-");
    double shown = number / scale->size;
    bool nothing = fabs(shown) < 0.5 * pow(10, -scale->decimals); // neither "+0.00" nor "-0.00"
    if (nothing)
        return tl_printf("%.*f", scale->decimals, 0.0);
    return scale->sign ? tl_printf("%+.*f", scale->decimals, shown)
                       : tl_printf("%.*f", scale->decimals, shown);
}

const char* tl_spread_word(size_t kind) {
    static const char* const words[TL_SPREAD_FIGURES] = {[TL_SPREAD_PEAK_HZ] = "peak",
                                                         [TL_SPREAD_PEAK_DB] = "peak height",
                                                         [TL_SPREAD_POLE_HZ] = "pole",
                                                         [TL_SPREAD_Q] = "Q",
                                                         [TL_SPREAD_CUTOFF_HZ] = "-3 dB point",
                                                         [TL_SPREAD_LEVEL_DB] = "level",
                                                         [TL_SPREAD_PRESENCE_DB] = "presence",
                                                         [TL_SPREAD_WORST_DB] = "worst band",
                                                         [TL_SPREAD_RMS_DB] = "rms",
                                                         [TL_SPREAD_STEPS] = "peak shift, steps"};
    return words[kind];
}

char* tl_spread_title(const tl_spread_scale* scale, size_t kind) {
    const char* title = tl_spread_word(kind);
    return *scale->unit ? tl_printf("%s (%s)", title, scale->unit) : tl_copy(title);
}

char* tl_spread_change(size_t kind, double change) {
    const char* unit = tl_spread_figure_at(kind)->unit;
    bool hertz = strcmp(unit, "Hz") == 0;
    double size = fabs(change);
    bool kilo = hertz && size >= 999.5;
    int decimals = kilo             ? 2
                   : hertz          ? (size < 9.95 ? 1 : 0)
                   : size < 0.00995 ? 4
                   : size < 0.0995  ? 3
                                    : 2;
    tl_spread_scale scale = {kilo ? 1000 : 1, kilo ? "kHz" : unit, decimals, true};
    char* number = tl_spread_number(&scale, change);
    char* words = tl_printf("%s%s%s", number, *scale.unit && isfinite(change) ? " " : "",
                            isfinite(change) ? scale.unit : "");
    free(number);
    return words;
}

char* tl_spread_share(double share) {
    if (!isfinite(share))
        return tl_copy("-");
    const double rounding = 1e-9; // of weights that add up to a whole
    if (share > rounding && share < 0.0005)
        return tl_copy("<0.1 %");
    if (share < 1 - rounding && share >= 0.995)
        return tl_copy(">99 %");
    return tl_printf("%.*f %%", share > 0 && share < 0.0995 ? 1 : 0, 100 * share);
}

double tl_spread_variance(const tl_spread_figure* figure, size_t value) {
    double share = figure->effects[value].variance_share;
    return isfinite(share) ? share : 0;
}

const char* tl_spread_the(size_t kind) {
    return kind == TL_SPREAD_Q ? "" : "the ";
}

bool tl_spread_varies(const tl_spread_figure* figure) {
    return figure->high > figure->low;
}

/// A value and its share, so that they sort together.
typedef struct {
    double share;
    size_t value;
} ranked;

/// More first; values with the same share stay in the order of the rig.
static int compare(const void* left, const void* right) {
    const ranked* a = left;
    const ranked* b = right;
    if (a->share != b->share)
        return a->share < b->share ? 1 : -1;
    return (a->value > b->value) - (a->value < b->value);
}

size_t* tl_spread_rank(const tl_spread* spread, const tl_spread_figure* figure) {
    size_t count = spread->value_count;
    ranked* all = tl_new(count, sizeof *all);
    size_t* order = tl_new(count, sizeof *order);
    for (size_t i = 0; i < count; ++i)
        all[i] = (ranked){tl_spread_variance(figure, i), i};
    if (count)
        qsort(all, count, sizeof *all, compare);
    for (size_t i = 0; i < count; ++i)
        order[i] = all[i].value;
    free(all);
    return order;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// What a cause is called, and how large it is, in words.
#include "study/accept_work.h"

#include "base/text.h"
#include "parts/kinds.h"
#include "parts/library.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A lead of the library is named when it comes nearer than this to what was fitted.
static const double near_share = 0.1;

/// Three digits: a fit knows no more.
static char* value_words(tl_unit unit, double value) {
    tl_text text = {0};
    double step = value != 0 ? pow(10, floor(log10(fabs(value))) - 2) : 1;
    tl_quantity_add(&text, unit, round(value / step) * step);
    return tl_text_take(&text);
}

/// The lead of the library that has nearly this capacitance at the same length; "" for none, or
/// when it is the one that was stated.
static char* library_lead(const tl_prospect* p, const tl_suspect* lead, double farad) {
    const char* const* names = NULL;
    const char* best = NULL;
    size_t count = 0;
    double nearest = log(1 + near_share);
    double best_farad = 0;
    tl_library* library = p->plan.rig->library;
    tl_error* ignored = tl_error_new();
    if (tl_library_names(library, &tl_kind_cable, &names, &count, ignored) != TL_OK)
        count = 0;
    for (size_t i = 0; i < count; ++i) {
        tl_part* cable = NULL;
        if (tl_library_part(library, &tl_kind_cable, names[i], &lead->part->place, &cable,
                            ignored) != TL_OK)
            continue;
        tl_part_set_number(cable, "length", tl_part_number(lead->part, "length", 0));
        double own_farad = tl_cable_capacitance_farad(cable);
        double off = own_farad > 0 ? fabs(log(own_farad / farad)) : INFINITY;
        if (off < nearest) {
            nearest = off;
            best = names[i];
            best_farad = own_farad;
        }
        tl_part_free(cable);
    }
    tl_error_free(ignored);
    if (!best || (lead->part->library && strcmp(best, lead->part->library) == 0))
        return tl_copy("");
    char* shown = value_words(TL_UNIT_FARAD, best_farad);
    char* length = value_words(TL_UNIT_METRE, tl_part_number(lead->part, "length", 0));
    char* words = tl_printf("%s of %s (%s)", length, best, shown);
    free(shown);
    free(length);
    return words;
}

/// What a lead of that capacitance would be: so much of its own kind, or another kind.
static char* lead_words(const tl_prospect* p, const tl_suspect* lead, double farad) {
    char* length = value_words(TL_UNIT_METRE, farad * lead->factor);
    char* other = library_lead(p, lead, farad);
    char* words = *other ? tl_printf("%s of its own kind, or %s", length, other)
                         : tl_printf("%s of its own kind", length);
    free(length);
    free(other);
    return words;
}

char* tl_suspect_words(const tl_suspect* suspect, double value) {
    char* number = value_words(suspect->unit, value);
    if (suspect->kind != TL_CAUSE_LEAD)
        return number;
    char* length = value_words(TL_UNIT_METRE, value * suspect->factor);
    char* words = tl_printf("%s (%s)", number, length);
    free(number);
    free(length);
    return words;
}

static void describe_number(const tl_prospect* p, const tl_suspect* suspect, tl_cause* cause) {
    char* low = value_words(suspect->unit, cause->low);
    char* high =
        isfinite(cause->high) ? value_words(suspect->unit, cause->high) : tl_copy("any more");
    cause->value_words = value_words(suspect->unit, cause->value);
    cause->range_words = tl_printf("%s to %s", low, high);
    cause->stated_words = suspect->change == TL_CHANGE_JOINT ? tl_copy("none")
                          : suspect->change == TL_CHANGE_LEAK
                              ? tl_copy("none")
                              : value_words(suspect->unit, suspect->stated);
    if (suspect->kind == TL_CAUSE_LEAD)
        cause->like = lead_words(p, suspect, cause->value);
    free(low);
    free(high);
}

/// What there is by choice: the word stated and the word it would be.
static void describe_choice(const tl_suspect* suspect, tl_cause* cause) {
    const tl_field* field = &suspect->part->kind->fields[suspect->field];
    bool removed = suspect->change == TL_CHANGE_REMOVE;
    cause->stated_words = tl_copy(
        removed ? "there" : field->choices[(size_t)suspect->part->values[suspect->field].number]);
    cause->value_words = tl_copy(removed ? "missing or bridged" : field->choices[suspect->choice]);
    cause->range_words = tl_copy("");
}

void tl_cause_describe(const tl_prospect* prospect, const tl_suspect* suspect, tl_cause* cause) {
    cause->path = tl_copy(suspect->path);
    cause->about = tl_copy(suspect->about);
    cause->where = tl_leads_where(&prospect->leads, suspect->path);
    cause->stated = suspect->stated;
    if (isnan(cause->value)) {
        describe_choice(suspect, cause);
        cause->unit = tl_copy("");
    } else {
        describe_number(prospect, suspect, cause);
        cause->unit = tl_copy(tl_unit_symbol(suspect->unit));
    }
    if (!cause->like)
        cause->like = tl_copy("");
}
